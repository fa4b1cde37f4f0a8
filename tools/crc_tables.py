#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Tables for CRC-16 (x^16+x^15+x^2+1, reflected): sixteen byte tables and the folding constants.

x^k mod P for the carry-less form; see the comment in src/base/crc.c for how they are used.
"""
import sys

POLY = 0xA001  # the polynomial, reflected


def byte_table():
    t = []
    for i in range(256):
        c = i
        for _ in range(8):
            c = c >> 1 ^ (POLY if c & 1 else 0)
        t.append(c)
    return t


def power(k):
    """x^k mod P, bit i = coefficient of x^i."""
    v = 1
    for _ in range(k):
        v <<= 1
        if v & 0x10000:
            v ^= 0x18005
    return v


def reflected64(v):
    return int(format(v, "064b")[::-1], 2)


def main():
    tables = [byte_table()]
    for _ in range(15):
        tables.append([tables[0][c & 255] ^ c >> 8 for c in tables[-1]])
    with open(sys.argv[1], "w", encoding="ascii") as out:
        out.write("/* made by tools/crc_tables.py */\nstatic const uint16_t crc_tables[16][256] = {\n")
        for t in tables:
            out.write("\t{ %s },\n" % ", ".join("0x%04X" % v for v in t))
        out.write("};\n")
        for d in (128, 512):
            out.write("#define FOLD_%d_FIRST 0x%016XULL\n" % (d, reflected64(power(d + 63))))
            out.write("#define FOLD_%d_SECOND 0x%016XULL\n" % (d, reflected64(power(d - 1))))


main()

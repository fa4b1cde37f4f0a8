#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Write which bits are set in each of the 256 bytes, lowest first, for the reader of audits: bit_table.py OUTPUT."""
import sys

with open(sys.argv[1], "w", encoding="ascii") as out:
    out.write("/* made by tools/bit_table.py */\nstatic const uint8_t set_bits[256][8] = {\n")
    for byte in range(256):
        bits = [bit for bit in range(8) if byte >> bit & 1]
        out.write("\t{ %s },\n" % ", ".join(str(bit) for bit in bits + [0] * (8 - len(bits))))
    out.write("};\n")

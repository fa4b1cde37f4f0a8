#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Find a multiplier that sends every segment name of the dictionary to a slot of its own.

Reading an audit looks a name up per line, so the look-up is one multiplication and one
comparison. Writes the slots as C: SEGMENT_MULTIPLIER, SEGMENT_SHIFT and the slot table.
"""
import csv
import sys

BITS = 9


def key(name):
    return int.from_bytes(name.encode().ljust(4, b"\0"), "little")


def main():
    source, output = sys.argv[1:]
    with open(source, newline="", encoding="utf-8") as f:
        names = [r["segment"] for r in csv.DictReader(f)]
    m = 0x9E3779B1
    while True:
        slots = {}
        for n in names:
            slots.setdefault((key(n) * m & 0xFFFFFFFF) >> (32 - BITS), []).append(n)
        if all(len(v) == 1 for v in slots.values()):
            break
        m = (m * 1664525 + 1013904223 & 0xFFFFFFFF) | 1
    with open(output, "w", encoding="ascii") as out:
        out.write("/* made from %s by tools/segments.py */\n" % source.split("/")[-1])
        out.write("#define SEGMENT_MULTIPLIER 0x%08XU\n#define SEGMENT_SHIFT %d\n" % (m, 32 - BITS))
        out.write("static const struct segment_slot segment_slots[%d] = {\n" % (1 << BITS))
        for s, v in sorted(slots.items()):
            out.write("\t[%d] = { 0x%08XU, FT_SEG_%s },\n" % (s, key(v[0]), v[0]))
        out.write("};\n")


main()

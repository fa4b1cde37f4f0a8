#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Look-up tables for the audit reader, made from the dictionary.

Reading an audit looks a segment name up per line, so the look-up is one multiplication and one
comparison: this finds a multiplier that sends every name to a slot of its own. Beside it: which
element stands at which position of a segment, and which positions hold numbers, dates, times.
"""
import csv
import sys

BITS = 9
# What is kept as rows beside the counters: struct ft_facts says so too.
ROWS = {"PA2", "PA3", "PA4", "PA5", "PA6", "PA7", "PA8", "LA1", "CA11", "CA12", "CA13", "CA14", "CA17", "EA1", "EA2", "MA5",
        "DA7", "DB7"}
POSITIONS = 12


def key(name):
    return int.from_bytes(name.encode().ljust(4, b"\0"), "little")


def read(path):
    with open(path, newline="", encoding="utf-8") as f:
        return list(csv.DictReader(f))


def perfect_multiplier(names):
    m = 0x9E3779B1
    while len({(key(n) * m & 0xFFFFFFFF) >> (32 - BITS) for n in names}) < len(names):
        m = (m * 1664525 + 1013904223 & 0xFFFFFFFF) | 1
    return m


def mask(elements, kinds):
    return sum(1 << int(e["position"]) for e in elements if e["type"] in kinds)


def main():
    segments, elements, pairs = read(sys.argv[1]), read(sys.argv[2]), read(sys.argv[3])
    names = [s["segment"] for s in segments]
    position = {e["element"]: int(e["position"]) for e in elements}
    parent = {s["segment"]: s["parent"] for s in segments}
    once = {s["segment"]: "true" if s["repeats"] == "once" else "false" for s in segments}
    of = {n: [e for e in elements if e["segment"] == n] for n in names}
    m = perfect_multiplier(names)
    with open(sys.argv[4], "w", encoding="ascii") as out:
        out.write("/* made by tools/segments.py from the dictionary */\n")
        out.write("#ifndef SEGMENT_TABLES\n#define SEGMENT_MULTIPLIER 0x%08XU\n#define SEGMENT_SHIFT %d\n" % (m, 32 - BITS))
        out.write("#define SEGMENT_SLOTS %d\n#else\n" % (1 << BITS))
        out.write("const struct segment_slot segment_slots[%d] = {\n" % (1 << BITS))
        for n in sorted(names, key=lambda n: key(n) * m & 0xFFFFFFFF):
            out.write("\t[%d] = { 0x%08XU, FT_SEG_%s },\n" % ((key(n) * m & 0xFFFFFFFF) >> (32 - BITS), key(n), n))
        out.write("};\n\nconst struct segment_shape segment_shapes[FT_SEG_COUNT] = {\n")
        for n in names:
            at = ["FT_EL_NONE"] * (POSITIONS + 1)
            for e in of[n]:
                at[int(e["position"])] = "FT_EL_" + e["element"]
            own = [p for p in pairs if p["init"] in {e["element"] for e in of[n]}]
            at_both = [(position[p["init"]], position[p["reset"]]) for p in own]
            twins = ", ".join("{ %d, %d, %d }" % (i, r, max(i, r)) for i, r in sorted(at_both, key=max))
            out.write("\t[FT_SEG_%s] = { .numbers = 0x%04X, .dates = 0x%04X, .times = 0x%04X, .positions = %d, .pairs = %d, .once = %s, .row = %s, .marked = %s, .under_pa1 = %s,\n"
                      % (n, mask(of[n], ("integer", "money", "either")), mask(of[n], ("date",)), mask(of[n], ("time",)),
                         max(int(e["position"]) for e in of[n]), len(own), once[n], "true" if n in ROWS else "false",
                         "true" if n in ("PA7", "LA1") else "false",
                         "true" if parent[n] == "PA1" else "false"))
            out.write("\t\t.element = { %s },\n\t\t.twins = { %s } },\n" % (", ".join(at), twins or "{ 0, 0, 0 }"))
        out.write("};\n#endif\n")


main()

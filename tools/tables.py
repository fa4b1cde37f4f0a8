#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Turn a CSV of facts into rows that C includes.

Each row becomes  ROW(IDENT, a, b, ...)  where IDENT comes from the first column, columns named
with --ident become bare upper-case words (empty: NONE), columns of whole numbers become numbers
and all others become strings. The C side defines ROW to make its enum or its table, so one CSV is
the one place a fact stands in.
"""
import argparse
import csv
import re
import sys


def word(text):
    return re.sub(r"[^A-Za-z0-9]", "_", text).upper() or "NONE"


def quote(text):
    out = []
    for byte in text.encode():
        ch = chr(byte)
        if ch in '"\\':
            out.append("\\" + ch)
        elif 32 <= byte < 127 and ch != "?":
            out.append(ch)
        else:
            out.append("\\%03o" % byte)
    return '"' + "".join(out) + '"'


def main():
    args = argparse.ArgumentParser()
    args.add_argument("source")
    args.add_argument("output")
    args.add_argument("--ident", default="")
    args.add_argument("--text", default="", help="columns kept as text though they look like numbers")
    opt = args.parse_args()
    with open(opt.source, newline="", encoding="utf-8") as f:
        reader = csv.reader(f)
        head = next(reader)
        rows = [r for r in reader if r]
    for n, r in enumerate(rows, 2):
        if len(r) != len(head):
            sys.exit(f"{opt.source}:{n}: {len(r)} columns where the heading has {len(head)}")
    ident = set(filter(None, opt.ident.split(",")))
    text = set(filter(None, opt.text.split(",")))
    numeric = [h not in text and all(re.fullmatch(r"-?\d+", r[i]) for r in rows) for i, h in enumerate(head)]
    seen = set()
    with open(opt.output, "w", encoding="ascii") as out:
        out.write("/* made from %s by tools/tables.py; columns: %s */\n" % (opt.source.split("/")[-1], ", ".join(head)))
        for n, r in enumerate(rows, 2):
            name = word(r[0])
            if name in seen:
                sys.exit(f"{opt.source}:{n}: {r[0]} stands there twice")
            seen.add(name)
            cells = [word(v) if h in ident else str(int(v)) if numeric[i] else quote(v)
                     for i, (h, v) in enumerate(zip(head, r))]
            out.write("ROW(%s, %s)\n" % (name, ", ".join(cells)))


main()

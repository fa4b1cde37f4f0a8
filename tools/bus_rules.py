#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The tables of the chapter Diagnosis in docs/bus.md, from the data that judges.

    tools/bus_rules.py [--check]

They stand between two comments in the page; --check only says whether they are what the data makes of them.
"""
import csv
import os
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
BEGIN, END = "<!-- made by tools/bus_rules.py -->", "<!-- made until here -->"


def rows(name):
    with open(os.path.join(ROOT, "data", name), newline="", encoding="utf-8") as f:
        return list(csv.DictReader(f))


def tables():
    rules = {r["rule"]: r for r in rows("rules.csv")}
    out, stage = [], None
    for d in rows("bus-diagnosis.csv"):
        r = rules[d["rule"]]
        if d["stage"] != stage:
            stage = d["stage"]
            out += ["", "### " + stage[0].upper() + stage[1:], "",
                    "| rule | what is wrong | how sure | looks the same, or may be behind it | what to do |",
                    "|---|---|---|---|---|"]
        out.append("| `%s` | %s (%s) | %s | %s | %s |" % (d["rule"], r["sentence"], r["weight"], d["grade"],
                                                          d["alike"] or "-", r["todo"]))
    return "\n".join(out + [""])


def main():
    path = os.path.join(ROOT, "docs", "bus.md")
    with open(path, encoding="utf-8") as f:
        text = f.read()
    if BEGIN not in text or END not in text:
        sys.exit("docs/bus.md has no place for the tables: %s ... %s" % (BEGIN, END))
    before, after = text.split(BEGIN)[0], text.split(END)[1]
    new = before + BEGIN + "\n" + tables() + "\n" + END + after
    if "--check" in sys.argv[1:]:
        sys.exit(0 if new == text else "docs/bus.md: the rules changed; run tools/bus_rules.py")
    with open(path, "w", encoding="utf-8") as f:
        f.write(new)


main()

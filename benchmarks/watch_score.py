#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Hold what fettle watch found in a practice fleet against the fleet's key: watch_score.py FETTLE FLEET [--list]

A planted trouble is found when an exception of its rule (and selection) was seen no later than three days after the
time from which it can be seen. An exception is false when no trouble planted in that machine, or in its neighbour for
swapped units, explains its rule. Troubles that come into sight in the last three days are left out.
"""
import collections
import csv
import datetime
import json
import os
import subprocess
import sys

DAYS = datetime.timedelta(days=3)


def kinds_of_trouble():
    """By kind: what else it shows beside its own rule (consequences, not false alarms), and rules told by the same sight."""
    path = os.path.join(os.path.dirname(os.path.abspath(__file__)), "../data/practice/troubles.csv")
    with open(path, encoding="utf-8") as f:
        return {r["kind"]: (set(r["also"].split()), set(r["either"].split())) for r in csv.DictReader(f)}


KINDS = kinds_of_trouble()
NOTES = {"watch.part-read"}


def when(text):
    return datetime.datetime.fromisoformat(text)


def watched(fettle, fleet, book=None):
    audits = os.path.join(fleet, "audits")
    if not os.path.exists(audits):
        audits += ".tar"
    command = [fettle, "watch", audits, "--json", "--history"] + ([] if book else ["--fresh"])
    if book:
        command[1:1] = ["--book", book]
    for table in ("counts", "settlements", "doors", "temperatures"):
        command += [f"--{table}", os.path.join(fleet, f"{table}.csv")]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    if done.returncode > 1:
        sys.exit(f"watch ended with {done.returncode}")
    return [json.loads(line) for line in done.stdout.splitlines()]


def score(machines, fleet):
    """(planted, found, by kind, false exceptions, machine-weeks)."""
    with open(os.path.join(fleet, "key.csv"), encoding="ascii") as f:
        key = list(csv.DictReader(f))
    by_serial = {m["serial"]: m for m in machines}
    last = max(when(m["last_read"]) for m in machines)
    weeks = sum((when(m["last_read"]) - when(m["first_read"])).total_seconds() / 604800 for m in machines)
    kinds, missed = collections.defaultdict(lambda: [0, 0]), []
    planted = collections.defaultdict(set)
    for row in key:
        planted[row["serial"]] |= {row["rule"]} | KINDS[row["kind"]][0]
        visible = when(row["visible"])
        if visible + DAYS > last:
            continue
        accepted = {row["rule"]} | KINDS[row["kind"]][1]
        hits = [x for x in by_serial[row["serial"]]["exceptions"] if x["rule"] in accepted
                and (not row["selection"] or x["selection"] == row["selection"])
                and when(row["begins"]) - DAYS <= when(x["seen_at"]) <= visible + DAYS]
        kinds[row["kind"]][0] += 1
        kinds[row["kind"]][1] += bool(hits)
        if not hits:
            missed.append(row)
    false = [(m, x) for m in machines for x in m["exceptions"]
             if x["rule"] not in planted[m["serial"]] and x["rule"] not in NOTES]
    return kinds, missed, false, weeks


def main():
    fettle, fleet = sys.argv[1:3]
    machines = watched(os.path.abspath(fettle), fleet)
    kinds, missed, false, weeks = score(machines, fleet)
    total, found = sum(k[0] for k in kinds.values()), sum(k[1] for k in kinds.values())
    for kind in sorted(kinds):
        print(f"  {kind:20} {kinds[kind][1]:4} of {kinds[kind][0]:4}")
    print(f"found within three days: {found} of {total} ({100 * found / max(total, 1):.1f} %)")
    print(f"false exceptions: {len(false)} in {weeks:.0f} machine-weeks, one in {weeks / max(len(false), 1):.0f}")
    print("  " + ", ".join(f"{r} {n}" for r, n in collections.Counter(x["rule"] for _, x in false).most_common()))
    if "--list" in sys.argv:
        for row in missed:
            print("missed", row)
            for m in machines:
                if m["serial"] == row["serial"]:
                    print("   ", [(x["rule"], x["selection"], x["since"], x["seen_at"]) for x in m["exceptions"]][:6])
        for m, x in false[:60]:
            print("false", m["asset"], m["serial"], x["rule"], x["selection"], x["since"], x["seen_at"], x["seen"], "|", x["expected"])


if __name__ == "__main__":
    main()

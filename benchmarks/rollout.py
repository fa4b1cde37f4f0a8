# SPDX-License-Identifier: Apache-2.0
"""Planning 300 machines, known problems against the clock, and a van's risk against a million played days."""
import csv
import json
import math
import os
import random
import subprocess
import time

NAMES = ["Tilda Moss", "Oren Pike", "Ivo Laska", "Mara Quill"]


def tables(home, machines, seed):
    r = random.Random(seed)
    kits = ["HJ-1;tie*4", "HJ-2:0.9;tie*4", "HJ-1:0.7;HJ-2:0.3;tee:0.25", "tee:0.4;switch:0.5*2"]
    with open(os.path.join(home, "machines.csv"), "w", encoding="ascii") as f:
        f.write("asset,latitude,longitude,minutes,spread,opens,closes,days,priority,skills,kit\n")
        for i in range(machines):
            opens = r.choice([6, 7, 8, 9])
            f.write(f"BD-{1000 + i},{12.4 + r.gauss(0, .1):.5f},{-31.2 + r.gauss(0, .13):.5f},{r.choice([30, 40, 45])},{r.choice([0, 5, 10])},"
                    f"{opens:02}:00,{opens + r.choice([6, 8, 10]):02}:00,{r.choice(['Mon-Fri', 'Mon Wed-Fri'])},{r.choice([0, 0, 0, 3])},"
                    f"{r.choice(['', '', 'mains'])},{r.choice(kits)}\n")
    with open(os.path.join(home, "technicians.csv"), "w", encoding="ascii") as f:
        f.write("technician,latitude,longitude,begins,ends,skills\n")
        for i, name in enumerate(NAMES):
            f.write(f"{name},{12.4 + .05 * i},{-31.2 - .04 * i},07:30,16:30,{'mains' if i % 2 == 0 else ''}\n")


def played(home, d, days):
    """Share of days on which a filling lacks something, the first fillings played `days` times in all."""
    with open(os.path.join(home, "machines.csv"), encoding="ascii") as f:
        kits = {row["asset"]: row["kit"] for row in csv.DictReader(f)}
    fillings = {}
    for x in d["load"]:
        fillings.setdefault((x["technician"], x["from"]), {})[x["part"]] = x
    chosen = list(fillings.items())[:10]
    r = random.Random(1)
    worst = 0
    for (who, day), load in chosen:
        needs = []
        for s in (s for x in d["days"] if x["technician"] == who and x["date"] == day for s in x["stops"]):
            for item in kits[s["asset"]].split(";"):
                head, _, count = item.partition("*")
                part, _, chance = head.partition(":")
                if chance:
                    needs.append((part, float(chance), int(count or 1)))
        sure = {part: x["sure"] for part, x in load.items()}
        missed, n = 0, days // len(chosen)
        for _ in range(n):
            used = dict(sure)
            for part, p, count in needs:
                if r.random() < p:
                    used[part] += count
            missed += any(used[part] > load[part]["carry"] for part in used)
        risk = 1 - math.prod(1 - x["risk"] for x in load.values())
        error = math.sqrt(max(risk * (1 - risk), 1e-12) / n)
        worst = max(worst, abs(missed / n - risk) / error if risk > 1e-9 else (99 if missed else 0))
    return worst, len(chosen) * (days // len(chosen))


def bench(build, home):
    fettle = os.path.join(build, "src/cli/fettle")
    print("rollout: 300 machines, 4 technicians, 14 days looked at (10 of work)\n")
    d = None
    for seed in (1, 2, 3):
        tables(home, 300, seed)
        begun = time.monotonic()
        done = subprocess.run([fettle, "rollout", "machines.csv", "--technicians", "technicians.csv", "--from", "2026-11-30", "--json"],
                              cwd=home, capture_output=True, text=True, check=True)
        seconds = time.monotonic() - begun
        d = json.loads(done.stdout)
        simple = "  ".join(f"{m['name']} {m['distance_km']:.0f} km ({m['left_out']} left out)" for m in d["methods"])
        print(f"  fleet {seed}: {seconds:5.2f} s  {d['distance_km']:7.1f} km  {len(d['left_out'])} left out  bound {d['lower_bound_km']:.1f} km  "
              f"{d['steps']} steps{' (clock)' if d['ended_by_clock'] else ''}\n    {simple}", flush=True)
        if d["cost"] > min(m["cost"] for m in d["methods"]) or seconds > 10:
            raise SystemExit("that is too slow, or worse than the best of the simple methods")
    worst, days = played(home, d, 1000000)
    print(f"\n  van: {days} played days of ten fillings stray from the reckoned risk by at most {worst:.1f} standard errors\n")
    if worst > 4:
        raise SystemExit("the van's risk is not what days show")
    subprocess.run([os.path.join(build, "benchmarks/known_routes"), os.path.join(os.path.dirname(os.path.abspath(__file__)), "../tests")], check=True)

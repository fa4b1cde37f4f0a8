#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Measure the program beside plain yardsticks: run.py BUILD [check|start|bus|cold|bench|read|survey...] (all if none is named).

Every figure is the whole process from start to end, the median of five runs after one
that warms the disk cache. The audits are made anew (benchmarks/make_audits.py), so nothing here is anybody's.
"""
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time

import bench
import bus
import watch_score
import rollout

HERE = os.path.dirname(os.path.abspath(__file__))
RUNS = 5
FEW, MANY = 2000, 20000


def one_run(build, command, cwd):
    """(seconds, peak memory in MB, exit code) of one run, output thrown away."""
    watch = [os.path.join(build, "benchmarks/stopwatch"), *command]
    done = subprocess.run(watch, cwd=cwd, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True, check=True)
    seconds, peak, code = done.stdout.split()
    return float(seconds), int(peak) / 1024, int(code)


def measure(build, command, cwd, runs=RUNS, good=(0,)):
    """(median seconds, highest memory). A run that does not end well makes the figure worthless: stop."""
    results = [one_run(build, command, cwd) for _ in range(runs + 1)][1:]
    for _, _, code in results:
        if code not in good:
            sys.exit(f"{command[0]} ended with {code}, so its time says nothing")
    return statistics.median(s for s, _, _ in results), max(mb for _, mb, _ in results)


def audits(home, count):
    folder = os.path.join(home, f"audits-{count}")
    subprocess.run([sys.executable, os.path.join(HERE, "make_audits.py"), folder, str(count)], check=True)
    return folder, sum(e.stat().st_size for e in os.scandir(folder))


def bench_check(build, home):
    fettle = os.path.join(build, "src/cli/fettle")
    many, size = audits(home, MANY)
    few, _ = audits(home, FEW)
    names = sorted(os.listdir(many))
    python = sys.executable
    rows = [
        ("fettle check, one job", [fettle, "check", "--jobs", "1", "."], "everything"),
        ("fettle check, two jobs", [fettle, "check", "--jobs", "2", "."], "everything"),
        ("plain C, one thread", [os.path.join(build, "benchmarks/plain_sum"), "."], "PA2 against VA1, G85"),
        ("mawk", ["mawk", "-f", os.path.join(HERE, "plain_sum.awk"), *names], "PA2 against VA1"),
        ("python3", [python, os.path.join(HERE, "plain_sum.py"), "."], "PA2 against VA1"),
    ]
    print(f"check: {MANY} audits, {size / 1e6:.0f} MB\n")
    print(f"  {'':24} {'seconds':>8} {'files/s':>9} {'MB/s':>7} {'peak MB':>8}  what it does")
    for name, command, does in rows:
        if name == "mawk" and not shutil.which("mawk"):
            continue
        seconds, memory = measure(build, command, many)
        print(f"  {name:24} {seconds:8.3f} {MANY / seconds:9.0f} {size / 1e6 / seconds:7.0f} {memory:8.1f}  {does}",
              flush=True)
    low = measure(build, [fettle, "check", "--jobs", "2", "."], few)[1]
    high = measure(build, [fettle, "check", "--jobs", "2", "."], many)[1]
    print(f"\n  peak memory of fettle, two jobs: {low:.1f} MB for {FEW} audits, {high:.1f} MB for {MANY}\n")


def bench_start(build, home):
    folder, _ = audits(home, 1)
    name = os.path.join(folder, os.listdir(folder)[0])
    command = [os.path.join(build, "src/cli/fettle"), "explain", name]
    seconds, memory = measure(build, command, home, runs=101)
    nothing, _ = measure(build, ["true"], home, runs=101)
    print(f"start: fettle explain of one audit of {os.path.getsize(name) / 1e3:.1f} kB takes {seconds * 1e3:.2f} ms "
          f"and {memory:.1f} MB\n       (median of 101; the empty program `true` takes {nothing * 1e3:.2f} ms)\n",
          flush=True)


def bench_read(build, _):
    print("read: audits over a practice line of 9600 bit/s, a minute or two of waiting\n", flush=True)
    subprocess.run([sys.executable, os.path.join(HERE, "read.py"), os.path.join(build, "src/cli/fettle")], check=True)


def bench_bus(build, home):
    bus.bench(build, home, measure)


def bench_cold(build, home):
    """A year of one-minute samples, as the practice machine's logger writes it; to be judged within half a second."""
    fettle = os.path.join(build, "src/cli/fettle")
    with open(os.path.join(home, "play"), "w", encoding="ascii") as f:
        f.write("log start\nwait 31536000\nlog year.csv\nquit\n")
    subprocess.run([fettle, "practice", "--pace", "fast", "--script", "play"], cwd=home, check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    size = os.path.getsize(os.path.join(home, "year.csv")) / 1e6
    rows = [("fettle cold", [fettle, "cold", "year.csv"], "everything"),
            ("fettle cold --svg", [fettle, "cold", "year.csv", "--svg", "year.svg"], "everything, and the drawing"),
            ("mawk", ["mawk", "-F,", "$2 > 41 { n++ } END { print n + 0 }", "year.csv"], "readings above the limit")]
    print(f"cold: a year of one-minute samples, {size:.1f} MB\n")
    print(f"  {'':24} {'seconds':>8} {'MB/s':>7} {'peak MB':>8}  what it does")
    for name, command, does in rows:
        if name == "mawk" and not shutil.which("mawk"):
            continue
        seconds, memory = measure(build, command, home, good=(0, 1))
        print(f"  {name:24} {seconds:8.3f} {size / seconds:7.1f} {memory:8.1f}  {does}", flush=True)
    print()


def bench_survey(build, home):
    """The invented fleet of data/demo two hundred and fifty times over: ten thousand machines, to be surveyed within a second."""
    fettle = os.path.join(build, "src/cli/fettle")
    demo = os.path.join(HERE, "..", "data", "demo")
    with open(os.path.join(demo, "survey.csv"), encoding="utf-8") as f:
        note, head, *rows = f.readlines()
    with open(os.path.join(home, "fleet.csv"), "w", encoding="utf-8") as f:
        f.write(note + head)
        for n in range(250):
            f.writelines(f"{n}-{row}" for row in rows)
    size = os.path.getsize(os.path.join(home, "fleet.csv")) / 1e6
    command = [fettle, "survey", "fleet.csv", "--catalogue", demo]
    awk = r"NR > 2 { split($0, a, /,/); n[a[5]]++ } END { for (k in n) print k, n[k] }"
    mine = [("fettle survey", command, "everything"), ("fettle survey --json", [*command, "--json"], "everything, a document each"),
            ("mawk", ["mawk", awk, "fleet.csv"], "machines of each family")]
    print(f"survey: {250 * len(rows)} machines, {size:.1f} MB\n")
    print(f"  {'':24} {'seconds':>8} {'machines/s':>10} {'peak MB':>8}  what it does")
    for name, command, does in mine:
        if name == "mawk" and not shutil.which("mawk"):
            continue
        seconds, memory = measure(build, command, home, good=(0, 1))
        print(f"  {name:24} {seconds:8.3f} {250 * len(rows) / seconds:10.0f} {memory:8.1f}  {does}", flush=True)
    print()


def bench_bench(build, home):
    bench.bench(build, home, os.path.join(HERE, "..", "tests", "samples"))


def bench_rollout(build, home):
    rollout.bench(build, home)


def planted_fleet(fettle, home, days):
    fleet = os.path.join(home, "fleet")
    began = time.monotonic()
    subprocess.run([fettle, "practice", "fleet", "-o", fleet, "--machines", "2000", "--days", str(days), "--seed", "4"], check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    print(f"watch: 2000 machines, {days} days, made in {time.monotonic() - began:.0f} s\n", flush=True)
    return fleet


def watch_times(build, home, fleet):
    """From cold all days but the last, then that one, then nothing new."""
    fettle = os.path.join(build, "src/cli/fettle")
    folder = os.path.join(fleet, "audits")
    days = sorted(os.listdir(folder))
    aside = os.path.join(home, days[-1])
    os.rename(os.path.join(folder, days[-1]), aside)
    time.sleep(3)  # a folder that changed just now is looked at again
    audits = sum(len(os.listdir(os.path.join(folder, d))) for d in days[:-1])
    command = [fettle, "--book", "book.sqlite", "watch", folder, "--jobs", "2"]
    print(f"  {'':24} {'seconds':>8} {'audits/s':>9} {'peak MB':>8}")
    cold, memory = one_run(build, command, home)[:2]
    print(f"  {'from cold, two jobs':24} {cold:8.2f} {audits / cold:9.0f} {memory:8.1f}  {audits} audits")
    os.rename(aside, os.path.join(folder, days[-1]))
    for what, more in (("one day more", []), ("nothing new", []), ("all days judged", ["--since", days[0]])):
        seconds, memory = one_run(build, command + more, home)[:2]
        print(f"  {what:24} {seconds:8.2f} {'':9} {memory:8.1f}")
    print(flush=True)


def bench_watch(build, home):
    """A planted fleet of 2,000 machines and 60 days: what was found of it, and how long it takes."""
    fettle = os.path.join(build, "src/cli/fettle")
    fleet = planted_fleet(fettle, home, 60)
    kinds, missed, false, weeks = watch_score.score(watch_score.watched(fettle, fleet), fleet)
    planted = sum(k[0] for k in kinds.values())
    print(f"  found within three days   {100 * (1 - len(missed) / planted):.1f} % of {planted} planted troubles (95 % wanted)")
    print(f"  false exceptions          one in {weeks / max(len(false), 1):.0f} machine-weeks (one in 200 allowed)\n")
    watch_times(build, home, fleet)


def bench_million(build, home):
    """A million audits; not among those that run unasked, as it takes 4 GB of disk and some minutes."""
    watch_times(build, home, planted_fleet(os.path.join(build, "src/cli/fettle"), home, 500))


def bench_share(build, home):
    fettle = os.path.join(build, "src/cli/fettle")
    fleet = planted_fleet(fettle, home, 60)
    subprocess.run([sys.executable, os.path.join(HERE, "..", "tests", "server.py"), sys.executable, os.path.join(HERE, "share.py"),
                    fettle, os.path.join(fleet, "audits")], check=True)


BENCHES = {"watch": bench_watch, "share": bench_share, "survey": bench_survey, "check": bench_check, "start": bench_start, "bus": bench_bus, "cold": bench_cold,
           "bench": bench_bench, "read": bench_read, "rollout": bench_rollout, "million": bench_million}


def main():
    build = os.path.abspath(sys.argv[1])
    for name in sys.argv[2:] or [n for n in BENCHES if n != "million"]:
        with tempfile.TemporaryDirectory() as home:
            BENCHES[name](build, home)


main()

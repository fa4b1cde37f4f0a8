#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""fettle watch from the outside: a practice fleet, its key, the book, and figures recomputed by another's SQL.

usage: watch.py FETTLE SOURCE
"""
import csv
import glob
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time

FETTLE, SOURCE = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
sys.path.insert(0, os.path.join(SOURCE, "benchmarks"))
import watch_score  # noqa: E402

failed = passed = 0


def say(ok, what):
    global failed, passed
    passed += bool(ok)
    failed += not ok
    if not ok:
        print("FAIL " + what, flush=True)


def run(*args, codes=(0, 1)):
    done = subprocess.run([FETTLE, *args], capture_output=True, text=True, timeout=300)
    say(done.returncode in codes, f"{' '.join(args[:4])} ends with {done.returncode}: {done.stderr[-300:]}")
    return done


def tables(fleet):
    return [x for t in ("counts", "settlements", "doors", "temperatures") for x in (f"--{t}", os.path.join(fleet, f"{t}.csv"))]


def documents(*args):
    return [json.loads(line) for line in run("watch", *args, "--json", "--history").stdout.splitlines()]


def plain(machines):
    """What must be the same however the audits came: which copy of two came first is nobody's business."""
    return sorted(json.dumps({k: v for k, v in m.items() if k != "reads_again"}, sort_keys=True) for m in machines)


def elements(path):
    """A plain reading of an audit: segment -> fields, and nothing else of ours."""
    found = {}
    with open(path, encoding="latin-1", newline="") as f:
        for line in re.split(r"[\r\n]+", f.read()):
            fields = line.split("*")
            found.setdefault(fields[0], fields)
    return found


def recompute(fleet, machines, folder):
    """What lay in the box at each collection, by sqlite3 over numbers that Python cut out of the files."""
    rows = {}
    for path in sorted(glob.glob(os.path.join(fleet, "audits", "*", "*.dts"))):
        e = elements(path)
        if "SE" not in e or "CA3" not in e or len(e["CA3"]) < 11:
            continue
        n = [int(x or 0) for x in e["CA3"][1:11]]
        key = (e["ID1"][1], e["EA3"][2] + e["EA3"][3])
        rows[key] = (*key, n[1] + n[8], n[5] + n[9])
    with open(os.path.join(folder, "reads.csv"), "w", newline="", encoding="ascii") as f:
        csv.writer(f).writerows(rows.values())
    sql = f""".mode csv
create table r (serial text, at text, since integer, total integer);
.import {os.path.join(folder, 'reads.csv')} r
with b as (select serial, at, total, total - since as base from r),
d as (select serial, at, base - lag(base) over w as taken, total - lag(total) over w as rise from b
      window w as (partition by serial order by at))
select serial, taken from d where taken > 0 and serial not in (select serial from d where rise < 0) order by serial, at;
"""
    done = subprocess.run(["sqlite3", ":memory:"], input=sql, capture_output=True, text=True, check=True)
    by_sql, by_us = {}, {}
    for serial, taken in csv.reader(done.stdout.splitlines()):
        by_sql.setdefault(serial, []).append(int(taken))
    for m in machines:
        by_us[m["serial"]] = [c["expected"] for c in m["collections"] if c["unsure"] == 0]
    say(len(by_sql) > 20, f"SQL knows collections of {len(by_sql)} machines")
    wrong = {s: (v, by_us.get(s)) for s, v in by_sql.items() if by_us.get(s) != v}
    say(not wrong, f"collections as SQL has them: {list(wrong.items())[:3]}")


def variances(fleet, machines):
    """cash_variance is what was counted less what was expected, added up again."""
    told = 0
    for m in machines:
        pairs = [(c["counted"], c["expected"]) for c in m["collections"] if c["counted"] is not None and c["expected"] > 0]
        say(m["cash_variance"] == (sum(a - b for a, b in pairs) if pairs else None), f"{m['asset']}: variance")
        say((m["cash_spread"] or 0) > 0 if pairs else m["cash_spread"] is None, f"{m['asset']}: its spread {m['cash_spread']}")
        told += len(pairs)
    with open(os.path.join(fleet, "counts.csv"), encoding="ascii") as f:
        rows = sum(1 for _ in csv.DictReader(f))
    say(told > 0.7 * rows, f"{told} of {rows} counts found their collection")


def in_the_book(fleet, folder, fresh):
    """In two halves, then with nothing new; files and reads are each in the book once."""
    book, half = os.path.join(folder, "book.sqlite"), os.path.join(folder, "half")
    days = sorted(os.listdir(os.path.join(fleet, "audits")))
    os.mkdir(half)
    for day in days[:30:2]:
        shutil.copytree(os.path.join(fleet, "audits", day), os.path.join(half, day))
    run("--book", book, "watch", half)
    for day in days:
        if not os.path.exists(os.path.join(half, day)):
            shutil.copytree(os.path.join(fleet, "audits", day), os.path.join(half, day))
    both = documents(half, "--book", book, *tables(fleet))
    say(plain(both) == plain(fresh), "two halves through the book give what all at once gives")
    last = run("--book", book, "watch", half, *tables(fleet)).stdout
    say(" 0 new audits" in last, f"nothing is read twice: {last[-120:]}")
    say(plain(documents(half, "--book", book, "--again", *tables(fleet))) == plain(fresh), "again changes nothing")
    return book, half


def long_ago(book, half, folder, fresh):
    """The book is asked for the days that are judged, however far behind the newest audit they lie."""
    far = os.path.join(folder, "far.sqlite")
    shutil.copy(book, far)
    late = os.path.join(half, "late")
    os.mkdir(late)
    name = sorted(glob.glob(os.path.join(half, "*", "*.dts")))[-1]
    shutil.copy(name, os.path.join(late, re.sub(r"_\d+T\d+", "_20270601T060000", os.path.basename(name))))
    until = max(m["last_read"] for m in fresh)[:10] + "T23:59:59"
    run("--book", far, "watch", half)
    then = documents(half, "--book", far, "--until", until)
    say([(m["asset"], m["reads_arrived"]) for m in then] == [(m["asset"], m["reads_arrived"]) for m in fresh],
        "a day long ago is judged from the book as it was then")
    shutil.rmtree(late)


def acknowledged(book, half, fleet, fresh):
    what = next((m, x) for m in fresh for x in m["exceptions"] if x["open"] and x["selection"])
    name = f"{what[0]['asset']} {what[1]['rule']} {what[1]['selection']}"
    run("--book", book, "watch", half, "--acknowledge", name, codes=(2,))
    run("--book", book, "watch", half, "--acknowledge", "NOBODY watch.price-differs", "--because", "x", codes=(2,))
    run("--book", book, "watch", half, *tables(fleet), "--acknowledge", name, "--because", "new list", "--by", "A. Clerk")
    again = documents(half, "--book", book, *tables(fleet))
    known = [x for m in again for x in m["exceptions"] if x["acknowledged"]]
    say(len(known) == 1 and known[0]["rule"] == what[1]["rule"], "one exception is acknowledged and stays so")
    at = next(x["known"]["at"] for m in again for x in m["exceptions"] if x["acknowledged"])
    say(known[0]["known"] == {"because": "new list", "by": "A. Clerk", "at": at} and re.match(r"\d{4}-\d\d-\d\dT", at), f"why, who and when: {known}")
    say(all(x["known"] is None for m in again for x in m["exceptions"] if not x["acknowledged"]), "and of no other")
    names = [os.path.join(os.path.dirname(book), f"known.{e}") for e in ("json", "txt", "html", "pdf")]
    told = f"known: new list (A. Clerk, {at[:10]})"
    for option in (["--all"], ["--asset", what[0]["asset"]]):
        said = run("--book", book, "watch", half, *tables(fleet), *option, *[x for n in names for x in ("--report", n)]).stdout
        say(told in " ".join(said.split()), f"the list with {option}: {said[-900:]}")
    say("known:" not in run("--book", book, "watch", half, *tables(fleet)).stdout, "it stays quiet in the list")
    with open(names[0], encoding="utf-8") as f:
        closing = json.load(f)["known"]
    say([(x["asset"], x["rule"], x["selection"], "known: " + x["known"]) for x in closing] == [(what[0]["asset"], what[1]["rule"], what[1]["selection"], told)], f"the report: {closing}")
    for name in names[1:3]:
        with open(name, encoding="utf-8") as f:
            say(told in " ".join(f.read().split()), f"{name} closes with it")
    if shutil.which("pdftotext"):
        text = subprocess.run(["pdftotext", "-layout", names[3], "-"], capture_output=True, text=True, check=True).stdout
        say(told in " ".join(text.split()), f"on paper: {text[-600:]}")
    quiet = next(m for m in again if m["asset"] == what[0]["asset"])
    say(not any(f["rule"] == what[1]["rule"] and f["where"]["selection"] == what[1]["selection"] for f in quiet["findings"]),
        "what is acknowledged is no finding")
    sql = subprocess.run(["sqlite3", book, "select count(*), sum(acknowledged) from watch_exception; select because from watch_word"],
                         capture_output=True, text=True, check=True).stdout.split()
    say(sql == [f"{sum(len(m['exceptions']) for m in again)}|1", "new", "list"], f"the book says it in plain columns: {sql}")


def blanks(fleet, folder, fresh):
    """An asset with blanks in it can be named, too."""
    copy, book = os.path.join(folder, "blanks"), os.path.join(folder, "blanks.sqlite")
    m, x = next((m, x) for m in fresh for x in m["exceptions"] if x["open"] and x["selection"])
    for name in glob.glob(os.path.join(fleet, "audits", "*", f"{m['asset']}_*")):
        os.makedirs(copy, exist_ok=True)
        to = os.path.join(copy, os.path.basename(name).replace(m["asset"], "HALL 3 LEFT"))
        with open(name, encoding="latin-1", newline="") as f, open(to, "w", encoding="latin-1", newline="") as g:
            text = f.read().replace(m["asset"], "HALL 3 LEFT")
            g.write(re.sub(r"\nG85\*[0-9A-F]{4}", "\nG85*0000ZZ", text))
    run("--book", book, "watch", copy, "--acknowledge", f"HALL 3 LEFT {x['rule']} {x['selection']}", "--because", "new list")
    run("--book", book, "watch", copy, "--acknowledge", f"HALL 3 {x['rule']}", "--because", "new list", codes=(2,))
    known = [e for n in documents(copy, "--book", book) for e in n["exceptions"] if e["acknowledged"]]
    say([e["selection"] for e in known] == [x["selection"]], f"what an asset with blanks has is acknowledged: {known}")


def killed(fleet, folder, fresh):
    """At any moment: the next run goes on, and in the end all is as if nothing had happened."""
    book = os.path.join(folder, "killed.sqlite")
    dice = random.Random(7)
    for _ in range(6):
        p = subprocess.Popen([FETTLE, "--book", book, "watch", os.path.join(fleet, "audits")], stdout=subprocess.DEVNULL,
                             stderr=subprocess.DEVNULL)
        try:
            p.wait(dice.uniform(0.01, 0.25))
        except subprocess.TimeoutExpired:
            p.send_signal(signal.SIGKILL)
        p.wait()
    after = documents(os.path.join(fleet, "audits"), "--book", book, *tables(fleet))
    say(plain(after) == plain(fresh), "after six kills the result is the same")
    reads = subprocess.run(["sqlite3", book, "select sum(reads) from watch_part"], capture_output=True, text=True, check=True)
    files = len(glob.glob(os.path.join(fleet, "audits", "*", "*.dts")))
    say(int(reads.stdout) <= files, f"{reads.stdout.strip()} reads in the book of {files} files")


def day_by_day(folder):
    """Each day's audits as they come: small stretches become one of each month, and nothing is lost or told otherwise."""
    fleet, book, days = os.path.join(folder, "daily"), os.path.join(folder, "daily.sqlite"), os.path.join(folder, "came")
    run("practice", "fleet", "-o", fleet, "--machines", "3", "--days", "120", "--seed", "5", codes=(0,))
    os.mkdir(days)
    for day in sorted(os.listdir(os.path.join(fleet, "audits"))):
        shutil.copytree(os.path.join(fleet, "audits", day), os.path.join(days, day))
        run("--book", book, "watch", days)
    say(plain(documents(days, "--book", book)) == plain(documents(days, "--fresh")), "day by day as all at once")
    sql = ("select count(*), sum(reads), sum(strftime('%Y-%m', first_us / 1e6, 'unixepoch') <> strftime('%Y-%m', newest_us / 1e6, "
           "'unixepoch')), (select count(*) from (select 1 from watch_part group by machine, "
           "strftime('%Y-%m', newest_us / 1e6, 'unixepoch'))) from watch_part")
    count, reads, across, months = map(int, subprocess.run(["sqlite3", book, sql], capture_output=True, text=True, check=True).stdout.split("|"))
    files = len(glob.glob(os.path.join(days, "*", "*.dts")))
    say(reads == files, f"{reads} reads of {files} files")
    say(across == 0, f"{across} stretches reach over the end of a month")
    say(count < files / 2, f"{count} stretches of {files} reads")
    say(months >= 12, f"{months} months of machines")


def reports(fleet, folder):
    names = [os.path.join(folder, f"morning.{e}") for e in ("csv", "json", "txt", "html", "pdf")]
    run("watch", os.path.join(fleet, "audits"), "--fresh", *tables(fleet), *[x for n in names for x in ("--report", n)])
    with open(names[0], encoding="utf-8", newline="") as f:
        lines = list(csv.DictReader(f))
    with open(names[1], encoding="utf-8") as f:
        document = json.load(f)
    say(len(lines) == len(document["lines"]) > 3, "table and document have the same lines")
    say([x["asset"] for x in lines] == [x["asset"] for x in document["lines"]], "in the same order")
    with open(names[2], encoding="utf-8") as f:
        text = f.read()
    say(max(len(x) for x in text.splitlines()) <= 80 and all(x["asset"] in text for x in lines), "the text names each and fits")
    with open(names[3], encoding="utf-8") as f:
        html = f.read()
    say(html.count("<li>") == len(lines) and "src=" not in html and "href=" not in html, "the page fetches nothing")
    with open(names[1], encoding="utf-8") as f:
        told = json.load(f)["lines"]
    say(all((x["money"] is None) == (x["money_is"] is None) and (x["money"] or 0) >= 0 for x in told), "money is never negative, and says what it is")
    say({x["money_is"] for x in told} >= {"once", "a week"}, f"once and by the week: {[x['money_is'] for x in told]}")
    short = next(x for x in told if x["rule"] == "watch.cash-short")
    say(short["money_is"] == "once" and f"{short['money'] / 100:.2f} USD short" in short["sentence"], f"what is short is at stake: {short}")
    usual = max({x["currency"] for x in told}, key=lambda c: sum(x["currency"] == c for x in told))
    sums = {w: sum(x["money"] or 0 for x in told if x["money_is"] == w and x["currency"] == usual) for w in ("once", "a week")}
    opening = " ".join(text.split())
    say(all(f"{v / 100:.2f} {usual} {w}" in opening.split("stay")[0] for w, v in sums.items()), f"sums of one currency by kind: {sums} {opening[:300]}")
    other = sum(x["money"] is not None and x["currency"] != usual for x in told)
    say(other > 0, "the fleet has amounts of no currency")
    say(f" {other} amount" in opening.split("stay")[0][:400], f"{other} amounts are said to be left out: {opening[:300]}")
    with open(names[4], "rb") as f:
        say(f.read(5) == b"%PDF-", "the sheet is a PDF")
    if shutil.which("pdftotext"):
        pages = subprocess.run(["pdftotext", "-layout", names[4], "-"], capture_output=True, text=True, check=True).stdout.split("\f")
        say("lost or at stake" in pages[0], "the column of money has a heading on paper")
        say(any("Cash by person" in p and "Cash by route" in p for p in pages), "short tables of cash stay together")
    run("watch", os.path.join(fleet, "audits"), "--fresh", "--report", os.path.join(folder, "morning.doc"), codes=(2,))


def alone(fleet, folder, fresh):
    """With --asset every form says that it is of one machine, and tells of nobody else."""
    quiet = next(m["asset"] for m in fresh if not [x for x in m["exceptions"] if x["open"]])
    one = next(m["asset"] for m in fresh if len([x for x in m["exceptions"] if x["open"] and x["weight"] != "note"]) == 1)
    names = [os.path.join(folder, f"alone.{e}") for e in ("json", "txt", "html", "pdf")]
    for asset, things in ((quiet, "0 things stand open"), (one, "1 thing stands open")):
        said = run("watch", os.path.join(fleet, "audits"), "--fresh", *tables(fleet), "--asset", asset,
                   *[x for n in names for x in ("--report", n)]).stdout
        say(f"{asset} alone up to " in said and f": {things[0]} exception{'s' * (things[0] != '1')}, 0 acknowledged." in " ".join(said.split()), f"the list: {said}")
        say("person " not in said and "route " not in said, f"nor cash of the fleet: {said}")
        with open(names[0], encoding="utf-8") as f:
            document = json.load(f)
        say((document["alone"], document["machines"], document["persons"], document["routes"]) == (asset, 1, [], []), f"the document: {document}")
        for name in names[1:3]:
            with open(name, encoding="utf-8") as f:
                text = " ".join(f.read().split())
            say(f"{asset} alone: {things}" in text and "person" not in text, f"{name}: {text[-900:]}")
        if shutil.which("pdftotext"):
            text = subprocess.run(["pdftotext", "-layout", names[3], "-"], capture_output=True, text=True, check=True).stdout
            say(f"{asset} alone: {things}" in " ".join(text.split()) and "person" not in text, f"on paper: {text[-900:]}")


def long_table(fleet, folder, fresh):
    """A table longer than a piece is read as one: what spans two pieces is one trouble, a line keeps its number."""
    asset = next(m["asset"] for m in fresh if not m["reads_part"])
    name = os.path.join(folder, "long.csv")
    begin = 1772409600  # 2026-03-02
    with open(name, "w", encoding="ascii") as f:
        f.write('time;asset;c;"said\nby whom"\n')
        for i in range(50000):
            warm = 20000 < i <= 45000
            f.write(time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(begin + 60 * i)) + f';"{asset}";{9.5 if warm else 4.0};"a\n""b"""\n')
    say(os.path.getsize(name) > 2 << 20, "the table is longer than two pieces")
    machines = documents(os.path.join(fleet, "audits"), "--fresh", "--temperatures", name)
    found = [x for m in machines if m["asset"] == asset for x in m["exceptions"] if x["rule"] == "watch.too-warm"]
    say(len(found) == 1 and f"{24999 / 60:.1f} h" in found[0]["seen"], f"one trouble of 25,000 minutes: {found}")
    with open(name, "a", encoding="ascii") as f:
        f.write("noon;A;3;\n")
    done = run("watch", os.path.join(fleet, "audits"), "--fresh", "--temperatures", name, codes=(3,))
    say("line 100003" in done.stderr, f"the last line has its number: {done.stderr}")


def small(folder):
    """A small and short fleet: several kinds all the same, and it says exactly which, and which not and why."""
    with open(os.path.join(SOURCE, "data/practice/troubles.csv"), encoding="utf-8") as f:
        kinds = {r["kind"]: r for r in csv.DictReader(f)}
    for n, (machines, days, least) in enumerate(((30, 20, 8), (4, 8, 1), (3, 4, 0), (60, 40, 12))):
        fleet = os.path.join(folder, f"small{n}")
        said = run("practice", "fleet", "-o", fleet, "--machines", str(machines), "--days", str(days), "--seed", "5", "--json", codes=(0,)).stdout
        events = [json.loads(x) for x in said.splitlines()]
        with open(os.path.join(fleet, "key.csv"), encoding="ascii") as f:
            key = list(csv.DictReader(f))
        told = {x["kind"]: x for x in events if x["event"] == "planted"}
        say(set(told) == set(kinds), f"every kind is told of: {set(told) ^ set(kinds)}")
        for kind, x in told.items():
            rows = sum(r["kind"] == kind for r in key)
            say(x["amount"] == rows, f"{kind}: {x['amount']} said, {rows} in the key")
            say(x["amount"] or x["text"] in ("too few days", "no machine left", "too late to be seen"), f"{kind}: why not: {x}")
            short = days < int(kinds[kind]["before"]) + int(kinds[kind]["shows"]) + 1
            say(not short or x["text"] == "too few days", f"{kind} in {days} days: {x}")
        say(len({r["kind"] for r in key}) >= least, f"{machines} machines, {days} days: {len({r['kind'] for r in key})} kinds")
        keys = open(os.path.join(fleet, "key.csv"), "rb").read()
        done = run("practice", "fleet", "-o", fleet, "--machines", "2", "--days", "4", codes=(2,))
        say("new or empty" in done.stderr and open(os.path.join(fleet, "key.csv"), "rb").read() == keys, f"a fleet is not mixed: {done.stderr}")
        os.mkdir(fleet + "-people")
        people = run("practice", "fleet", "-o", fleet + "-people", "--machines", str(machines), "--days", str(days), "--seed", "5", codes=(0,)).stdout
        text = " ".join(people.split())
        say(("Nothing was planted" in text) == (not key), f"said to people: {text[-200:]}")
        say(all(f"{x['amount']} {k}" in text for k, x in told.items() if x["amount"]) and all(k in text for k in kinds), "by name")
        say(max(len(x) for x in people.splitlines()) <= 80, "and fits")
        if n == 0:
            found = documents(os.path.join(fleet, "audits"), "--fresh", *tables(fleet))
            by_kind, missed, false, weeks = watch_score.score(found, fleet)
            say(sum(k[0] for k in by_kind.values()) >= 4 and len(missed) <= 1, f"found in a small fleet: {dict(by_kind)} {missed}")
            say(len(false) <= 1, f"{len(false)} false in {weeks:.0f} machine-weeks")


def own_tables(fleet, folder):
    """Tables, reports and the book of this very run may lie among the audits and are counted as nothing."""
    here = os.path.join(folder, "own")
    shutil.copytree(os.path.join(fleet, "audits", sorted(os.listdir(os.path.join(fleet, "audits")))[0]), here)
    for t in ("counts", "settlements", "doors", "temperatures", "key"):
        shutil.copy(os.path.join(fleet, f"{t}.csv"), here)
    report = os.path.join(here, "morning.csv")
    for _ in range(2):
        said = run("--book", os.path.join(here, "book.sqlite"), "watch", here, *tables(here), "--report", report, "--again").stdout
        say("1 files hold no audit" in said or "files hold" not in said, f"only the key is no audit: {said[-200:]}")
    bare = run("watch", here, "--fresh").stdout
    say("7 files hold no audit" in bare, f"what was not named is counted: {bare[-200:]}")


def usual(fleet):
    """A variance says whether it is usual: the line of each person, and that of a machine."""
    said = run("watch", os.path.join(fleet, "audits"), "--fresh", *tables(fleet)).stdout
    lines = [x for x in said.splitlines() if re.match(r"[PR]\d\d ", x)]
    say(lines and all(re.search(r"  (usual|(falls, )?[\d.]+ times usual)$", x) for x in lines), f"variances: {lines}")
    say(max(len(x) for x in said.splitlines()) <= 80, "and fits")


def passed_over(fleet, folder):
    """What is left out is said: tables of other names, files without an audit, exceptions that ended."""
    here = os.path.join(folder, "passed")
    shutil.copytree(os.path.join(fleet, "audits"), here)
    for n in range(5):
        with open(os.path.join(here, f"scrap{n}.txt"), "w", encoding="ascii") as f:
            f.write(f"nothing {n}\n")
    bad = []
    for t in ("counts", "settlements", "doors", "temperatures"):
        with open(os.path.join(fleet, f"{t}.csv"), encoding="ascii") as f:
            head, *rows = f.read().splitlines()
        name = os.path.join(folder, f"{t}-other.csv")
        with open(name, "w", encoding="ascii") as f:
            f.write("\n".join([head] + [r.replace("PF-0", "PX-", 1) for r in rows] + ([rows[0]] if t == "doors" else [])) + "\n")
        bad += [f"--{t}", name]
    done = run("watch", here, "--fresh", *bad)
    said = " ".join(done.stdout.split())
    for t in ("counts", "settlements", "temperatures"):
        say(re.search(t + r"-other.csv: none of its [1-9]\d* rows names a machine of this fleet; the first names PX-\d+", said), f"{t}: {said[-900:]}")
    say(re.search(r"doors-other.csv: (\d+) of its \d+ rows name no machine of this fleet; the first names PX-\d+", said), f"doors: {said[-900:]}")
    say("5 files hold no audit or cannot be read: scrap0.txt, scrap1.txt, scrap2.txt and 2 more." in said, f"files are named: {said[-900:]}")
    aside = run("watch", here, "--fresh", *bad, "--json")
    say(" ".join(aside.stderr.split()).count("of this fleet") == 4 and "of this fleet" not in aside.stdout, "beside the documents it is said on the other channel")
    good = run("watch", os.path.join(fleet, "audits"), "--fresh", *tables(fleet)).stdout
    say("of this fleet" not in good and "hold no audit" not in good, "what fits is not spoken of")
    found = [x for m in documents(os.path.join(fleet, "audits"), "--fresh", *tables(fleet)) for x in m["exceptions"]]
    ended, notes = sum(not x["open"] for x in found), sum(x["open"] and x["weight"] == "note" for x in found)
    say(ended > 0 and f"Not listed: {ended} that ended or grew old" in good, f"{ended} ended, {notes} notes: {good[-200:]}")
    say((f"{notes} that {'is only a note' if notes == 1 else 'are only notes'}" in " ".join(good.split())) == (notes > 0), f"{notes} notes: {good[-200:]}")


def cut(fleet, folder, until):
    """What tables tell of later than --until was not known then: it may as well not stand in them."""
    dates = {"counts": "date", "settlements": "date", "doors": "time", "temperatures": "time"}
    audits, lasting = os.path.join(fleet, "audits"), []
    for n, (t, column) in enumerate(dates.items()):
        with open(os.path.join(fleet, f"{t}.csv"), encoding="ascii", newline="") as f:
            rows = list(csv.DictReader(f))
        kept = [r for r in rows if r[column] <= (until[:10] if column == "date" else until)]
        say(0 < len(kept) < len(rows), f"{t} go on behind {until}: {len(kept)} of {len(rows)}")
        short = os.path.join(folder, f"{t}-short.csv")
        with open(short, "w", encoding="ascii", newline="") as f:
            w = csv.DictWriter(f, rows[0])
            w.writeheader()
            w.writerows(kept)
        whole = documents(audits, "--fresh", "--until", until, *tables(fleet)[2 * n:2 * n + 2])
        say(whole == documents(audits, "--fresh", "--until", until, f"--{t}", short), f"{t} end at {until}")
        lasting += [x["ended"] for m in whole for x in m["exceptions"] if x["rule"] == "watch.too-warm"]
    return lasting


def for_clerks():
    """The numbers of our own rules stand in their source, not in sentences that clerks read."""
    rules = [r for r in map(json.loads, run("rules", "--json", codes=(0,)).stdout.splitlines()) if r["rule"].startswith("watch.")]
    say(len(rules) > 20, f"{len(rules)} rules of the watch")
    coded = [r["rule"] for r in rules if re.search(r"\(rule [A-Z]\d", " ".join(str(v) for k, v in r.items() if k != "source"))]
    say(not coded, f"codes in sentences: {coded}")


def wrong(fleet, folder):
    bad = os.path.join(folder, "bad.csv")
    for option, text in (("--counts", "date,asset\n2026-03-01,A\n"), ("--counts", "date,asset,bills,coins\n31.2.2026,A,1,1\n"),
                         ("--counts", "date,asset,bills,coins\n2026-03-01,A,x,1\n"), ("--doors", "time,asset,door\n2026-03-01T10:00:00,A,ajar\n"),
                         ("--settlements", ""), ("--temperatures", "time,asset,c\nnoon,A,3\n")):
        with open(bad, "w", encoding="ascii") as f:
            f.write(text)
        done = run("watch", os.path.join(fleet, "audits"), "--fresh", option, bad, codes=(3,))
        say("bad.csv" in done.stderr, f"{option}: the sentence names the file: {done.stderr}")
    run("watch", os.path.join(folder, "nowhere"), "--fresh", codes=(3,))
    run("watch", os.path.join(fleet, "audits"), "--fresh", "--until", "yesterday", codes=(2,))
    run("practice", "fleet", codes=(2,))


def main():
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        folder = os.path.realpath(folder)
        fleet = os.path.join(folder, "fleet")
        run("practice", "fleet", "-o", fleet, "--machines", "80", "--days", "60", "--seed", "11", codes=(0,))
        packed = os.path.join(folder, "packed")
        run("practice", "fleet", "-o", packed, "--machines", "80", "--days", "60", "--seed", "11", "--pack", codes=(0,))
        fresh = documents(os.path.join(fleet, "audits"), "--fresh", *tables(fleet))
        say(len(fresh) == 80, f"{len(fresh)} machines")
        rows = [json.loads(x) for x in run("watch", os.path.join(packed, "audits.tar"), "--fresh", "--json", "--history", *tables(packed)).stdout.splitlines()]
        say([len(m["exceptions"]) for m in rows] == [len(m["exceptions"]) for m in fresh], "an archive gives what a folder gives")
        kinds, missed, false, weeks = watch_score.score(fresh, fleet)
        planted = sum(k[0] for k in kinds.values())
        say(planted >= 15 and len(missed) <= planted * 0.1, f"{len(missed)} of {planted} planted troubles missed: {missed[:3]}")
        say(len(false) <= weeks / 100, f"{len(false)} false exceptions in {weeks:.0f} machine-weeks")
        recompute(fleet, fresh, folder)
        variances(fleet, fresh)
        book, half = in_the_book(fleet, folder, fresh)
        long_ago(book, half, folder, fresh)
        acknowledged(book, half, fleet, fresh)
        blanks(fleet, folder, fresh)
        killed(fleet, folder, fresh)
        day_by_day(folder)
        reports(fleet, folder)
        alone(fleet, folder, fresh)
        long_table(fleet, folder, fresh)
        small(folder)
        own_tables(fleet, folder)
        passed_over(fleet, folder)
        usual(fleet)
        say(cut(fleet, folder, "2026-04-07T06:00:00") == [None], "a cabinet is too warm then and was mended later")
        cut(fleet, folder, "2026-04-13T06:00:00")  # counts
        cut(fleet, folder, "2026-03-29T06:00:00")  # doors
        for_clerks()
        wrong(fleet, folder)
    print(f"{passed} passed, {failed} failed in {time.monotonic() - began:.0f} s")
    sys.exit(failed > 0)


main()

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Machines tied to their handovers: a visit is played to its handover with the practice machine, the office receives it,
and the machine lives on for weeks. What went wrong since the handover is said, and the claims of the weeks after follow.

usage: weeks.py FETTLE SOURCE
"""
import csv
import datetime
import json
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import zipfile

FETTLE, SOURCE = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
ROOM = os.path.realpath(tempfile.mkdtemp(prefix="weeks-"))
ENV = dict(os.environ, HOME=ROOM, XDG_CONFIG_HOME=ROOM + "/config", XDG_DATA_HOME=ROOM + "/data", TZ="UTC", NO_COLOR="1")
ENV.pop("FETTLE_BOOK", None)
NOW = datetime.datetime.now(datetime.timezone.utc).replace(tzinfo=None, second=0, microsecond=0)
UNIT = "TU-5520117"
failed = passed = 0


def say(ok, what):
    global failed, passed
    passed += bool(ok)
    failed += not ok
    if not ok:
        print("FAIL " + what, flush=True)


def run(*words, codes=(0, 1)):
    done = subprocess.run([FETTLE, *words], capture_output=True, text=True, env=ENV, cwd=ROOM, timeout=120, check=False)
    say(done.returncode in codes, f"{' '.join(words[:6])} ends with {done.returncode}: {done.stdout[-300:]}{done.stderr[-300:]}")
    return done


def path(*names):
    return os.path.join(ROOM, *names)


# ---- the machine and its life ----

def machine():
    with open(os.path.join(SOURCE, "data/practice/snack.machine"), encoding="ascii") as f:
        text = f.read()
    text = re.sub(r"(?m)^clock .*", f"clock {NOW:%Y-%m-%dT%H:%M}", text)
    text = re.sub(r"past from=\S+", f"past from={NOW - datetime.timedelta(days=230):%Y-%m-%dT09:00}", text)
    return re.sub(r"capacity=\d+ stock=\d+", "capacity=200 stock=180", text)


PRICES = {11: 150, 13: 150, 15: 175, 21: 125, 22: 125, 23: 200, 24: 225, 31: 100, 32: 100, 33: 175, 35: 200}
DAYS, VISITS = 16, (4, 8, 12)


def noon():
    """Of today or, where it is past, of tomorrow: reads at noon fall on one day each."""
    today = NOW.replace(hour=12, minute=0)
    return today if today > NOW else today + datetime.timedelta(days=1)


def coins(amount):
    list_ = []
    for value in (100, 25, 10, 5):
        list_ += [str(value)] * (amount // value)
        amount %= value
    return " ".join(list_)


def life(name, before=(), never=None, seed=3):
    """The visit's files, then an audit a day and the tables; `before` happens between the handover and the first audit."""
    os.mkdir(path(name))
    dice, prices = random.Random(seed), dict(PRICES)
    script = ["door open", "read before.dts FITTER01", "sales forget", "sell 21 coins 100 25", "sell 11 bill 500", "sell 24 card",
              "read after.dts FITTER01", "sales sales.csv", "door close", *before, f"wait {(noon() - NOW).seconds}"]
    for line in before:
        word = line.split()
        if word[0] == "price":
            prices[int(word[1])] = int(word[2])
    for day in range(1, DAYS + 1):
        for _ in range(24 + dice.randrange(9)):
            s = dice.choice([p for p in prices if p != never])
            script.append(f"sell {s} card" if dice.random() < 0.4 else f"sell {s} coins {coins(prices[s])}")
        if day in VISITS:
            script += ["door open", f"save box{day}.dts", "collect", "refill", "fill 10 1", "test 31", "reset", "door close"]
        script += ["wait 85400", f"read day{day}.dts OFFICE"]
    with open(path(name, "m.machine"), "w", encoding="ascii") as f:
        f.write(machine())
    with open(path(name, "s.script"), "w", encoding="ascii") as f:
        f.write("\n".join([*script, "quit"]) + "\n")
    done = subprocess.run([FETTLE, "practice", "--machine", "m.machine", "--pace", "fast", "--json", "--script", "s.script"],
                          capture_output=True, text=True, env=ENV, cwd=path(name), timeout=120, check=False)
    say(done.returncode == 0, f"practice of {name}: {done.stderr[-300:]}{done.stdout[-300:]}")
    lay_out(name, [json.loads(x) for x in done.stdout.splitlines()[1:]])


def at(event):
    return datetime.datetime.fromisoformat(event["at"])


def lay_out(name, events):
    """Audits under the unit's name with the time of their reading; counts, door and cabinet as tables."""
    reads = [at(e) for e in events if e["event"] == "read" and "OFFICE" in e["text"]]
    doors = [(at(e), "open" if "open" in e["text"] else "closed") for e in events if e["event"] == "door"]
    emptied = [at(e) for e in events if e["event"] == "paid_out" and "emptied" in e["text"]]
    say(len(reads) == DAYS and len(emptied) == len(VISITS), f"{name}: {len(reads)} reads, {len(emptied)} collections")
    os.mkdir(path(name, "audits"))
    for day, when in enumerate(reads, 1):
        os.rename(path(name, f"day{day}.dts"), path(name, "audits", f"{UNIT}_{when:%Y%m%dT%H%M%S}.dts"))
    with open(path(name, "counts.csv"), "w", newline="", encoding="ascii") as f:
        rows = csv.writer(f)
        rows.writerow(["date", "asset", "bills", "coins", "by"])
        for day, when in zip(VISITS, emptied):
            bills, box = in_box(path(name, f"box{day}.dts"))
            rows.writerow([f"{when:%Y-%m-%d}", "HL-0932", f"{bills / 100:.2f}", f"{box / 100:.2f}", "P1"])
    with open(path(name, "doors.csv"), "w", newline="", encoding="ascii") as f:
        rows = csv.writer(f)
        rows.writerow(["time", "asset", "door"])
        rows.writerows([f"{when:%Y-%m-%dT%H:%M:%S}", "HL-0932", door] for when, door in doors[2:])
    with open(path(name, "temperatures.csv"), "w", newline="", encoding="ascii") as f:
        rows = csv.writer(f)
        rows.writerow(["time", "asset", "c", "alarm"])
        for hour in range(1, 24 * DAYS):
            rows.writerow([f"{NOW + datetime.timedelta(hours=hour):%Y-%m-%dT%H:%M:%S}", "HL-0932", f"{3 + hour % 3 / 10:.1f}", 0])


def in_box(audit):
    """Bills and coins since the last reset, cut out of the audit by hand: CA310 or CA304, CA302."""
    with open(audit, encoding="latin-1") as f:
        fields = next(line for line in re.split(r"[\r\n]+", f.read()) if line.startswith("CA3*")).split("*")
    return int(fields[9] or 0), int(fields[2] or 0)


def handed_over(name):
    """Fitter's book, package, office's book."""
    folder = path(name)
    fitter, office, package = (os.path.join(folder, x) for x in ("fitter.sqlite", "office.sqlite", "handover.zip"))
    run("--book", fitter, "visit", "open", "HL-0932", "--machine-serial", "PL7730418", "--unit", UNIT, "--by", "A. Fitter",
        "--without", "bus,supply,antenna")
    run("--book", fitter, "visit", "add", "HL-0932", *(os.path.join(folder, x) for x in ("before.dts", "after.dts", "sales.csv")))
    run("--book", fitter, "visit", "close", "HL-0932", "--open-claims")
    run("--book", fitter, "handover", "pack", "HL-0932-1", "-o", package)
    run("--book", office, "handover", "receive", package)
    return office


# ---- what the office sees ----

def watched(name, office, *more, tables=("counts", "doors", "temperatures")):
    options = [x for t in tables for x in (f"--{t}", path(name, f"{t}.csv"))]
    out = run("--book", office, "watch", path(name, "audits"), "--json", *options, *more).stdout.splitlines()
    say(len(out) == 1, f"{name}: one machine, {len(out)} documents")
    return json.loads(out[0])


def claims(office, code=None):
    done = run("--book", office, "visit", "show", "HL-0932-1", "--json")
    document = json.loads(done.stdout)
    say(code is None or done.returncode == code, f"visit show ends with {done.returncode}, not {code}")
    return document, {c["id"]: c for c in document["claims"]}


def after(office, what, **stands):
    document, by_id = claims(office)
    for word, wanted in stands.items():
        c = by_id["watch." + word]
        say(c["stands"] == wanted, f"{what}: watch.{word} stands {c['stands']}, not {wanted}: {c['because']}")
    return document, {k[6:]: c["because"] for k, c in by_id.items() if k.startswith("watch.")}


def rules(document):
    return sorted((x["rule"], x["selection"]) for x in document["exceptions"])


def honest():
    life("honest")
    office = handed_over("honest")
    document, why = after(office, "before any audit", reads="open", cash="open", events="open")
    say("Nothing is here yet" in why["reads"], f"nothing came yet: {why['reads']}")
    early = watched("honest", office, "--until", f"{NOW + datetime.timedelta(days=3):%Y-%m-%dT%H:%M:%S}")
    say(early["handover"]["visit"] == "HL-0932-1" and early["handover"]["unit"] == UNIT, f"tied: {early['handover']}")
    document, why = after(office, "after three days", reads="open", cash="open", events="open")
    say("of 7 days have passed" in why["reads"], f"too few days: {why['reads']}")
    say("collections" in why["cash"] and "2 are needed" in why["cash"], f"too few counts: {why['cash']}")
    full = watched("honest", office)
    say(not full["exceptions"] and full["verdict"] == "shown", f"an honest machine gives nothing: {rules(full)}")
    say(full["handover"]["reads_arrived"] == DAYS, f"reads since the handover: {full['handover']}")
    document, why = after(office, "honest", reads="shown", cash="shown", events="shown")
    say(re.search(rf"Audits came on {DAYS} of ({DAYS}|{DAYS + 1}) days", why["reads"]) and " sales for " in why["reads"], why["reads"])
    say("3 collections" in why["cash"] and "0.00 USD" in why["cash"], why["cash"])
    say("3 openings" in why["events"], why["events"])
    say(document["verdict"] != "contradicted", "the visit is not contradicted")
    filed = [e for e in document["visit"]["evidence"] if e["kind"] == "weeks"]
    say(len(filed) == 1 and filed[0]["stage"] == "watch", f"one table of the weeks after is filed: {filed}")
    again = watched("honest", office, tables=())
    say(not again["exceptions"], "a run without tables")
    document2, why2 = after(office, "a run without tables", reads="shown", cash="shown", events="shown")
    say(why2 == why and len([e for e in document2["visit"]["evidence"] if e["kind"] == "weeks"]) == 1, "keeps what was told before")
    watched("honest", office, "--until", f"{NOW + datetime.timedelta(days=3):%Y-%m-%dT%H:%M:%S}")
    say(after(office, "an earlier look")[1] == why, "an earlier look takes nothing back")
    text = run("--book", office, "watch", path("honest", "audits"), "--asset", "HL-0932").stdout
    say("handed over on" in text and "visit HL-0932-1" in text and f"{DAYS} of " in text, f"said to people: {text}")
    run("--book", office, "handover", "pack", "HL-0932-1", "-o", path("honest", "again.zip"))
    verified = json.loads(run("handover", "verify", path("honest", "again.zip"), "--json", codes=(0,)).stdout)
    say({c["id"]: c["stands"] for c in verified["claims"]}["watch.reads"] == "shown", "the package carries the weeks after")
    run("--book", office, "handover", "receive", path("honest", "handover.zip"))
    say(after(office, "received again")[1] == why, "the fitter's package once more changes nothing")
    return office


def short(office):
    """A fifth of the second collection is gone: the claim is contradicted and with it the visit."""
    with open(path("honest", "counts.csv"), encoding="ascii") as f:
        rows = list(csv.reader(f))
    rows[2][3] = f"{float(rows[2][3]) * 0.8 - 8:.2f}"
    with open(path("honest", "counts.csv"), "w", newline="", encoding="ascii") as f:
        csv.writer(f).writerows(rows)
    document = watched("honest", office)
    say(("watch.cash-short", None) in rules(document), f"short: {rules(document)}")
    visit, why = after(office, "short", reads="shown", cash="contradicted", events="shown")
    say(visit["verdict"] == "contradicted" and "a collection holds less" in why["cash"], why["cash"])
    by_claim = next(c for c in visit["claims"] if c["id"] == "watch.cash")
    weeks = next(e for e in visit["visit"]["evidence"] if e["kind"] == "weeks")
    say(by_claim["evidence"] == [weeks["hash"]], f"it rests on the table: {by_claim['evidence']}")
    say(any(f["rule"] == "watch.cash-short" for f in visit["findings"]), "with the finding")
    run("--book", office, "handover", "pack", "HL-0932-1", "-o", path("honest", "short.zip"))
    with zipfile.ZipFile(path("honest", "short.zip")) as z:
        z.extract("handover.pdf", path("honest"))
    if shutil.which("pdftotext"):
        sheet = " ".join(subprocess.run(["pdftotext", "-f", "1", "-l", "1", path("honest", "handover.pdf"), "-"],
                                        capture_output=True, text=True, check=True).stdout.split())
        say("The weeks after speak against the handover" in sheet and "a collection holds less" in sheet.lower(), sheet[:600])
    run("--book", office, "watch", path("honest", "audits"), "--counts", path("honest", "counts.csv"),
        "--acknowledge", "HL-0932 watch.cash-short", "--because", "the bag tore, and was found")
    after(office, "acknowledged", cash="shown")


def priced():
    """A price that was changed before the first audit came: only the handover knows what it was."""
    life("priced", before=["price 21 250"])
    untied = json.loads(run("watch", path("priced", "audits"), "--fresh", "--json").stdout)
    say(untied["handover"] is None and not untied["exceptions"], f"without a book nobody sees it: {rules(untied)}")
    office = handed_over("priced")
    document = watched("priced", office)
    say(rules(document) == [("watch.price-differs", "21")], f"priced: {rules(document)}")
    x = document["exceptions"][0]
    say(x["seen"] == "selection 21 costs 2.50 USD" and x["expected"] == "1.25 USD as handed over (visit HL-0932-1)", f"{x}")
    say(x["before"] is None and x["after"], "the evidence is the first audit")
    _, why = after(office, "priced", reads="open", cash="shown", events="shown")
    say("selection 21" in why["reads"] and "1.25 USD as handed over" in why["reads"], why["reads"])
    fresh = json.loads(run("--book", office, "watch", path("priced", "audits"), "--fresh", "--json").stdout)
    say(rules(fresh) == rules(document), "the same with --fresh, which keeps nothing and looks into the book")


def mapped_wrongly():
    life("never", never=24)
    office = handed_over("never")
    document = watched("never", office)
    say(rules(document) == [("watch.never-sold", "24")], f"never: {rules(document)}")
    say("before the fit" in document["exceptions"][0]["expected"], document["exceptions"][0]["expected"])
    _, why = after(office, "never", reads="open", cash="shown")
    say("selection 24" in why["reads"], why["reads"])


def forgotten():
    """Counters lower than at the handover: they began anew before the first audit came."""
    with open(os.path.join(SOURCE, "data/practice/snack.machine"), encoding="ascii") as f:
        say("firmware " in f.read(), "the machine's description has a firmware line")
    global machine
    usual = machine
    machine = lambda: re.sub(r"(?m)^firmware .*", "firmware meters", usual())  # noqa: E731
    life("forgotten", before=["firmware 0314"])
    machine = usual
    office = handed_over("forgotten")
    document = watched("forgotten", office, "--history", tables=())
    say([r for r, _ in rules(document)] == ["watch.counters-anew"], f"forgotten: {rules(document)}")
    say(not document["exceptions"][0]["open"], "it is too long ago to be listed")
    say("at the handover (visit HL-0932-1)" in document["exceptions"][0]["seen"], document["exceptions"][0]["seen"])
    _, why = after(office, "forgotten", reads="open")
    say("lower than at the handover" in why["reads"], f"and still speaks against the claim: {why['reads']}")
    run("--book", office, "watch", path("forgotten", "audits"), "--acknowledge", "HL-0932 watch.counters-anew", "--because", "asked for")
    after(office, "forgotten and acknowledged", reads="shown")


def silent():
    """Nothing ever comes of a machine that was handed over: it is in no list, so that somebody must say it."""
    os.mkdir(path("silent"))
    for name in ("before.dts", "after.dts", "sales.csv"):
        with open(path("honest", name), "rb") as f, open(path("silent", name), "wb") as g:
            g.write(f.read())
    office = handed_over("silent")
    os.mkdir(path("silent", "audits"))
    for day in range(1, 13):  # another machine's audits: time goes on
        when = NOW + datetime.timedelta(days=day)
        with open(path("priced", "audits", sorted(os.listdir(path("priced", "audits")))[0]), "rb") as f:
            text = f.read().replace(b"PL7730418", b"PL0000001").replace(b"HL-0932", b"HL-0001")
        text = re.sub(rb"(VA1\*\d*\*)(\d+)", lambda m: m[1] + str(int(m[2]) + 30 * day).encode(), text)
        text = re.sub(rb"G85\*[0-9A-F]*[\r\n]*", b"", text)
        with open(path("silent", "audits", f"HL-0001_{when:%Y%m%dT%H%M%S}.dts"), "wb") as f:
            f.write(text)
    said = " ".join(run("--book", office, "watch", path("silent", "audits")).stdout.split())
    say(f"no audit came since: HL-0932 of {NOW:%Y-%m-%d} (visit HL-0932-1)." in said, f"said: {said[-300:]}")
    run("--book", office, "watch", path("silent", "audits"), "--report", path("silent", "morning.csv"), "--report", path("silent", "morning.pdf"))
    with open(path("silent", "morning.csv"), encoding="utf-8", newline="") as f:
        rows = [r for r in csv.DictReader(f) if r["asset"] == "HL-0932"]
    say(len(rows) == 1 and rows[0]["rule"] == "watch.reads-missing", f"in the morning report: {rows}")
    _, why = after(office, "silent", reads="open")
    say("no audit since" in why["reads"], why["reads"])
    early = run("--book", office, "watch", path("silent", "audits"), "--until", f"{NOW + datetime.timedelta(days=2):%Y-%m-%dT%H:%M:%S}")
    say("no audit came since" not in early.stdout, "two days are not too long")


def main():
    office = honest()
    short(office)
    priced()
    mapped_wrongly()
    forgotten()
    silent()
    print(f"{passed} passed, {failed} failed")
    subprocess.run(["rm", "-r", ROOM], check=True)
    sys.exit(failed > 0)


main()

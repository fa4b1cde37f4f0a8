#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The command bus from the outside. The captures are made here, bit by bit, by code that shares nothing with the
program: a changer, a validator and a reader after the worked exchanges of docs/bus.md, and the sales of
tests/sales/sample-1.csv as they would have passed on the bus of that machine.

usage: bus.py FETTLE SOURCE
"""
import csv
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as tree

FETTLE = os.path.abspath(sys.argv[1])
SOURCE = os.path.abspath(sys.argv[2])
failed = passed = 0
BIT_NS = 1e9 / 9600


def say(ok, what):
    global failed, passed
    passed += bool(ok)
    failed += not ok
    if not ok:
        print("FAIL " + what, flush=True)


class Bus:
    """Words on two lines with their times, and what was meant by them."""

    def __init__(self, response_ms=1.0, late=()):
        self.t = 0.34e9
        self.words = []  # (start ns, line, byte, mode)
        self.breaks = [(0.02e9, 0.14e9)]
        self.responses = {}
        self.response_ms = response_ms
        self.late = dict(late)
        self.exchanges = 0
        self.turn = 0

    def word(self, line, byte, mode):
        self.words.append((self.t, line, byte, mode))
        self.t += 11 * BIT_NS

    def ask(self, command, answer=None):
        """command without its check byte; answer None: ACK, "": silence, else bytes without their check byte."""
        command = list(command) + [sum(command) & 0xff]
        for i, b in enumerate(command):
            self.word("C", b, i == 0)
        address = command[0] & 0xf8
        self.exchanges += 1
        if answer != "":
            self.turn += 1
            wait = self.late.get(address, self.response_ms + self.turn % 7 * 0.13)
            self.t += wait * 1e6
            self.responses.setdefault(address, []).append(wait * 1000)
            if answer is None:
                self.word("P", 0, True)
            else:
                data = list(answer) + [sum(answer) & 0xff]
                for i, b in enumerate(data):
                    self.word("P", b, i == len(data) - 1)
                self.t += 0.4e6
                self.word("C", 0, False)
        else:
            self.t += 6e6
        self.t += 14e6

    def poll(self, rounds=1):
        for _ in range(rounds):
            for first in (0x0B, 0x33, 0x12):
                self.ask([first])

    # ---- a machine ----

    def power_up(self, currency=(0x18, 0x40), coins=(1, 2, 5, 20), scale=5, cash_sale=True):
        self.ask([0x60], "")
        self.ask([0x0B], [0x0B])
        self.ask([0x09], [3, *currency, scale, 2, 0x00, 0x0F, *coins, *[0] * (16 - len(coins))])
        self.ask([0x0F, 0x00], [*b"ZZZ000000000017CHANGER MK2  ", 0x01, 0x00, 0, 0, 0, 0])
        self.ask([0x0A], [0, 0, 30, 40, 35, 20, *[0] * 12])
        self.ask([0x33], [0x06, 0x09])
        self.ask([0x31], [1, *currency, 0, 100, 2, 2, 0x58, 0, 0, 0xFF, 1, 2, 5, *[0] * 13])
        self.ask([0x36], [0, 0])
        self.ask([0x12], [0])
        self.ask([0x11, 0x00, 3, 0, 0, 1], [1, 3, *currency, 1, 2, 5, 0x09 if cash_sale else 0x01])
        self.ask([0x11, 0x01, 0xFF, 0xFF, 0, 0])
        self.ask([0x17, 0x00, *b"ZZZ000000000001CONTROL 7   ", 0, 1],
                 [9, *b"ZZZ000000000023READER 5    ", 1, 0, 0, 0, 0, 0][:30 + 5])
        self.ask([0x14, 0x01])
        self.ask([0x0C, 0x00, 0x3F, 0x00, 0x0F])
        self.ask([0x34, 0x00, 0x07, 0x00, 0x07])

    def coins_in(self, cents, values=((3, 100), (2, 25), (1, 10), (0, 5))):
        for kind, value in values:
            while cents >= value:
                self.ask([0x0B], [(0x50 if kind < 2 else 0x40) | kind, 0x15])
                cents -= value
        assert cents == 0

    def bills_in(self, cents, values=((2, 500), (1, 200), (0, 100))):
        for kind, value in values:
            while cents >= value:
                self.ask([0x33], [0x90 | kind])
                self.ask([0x35, 0x01])
                self.ask([0x33], [0x80 | kind])
                cents -= value
        assert cents == 0

    def change(self, cents, values=((2, 25), (1, 10), (0, 5))):
        for kind, value in values:
            n = cents // value
            while n:
                self.ask([0x0D, min(n, 15) << 4 | kind])
                self.ask([0x0B], [0x02])
                cents -= value * min(n, 15)
                n -= min(n, 15)
        assert cents == 0

    def cash(self, item, cents, tendered, bill, tell=True):
        (self.bills_in if bill else self.coins_in)(tendered)
        self.poll()
        self.change(tendered - cents)
        if tell:
            self.ask([0x13, 0x05, cents >> 8, cents & 255, item >> 8, item & 255])
        self.poll(2)

    def card(self, item, cents, fails=False):
        self.ask([0x12], [3, 0x03, 0xE8, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0])
        self.ask([0x13, 0x00, cents >> 8, cents & 255, item >> 8, item & 255])
        self.poll()
        self.ask([0x12], [5, cents >> 8, cents & 255])
        self.poll()
        self.ask([0x13, 0x03] if fails else [0x13, 0x02, item >> 8, item & 255])
        self.ask([0x12])
        self.ask([0x13, 0x04])
        self.ask([0x12], [7])
        self.poll(2)

    # ---- as files ----

    def vcd(self, path, inverted=(), names=("MTX", "MRX")):
        edges = []
        for start, line, byte, mode in self.words:
            bits = [0] + [byte >> i & 1 for i in range(8)] + [int(mode), 1]
            level = 1
            for i, b in enumerate(bits):
                if b != level:
                    edges.append((round((start + i * BIT_NS) / 1000), line, b))
                    level = b
        for a, b in self.breaks:
            edges += [(round(a / 1000), "C", 0), (round(b / 1000), "C", 1)]
        edges.sort(key=lambda e: e[0])
        with open(path, "w") as f:
            f.write("$timescale 1 us $end\n$scope module tap $end\n$var wire 1 ! %s $end\n$var wire 1 \" %s $end\n"
                    "$upscope $end\n$enddefinitions $end\n#0\n" % names)
            for i, line in enumerate("CP"):
                f.write("%d%s\n" % (line not in inverted, "!\""[i]))
            at = 0
            for t, line, b in edges:
                if t != at:
                    f.write("#%d\n" % t)
                    at = t
                f.write("%d%s\n" % (b ^ (line in inverted), "!" if line == "C" else '"'))
            f.write("#%d\n" % (at + 50000))

    def text(self, path):
        with open(path, "w") as f:
            f.write("bus-words 1\n")
            for start, line, byte, mode in self.words:
                f.write("%.3f %s %02X%s\n" % (start / 1000, line, byte, "*" if mode else ""))


def run(folder, *args, codes=(0,)):
    p = subprocess.run([FETTLE, *args], cwd=folder, capture_output=True, text=True, timeout=120)
    say(p.returncode in codes, f"{' '.join(args)} ends with {p.returncode}: {p.stderr}")
    return p


def document(folder, *args, codes=(0,)):
    p = run(folder, *args, "--json", codes=codes)
    try:
        return json.loads(p.stdout)
    except ValueError:
        say(False, f"{' '.join(args)} prints no document")
        return {"peripherals": [], "sales": [], "money": [], "findings": [], "lines": {}, "verdict": None, "witnesses": []}


def near(a, b, within):
    return a is not None and abs(a - b) <= within


def worked_machine(**how):
    b = Bus(**how)
    b.power_up()
    b.poll(30)
    b.cash(12, 150, 200, True)
    b.poll(10)
    b.card(14, 175)
    b.card(14, 175, fails=True)
    b.poll(10)
    return b


def clean(folder):
    b = worked_machine()
    b.vcd(os.path.join(folder, "clean.vcd"))
    d = document(folder, "bus", "clean.vcd")
    say(d["verdict"] == "shown", f"a clean capture is shown, not {d['verdict']}: {[f['rule'] for f in d['findings'] if f['weight'] != 'note']}")
    say(d.get("format") == "vcd" and d.get("timing_known") is True and d.get("decimals") == 2 and d.get("currency") == "USD",
        f"format, times, decimals, currency: {[d.get(k) for k in ('format', 'timing_known', 'decimals', 'currency')]}")
    say(d.get("exchanges") == b.exchanges, f"{d.get('exchanges')} of {b.exchanges} exchanges")
    for line, letter in (("controller", "C"), ("peripheral", "P")):
        x = d["lines"].get(line, {})
        say(x.get("words") == sum(w[1] == letter for w in b.words), f"{line}: {x.get('words')} words")
        say(near(x.get("baud"), 9600, 20) and x.get("framing_errors") == 0 and x.get("inverted") is False, f"{line}: {x}")
    found = {p["address"]: p for p in d["peripherals"]}
    say(set(found) == {"08", "10", "30", "60"}, f"who is on the bus: {sorted(found)}")
    for address, times in b.responses.items():
        p = found.get("%02X" % address, {})
        r = p.get("response_us") or {}
        say(p.get("answered") == len(times), f"{address:02X} answered {p.get('answered')} of {len(times)}")
        say(near(r.get("min"), min(times), 3) and near(r.get("max"), max(times), 3), f"{address:02X}: {r}, {min(times)} to {max(times)}")
        say(near(r.get("median"), statistics.median(times), 0.05 * statistics.median(times) + 2), f"{address:02X}: median {r.get('median')}")
    say(found.get("60", {}).get("answered") == 0 and found.get("60", {}).get("response_us") is None, "60 never answers")
    say(found.get("08", {}).get("identity", {}) and found["08"]["identity"]["serial"] == "000000000017", "the changer's serial number")
    say([(s["selection"], s["price"], s["paid_with"], s["outcome"]) for s in d["sales"]] ==
        [("12", 150, "cash", "sold"), ("14", 175, "card", "sold"), ("14", 175, "card", "failed")], f"sales: {d['sales']}")
    # a bill that is stacked came in once, whatever the escrow said of it before; 0.50 went out again
    say(sum(m["value"] for m in d["money"] if m["value"] and m["value"] > 0 and m["route"] == "cash box") == 200, f"money in: {d['money']}")
    say(sum(m["value"] for m in d["money"] if m["value"] and m["value"] < 0) == -50, f"money out: {d['money']}")
    return b


def with_times(said, at, lasts, after, answer_lasts, response):
    """A row of the traffic as --blocks would have printed it."""
    half = lambda part, begins, takes: part and {"at_us": begins, "until_us": begins + takes, **part}
    return {**said, "at_us": at, "response_us": response, "command": half(said["command"], at, lasts), "stray": half(said["stray"], at, lasts),
            "answer": said["answer"] and half(said["answer"], at + after, answer_lasts)}


def words_and_blocks(folder, b):
    lines = [json.loads(x)["word"] for x in run(folder, "bus", "clean.vcd", "--words", "--json").stdout.splitlines()]
    got = [(w["line"][0].upper(), w["byte"], w["mode"]) for w in lines if w["kind"] == "word"]
    say(got == [(w[1], w[2], w[3]) for w in b.words], "--words gives every word that was sent")
    say(all(near(w["at_us"], s[0] / 1000, 2) for w, s in zip([w for w in lines if w["kind"] == "word"], b.words)), "at its time")
    blocks = [json.loads(x)["block"] for x in run(folder, "bus", "clean.vcd", "--blocks", "--json").stdout.splitlines()]
    say(sum(x["kind"] == "exchange" for x in blocks) == b.exchanges, "--blocks gives every exchange")
    say(sum(x["kind"] == "bus-reset" for x in blocks) == 1, "and the reset of the bus")
    say(all(x["means"] for x in blocks if x["kind"] == "exchange"), "each with its meaning")
    traffic = json.loads(run(folder, "bus", "clean.vcd", "--traffic", "--json").stdout)["traffic"]
    say([with_times(traffic["said"][row[0]], *row[1:]) for row in traffic["blocks"]] == blocks, "--traffic holds what --blocks prints")
    say(len(traffic["said"]) < len(blocks) / 2, f"and says once what is said again: {len(traffic['said'])} of {len(blocks)}")
    window = ("--json", "--from", "0.5", "--to", "1")
    part = json.loads(run(folder, "bus", "clean.vcd", "--traffic", *window).stdout)["traffic"]["blocks"]
    inside = [json.loads(x)["block"]["at_us"] for x in run(folder, "bus", "clean.vcd", "--blocks", *window).stdout.splitlines()]
    say([row[1] for row in part] == inside and 0 < len(part) < len(blocks), f"a part of it: {len(part)} of {len(inside)}")
    for wrong in (("--traffic",), ("--traffic", "--json", "--blocks")):
        run(folder, "bus", "clean.vcd", *wrong, codes=(2,))
    text = run(folder, "bus", "clean.vcd", "--blocks").stdout
    say(max(map(len, text.splitlines())) <= 80 and "silence" in text, "--blocks keeps to 80 columns")
    say(len(run(folder, "bus", "clean.vcd", "--words").stdout.splitlines()) == len(lines), "--words as text has as many lines")


def other_ways(folder):
    whole = document(folder, "bus", "clean.vcd")
    b = worked_machine()
    for name, inverted in (("controller", "C"), ("peripheral", "P"), ("both", "CP")):
        b.vcd(os.path.join(folder, name + ".vcd"), inverted=inverted)
        for how in ((), ("--invert", name)):
            d = document(folder, "bus", name + ".vcd", *how)
            say(d["sales"] == whole["sales"] and d["verdict"] == "shown", f"{name} inverted {how}: {d['verdict']}")
            say([d["lines"][k]["inverted"] for k in ("controller", "peripheral")] == [x in inverted for x in "CP"], f"{name} is told")
    for how in (("--controller", "MTX", "--peripheral", "MRX"), ("--controller", "0", "--peripheral", "1")):
        say(document(folder, "bus", "clean.vcd", *how)["sales"] == whole["sales"], f"lines named {how}")
    b.text(os.path.join(folder, "clean.words"))
    d = document(folder, "bus", "clean.words")
    say([s["outcome"] for s in d["sales"]] == [s["outcome"] for s in whole["sales"]], "words as text tell the same sales")
    text = run(folder, "bus", "clean.vcd").stdout
    say(max(map(len, text.splitlines())) <= 80, "the report keeps to 80 columns")
    say(text.startswith("Shown: every peripheral") and "coin changer" in text and "never answered" in text, f"the report: {text[:200]}")


def late(folder):
    worked_machine(late={0x10: 8.2}).vcd(os.path.join(folder, "late.vcd"))
    d = document(folder, "bus", "late.vcd", codes=(1,))
    rules = [f["rule"] for f in d["findings"] if f["weight"] == "fault"]
    say(d["verdict"] == "contradicted" and "bus.late-answer" in rules, f"a reader that is always late: {rules}")
    p = [x for x in d["peripherals"] if x["address"] == "10"]
    say(p and p[0]["late"] == p[0]["answered"] and near(p[0]["response_us"]["median"], 8200, 330), "its times are told")
    say("!" in run(folder, "bus", "late.vcd", codes=(1,)).stdout, "and marked")


def picture(folder):
    for args, wanted in ((("late.vcd",), ("late answer", "What was found", "Sale: item 12 for 1.50 by cash, sold")),
                         (("clean.vcd", "--from", "0.3", "--to", "0.42"), ("Block by block", "one square is 0.2 ms")),
                         (("clean.vcd", "--from", "0.3", "--to", "3"), ("Block by block", "one square is 1 ms"))):
        run(folder, "bus", *args, "--svg", "a.svg", codes=(0, 1))
        run(folder, "bus", *args, "--svg", "b.svg", codes=(0, 1))
        one, two = (open(os.path.join(folder, x), "rb").read() for x in ("a.svg", "b.svg"))
        say(one == two, f"{args} is drawn alike twice")
        root = tree.fromstring(one)
        text = "\n".join(x.text or "" for x in root.iter("{http://www.w3.org/2000/svg}text"))
        say(all(w in text for w in wanted), f"{args}: {[w for w in wanted if w not in text]} missing")
        say(len(one) < 2_000_000 and float(root.get("height")) < 20000, f"{args} stays a picture: {root.get('height')}")
    overlaps(folder)


def overlaps(folder):
    """No two texts that begin on one line begin inside each other, measured roughly at half their size a letter."""
    root = tree.fromstring(open(os.path.join(folder, "a.svg"), "rb").read())
    rows = {}
    for x in root.iter("{http://www.w3.org/2000/svg}text"):
        kind = x.get("class", "").split()[0]
        wide = len(x.text or "") * {"s": 4.6, "b": 5.3, "st": 5.8, "x": 5.6}.get(kind, 8)
        left = float(x.get("x")) - {"middle": wide / 2, "end": wide}.get(x.get("text-anchor"), 0)
        rows.setdefault(float(x.get("y")), []).append((left, left + wide, x.text))
    bad = [(a[2], b[2]) for row in rows.values() for a, b in zip(sorted(row), sorted(row)[1:]) if b[0] < a[1] - 1]
    say(not bad, f"texts over each other: {bad[:4]}")


def sample_sales(folder, tell=True, leave_out=(), price_of=None):
    """The sales of sample-1.csv on the bus; free and test vends are not on it."""
    b = Bus()
    b.power_up(cash_sale=tell)
    b.poll(5)
    with open(os.path.join(SOURCE, "tests", "sales", "sample-1.csv"), newline="") as f:
        rows = list(csv.DictReader(x for x in f if not x.startswith("#")))
    for i, r in enumerate(rows):
        cents = round(float(r["price"]) * 100)
        cents = (price_of or {}).get(i, cents)
        if i in leave_out or r["paid_with"] in ("test", "free", "token"):
            continue
        if r["paid_with"] == "card":
            b.card(int(r["selection"]), cents)
        else:
            b.cash(int(r["selection"]), cents, round(float(r["tendered"]) * 100), r["paid_with"] == "bill", tell)
    return b, rows


def proving(folder):
    before, after, listed = (os.path.join(SOURCE, "tests", x) for x in ("samples/sample-1.dts", "samples/sample-1b.dts", "sales/sample-1.csv"))
    b, rows = sample_sales(folder)
    b.vcd(os.path.join(folder, "sold.vcd"))
    d = document(folder, "prove", before, after, "--bus", "sold.vcd")
    says = {w["name"]: w for w in d["witnesses"]}
    say(d["verdict"] == "shown" and d["agree"] is True, f"the bus alone: {d['verdict']}, {[f for f in d['findings'] if f['weight'] != 'note'][:3]}")
    say(says.get("bus capture", {}).get("agrees") is True and says.get("fitter's list", {}).get("says") is None, f"witnesses: {says}")
    say(any("test and free vends" in (f["expected"] or "") for f in d["findings"]), "that it sees no free vends is said")
    d = document(folder, "prove", before, after, "--bus", "sold.vcd", "--sales", listed)
    say(d["verdict"] == "shown" and d["differ"] == 0 and d["alone"] is None, f"list and bus: {d['verdict']}, {d['differ']} differ")
    run(folder, "bus", "sold.vcd", "--sales", "seen.csv")
    d = document(folder, "prove", before, after, "--sales", "seen.csv", codes=(0, 1))
    say([c for c in d["counters"] if c["element"] == "CA201" and c["expected"] == c["observed"]], "the written list is one that prove takes")
    # one sale missing in the list; another price on the bus; a sale that the bus did not see
    kept = [r for r in csv.DictReader(x for x in open(listed) if not x.startswith("#"))]
    with open(os.path.join(folder, "short.csv"), "w", newline="") as f:
        w = csv.DictWriter(f, kept[0].keys())
        w.writeheader()
        w.writerows(kept[:7] + kept[8:])
    d = document(folder, "prove", before, after, "--bus", "sold.vcd", "--sales", "short.csv", codes=(1,))
    say(d["verdict"] == "contradicted" and d["differ"] == 1 and d["alone"] == "fitter's list", f"a sale missing in the list: {d['differ']}, {d['alone']}")
    text = run(folder, "prove", before, after, "--bus", "sold.vcd", "--sales", "short.csv", codes=(1,)).stdout
    text = " ".join(text.split())
    say("the list says otherwise" in text and "no such sale" in text, f"in words: {text[:300]}")
    card = next(i for i, r in enumerate(rows) if r["paid_with"] == "card")
    b, _ = sample_sales(folder, leave_out={card})
    b.vcd(os.path.join(folder, "missed.vcd"))
    d = document(folder, "prove", before, after, "--bus", "missed.vcd", "--sales", listed, codes=(1,))
    say(d["differ"] == 1 and d["alone"] == "bus capture", f"a sale missing on the bus: {d['differ']}, {d['alone']}")
    d = document(folder, "prove", before, after, "--bus", "missed.vcd", codes=(1,))
    say(d["stories"] and d["stories"][0]["kind"] in ("unlisted-sale", "counted-twice"), f"alone: {[s['detail'] for s in d['stories']]}")
    b, _ = sample_sales(folder, tell=False)
    b.vcd(os.path.join(folder, "untold.vcd"))
    d = document(folder, "prove", before, after, "--bus", "untold.vcd")
    say(d["verdict"] == "open" and d["agree"] is None, f"no reader is told of cash: {d['verdict']}")
    say(any(f["weight"] == "doubt" and "paid in cash" in (f["expected"] or "") for f in d["findings"]), "which is said")
    say(any(c["title"].startswith("cash put in") and c["expected"] == c["observed"] for c in d["counters"]), "the cash itself is set against CA3")


def visit(folder):
    env = dict(os.environ, FETTLE_BOOK="book.sqlite", XDG_CONFIG_HOME=os.path.join(folder, "keys"))

    def fettle(*args, codes=(0, 1)):
        p = subprocess.run([FETTLE, *args], cwd=folder, env=env, capture_output=True, text=True, timeout=120)
        say(p.returncode in codes, f"{' '.join(args)} ends with {p.returncode}: {p.stderr}")
        return p.stdout

    def claims():
        return {c["id"]: c for c in json.loads(fettle("visit", "show", "HL-1", "--json"))["claims"]}

    fettle("visit", "open", "HL-1", "--by", "A. Fitter")
    fettle("visit", "add", "HL-1", os.path.join(SOURCE, "tests", "samples", "sample-1.dts"), os.path.join(SOURCE, "tests", "samples", "sample-1b.dts"))
    b = Bus(late={0x10: 8.2})
    b.power_up()
    b.poll(40)
    b.vcd(os.path.join(folder, "slow.vcd"))
    fettle("visit", "add", "HL-1", "slow.vcd")
    c = claims()["prove.bus"]
    say(c["stands"] == "contradicted" and c["evidence"], f"late answers contradict: {c['because']}")
    fettle("visit", "add", "HL-1", "sold.vcd")
    c = claims()
    say(c["prove.bus"]["stands"] == "shown" and "mended" in c["prove.bus"]["because"], f"a later one shows: {c['prove.bus']['because']}")
    say(c["prove.sales"]["stands"] == "shown" and "bus" in c["prove.sales"]["because"], f"sales by the bus: {c['prove.sales']['because']}")
    say(c["prove.card"]["stands"] == "shown", "and by card")
    fettle("visit", "add", "HL-1", os.path.join(SOURCE, "tests", "sales", "sample-1.csv"))
    say(claims()["prove.sales"]["stands"] == "shown", "the list agrees")
    say(fettle("visit", "show", "HL-1", "--json") == fettle("visit", "show", "HL-1", "--json"), "the same evidence gives the same document")
    fettle("handover", "pack", "HL-1", "-o", "bus.zip", "--name", "A. Fitter")
    p = json.loads(fettle("handover", "verify", "bus.zip", "--json"))
    say(p["verdict"] == "shown", f"the package holds: {p['findings']}")


def wrong(folder):
    for name, data in (("empty", b""), ("binary", bytes(range(256)) * 40), ("letter", b"Dear colleague,\n\nthe machine hums.\n"),
                       ("cut.vcd", open(os.path.join(folder, "clean.vcd"), "rb").read()[:90000])):
        with open(os.path.join(folder, name), "wb") as f:
            f.write(data)
    os.mkdir(os.path.join(folder, "folder"))
    audit = os.path.join(SOURCE, "tests", "samples", "sample-1.dts")
    for args, code, words in (
            (("missing",), 3, "There is no file missing"), (("folder",), 3, "folder is a folder"), (("empty",), 3, "empty"),
            (("binary",), 3, "binary"), (("letter",), 3, "letter"), ((audit,), 3, "sample-1.dts"),
            (("clean.vcd", "--controller", "nowhere"), (2, 3), "nowhere"), (("clean.vcd", "--controller", "7"), (2, 3), "7"),
            (("clean.vcd", "--controller", "MTX", "--peripheral", "MTX"), 2, "same channel"),
            (("clean.vcd", "--invert", "sideways"), 2, "--invert takes"), (("clean.vcd", "--raw", "fast"), 2, "--raw takes"),
            (("clean.vcd", "--raw", "1000000:40"), 2, "--raw takes"), (("clean.vcd", "--from", "1", "--to", "2"), 2, "--svg"),
            (("clean.vcd", "--svg", "x.svg", "--from", "2"), 2, "go together"),
            (("clean.vcd", "--svg", "x.svg", "--from", "2", "--to", "1"), 2, "is not before"),
            (("clean.vcd", "--svg", "x.svg", "--from", "soon", "--to", "1"), 2, "--from takes"),
            (("clean.vcd", "--svg", "x.svg", "--from", "900", "--to", "901"), 2, "Nothing is on the bus between"),
            (("clean.vcd", "--svg", "folder"), 5, "folder is a folder"), (("clean.vcd", "--svg", "missing/x.svg"), 5, "does not exist"),
            (("clean.vcd", "--sales", "folder"), 5, "folder is a folder"), ((), 2, "Name a capture"), (("clean.vcd", "--analyser", "x"), 2, "not both"),
            (("clean.vcd", "--seconds", "5"), 2, "go with --analyser"),
            (("--adapter", "missing"), 4, "There is no port missing"), (("--adapter", ","), 2, "--adapter takes"),
            (("--adapter", "clean.vcd,clean.vcd"), 4, "is a file, not a serial port"), (("--adapter", "a,b,c"), 2, "--adapter takes"),
            (("--adapter", "x", "--raw", "1000:2"), 2, "--raw says"), (("--adapter", "x", "--analyser", "y"), 2, "not both"), (("--analyser", "x", "--seconds", "0"), 2, "--seconds takes"),
            (("clean.vcd", "late.vcd"), 2, "Too many words")):
        p = run(folder, "bus", *args, codes=code if isinstance(code, tuple) else (code,))
        say(p.stdout == "" and words in p.stderr and p.stderr.count("\n") == 1 + ("Listening" in p.stderr) and len(p.stderr) < 500, f"bus {args} says {p.stderr!r}")
        d = json.loads(run(folder, "bus", *args, "--json", codes=(2, 3, 4, 5)).stdout)
        say(d["verdict"] == "open" and d["error"] in p.stderr, f"bus {args} has its document")
    d = document(folder, "bus", "cut.vcd", codes=(0, 1))
    say(d.get("exchanges", 0) > 20, "a capture cut off in its middle is read as far as it goes")
    with open(os.path.join(folder, "cut.vcd"), "r+b") as f:
        f.truncate(6000)
    d = document(folder, "bus", "cut.vcd", codes=(0,))
    say(d["verdict"] == "open" and any(0 < x["answered"] < 10 for x in d["peripherals"]), f"a second of setup does not speak for every peripheral: {d}")
    say("too short" in run(folder, "bus", "cut.vcd").stdout, "and it says why")
    p = run(folder, "prove", audit, audit, "--bus", "letter", codes=(3,))
    say("letter" in p.stderr, f"prove --bus letter: {p.stderr}")
    with open(os.path.join(folder, "clean.vcd"), "rb") as f:
        p = subprocess.run([FETTLE, "bus", "-", "--json"], cwd=folder, stdin=f, capture_output=True, text=True, timeout=60)
    say(p.returncode == 0 and len(json.loads(p.stdout)["sales"]) == 3, "standard input is read")
    with open("/dev/full", "w") as full:
        for how in ((), ("--words",), ("--blocks", "--json"), ("--json",)):
            p = subprocess.run([FETTLE, "bus", "clean.vcd", *how], cwd=folder, stdout=full, stderr=subprocess.PIPE, text=True, timeout=60)
            say(p.returncode == 5, f"a full disk: {how} ends with {p.returncode}")


def live(folder):
    """A stand-in for sigrok-cli that notes how it was called and plays a capture."""
    os.mkdir(os.path.join(folder, "bin"))
    tool = os.path.join(folder, "bin", "sigrok-cli")

    def listen(script, *args, code=0, path=os.path.join(folder, "bin") + ":/usr/bin:/bin"):
        with open(tool, "w") as f:
            f.write("#!/bin/sh\n" + script)
        os.chmod(tool, 0o755)
        p = subprocess.run([FETTLE, "bus", "--analyser", "fx2lafw", *args], cwd=folder, env=dict(os.environ, PATH=path), capture_output=True,
                           text=True, timeout=60)
        say(p.returncode == code, f"listening {args} ends with {p.returncode}: {p.stderr}")
        return p

    p = listen('echo "$@" > called; cat clean.vcd\n', "--seconds", "7", "--keep", "kept.vcd", "--json")
    say(json.loads(p.stdout)["sales"] == document(folder, "bus", "clean.vcd")["sales"], "what is heard is told as from a file")
    say(open(os.path.join(folder, "called")).read().split() == "-d fx2lafw --config samplerate=1m --time 7000 -O vcd".split(), "how it is asked")
    say(open(os.path.join(folder, "kept.vcd"), "rb").read() == open(os.path.join(folder, "clean.vcd"), "rb").read(), "and kept")
    p = listen("cat clean.vcd; echo '$comment heard on $end'\n", "--keep", "kept.vcd")
    say("is kept" not in p.stderr, "a capture that goes on where the one before ended loses nothing of it")
    p = listen("cat clean.vcd\n", "--keep", "kept.vcd")
    say(os.path.exists(os.path.join(folder, "kept.1.vcd")) and "What kept.vcd held is kept as kept.1.vcd." in p.stderr, f"an earlier one is kept: {p.stderr}")
    p = listen("exit 1\n", code=4)
    say("gave nothing" in p.stderr and "ended with 1" in p.stderr, p.stderr)
    os.mkdir(os.path.join(folder, "nothing"))
    p = listen("", code=4, path=os.path.join(folder, "nothing"))
    say("is not installed" in p.stderr, p.stderr)


def main():
    with tempfile.TemporaryDirectory() as folder:
        folder = os.path.realpath(folder)
        b = clean(folder)
        words_and_blocks(folder, b)
        other_ways(folder)
        late(folder)
        picture(folder)
        proving(folder)
        visit(folder)
        wrong(folder)
        live(folder)


main()
print(f"{passed} passed, {failed} failed")
sys.exit(failed > 0)

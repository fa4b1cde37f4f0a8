#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Hold docs/json.md against real documents: every key that is printed is described, and every key that is described
is printed by some command here.

usage: documents.py FETTLE SOURCE
"""
import itertools
import json
import os
import re
import subprocess
import sys
import tempfile

FETTLE = os.path.abspath(sys.argv[1])
SOURCE = os.path.abspath(sys.argv[2])
failed = passed = 0

# Described, but not to be had here: a serial port of this computer may or may not be there.
NOT_SHOWN = {"ports": {"ports[].path", "ports[].description", "ports[].kind", "ports[].serial", "ports[].usb_vendor",
                       "ports[].usb_product"}}
# A visit and its claims inside a package are those of the command visit.
SHARED = {"handover": ("visit", "visit.", "claims")}

SCRIPT = """read before.dts
firmware 0313
fault meters-lost 11
read wiped.dts
sales forget
fault crossed-selections 21 23
price 21 125
price 23 200
read keyed.dts
sell 21 coins 100 25
sell 23 coins 100 100
sell 23 card
sales sales.csv
read sold.dts
quit
"""


def say(ok, what):
    global failed, passed
    passed += bool(ok)
    failed += not ok
    if not ok:
        print("FAIL " + what, flush=True)


def expanded(token):
    """`a[].{b,c}.d` into a[].b.d and a[].c.d, with every key on the way."""
    parts = [p[1:-1].split(",") if p.startswith("{") else [p] for p in re.findall(r"\{[^}]*\}|[^.{}]+", token)]
    found = set()
    for way in itertools.product(*parts):
        for n in range(1, len(way) + 1):
            found.add(".".join(way[:n]))
    return found


def described():
    """Section -> keys in the first column of its tables."""
    keys = {}
    for part in open(os.path.join(SOURCE, "docs", "json.md"), encoding="utf-8").read().split("\n## ")[1:]:
        name, body = part.split("\n", 1)
        here = keys.setdefault(name.strip(), set())
        for line in body.splitlines():
            if line.startswith("| `"):
                for token in re.findall(r"`([^`]+)`", line.split(" | ")[0]):
                    here |= expanded(token)
    return keys


def printed(value, before=""):
    """Every key of a document, lists as [] behind their name."""
    if isinstance(value, dict):
        for key, inner in value.items():
            name = before + key
            if isinstance(inner, list):
                yield name + "[]"
                for x in inner:
                    yield from printed(x, name + "[].")
            else:
                yield name
                yield from printed(inner, name + ".")


def documents(folder):
    """(section, document) of every command, also where it fails."""
    env = dict(os.environ, HOME=folder, TZ="UTC", FETTLE_BOOK="book.sqlite", XDG_CONFIG_HOME=os.path.join(folder, "keys"))

    def run(section, *args, env=env, codes=(0, 1)):
        p = subprocess.run([FETTLE, *args, "--json"], cwd=folder, env=env, capture_output=True, text=True, timeout=60)
        say(p.returncode in codes, f"{' '.join(args)} ends with {p.returncode}: {p.stderr}")
        say(p.stdout.endswith("\n"), f"{' '.join(args)} prints whole lines")
        return [(section, json.loads(x)) for x in p.stdout.splitlines()]

    with open(os.path.join(folder, "lines"), "w") as f:
        f.write(SCRIPT)
    events = run(None, "practice", "--pace", "fast", "--script", "lines", "--bus", "tap.vcd")
    yield "practice first", events[0][1]
    yield from (("practice", e) for _, e in events[1:])
    machine = subprocess.Popen([FETTLE, "practice", "--json", "--pace", "fast", "--until-eof"], cwd=folder, stdin=subprocess.PIPE,
                               stdout=subprocess.PIPE, text=True)
    port = json.loads(machine.stdout.readline())["ports"]["dex"]
    machine.stdin.write("nonsense\n")
    machine.stdin.flush()
    yield "practice error", json.loads(machine.stdout.readline())
    yield from run("read", "read", port, "-o", "read.dts")
    machine.stdin.write("fault dead-port\n")
    machine.stdin.flush()
    machine.stdout.readline()
    yield from run("read", "read", port, "-o", "none.dts", "--timeout", "1", "--link", "dex", codes=(4,))
    machine.stdin.close()
    machine.wait(10)
    for name in ("sample-1.dts", "sample-2.dts", "sample-3.dts"):
        yield from run("explain", "explain", os.path.join(SOURCE, "tests", "samples", name))
    yield from run("explain", "explain", "missing.dts", codes=(3,))
    with open(os.path.join(folder, "two.dts"), "wb") as two:
        for name in ("before.dts", "sold.dts"):
            with open(os.path.join(folder, name), "rb") as one:
                two.write(one.read())
    yield from run("check", "check", "before.dts", "two.dts", "lines", "missing", codes=(3,))
    yield from run("compare", "compare", "before.dts", "wiped.dts")
    yield from run("prove", "prove", "keyed.dts", "sold.dts", "--sales", "sales.csv", "--counted", "3.00")
    yield from run("prove", "prove", "keyed.dts", "sold.dts", "--bus", "tap.vcd")
    yield from run("bus", "bus", "tap.vcd")
    yield from run("bus", "bus", "lines", codes=(3,))
    with open(os.path.join(folder, "stray.words"), "w") as f:  # bytes that belong to nothing, a reset, an exchange
        f.write("bus-words 1\n1000 P 55*\n20000 C 00 break 120000\n400000 C 0B*\n401146 C 0B\n403500 P 00*\n")
    for what in ("--words", "--blocks", "--traffic"):
        yield from run("bus", "bus", "stray.words", what)
    with open(os.path.join(folder, "survey.csv"), "w", encoding="ascii") as f:
        f.write("asset,peripherals,bus_volts\nHL-1,validator 0.5 m AWG 22 > changer 0.4 m,32.4 V\n")
    for args in (("open", "HL-1", "--by", "A. Fitter"), ("add", "HL-1", "before.dts", "sold.dts", "sales.csv"),
                 ("say", "HL-1", "fit.level", "level"), ("waive", "HL-1", "prove.bus", "--because", "no device"),
                 ("set", "HL-1", "--unit", "U-1", "--sim", "S-1"), ("show", "HL-1"), ("show",), ("show", "--all"), ("sheet", "HL-1", "-o", "wiring.svg"), ("sheet", "HL-1", "--catalogue", ".", "-o", "wiring.pdf"),
                 ("get", "HL-1", "2", "-o", "got.dts"), ("drop", "HL-1", "sales.csv", "--because", "of another machine"), ("close", "HL-1", "--open-claims")):
        yield from run("visit", "visit", *args)
    yield from run("visit", "visit", "show", "HL-2", codes=(2, 3, 5))
    with open(os.path.join(folder, "marks.csv"), "w", encoding="ascii") as f:
        f.write("marked_time,door\n2026-11-25T10:00:05Z,open\n2026-11-25T10:00:49Z,closed\n")
    with open(os.path.join(folder, "events.csv"), "w", encoding="ascii") as f:
        f.write("time,event\n2026-11-25 10:00:06Z,door open\n2026-11-25 10:00:51Z,door closed\n")
    with open(os.path.join(folder, "chain.csv"), "w", encoding="ascii") as f:
        f.write("device,kind,volts,idle,continuous,peak,length,gauge\nsource,supply,33 V,,4 A,,,\nunit,unit,20 V,100 mA,200 mA,1 A,1 m,AWG 22\n"
                "changer,changer,,,,,1 m,AWG 22\n")
    yield from run("supply", "supply", "chain.csv")
    with open(os.path.join(folder, "survey.txt"), "w", encoding="ascii") as f:
        f.write("+CEREG: 2,1\nposition closed\n" + "+CESQ: 99,99,255,255,20,45\n" * 12)
    yield from run("signal", "signal", "--log", "survey.txt", "--lead", "low-loss-100:3")
    demo = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "data", "demo")
    yield from run("survey", "survey", os.path.join(demo, "survey.csv"), "--catalogue", demo)
    yield from run("door", "door", "marks.csv", "events.csv")
    yield from run("door", "door", "--mark", "made.csv")
    with open(os.path.join(folder, "cabinet.csv"), "w", encoding="ascii") as f:  # a pull-down, cycling, defrosts
        f.write("time,temperature_c\n")
        t = 20.0
        for i in range(3000):
            down = i < 40 or i % 30 < 15
            t = t + (-6 - t) / 15 if i < 25 else 1.2 + 0.08 * (i % 30 if not down else 30 - i % 30)
            f.write("2026-11-%02dT%02d:%02d:00Z,%.2f\n" % (1 + i // 1440, i // 60 % 24, i % 60,
                                                          t + (0.25 * min(i % 600, 20 - i % 600) if i > 500 and i % 600 < 20 else 0)))
    yield from run("cold", "cold", "cabinet.csv")
    yield from run("cold", "cold", "--sensor", "pt100", "--at", "5", "--lead", "0.8")
    with open(os.path.join(folder, "machines.csv"), "w", encoding="ascii") as f:
        f.write("asset,latitude,longitude,minutes,opens,closes,kit\nRL-1,12.41,-31.21,40,08:00,16:00,HJ-1;tee:0.3\n"
                "RL-2,12.44,-31.25,40,08:00,16:00,tee:0.4*2\nRL-3,12.40,-31.20,40,01:00,02:00,\n")
    with open(os.path.join(folder, "technicians.csv"), "w", encoding="ascii") as f:
        f.write("technician,latitude,longitude\nT. One,12.40,-31.20\n")
    yield from run("rollout", "rollout", "machines.csv", "--technicians", "technicians.csv", "--from", "2026-11-30", "--risk", "0.01")
    for kind, value in (("imei", "490154203237519"), ("imei", "4901542032375123"), ("iccid", "8949123456789012347"), ("gtin", "96385074"),
                        ("eui", "02-00-5E-10-00-01")):
        yield from run("number", "number", kind, value)
    yield from run("book", "book", "check")
    yield from run("book", "book", "backup", "copy.sqlite")
    yield from run("book", "book", "copy", "moved.sqlite")
    yield from run("handover", "handover", "pack", "HL-1-1", "-o", "a.zip", "--name", "A. Fitter")
    yield from run("handover", "handover", "key")
    key = subprocess.run([FETTLE, "handover", "key"], cwd=folder, env=env, capture_output=True, text=True).stdout
    with open(os.path.join(folder, "key.public"), "w") as f:
        f.write(key)
    office = dict(env, FETTLE_BOOK="office.sqlite", XDG_CONFIG_HOME=os.path.join(folder, "office"))
    yield from run("handover", "handover", "trust", "key.public", env=office)
    yield from run("handover", "handover", "verify", "a.zip", env=office)
    yield from run("visit", "visit", "open", "HL-9", "--unit", "U-1", env=office)  # the unit is at another machine
    yield from run("handover", "handover", "receive", "a.zip", env=office)
    for more in (["--json"], []):  # a script reads its first line either way
        serving = subprocess.Popen([FETTLE, "bench", *more, "--port", "0"], cwd=folder, env=env, stdout=subprocess.PIPE, text=True)
        yield "bench", json.loads(serving.stdout.readline())
        serving.terminate()
        say(serving.wait(10) == 0, "the bench ends with 0 when it is told to")
    os.mkdir(os.path.join(folder, "fleet"))
    for name, day in (("before.dts", 1), ("wiped.dts", 2)):
        os.rename(os.path.join(folder, name), os.path.join(folder, "fleet", f"HL-1_2026030{day}T0600.dts"))
    watched = run("watch", "watch", "fleet", "--history")
    yield from watched
    for book in (env, dict(env, FETTLE_BOOK="fresh.sqlite")):  # with what the book keeps, and where all is new
        one = run("watch", "watch", "fleet", "--asset", watched[0][1]["asset"], env=book)
        say(len(one) == 1 and len(one[0][1]["reads"]) == 2, "one machine with its reads")
        yield from one
    known = next(x for x in watched[0][1]["exceptions"] if x["open"])
    name = " ".join(t for t in (watched[0][1]["asset"], known["rule"], known["selection"]) if t)
    yield from run("watch", "watch", "fleet", "--acknowledge", name, "--because", "new board", "--by", "A. Fitter")
    yield from run("watch", "watch", os.path.join(SOURCE, "tests", "samples"))
    yield from run("ports", "ports", codes=(0,))
    yield from run("rules", "rules")


def main():
    keys = described()
    common, failing = set(), set()
    for k in keys.pop("Every document"):
        (failing if k in ("error", "exit") else common).add(k)
    # practice has a table for its first line and one for the others
    text = open(os.path.join(SOURCE, "docs", "json.md"), encoding="utf-8").read()
    first = text.split("\n## practice\n")[1].split("Each line after it:")[0]
    keys["practice first"] = set().union(*(expanded(t) for line in first.splitlines() if line.startswith("| `")
                                           for t in re.findall(r"`([^`]+)`", line.split(" | ")[0])))
    keys["practice"] -= keys["practice first"] - {"decimals"}
    keys["practice error"] = {"event", "line", "text"}
    seen = {}
    with tempfile.TemporaryDirectory() as folder:
        for section, document in documents(os.path.realpath(folder)):
            here = seen.setdefault(section, set())
            shared = SHARED.get(section, ())
            bare = section.startswith("practice") or section == "bench"
            if not bare:
                for key in ("command", "verdict", "findings"):
                    say(key in document, f"{section}: {key} is missing")
                say(document.get("verdict") in ("shown", "contradicted", "open"), f"{section}: verdict {document.get('verdict')}")
            for key in printed(document):
                plain = key
                if any(plain == s or plain.startswith(s) for s in shared):
                    plain = plain.split(".")[0]
                here.add(plain)
                known = keys[section] | ({"command"} if bare else common | failing)
                say(plain in known or re.sub(r"\[\]$", "", plain) in known or plain + "[]" in known, f"{section}: {key} is printed and not described")
    for section, wanted in keys.items():
        missing = {k for k in wanted - seen.get(section, set()) - NOT_SHOWN.get(section, set())
                   if k + "[]" not in seen.get(section, set())}
        say(not missing, f"{section}: described and never printed: {sorted(missing)}")
    say(len(seen) >= 13, f"documents of {len(seen)} sections were looked at")


main()
print(f"{passed} passed, {failed} failed")
sys.exit(failed > 0)

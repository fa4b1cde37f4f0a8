#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The command supply from outside: its template, its figures against a hand calculation, wrong input, and the claim of a visit."""
import json
import os
import subprocess
import sys
import tempfile

FETTLE = os.path.abspath(sys.argv[1])
HEAD = "device,kind,volts,idle,continuous,peak,length,gauge,temperature\n"
GOOD = HEAD + "source,supply,33 V,,4 A,,,,\nunit,unit,20 V,100 mA,200 mA,1 A,1.5 m,AWG 22,20 C\nchanger,changer,20 V,0.2 A,0.2 A,1.75 A,0.5 m,AWG 22,20 C\n"
failed = 0


def check(held, what):
    global failed
    if not held:
        failed += 1
        print("FAIL", what)


def run(*args, code=0, cwd=None):
    env = dict(os.environ, FETTLE_BOOK="book.sqlite", COLUMNS="80")
    done = subprocess.run([FETTLE, *args], cwd=cwd, env=env, capture_output=True, text=True, timeout=30, check=False)
    check(done.returncode == code, f"{args} ended with {done.returncode}: {done.stderr}{done.stdout[:300]}")
    check(max((len(line) for line in done.stdout.splitlines()), default=0) <= 80 or "--json" in args or "--template" in args or "practice" in args, f"{args} fits 80 columns")
    return done.stdout + done.stderr


# What the practice machine's faults must be found by; the machine has no validator everywhere.
FAULTS = {"": None, "supply-tired": "supply.too-low", "supply-thin-wire": "supply.too-low", "supply-contact changer": "supply.drop",
          "supply-contact unit 2500": "supply.drop", "supply-second-reader": "supply.over-rating", "supply-collapses": "supply.collapses"}


def practised(folder):
    """The practice machine's harness: sound on every machine, and each fault told by the rule it belongs to, and no other."""
    def meter(machine, fault, at, when):
        lines = ([f"fault {fault}"] if fault else []) + [f"measure volts {at} {when}", "supply chain.csv", "quit", ""]
        with open(os.path.join(folder, "lines"), "w", encoding="ascii") as f:
            f.write("\n".join(lines))
        out = run("practice", "--json", "--machine", machine, "--pace", "fast", "--script", "lines", cwd=folder)
        seen = [e for e in map(json.loads, out.splitlines()) if e.get("event") == "measured"]
        check(len(seen) == 1, f"{fault} on {machine}: one measurement: {out}")
        return seen[0]["amount"]

    for machine in ("snack", "hotdrink", "coinbox"):
        for fault, rule in FAULTS.items():
            if machine == "coinbox" and fault == "supply-second-reader":
                continue  # it has no first one
            at_rest = meter(machine, fault, "changer", "idle")
            vend = meter(machine, fault, "changer", "vend")
            d = json.loads(run("supply", "chain.csv", "--json", cwd=folder, code=1 if rule else 0))
            found = sorted({f["rule"] for f in d["findings"]})
            check(found == ([rule] if rule else []) and d["verdict"] == ("contradicted" if rule else "shown"), f"{fault or 'sound'} on {machine}: {found}")
            check(vend is None if fault == "supply-collapses" else vend < at_rest, f"{fault} on {machine}: {at_rest} mV at rest, {vend} while it works")
            changer = [x for x in d["devices"] if x["name"] == "coin changer"][0]
            if not fault:  # the meter and the reckoned chain are two ways to the same volts
                check(abs(changer["measured"] - changer["peak"]) < 0.1 and abs(changer["measured"] - vend / 1000) < 0.006, f"{machine}: {changer}")
            if fault == "supply-contact unit 2500":
                check(d["findings"][0]["where"]["line"] == 3, f"the contact before the unit: {d['findings']}")
    with open(os.path.join(folder, "lines"), "w", encoding="ascii") as f:
        f.write("power off\nmeasure volts supply\npower on\nfault supply-tired\nfault off supply-tired\nsupply again.csv\nquit\n")
    out = run("practice", "--machine", "snack", "--pace", "fast", "--script", "lines", cwd=folder)
    check("shows 0.00 V" in out, "no power, no volts")
    check("Shown" in run("supply", "again.csv", cwd=folder), "a fault that is out is out")
    for line in ("measure", "measure ohms", "measure volts door", "measure volts unit vend now", "measure volts second-reader", "supply",
                 "fault supply-contact", "fault supply-contact door", "fault supply-contact unit 0", "fault supply-tired 3"):
        with open(os.path.join(folder, "lines"), "w", encoding="ascii") as f:
            f.write(line + "\n")
        run("practice", "--pace", "fast", "--script", "lines", cwd=folder, code=2)


def main(folder):
    def write(name, text):
        with open(os.path.join(folder, name), "w", encoding="utf-8") as f:
            f.write(text)
        return name

    write("template.csv", run("supply", "--template", cwd=folder))
    check("telemetry unit" in run("supply", "template.csv", cwd=folder), "the template is a chain")
    d = json.loads(run("supply", write("good.csv", GOOD), "--json", cwd=folder))
    # by hand, the changer paying out: 1.95 A through the first run and 1.75 A through the second
    ohm = 2 * 0.052963 * 1.05
    unit = 33 - 1.95 * (1.5 * ohm + 0.02)
    changer = unit - 1.75 * (0.5 * ohm + 0.02)
    check(abs(d["volts_at"]["unit"] - unit) < 0.001 and abs(d["volts_at"]["changer"] - changer) < 0.001, f"{d['volts_at']} against {unit}, {changer}")
    check(d["verdict"] == "shown" and abs(d["margin_ma"] - (4000 - 1950)) < 1 and d["weakest"] == "changer", f"the rating ends it: {d['margin_ma']}")
    d = json.loads(run("supply", "good.csv", "--json", "--volts", "20.2", cwd=folder, code=1))
    check(d["margin_v"] < 0 and d["margin_ma"] is None and any(f["rule"] == "supply.too-low" for f in d["findings"]), "too low")
    check("not even without unit" in run("supply", "good.csv", "--volts", "20.2", cwd=folder, code=1), "the changer alone is too much")
    measured = GOOD.replace("temperature\n", "temperature,measured\n").replace("AWG 22,20 C\n", "AWG 22,20 C,28 V\n")
    d = json.loads(run("supply", write("measured.csv", measured), "--json", cwd=folder, code=1))
    check([f["where"]["line"] for f in d["findings"] if f["rule"] == "supply.drop"] == [3] and d["devices"][1]["measured"] == 28, f"a bad contact before the unit: {d['findings']}")
    d = json.loads(run("supply", "good.csv", "--json", "--rating", "1.5", cwd=folder, code=1))
    check(d["weakest"] == "rating", "the rating is the weakest")
    run("visit", "open", "BD-0417", cwd=folder)
    run("visit", "add", "BD-0417", "good.csv", cwd=folder)
    claim = [c for c in json.loads(run("visit", "show", "BD-0417", "--json", cwd=folder))["claims"] if c["id"] == "know.supply"][0]
    check(claim["stands"] == "shown" and claim["evidence"], f"the claim: {claim}")
    run("visit", "add", "BD-0417", write("low.csv", GOOD.replace("33 V", "20.1 V")), cwd=folder, code=1)
    claim = [c for c in json.loads(run("visit", "show", "BD-0417", "--json", cwd=folder, code=1))["claims"] if c["id"] == "know.supply"][0]
    check(claim["stands"] == "contradicted", f"the claim: {claim}")
    practised(folder)
    check("Name the table" in run("supply", cwd=folder, code=2), "no table")
    check("--volts takes" in run("supply", "good.csv", "--volts", "900", cwd=folder, code=2), "volts that cannot be")
    check("line 3" in run("supply", write("bad.csv", GOOD.replace("AWG 22,20 C\nchanger", "22,20 C\nchanger")), cwd=folder, code=3), "the line is named")
    run("supply", "missing.csv", cwd=folder, code=3)
    run("supply", folder, cwd=folder, code=3)


with tempfile.TemporaryDirectory() as home:
    main(home)
sys.exit(1 if failed else 0)

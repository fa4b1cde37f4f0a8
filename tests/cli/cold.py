#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""fettle cold from the outside: what the practice machine's cabinet does, fault by fault, told by its log.

usage: cold.py FETTLE
"""
import json
import os
import subprocess
import sys
import tempfile
import xml.etree.ElementTree

FETTLE = os.path.abspath(sys.argv[1])
passed = failed = 0


def say(ok, what):
    global passed, failed
    passed += bool(ok)
    failed += not ok
    if not ok:
        print("FAIL " + what, flush=True)


def fettle(*args, book=None, stdin=""):
    env = dict(os.environ, TZ="UTC", FETTLE_BOOK="book.sqlite")
    done = subprocess.run([FETTLE, *args], input=stdin, capture_output=True, text=True, env=env, check=False)
    return done.returncode, done.stdout, done.stderr


def practice(*lines):
    with open("script", "w", encoding="ascii") as f:
        f.write("\n".join(lines + ("quit", "")))
    code, out, err = fettle("practice", "--pace", "fast", "--script", "script")
    say(code == 0, f"practice {lines}: ends with {code}: {out} {err}")


def cold(log, *args):
    code, out, err = fettle("--json", "cold", log, *args)
    try:
        d = json.loads(out)
    except ValueError:
        say(False, f"cold {log} {args}: no document: {out} {err}")
        return code, {}, set()
    return code, d, {f["rule"] for f in d["findings"] if f["weight"] != "note"}


def faults():
    sound = ["log start", "wait 172800", "door open", "wait 240", "refill", "door close", "wait 86400"]
    practice(*sound, "log sound.csv")
    code, d, rules = cold("sound.csv")
    say(code == 0 and d["verdict"] == "shown" and not rules, f"a sound cabinet: {code} {rules}")
    say(d.get("time_above_s") == 0 and d.get("time_excused_s", 0) > 0, f"the service is excused: {d.get('time_excused_s')}")
    say(d.get("cycle") and 900 < d["cycle"]["period_s"] < 3600, f"cycling: {d.get('cycle')}")
    say(d.get("defrost") and abs(d["defrost"]["every_s"] - 28800) < 600, f"defrost every 8 h: {d.get('defrost')}")
    alarm = d.get("alarm") or {}
    say(alarm.get("threshold_c") is not None and alarm.get("delay_s"), f"an alarm: {alarm}")
    code, d, rules = cold("sound.csv", "--reference", "1.6")
    say(code == 0 and d["probe_error_c"] is not None and abs(d["probe_error_c"]) < 1, "a probe that is right")

    # The alarm that was made from the sound cabinet: how long after the compressor died does this machine meet it?
    practice(*sound, "wait 3600", "fault dead-compressor", "wait 43200", "log dead.csv")
    code, d, rules = cold("dead.csv")
    say(code == 1 and "cold.limit" in rules and d["alarm"] is None, f"dead compressor: {code} {rules}")
    over, fired = None, None
    with open("dead.csv", encoding="ascii") as f:
        rows = [line.split(",") for line in f.read().splitlines()[1:]]
    died = len(rows) - 1 - 43200 // 60
    for i, row in enumerate(rows):
        above = (float(row[1]) - 32) / 1.8 > alarm["threshold_c"] + 1e-9
        over = (i if over is None else over) if above else None
        if over is not None and (i - over) * 60 >= alarm["delay_s"]:
            fired = i
            break
    say(fired is not None and fired >= died, f"the alarm fires at row {fired}, the compressor died at {died}")
    say(fired and (fired - died) * 60 < 3 * alarm["dead_compressor_s"] + 1800,
        f"the alarm comes after {(fired - died) if fired else None} min, told were {alarm['dead_compressor_s'] / 60:.0f}")

    for name, lines, rule, more in (
            ("iced-evaporator", ["log start", "fault iced-evaporator", "wait 86400"], "cold.limit", ()),
            ("door-ajar", ["log start", "fault door-ajar", "wait 86400"], "cold.limit", ()),
            ("probe-stuck", ["log start", "wait 36000", "fault probe-stuck", "wait 50000"], "cold.stuck", ()),
            ("probe-off", ["log start", "fault probe-off -15", "wait 86400"], "cold.probe-off", ("--ice", "-1.5"))):
        practice(*lines, "log fault.csv")
        code, d, rules = cold("fault.csv", *more)
        say(rule in rules and d["verdict"] != "shown", f"{name}: {code} {rules}")


def drawing():
    code, _, err = fettle("cold", "sound.csv", "--svg", "sound.svg")
    say(code == 0, f"the drawing: {err}")
    root = xml.etree.ElementTree.parse("sound.svg").getroot()
    kinds = [e.get("class", "") for e in root.iter() if e.tag.endswith("path")]
    words = " ".join(e.text or "" for e in root.iter() if e.tag.endswith("text"))
    say(kinds.count("curve") == 2 and kinds.count("limit") == 2, f"two panels: {kinds}")
    say("fit" in kinds and "band" in kinds and kinds.count("arrow") >= 6, "the fit with its band, arrows at the door")
    say("limit 5.0" in words and "alarm" in words and "Pull-down" in words, f"words: {words[:200]}")
    with open("sound.svg", "rb") as f:
        first = f.read()
    fettle("cold", "sound.csv", "--svg", "sound.svg")
    with open("sound.svg", "rb") as f:
        say(f.read() == first, "the same log gives the same drawing")
    with open("script", "w", encoding="ascii") as f:
        f.write("wait 7200\nquit\n")
    code, _, err = fettle("practice", "--pace", "fast", "--script", "script", "--temperature", "two hours.csv")
    say(code == 0 and len(open("two hours.csv", encoding="ascii").readlines()) == 122, f"--temperature: {code} {err}")
    code, _, err = fettle("practice", "--machine", "hotdrink", "--script", "script", "--pace", "fast", "--temperature", "no.csv")
    say(code == 2 and not os.path.exists("no.csv"), f"a machine that heats: {code} {err}")


def visit():
    code, out, err = fettle("visit", "open", "BD-1", "--by", "A. Fitter")
    say(code == 0, f"visit open: {err}")

    def claim():
        d = json.loads(fettle("--json", "visit", "show", "BD-1")[1])
        return next(c for c in d["claims"] if c["id"] == "prove.temperature")

    say(claim()["stands"] == "open", "nothing is here yet")
    fettle("visit", "add", "BD-1", "sound.csv")
    say(claim()["stands"] == "open" and "probe" in claim()["because"], f"unchecked probe: {claim()}")
    with open("sound.csv", encoding="ascii") as f:
        last = f.read().splitlines()[-1].split(",")
    with open("checks.csv", "w", encoding="ascii") as f:
        f.write(f"time,mark,value_f\n{last[0]},reference,{float(last[1]) + 0.4:.1f}\n")
    code, out, err = fettle("visit", "add", "BD-1", "checks.csv")
    say(code == 0 and claim()["stands"] == "shown", f"a checked probe: {out} {err} {claim()}")
    fettle("visit", "add", "BD-1", "dead.csv")
    say(claim()["stands"] == "contradicted", f"the last log decides: {claim()}")
    fettle("visit", "open", "BD-2", "--by", "A. Fitter")
    with open("mixed.csv", "w", encoding="ascii") as f:
        f.write("time,temperature\n2026-11-25 10:00,4.0 C\n2026-11-25 10:01,39.2 F\n")
    fettle("visit", "add", "BD-2", "sound.csv", "checks.csv", "mixed.csv")
    c = next(c for c in json.loads(fettle("--json", "visit", "show", "BD-2")[1])["claims"] if c["id"] == "prove.temperature")
    say(c["stands"] != "shown" and "line 3" in c["because"], f"a log that cannot be read is not passed over: {c}")


def rest():
    code, out, _ = fettle("cold", "--sensor", "ntc:10000:3950", "--ohms", "25000")
    say(code == 0 and "5.71 C" in out, f"the worked inverse: {out}")
    for args, want in ((("cold",), 2), (("cold", "none.csv"), 3), (("cold", "sound.csv", "--kind", "warm"), 2),
                       (("cold", "sound.csv", "--probe-class", "9"), 2), (("cold", "--sensor", "pt100"), 2),
                       (("cold", "--sensor", "no", "--ohms", "1"), 2), (("cold", "sound.csv", "--limit", "x"), 2)):
        say(fettle(*args)[0] == want, f"{args} ends with {want}")
    with open("bad.csv", "w", encoding="ascii") as f:
        f.write("time,temperature_c\n2026-11-25 10:00,4\n2026-11-25 10:01,400\n")
    code, _, err = fettle("cold", "bad.csv")
    say(code == 3 and "line 3" in err, f"an impossible value: {code} {err}")


def main():
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        faults()
        drawing()
        visit()
        rest()
        os.chdir("/")
    print(f"{passed} passed, {failed} failed")
    sys.exit(1 if failed else 0)


main()

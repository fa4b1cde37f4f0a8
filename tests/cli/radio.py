#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""fettle signal from the outside: through the practice machine's modem with each of its faults, from the logs it keeps,
from figures typed in, and with the leads of a kit.

usage: radio.py FETTLE
"""
import concurrent.futures
import json
import os
import pty
import re
import signal
import subprocess
import sys
import tempfile

FETTLE = os.path.abspath(sys.argv[1])
failed = passed = 0


def say(good, what):
    global failed, passed
    passed += bool(good)
    failed += not good
    if not good:
        print("not so:", what, flush=True)


class Machine:
    def __init__(self, folder, *args):
        self.p = subprocess.Popen([FETTLE, "practice", "--json", "--pace", "fast", *args], cwd=folder, text=True,
                                  stdin=subprocess.PIPE, stdout=subprocess.PIPE)
        self.port = json.loads(self.p.stdout.readline())["ports"]["modem"]
        for _ in range(args.count("--fault")):
            self.p.stdout.readline()

    def do(self, line):
        self.p.stdin.write(line + "\n")
        self.p.stdin.flush()
        return json.loads(self.p.stdout.readline())

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.p.terminate()
        self.p.wait(10)
        self.p.stdin.close()
        self.p.stdout.close()


def run(folder, *args, **more):
    return subprocess.run([FETTLE, "signal", *args], cwd=folder, capture_output=True, text=True, timeout=120,
                          stdin=more.pop("stdin", subprocess.DEVNULL), **more)


def document(p):
    return json.loads(p.stdout)


def figures(d):
    """What must be the same, however the readings came."""
    return {k: v for k, v in d.items() if k not in ("findings", "baud")}, [f["rule"] for f in d["findings"]]


# Fault, where the antenna is, exit, a rule or None, what standard error must say.
FAULTS = [
    ("", "outside", 0, None, "12 of 12"),
    ("weak-inside", "inside", 1, "signal.too-weak", "12 of 12"),
    ("modem-not-registered", "outside", 0, "signal.not-registered", "12 of 12"),
    ("modem-no-sim", "outside", 0, "signal.sim-not-ready", "no SIM that is ready"),
    ("modem-no-level", "outside", 0, "signal.none", "level not known"),
    ("modem-no-cesq", "outside", 0, None, "+CSQ is asked instead"),
    ("modem-echo-stays", "outside", 0, None, "its echoes are passed over"),
    ("modem-rate", "outside", 0, None, "answers at 9600 bit/s, not at 115200"),
    ("modem-slow 2400", "outside", 0, "signal.few-readings", "slow to answer"),
    ("modem-stops 4", "outside", 4, None, "went quiet after 4 readings"),
    ("modem-dead", "outside", 4, None, "Nothing answered at 115200 bit/s"),
]


def one_fault(folder, row):
    fault, place, code, rule, words = row
    name = os.path.join(folder, (fault or "none").replace(" ", "-") + ".txt")
    args = ["--fault", fault] if fault else []
    found = []
    samples = "3" if rule == "signal.few-readings" else "12"
    # what is late on purpose is told from what a busy machine makes late
    patience = "2" if fault.startswith("modem-slow") else "1" if fault.startswith(("modem-stops", "modem-dead")) else "8"

    def check(good, what):
        found.append((good, f"{fault or 'no fault'}: {what}"))

    with Machine(folder, *args) as m:
        m.do("antenna " + place)
        p = run(folder, "--port", m.port, "--samples", samples, "--seconds", "1", "--timeout", patience, "--position", place,
                "-o", name, "--keep-part", name + ".part", "--json")
    d = document(p)
    check(p.returncode == code, f"exit {p.returncode}, {p.stderr}")
    check(words in p.stderr, p.stderr)
    if code == 4:
        check(not os.path.exists(name), "no log under the name of a whole one")
        check(os.path.exists(name + ".part"), "what came is kept when asked for")
        return found
    if p.returncode not in (0, 1):
        return found # said above
    rules = [f["rule"] for f in d["findings"]]
    notes = ["signal.outside-only"]  # said wherever nobody measured inside
    if fault == "modem-no-cesq":
        notes.insert(0, "signal.total-power")
    check(rules == notes if rule is None else rule in rules, rules)
    check(d["samples"] + d["unknown"] >= int(samples) and (not d["samples"]) == (rule == "signal.none"), "all readings")
    again = run(folder, "--log", name, "--json")
    check(again.returncode == code, "the log gives the same exit")
    check(figures(document(again)) == figures(d), f"the log gives the same figures: {again.stdout}\n{p.stdout}")
    check(d["registered"] == (fault not in ("modem-not-registered", "modem-no-sim")), "registration")
    return found


def faults(folder):
    with concurrent.futures.ThreadPoolExecutor(4) as pool: # each waits for its modem most of the time
        for found in pool.map(lambda row: one_fault(folder, row), FAULTS):
            for good, what in found:
                say(good, what)


def places(folder):
    with Machine(folder) as m:
        for i, place in enumerate(("inside", "top", "outside")):
            m.do("antenna " + place)
            earlier = ["--log", "places.txt"] if i else []
            p = run(folder, "--port", m.port, *earlier, "-o", "places.txt", "--position", place, "--samples", "20",
                    "--seconds", "1", "--json")
            say(p.returncode in (0, 1), p.stderr)
        d = document(p)
        say([x["name"] for x in d["positions"]] == ["inside", "top", "outside"], "each run adds its place")
        say(all(x["samples"] == 20 for x in d["positions"]), "with its readings")
        level = [x["level_dbm"]["median"] for x in d["positions"]]
        say(level[0] < level[1] - 5 and level[1] < level[2] + 4, f"levels in their order: {level}")
        say(d["position"] == "inside" and d["antenna_at"] == "outside", "judged inside, the antenna belongs outside")
        say(run(folder, "--port", m.port, "--position", "a", "--position", "b").returncode == 2,
            "nobody moves the antenna without a terminal")
        say(not os.path.exists(os.path.join(folder, "places.1.txt")), "what goes on with the readings before keeps no second copy of them")
        with open(os.path.join(folder, "places.txt"), "rb") as f:
            held = f.read()
        p = run(folder, "--port", m.port, "-o", "places.txt", "--position", "roof", "--samples", "2", "--seconds", "1", "--json")
        with open(os.path.join(folder, "places.1.txt"), "rb") as f:
            say(f.read() == held and "kept as places.1.txt" in p.stderr, f"a forgotten --log loses no place: {p.stderr}")
        p = run(folder, "--port", m.port, "-o", "no/such/place.txt")
        say(p.returncode == 5 and " 1 of " not in p.stderr, "a log that cannot be written is found out before the survey")
        say(run(folder, "--port", m.port, "--log", "kit.csv").returncode == 2, "a table takes no answers of a modem")


def by_hand_at_a_terminal(folder):
    with Machine(folder) as m:
        ours, theirs = pty.openpty()
        p = subprocess.Popen([FETTLE, "signal", "--port", m.port, "--position", "inside", "--position", "free", "--position",
                              "never", "--samples", "11", "--seconds", "1", "--json"], cwd=folder, stdin=theirs,
                             stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        os.close(theirs)

        def asked(word):
            for line in p.stderr:
                if line.startswith("Move the antenna: " + word):
                    return True
            return False

        say(asked("inside"), "asked for the first place")
        os.write(ours, b"\n")
        say(asked("free"), "and for the second")
        m.do("antenna outside")
        os.write(ours, b"\n")
        say(asked("never"), "and for the third")
        os.write(ours, b"q\n")
        out = p.communicate(timeout=30)[0]
        d = json.loads(out)
        say(p.returncode == 0 and [x["name"] for x in d["positions"]] == ["inside", "free"], out)
        say(d["positions"][1]["level_dbm"]["median"] > d["positions"][0]["level_dbm"]["median"] + 8, "it was moved")
        os.close(ours)


def stopped(folder):
    with Machine(folder) as m:
        p = subprocess.Popen([FETTLE, "signal", "--port", m.port, "--samples", "1000", "-o", "stopped.txt", "--json"],
                             cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        say("1 of 1000" in p.stderr.readline(), "the first reading")
        p.send_signal(signal.SIGINT)
        out = p.communicate(timeout=30)[0]
        say(p.returncode == 0 and json.loads(out)["samples"] >= 1, f"what was read counts: {out}")
        say(json.loads(run(folder, "--log", "stopped.txt", "--json").stdout)["samples"] >= 1, "and is kept")


def no_modem(folder):
    p = run(folder, "--port", "nowhere", "--seconds", "0")
    say(p.returncode == 2 and "from 1 to" in p.stderr, f"a survey takes time: {p.stderr}")
    with Machine(folder) as m:
        p = run(folder, "--port", "missing", "--json")
        say(p.returncode == 4, "a port that is not there")
        ours, theirs = pty.openpty() # a terminal in its own mode gives back what it gets
        p = run(folder, "--port", os.ttyname(theirs), "--timeout", "1")
        say(p.returncode == 4 and "Nothing answered" in p.stderr, p.stderr)
        os.close(ours)
        os.close(theirs)
        m.do("power off")


def typed(folder):
    p = run(folder, "inside=-97,-99,-98", "outside=-81,-80", "--json", "-o", "typed.csv")
    d = document(p)
    say(p.returncode == 0 and d["samples"] == 5 and d["position"] == "inside", p.stdout)
    say(d["level_dbm"]["median"] == -98 and d["metric"] == "level", "the figures as they were typed")
    q = run(folder, "--position", "inside", "--dbm", "-97", "--dbm=-99", "--dbm", "-98", "--position", "outside", "--dbm", "-81",
            "--dbm", "-80", "--json")
    say(figures(document(q)) == figures(d), "the long form gives the same")
    say(figures(document(run(folder, "--log", "typed.csv", "--json"))) == figures(d), "and so does what was kept")
    say(document(run(folder, "x=-97", "--metric", "rssi", "--json"))["metric"] == "RSSI", "another kind of figure")
    d = document(run(folder, "inside, door open=-85,-86", "inside, door closed=-104,-103", "--json"))
    say(d["position"] == "inside, door closed", "with the door closed counts before inside")
    p = run(folder, "inside, door closed, on the left=-104,-103", "outside, over the door=-81,-80", "--reach", "2.4",
            "--lead", "RG-174:8", "--lead", "low-loss-100:3", "--lead", "low-loss-100:6", "--lead", "RG-174:1")
    say(len(re.findall(r"^[ >]+inside, door closed, +2 ", p.stdout, re.M)) == 1, f"a long name is one place: {p.stdout}")
    say("on average at inside" in p.stdout and "longer than" in p.stdout, p.stdout)
    say(max(map(len, p.stdout.splitlines())) <= 80, f"80 columns: {p.stdout}")
    say("on average here," in run(folder, "--dbm", "-95").stdout, "readings without a place are taken here")
    for args in (["inside"], ["inside="], ["inside=97x"], ["--dbm", "x"], ["a=-97", "--log", "typed.csv"], ["a=-97", "--metric", "db"],
                 [], ["--position", "x" * 40, "a=-97"], ["a=-97", "--reach", "-1"], ["a=-97", "--at", "nowhere"]):
        say(run(folder, *args).returncode == 2, f"{args} is a wrong use")
    for args in (["a=97"], ["a=-300"]):
        say(run(folder, *args).returncode == 3, f"{args} is no level")


def kit(folder):
    with open(os.path.join(folder, "kit.csv"), "w", encoding="ascii") as f:
        f.write("name,length_m,cable,f1_mhz,a1_db_100m,f2_mhz,a2_db_100m,connectors\n"
                "short,1.5,RG-174,,,,,2\nthin,3,RG-174,,,,,2\nmiddle,3,low-loss-100,,,,,2\nlong,5,,450,17.34,1800,35.64,2\n")
    fine = ["a=" + ",".join(["-95"] * 10), "--least", "-110", "--kit", "kit.csv", "--json"]

    def leads(*args):
        d = document(run(folder, *fine, *args))
        return d, {x["lead"]: x for x in d["leads"]}

    d, by = leads("--reach", "2.5", "--frequency", "900")
    say(d["lead"] == "middle", "the shortest that reaches, of its length the one that loses less")
    say(by["short"]["fit"] == "too-short" and by["short"]["surplus_m"] == 0, "one is too short")
    say(by["thin"]["fit"] == "fits" and not by["thin"]["recommended"], "the thin one would do")
    say(abs(by["long"]["loss_db"] - (24.80 * 0.05 + 0.6)) < 0.01, "two points of a data sheet: 24.80 dB/100 m at 900 MHz")
    say("signal.lead-surplus" not in [f["rule"] for f in d["findings"]], "half a metre is not worth a word")
    d, by = leads("--reach", "2.5", "--ask", "13", "--frequency", "900")
    say(d["lead"] == "long" and by["middle"]["fit"] == by["thin"]["fit"] == "too-much-loss", "more asked: the better cable")
    say("signal.lead-surplus" in [f["rule"] for f in d["findings"]] and by["long"]["surplus_m"] == 2.5, "and what it is too long")
    say(abs(by["long"]["surplus_db"] - 24.80 * 0.025) < 0.01, "in decibels too")
    d, by = leads("--reach", "5.5")
    say(d["lead"] is None and "signal.no-lead" in [f["rule"] for f in d["findings"]], "none reaches")
    say(d["verdict"] == "open", "which leaves it open")
    d, by = leads()
    say(d["lead"] is None and d["reach_m"] is None and not d["findings"], "without a way they are only compared")
    p = run(folder, "--template")
    with open(os.path.join(folder, "template.csv"), "w", encoding="ascii") as f:
        f.write(p.stdout)
    say(run(folder, "a=-90", "--kit", "template.csv", "--reach", "2").returncode == 0, "the template is a kit")
    head = "name,length_m,cable,f1_mhz,a1_db_100m,f2_mhz,a2_db_100m,connectors\n"
    for text in ("x\n", "name,length_m\n", head + "a,3,nothing,,,,,\n", head + "a,x,RG-58,,,,,\n", head + ",3,RG-58,,,,,\n",
                 head + "a,3,,450,17,,,\n", head + "a,3,,450,17,450,18,\n", head + "a,300,RG-58,,,,,\n", head + "a,3,RG-58,,,,,2.5\n"):
        with open(os.path.join(folder, "wrong.csv"), "w", encoding="ascii") as f:
            f.write(text)
        p = run(folder, "a=-90", "--kit", "wrong.csv")
        say(p.returncode == 3 and p.stderr.strip(), f"{text!r}: {p.stderr}")


def main():
    with tempfile.TemporaryDirectory() as folder:
        kit(folder)
        typed(folder)
        faults(folder)
        places(folder)
        by_hand_at_a_terminal(folder)
        stopped(folder)
        no_modem(folder)
    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

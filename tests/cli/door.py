#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The command door from outside: marks from a pipe and from single keys of a terminal, events of a table and of an audit,
and the claim of a visit."""
import json
import os
import pty
import re
import signal
import subprocess
import sys
import tempfile

FETTLE, SOURCE = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
failed = 0


def check(held, what):
    global failed
    if not held:
        failed += 1
        print("FAIL", what)


def run(*args, stdin=None, code=0, cwd=None, env=None):
    done = subprocess.run([FETTLE, *args], cwd=cwd, env=env, input=stdin, capture_output=True, text=True, timeout=30, check=False)
    check(done.returncode == code, f"{args} ended with {done.returncode}: {done.stderr}{done.stdout[:300]}")
    return done.stdout


def rows(path):
    with open(path, encoding="ascii") as f:
        return [line.rstrip("\n") for line in f]


def keys_of_a_terminal(folder, ends):
    """Each key is a mark at once, without a line end; q or an interrupt ends it and the terminal is as it was."""
    if os.path.exists(os.path.join(folder, "keys.csv")):
        os.remove(os.path.join(folder, "keys.csv"))
    master, slave = pty.openpty()
    before = subprocess.run(["stty", "-a"], stdin=slave, capture_output=True, text=True, check=False).stdout
    p = subprocess.Popen([FETTLE, "door", "--mark", "keys.csv"], cwd=folder, stdin=slave, stdout=subprocess.PIPE,
                         stderr=subprocess.PIPE, text=True)
    p.stderr.readline()
    for key in b" x co":
        os.write(master, bytes([key]))
        p.stderr.readline()
    ends(master, p)
    check(p.wait(10) == 0, "it ends well")
    after = subprocess.run(["stty", "-a"], stdin=slave, capture_output=True, text=True, check=False).stdout
    got = [r.split(",")[1] for r in rows(os.path.join(folder, "keys.csv"))]
    check(got == ["door", "open", "closed", "open", "closed", "open"], f"keys gave {got}")
    check(before == after, "the terminal was left changed")
    os.close(master)
    os.close(slave)


def audit_with_door(folder):
    """The sample audit with one opening of two minutes in its log."""
    with open(os.path.join(SOURCE, "tests", "samples", "sample-1.dts"), encoding="latin-1", newline="") as f:
        text = f.read()
    text = re.sub(r"(EA1\*EJB_12[^\r\n]*(\r?\n))", r"\1EA1*EGS*250310*0801*2\2", text, count=1)
    check("EGS*250310" in text, "the sample has no log to put an opening into")
    with open(os.path.join(folder, "after.dts"), "w", encoding="latin-1", newline="") as f:
        f.write(text)


def main(folder):
    env = dict(os.environ, TZ="UTC", FETTLE_BOOK=os.path.join(folder, "book.sqlite"))
    run("door", "--mark", "marks.csv", stdin="\n\nc\no\n", cwd=folder)
    got = rows(os.path.join(folder, "marks.csv"))
    check([r.split(",")[1] for r in got] == ["door", "open", "closed", "closed", "open"], f"lines gave {got}")
    run("door", "--mark", "marks.csv", stdin="\n", cwd=folder)
    check(len(rows(os.path.join(folder, "marks.csv"))) == 6, "further marks go behind the earlier ones")
    keys_of_a_terminal(folder, lambda master, _: os.write(master, b"q"))
    keys_of_a_terminal(folder, lambda _, p: p.send_signal(signal.SIGINT))
    audit_with_door(folder)
    before = open(os.path.join(folder, "after.dts"), "rb").read()
    run("door", "--mark", "after.dts", stdin="\n\n", cwd=folder, code=3)
    check(open(os.path.join(folder, "after.dts"), "rb").read() == before, "evidence is no file for marks: nothing was written into it")
    with open(os.path.join(folder, "marks.csv"), "a", encoding="ascii") as f:
        f.write("2025-03-10T08:0")  # the computer died in the middle of a mark
    run("door", "--mark", "marks.csv", stdin="\n", cwd=folder)
    check(rows(os.path.join(folder, "marks.csv"))[-1].endswith(",open"), "a mark behind a line that was cut has a line of its own")

    with open(os.path.join(folder, "m.csv"), "w", encoding="ascii") as f:
        f.write("marked_time,door\n2025-03-10T08:01:20Z,open\n2025-03-10T08:03:10Z,closed\n")
    audit_with_door(folder)
    d = json.loads(run("door", "m.csv", "after.dts", "--json", cwd=folder, env=env))
    check((d["marks"], d["matched"], d["missed"], d["inverted"]) == (2, 2, 0, False), f"of the audit: {d}")
    check({"door.coarse", "door.few-marks"} <= {f["rule"] for f in d["findings"]}, "a log without seconds and two marks are told")

    with open(os.path.join(folder, "e.csv"), "w", encoding="ascii") as f:
        f.write("Time;Event\n10.03.2025 09:01:22;Door closed\n10.03.2025 09:03:11;Door open\n")
    d = json.loads(run("door", "m.csv", "e.csv", "--json", cwd=folder, env=env, code=1))
    check(d["inverted"] and d["offset_s"] == 3600 and 0 < d["delay_s"] < 3, f"the wrong way round: {d}")
    run("visit", "open", "BD-0417", cwd=folder, env=env)
    run("visit", "add", "BD-0417", "m.csv", "e.csv", cwd=folder, env=env, code=1)
    d = json.loads(run("visit", "show", "BD-0417", "--json", cwd=folder, env=env, code=1))
    claim = [c for c in d["claims"] if c["id"] == "prove.door"][0]
    check(claim["stands"] == "contradicted" and len(claim["evidence"]) == 2, f"the claim: {claim}")

    run("door", "m.csv", code=2, cwd=folder)
    run("door", "missing.csv", "e.csv", code=3, cwd=folder)
    run("door", "m.csv", folder, code=3, cwd=folder)
    run("door", "after.dts", "e.csv", code=3, cwd=folder)
    run("door", "m.csv", "e.csv", "--late", "x", code=2, cwd=folder)
    run("door", "--mark", os.path.join(folder, "no", "such"), code=5, cwd=folder)


with tempfile.TemporaryDirectory() as home:
    main(home)
sys.exit(1 if failed else 0)

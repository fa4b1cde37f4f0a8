#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The visit that `make try` plays, and the README held against it.

usage: try.py FETTLE SOURCE
"""
import csv
import io
import json
import os
import re
import stat
import subprocess
import sys
import tempfile
import zipfile

FETTLE = os.path.abspath(sys.argv[1])
SOURCE = os.path.abspath(sys.argv[2])
SCRIPT = os.path.join(SOURCE, "tools", "try.sh")
failed = passed = 0


def say(ok, what):
    global failed, passed
    passed += bool(ok)
    failed += not ok
    print(("ok   " if ok else "FAIL ") + what, flush=True)


def play(program, papers):
    p = subprocess.run(["bash", SCRIPT, program, papers], capture_output=True, text=True, timeout=100)
    return p.returncode, p.stdout, p.stderr


def running_in(folder):
    """Processes whose working directory or command line is in the folder."""
    found = []
    for pid in filter(str.isdigit, os.listdir("/proc")):
        try:
            words = open(f"/proc/{pid}/cmdline", "rb").read().split(b"\0")
            if os.readlink(f"/proc/{pid}/cwd").startswith(folder) and b"practice" in words:
                found.append(pid)
        except OSError:
            pass
    return found


def whole(folder):
    papers = os.path.join(folder, "papers")
    rc, out, err = play(FETTLE, papers)
    say(rc == 0 and err == "", f"the visit ends with 0 and says nothing on standard error: {rc} {err[:300]}")
    wide = [x for x in out.splitlines() if len(x) > 80]
    say(not wide, f"no line is wider than 80 columns: {wide[:2]}")
    say("Selections 21 and 23 count for each other: mended" in " ".join(out.split()), "the account names what was contradicted")
    for mark in "■◆◐○":
        say(re.search(f"^  {mark}  ", out, re.M), f"the account has a line {mark}")
    say(not running_in(folder), "no practice machine is left behind")
    say(not [x for x in os.listdir(papers) if x in (".lines", ".events", ".out")], "nothing of the play is left but papers")
    with zipfile.ZipFile(os.path.join(papers, "HL-0932-1.zip")) as z:
        document = json.loads(z.read("handover.json"))
        row = next(csv.DictReader(io.StringIO(z.read("machines.csv").decode())))
        say(z.read("handover.pdf")[:5] == b"%PDF-", "the package has a PDF")
    say(document["verdict"] == "shown" and row["verdict"] == "shown" and row["asset"] == "HL-0932", "the papers say shown")
    say(document["proof"]["from"] == "mended.dts" and document["proof"]["agree"] is True, "the proof begins after mending")
    say(oct(os.stat(os.path.join(papers, "keys", "fettle", "key")).st_mode)[-3:] == "600", "the key lies in the papers alone")
    say(play(FETTLE, papers)[0] == 0, "it plays again over its own papers")
    return out


def refuses(folder):
    theirs = os.path.join(folder, "theirs")
    os.mkdir(theirs)
    with open(os.path.join(theirs, "letter"), "w") as f:
        f.write("dear all\n")
    rc, _, err = play(FETTLE, theirs)
    say(rc == 1 and "move it away" in err and os.path.exists(os.path.join(theirs, "letter")), "a folder of somebody else stays as it is")
    rc, _, err = play(os.path.join(folder, "nothing"), os.path.join(folder, "p"))
    say(rc == 1 and "build it" in err, "no program: it says to build it")
    # A program that shows what must be contradicted, and one that loses a step: the play must not go on.
    for name, line in (("blind", '[ "$1" = prove ] && exit 0'), ("deaf", '[ "$1 $2" = "visit close" ] && exit 1'),
                       ("dumb", '[ "$1" = practice ] && exit 0')):
        program = os.path.join(folder, name)
        with open(program, "w") as f:
            f.write(f'#!/bin/sh\n{line}\nexec "{FETTLE}" "$@"\n')
        os.chmod(program, os.stat(program).st_mode | stat.S_IXUSR)
        rc, out, err = play(program, os.path.join(folder, name + "-papers"))
        say(rc == 1 and "tools/try.sh:" in err and "The account" not in out, f"a {name} program makes the play fail: {err.strip()[-70:]}")
    say(not running_in(folder), "a play that failed leaves no practice machine behind")


with tempfile.TemporaryDirectory() as folder:
    folder = os.path.realpath(folder)
    whole(folder)
    refuses(folder)
print(f"{passed} passed, {failed} failed")
sys.exit(failed > 0)

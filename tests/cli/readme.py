#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Run what README.md tells people to type, and hold what they get against what it prints.

usage: readme.py FETTLE SOURCE [--write]

A ```console block holds commands ("$ ...") and the lines they print, some left out where "..." stands; a
```practice block holds lines for the practice machine. --write prints each command with all it says.
"""
import csv
import os
import re
import subprocess
import sys
import tempfile
import time

FETTLE = os.path.abspath(sys.argv[1])
SOURCE = os.path.abspath(sys.argv[2])
WRITE = "--write" in sys.argv
# What a test cannot or need not run: these build the program that is under test.
SKIPPED = ("make ", "mkdir ", "cd ", "export ")
# Hashes, keys and times differ from run to run, and so does the time a read takes.
CHANGING = ((r"\b[0-9a-f]{16,64}\b", "<hash>"), (r"\b([0-9a-f]{4} ){3}[0-9a-f]{4}\b", "<key>"),
            (r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?", "<time>"), (r"\b\d+\.\d s\b", "<s>"))
# The last event of each line that the README has people type.
AWAITED = {"firmware": "price", "price": "price", "fault": "fault", "clock": "clock", "read": "read", "sales": "saved",
           "sell": "sale", "antenna": "antenna"}
failed = passed = 0


def say(ok, what):
    global failed, passed
    passed += bool(ok)
    failed += not ok
    print(("ok   " if ok else "FAIL ") + what, flush=True)


def plain(text):
    for pattern, word in CHANGING:
        text = re.sub(pattern, word, text)
    return text


def blocks(text):
    return re.findall(r"^```(console|practice)\n(.*?)^```$", text, re.M | re.S)


def commands(body):
    """[(command, [lines it prints])]; a line that ends with a backslash goes on."""
    found = []
    for line in body.splitlines():
        if line.startswith("$ "):
            found.append([line[2:], []])
        elif found and found[-1][0].endswith("\\"):
            found[-1][0] = found[-1][0][:-1].rstrip() + " " + line.strip()
        elif found:
            found[-1][1].append(line)
    return found


def said(want, got):
    """Do the wanted lines stand in the answer, in order, one right after the other but where "..." stands?"""
    at, gap = 0, False
    got = [plain(x.rstrip()) for x in got.splitlines()]
    for line in want:
        if line.strip() == "...":
            gap = True
            continue
        line = plain(line.rstrip())

        def same(x):
            return x.startswith(line[:-4]) if line.endswith(" ...") else x == line
        while gap and at < len(got) and not same(got[at]):
            at += 1
        if at >= len(got) or not same(got[at]):
            return f"missing: {line!r}" + (f" but {got[at]!r}" if at < len(got) else "")
        at, gap = at + 1, False
    return None if gap or at == len(got) else f"left out without a mark: {got[at]!r}"


def end(machine):
    machine.stdin.close()
    machine.wait(10)


def wait_for(path, p):
    for _ in range(2000):
        if os.path.lexists(path) or p.poll() is not None:
            return
        time.sleep(0.005)


def run(folder):
    env = dict(os.environ, PATH=os.path.dirname(FETTLE) + ":" + os.environ["PATH"], HOME=folder, TZ="UTC", LC_ALL="C.UTF-8",
               FETTLE_BOOK="van.sqlite", XDG_CONFIG_HOME=os.path.join(folder, "keys"))
    machine, count = None, 0
    try:
        for kind, body in blocks(open(os.path.join(SOURCE, "README.md"), encoding="utf-8").read()):
            if kind == "practice":
                for line in body.splitlines():
                    machine.stdin.write(line + "\n")
                    machine.stdin.flush()
                    answer = machine.stdout.readline()
                    while answer and not re.search(f'"event":"({AWAITED[line.split()[0]]}|error)"', answer):
                        answer = machine.stdout.readline()
                    say('"event":"error"' not in answer and answer, f"the practice machine takes: {line}")
                continue
            for command, want in commands(body):
                if command.startswith(SKIPPED):
                    continue
                count += 1
                if command.startswith("fettle practice --"):
                    if machine:
                        end(machine)
                    machine = subprocess.Popen(command.replace("fettle ", FETTLE + " ", 1).split() + ["--json", "--until-eof"], cwd=folder, env=env,
                                               stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
                    machine.stdout.readline()
                    wait_for(os.path.join(folder, re.search(r"-link (\S+)", command)[1]), machine)
                    continue
                p = subprocess.run(command, shell=True, cwd=folder, env=env, capture_output=True, text=True, timeout=60)
                if WRITE:
                    print(f"$ {command}\n{p.stdout}{p.stderr}[{p.returncode}]")
                    continue
                wrong = said(want, p.stdout or p.stderr)
                usage = want and want[0].startswith("fettle: ")
                say(p.returncode == 2 if usage else p.returncode in (0, 1), f"{command[:70]} ends with {p.returncode}")
                say(not wrong, f"{command[:70]}: {wrong or 'prints what the README shows'}")
    finally:
        if machine:
            end(machine)
    say(count > 30, f"the README has commands to run: {count}")


def tables():
    """Cautions and exit codes stand in the README as in the program."""
    text = open(os.path.join(SOURCE, "README.md"), encoding="utf-8").read()
    with open(os.path.join(SOURCE, "data", "cautions.csv"), encoding="utf-8", newline="") as f:
        for row in csv.DictReader(f):
            if row["id"] == "first":
                say("Local codes, the machine maker's manual and licensed practice come first" in text, "the first caution leads")
                continue
            line = f"| {row['title']} | {row['sentence']} | {row['trust']}: {row['source']} |"
            say(line in text, f"the README has the caution {row['id']} as in data/cautions.csv")
    page = " ".join(subprocess.run([FETTLE, "--help"], capture_output=True, text=True).stdout.split())
    codes = re.findall(r"^\| (\d) \| (.+) \|$", text, re.M)
    say(len(codes) == 6, "the README has six exit codes")
    for code, means in codes:
        say(f"{code} {means}" in page, f"--help and the README agree on {code} {means}")
    practice = subprocess.run([FETTLE, "practice", "--help"], capture_output=True, text=True).stdout
    page = open(os.path.join(SOURCE, "docs", "practice.md"), encoding="utf-8").read().split("## Lines")[1].split("## ")[0]
    words = {w for first in re.findall(r"^\| (`.+?) \| ", page, re.M) for w in re.findall(r"`(\w+)", first)}
    missing = {w for w in words if not re.search(rf"^  {w}\b", practice.split("\nLines: ", 1)[-1], re.M)}
    say(len(words) > 25 and not missing, f"practice --help lists every line of docs/practice.md: {sorted(missing)}")
    verbs = set(re.findall(r"^  ([a-z]+)  +\w", subprocess.run([FETTLE, "--help"], capture_output=True, text=True).stdout, re.M))
    part = text.split("## Commands")[1].split("## ")[0]
    named = set(re.findall(r"`(\w+)`", part))
    say(verbs and verbs <= named, f"the README names every command: {sorted(verbs - named)}")


tables()
with tempfile.TemporaryDirectory() as tree:
    at = os.path.join(os.path.realpath(tree), "papers", "by-hand")  # as the README has people make it
    os.makedirs(at)
    os.symlink(os.path.join(SOURCE, "data"), os.path.join(os.path.realpath(tree), "data"))
    run(at)
print(f"{passed} passed, {failed} failed")
sys.exit(failed > 0)

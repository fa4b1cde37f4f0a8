#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Wrong input of the kinds people give: one sentence that says what to do, and the right exit code.

usage: wrong.py FETTLE SOURCE
"""
import fcntl
import json
import os
import subprocess
import sys
import tempfile

FETTLE = os.path.abspath(sys.argv[1])
SOURCE = os.path.abspath(sys.argv[2])
failed = passed = 0
NOBODY = 65534

# arguments, exit code, what the sentence must hold. A, B: two reads of one machine; S: its list of sales.
CASES = [
    ("explain missing", 3, "There is no file missing"),
    ("explain folder", 3, "folder is a folder"),
    ("explain empty", 3, "empty is empty"),
    ("explain binary", 3, "holds no audit"),
    ("explain letter", 3, "holds no audit"),
    ("check missing", 3, "There is no such file"),
    ("check empty", 3, "empty"),
    ("check binary", 3, "There is no audit in this"),
    ("compare A missing", 3, "There is no file missing"),
    ("compare A folder", 3, "folder is a folder"),
    ("compare empty A", 3, "There is no audit in empty"),
    ("compare A binary", 3, "There is no audit in binary"),
    ("compare A S", 3, "There is no audit in S"),
    ("compare B A", 1, "the wrong way round"),
    ("prove B A --sales S", 1, "the second audit is older than the first"),
    ("prove A S --sales B", 3, "There is no audit in S"),
    ("prove A B --sales A", 3, "has no column selection"),
    ("prove A B --sales missing", 3, "There is no file missing"),
    ("prove A B --sales empty", 3, "is empty"),
    ("prove A B --sales binary", 3, "holds binary bytes"),
    ("prove A B --sales S --counted much", 2, "takes an amount such as"),
    ("read missing -o out", 4, "There is no port missing"),
    ("read folder -o out", 4, "folder is a folder, not a serial port"),
    ("read A -o out", 4, "A is a file, not a serial port"),
    ("read /dev/null -o out", 4, "is not a serial port"),
    ("read PORT", 2, "needs -o FILE"),
    ("read PORT -o folder", 5, "folder is a folder"),
    ("read PORT -o missing/out", 5, "does not exist"),
    ("read PORT -o out --link tin-can", 2, "auto"),
    ("read PORT -o out --baud -1", 2, "--baud takes"),
    ("--book A visit show", 5, "is not a book"),
    ("--book folder visit show", 5, "is a folder"),
    ("--book none visit show", 5, "There is no book"),
    ("visit open", 2, "visit"),
    ("visit add V missing", 3, "There is no file missing"),
    ("visit add V folder", 3, "folder is a folder"),
    ("visit add V empty", 3, "empty is empty"),
    ("visit add V binary", 3, "nothing this bench knows"),
    ("visit say V prove.bus fine", 2, "cannot be shown by words"),
    ("visit say V no.claim fine", 2, "There is no claim no.claim"),
    ("visit waive V prove.bus", 2, "--because"),
    ("visit show other", 2, "other"),
    ("handover verify missing", 3, "There is no file missing"),
    ("handover verify A", 3, "This is no package"),
    ("handover receive folder", 3, "folder is a folder"),
    ("handover pack V -o folder", 5, "folder is a folder"),
    ("handover pack V -o missing/x.zip", 5, "does not exist"),
    ("handover pack V -o /dev/full", 5, "The disk is full"),
    ("practice --machine missing", 3, "There is no file missing"),
    ("practice --script missing", 3, "There is no file missing"),
    ("practice --fault wobbly", 2, "wobbly"),
    ("nonsense", 2, "no command nonsense"),
    ("explain --wobbly A", 2, "no option --wobbly"),
    ("explain", 2, "Too few words"),
    ("explain A B", 2, "Too many words"),
]
# As somebody who may not: (arguments, exit code, words)
FORBIDDEN = [
    ("explain secret", 3, "no permission to read secret"),
    ("compare A secret", 3, "no permission to read secret"),
    ("prove A B --sales secret", 3, "no permission to read secret"),
    ("--book secret visit show", 5, "secret"),
    ("handover verify secret", 3, "no permission to read secret"),
    ("practice --script secret", 3, "no permission to read secret"),
    ("read secretport -o out", 4, "secretport"),
]
FULL = ["explain A", "check A", "check A --json", "compare A B", "prove A B --sales S", "visit show V", "rules", "book check",
        "--help"]


def say(ok, what):
    global failed, passed
    passed += bool(ok)
    failed += not ok
    print(("ok   " if ok else "FAIL ") + what, flush=True)


def put(path, data):
    with open(path, "wb") as f:
        f.write(data)


def lay_out(folder):
    tests = os.path.join(SOURCE, "tests")
    for name, source in (("A", "samples/sample-1.dts"), ("B", "samples/sample-1b.dts"), ("S", "sales/sample-1.csv")):
        with open(os.path.join(tests, source), "rb") as f:
            put(os.path.join(folder, name), f.read())
    os.mkdir(os.path.join(folder, "folder"))
    put(os.path.join(folder, "empty"), b"")
    put(os.path.join(folder, "binary"), bytes((i * 37 + 11) % 256 for i in range(3000)))
    put(os.path.join(folder, "letter"), b"dear all,\nthe machine stands at the pool.\n")
    put(os.path.join(folder, "secret"), b"ST*001*0001\r\n")
    os.chmod(os.path.join(folder, "secret"), 0)


def main(folder):
    lay_out(folder)
    env = dict(os.environ, HOME=folder, TZ="UTC", LC_ALL="C.UTF-8", FETTLE_BOOK="book", XDG_CONFIG_HOME=os.path.join(folder, "keys"))
    machine = subprocess.Popen([FETTLE, "practice", "--pace", "fast", "--until-eof"], cwd=folder, stdin=subprocess.PIPE,
                               stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    port = json.loads(machine.stdout.readline())["ports"]["dex"]

    def run(line, **more):
        words = [port if w == "PORT" else w for w in line.split()]
        return subprocess.run([FETTLE, *words], cwd=folder, env=env, stdin=subprocess.DEVNULL, capture_output="stdout" not in more,
                              timeout=60, **more)

    def case(line, code, words, as_nobody=False):
        before = sorted(os.listdir(folder))
        p = run(line, **({"user": NOBODY, "group": NOBODY} if as_nobody else {}))
        out, err = p.stdout.decode(), p.stderr.decode()
        # The key is made before the package is written; where it lies is said on standard error.
        sentences = [x for x in err.splitlines() if x.startswith("fettle: ")]
        say(p.returncode == code, f"fettle {line}: exit {p.returncode}, wanted {code}: {err.strip()[:100]}")
        say(words in " ".join((out + err).split()), f"fettle {line}: says \"{words}\": {(out + err)[:120]!r}")
        if code > 1 and not line.startswith("check"):
            say(len(sentences) == 1 and not out, f"fettle {line}: one sentence and nothing else: {err!r} {out!r}")
        after = sorted(os.listdir(folder))
        say(before == after or line.startswith("handover"), f"fettle {line}: leaves no file behind: {set(after) - set(before)}")

    say(run("visit open V").returncode == 0, "a visit is open")
    for line, code, words in CASES:
        case(line, code, words)

    holder = os.open(port, os.O_RDWR | os.O_NOCTTY)
    fcntl.flock(holder, fcntl.LOCK_EX | fcntl.LOCK_NB)
    case("read PORT -o out", 4, "in use")
    os.close(holder)

    os.symlink(port, os.path.join(folder, "secretport"))
    root = os.geteuid() == 0
    if root:
        try:
            run("--help", user=NOBODY, group=NOBODY)
        except PermissionError:
            print("skip what is forbidden: nobody else may run the program where it lies")
            FORBIDDEN.clear()
        os.chmod(folder, 0o777)
        os.chmod(port, 0o600)
    for line, code, words in FORBIDDEN:
        if root or not line.startswith("read"):
            case(line, code, words, as_nobody=root)
    for line in FULL:
        with open("/dev/full", "wb") as full:
            p = run(line, stdout=full, stderr=subprocess.PIPE)
        say(p.returncode == 5 and b"could not be written" in p.stderr, f"fettle {line} into a full disk: {p.returncode} {p.stderr!r}")
    machine.stdin.close()
    machine.wait(10)


with tempfile.TemporaryDirectory() as folder:
    main(os.path.realpath(folder))
print(f"{passed} passed, {failed} failed")
sys.exit(failed > 0)

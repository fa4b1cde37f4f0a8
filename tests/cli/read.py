#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""fettle read from the outside, against the practice machine on real pseudo-terminals.

usage: read.py FETTLE [READS]    READS: how many reads over a damaged line at each rate (24)
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
import time

FETTLE = os.path.abspath(sys.argv[1])
READS = int(sys.argv[2]) if len(sys.argv) > 2 else 24
failed = passed = 0


def say(ok, what):
    global failed, passed
    passed += ok
    failed += not ok
    print(("ok   " if ok else "FAIL ") + what, flush=True)


class Machine:
    """The practice machine, driven line by line."""

    def __init__(self, *args):
        self.p = subprocess.Popen([FETTLE, "practice", "--json", "--pace", "fast", "--turn-round", "1", "--until-eof", *args],
                                  stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1)
        self.ports = json.loads(self.p.stdout.readline())["ports"]

    def do(self, line):
        self.p.stdin.write(line + "\n")
        self.p.stdin.flush()
        while True:
            answer = self.p.stdout.readline()
            if not answer:
                return None
            answer = json.loads(answer)
            if answer.get("event") not in ("read", "reading"):
                return answer

    def saved(self, name):
        """What the next read would get, less what a read itself changes (EA3, and G85 over it)."""
        if os.path.exists(name):
            os.remove(name)
        self.p.stdin.write(f"save {name}\n")
        self.p.stdin.flush()
        for _ in range(5000):
            if os.path.exists(name) and os.path.getsize(name):
                break
            time.sleep(0.001)
        return steady(name)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.p.stdin.close()
        self.p.wait(10)


def steady(name):
    with open(name, "rb") as f:
        return [x for x in f.read().split(b"\r\n") if not re.match(rb"EA3\*|G85\*|ID5\*", x)]


def read(port, out, *args, json_out=True):
    p = subprocess.run([FETTLE, "read", port, "-o", out, *(["--json"] if json_out else []), *args], capture_output=True)
    return p.returncode, p.stdout.decode(), p.stderr.decode()


def whole():
    for name in ("snack", "hotdrink", "coinbox"):
        with Machine("--machine", name) as m:
            for link in ("dex", "ddcmp"):
                for how in ("auto", link):
                    want = m.saved("saved.dts")
                    code, out, _ = read(m.ports[link], "got.dts", "--link", how, "--trace", f"{link}.trace")
                    d = json.loads(out)
                    say(code == 0 and steady("got.dts") == want and d["link"] == link, f"{name} over {link} asked as {how}")
                missing = [k for k in "command verdict findings link bytes blocks retries seconds line_share file hash".split() if k not in d]
                say(not missing and d["bytes"] == os.path.getsize("got.dts") and re.fullmatch("[0-9a-f]{64}", d["hash"]) is not None,
                    f"keys {missing or ''}")
                code, _, err = read(f"{link}.trace", "again.dts", "--replay")
                say(code == 0 and open("again.dts", "rb").read() == open("got.dts", "rb").read(), f"{link} trace played again {err.strip()}")
    with Machine() as m:
        code, out, err = read(m.ports["dex"], "plain.dts", json_out=False)
        say(code == 0 and "Read whole" in out and "Written to plain.dts" in out and max(map(len, out.splitlines())) <= 80, "for people")
        p = subprocess.run([FETTLE, "read", m.ports["dex"], "-o", "-"], capture_output=True)
        say(p.returncode == 0 and p.stdout.startswith(b"DXS*") and p.stdout.rstrip().endswith(b"DXE*1*1"), "to standard output")
    before = os.umask(0o077)
    read("dex.trace", "private.dts", "--replay")
    os.umask(before)
    say(os.stat("private.dts").st_mode & 0o777 == 0o600, "a new file is as private as its owner asks")
    os.chmod("again.dts", 0o640)
    read("dex.trace", "again.dts", "--replay")
    say(os.stat("again.dts").st_mode & 0o777 == 0o640, "a file that is replaced keeps who may read it")


def earlier():
    """A second read under the same name loses nothing of the first, nor of whatever else the file held."""
    with Machine() as m:
        held = []
        for n in range(3):
            if os.path.exists("before.dts"):
                held.append(open("before.dts", "rb").read())
            code, _, err = read(m.ports["dex"], "before.dts", json_out=n == 1)
            want = f"What before.dts held is kept as before.{n}.dts.\n"
            say(code == 0 and (want in err if n else "is kept" not in err), f"read {n + 1} under one name: {err.strip()}")
            m.do("price 11 130" if n == 0 else "price 11 140")
        say([open(f"before.{n}.dts", "rb").read() for n in (1, 2)] == held and len(set(held)) == 2, "each read before is there")
        say(open("before.dts", "rb").read() not in held, "and the new one under the name that was asked for")
    replayed = open("got.dts", "rb").read()
    for name, text, kept in (("notes", b"the key hangs left\n", "notes.1"), (".notes", b"x", ".notes.1"), ("empty.dts", b"", None),
                             ("same.dts", replayed, None), ("part.dts", replayed[:200], None)):
        with open(name, "wb") as f:
            f.write(text)
        _, _, err = read("ddcmp.trace", name, "--replay")
        say(open(name, "rb").read() == replayed and ("is kept as" in err) == bool(kept), f"over {name}: {err.strip()}")
        say(open(kept, "rb").read() == text if kept else not os.path.exists(name.replace(".dts", ".1.dts")), f"what {name} held")
    os.symlink("notes", "link.dts")
    held = open("notes", "rb").read()
    with open("notes", "wb") as f:
        f.write(b"behind a link")
    read("ddcmp.trace", "link.dts", "--replay")
    say(open("notes", "rb").read() == b"behind a link" == open("link.1.dts", "rb").read() != held, "a link is followed by nobody")


def not_whole():
    with Machine() as m:
        def refuse(what, words, *args, part=False):
            for f in ("no.dts", "part.dts"):
                if os.path.exists(f):
                    os.remove(f)
            code, _, err = read(m.ports[args[0]], "no.dts", *args[1:], "--keep-part", "part.dts")
            sentences = [x for x in err.splitlines() if x.startswith("fettle:")]
            say(code == 4 and not os.path.exists("no.dts") and len(sentences) == 1 and words in err and os.path.exists("part.dts") == part,
                f"{what}: {sentences[0][8:110] if sentences else err}")

        m.do("fault cut-short 900")
        refuse("cut short", "too early", "dex", part=True)
        refuse("cut short", "too early", "ddcmp", part=True)
        m.do("fault off cut-short")
        m.do("fault wrong-checksum")
        refuse("wrong check value", "G85", "dex", part=True)
        m.do("fault off wrong-checksum")
        m.do("fault refusing-code 4321")
        refuse("security code", "security", "ddcmp", "--link", "ddcmp")
        code, _, _ = read(m.ports["ddcmp"], "code.dts", "--link", "ddcmp", "--security", "4321")
        say(code == 0, "the right code reads")
        m.do("fault off refusing-code")
        m.do("fault dead-port")
        refuse("dead port", "", "dex", "--timeout", "2")
        m.do("fault off dead-port")
        say(read(m.ports["dex"], "after.dts")[0] == 0, "and it reads again afterwards")


def stopped():
    with Machine("--pace", "real", "--machine", "hotdrink") as m:
        p = subprocess.Popen([FETTLE, "read", m.ports["dex"], "-o", "stop.dts", "--link", "dex", "--keep-part", "half.dts"],
                             stderr=subprocess.PIPE, stdout=subprocess.PIPE)
        time.sleep(2)
        again, _, err = read(m.ports["dex"], "second.dts")
        say(again == 4 and "use" in err, f"a port in use: {err.strip()[-90:]}")
        p.send_signal(signal.SIGINT)
        _, err = p.communicate()
        say(p.returncode == 4 and b"stopped" in err and not os.path.exists("stop.dts"), f"stopped by hand: {err.decode().splitlines()[-2][:90]}")
        say(read(m.ports["dex"], "stop.dts", "--link", "dex")[0] == 0, "and the machine reads whole afterwards")


def wrong():
    master, slave = pty.openpty()
    tty = os.ttyname(slave)
    os.makedirs("folder", exist_ok=True)
    open("file", "w").close()
    cases = [
        (["nowhere", "-o", "x.dts"], 4, "no "), (["folder", "-o", "x.dts"], 4, ""), (["file", "-o", "x.dts"], 4, ""),
        ([tty], 2, "-o"), ([tty, "-o", "folder"], 5, "folder"), ([tty, "-o", "none/x.dts"], 5, "does not exist"),
        ([tty, "-o", "x.dts", "--keep-part", "x.dts"], 2, "another name"), ([tty, "-o", "file", "--keep-part", "./file"], 2, "another name"),
        ([tty, "-o", "-", "--json"], 2, "standard output"), ([tty, "-o", "x.dts", "--trace", "-"], 2, "needs a file"),
        ([tty, "-o", "x.dts", "--trace", "x.dts"], 2, "name of its own"),
        ([tty, "-o", "x.dts", "--link", "usb"], 2, "auto, dex or ddcmp"), ([tty, "-o", "x.dts", "--baud", "x"], 2, "whole number"),
        ([tty, "-o", "x.dts", "--security", "12"], 2, "hexadecimal"), ([tty, "-o", "x.dts", "--timeout", "1"], 4, ""),
        (["file", "-o", "x.dts", "--replay"], 3, "trace"), ([FETTLE, "-o", "x.dts", "--replay"], 3, ""),
        (["nowhere", "-o", "x.dts", "--replay"], 3, "no file"),
    ]
    for args, code, words in cases:
        p = subprocess.run([FETTLE, "read", *args], capture_output=True, text=True)
        lines = [x for x in p.stderr.splitlines() if x.startswith("fettle:")]
        say(p.returncode == code and words in p.stderr and len(lines) == 1 and not os.path.exists("x.dts"),
            f"read {' '.join(args)[-40:]}: {p.returncode} {lines[0][8:100] if lines else p.stderr}")
    os.close(master)
    os.close(slave)


def one_noisy(task):
    """A share of the reads over a damaged line, each exact or nothing. Returns good, refused, wrong."""
    ppm, link, share, seed = task
    good = refused = bad = 0
    with Machine("--seed", str(seed)) as m:
        m.do(f"fault noisy-line {ppm}")
        for i in range(share):
            name, want = f"noisy-{ppm}-{link}-{seed}-{i}.dts", m.saved(f"want-{ppm}-{link}-{seed}.dts")
            code, _, _ = read(m.ports[link], name, "--link", link, "--turn-round", "1")
            if code == 0 and steady(name) == want:
                good += 1
            elif code == 4 and not os.path.exists(name):
                refused += 1
            else:
                bad += 1
    return ppm, link, good, refused, bad


def noisy():
    hands = 6
    for ppm, least in ((2000, 0), (200, 0.975)):
        for link in ("dex", "ddcmp"):
            shares = [READS // hands + (i < READS % hands) for i in range(hands)]
            with concurrent.futures.ThreadPoolExecutor(hands) as pool:
                parts = list(pool.map(one_noisy, [(ppm, link, n, i + 1) for i, n in enumerate(shares) if n]))
            good, refused, bad = (sum(p[k] for p in parts) for k in (2, 3, 4))
            say(bad == 0 and good + refused == READS and good >= int(READS * least),
                f"{ppm / 10000} % damaged over {link}: {good} exact, {refused} given up with nothing written, {bad} wrong")


with tempfile.TemporaryDirectory() as home:
    os.chdir(home)
    for part in (whole, earlier, not_whole, stopped, wrong, noisy):
        part()
    os.chdir("/")
print(f"{passed} passed, {failed} failed")
sys.exit(failed != 0)

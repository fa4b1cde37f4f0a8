#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""fettle visit from the outside: what a fitter does wrong with it, and how it is put right.

usage: visit.py FETTLE SAMPLES
"""
import json
import os
import subprocess
import sys
import tempfile

FETTLE = os.path.abspath(sys.argv[1])
SAMPLES = os.path.abspath(sys.argv[2])
failed = passed = 0


def say(ok, what):
    global failed, passed
    passed += bool(ok)
    failed += not ok
    print(("ok   " if ok else "FAIL ") + what, flush=True)


class Book:
    """A book of its own in a folder of its own."""

    def __init__(self, folder):
        self.folder = folder
        os.mkdir(folder)
        self.env = dict(os.environ, FETTLE_BOOK=os.path.join(folder, "book.sqlite"), HOME=folder, XDG_CONFIG_HOME=folder, TZ="UTC", COLUMNS="80")

    def run(self, *args, code=None):
        p = subprocess.run([FETTLE, *args], cwd=self.folder, env=self.env, capture_output=True, text=True)
        if code is not None:
            say(p.returncode == code, f"{' '.join(args)} ends with {p.returncode}: {p.stderr.strip()}")
        return p

    def doc(self, *args):
        return json.loads(self.run("--json", *args).stdout)

    def claim(self, visit, name):
        return next(c for c in self.doc("visit", "show", visit)["claims"] if c["id"] == name)

    def put(self, name, text):
        with open(os.path.join(self.folder, name), "wb") as f:
            f.write(text if isinstance(text, bytes) else text.encode())
        return name

    def sample(self, sample, name):
        with open(os.path.join(SAMPLES, sample), "rb") as f:
            return self.put(name, f.read())


def stages(doc):
    return {x["name"]: x["stage"] for x in doc["visit"]["evidence"]}


def swapped(b):
    b.sample("sample-1.dts", "before.dts")
    b.sample("sample-1b.dts", "after.dts")
    b.run("visit", "open", "ZZ-1", code=0)
    b.run("visit", "add", "ZZ-1", "after.dts")
    b.run("visit", "add", "ZZ-1", "before.dts")
    wrong = b.claim("ZZ-1", "prove.meters")
    say(wrong["stands"] == "contradicted" and "--stage keep" in wrong["do"], f"the wrong way round is seen, and what to do: {wrong}")
    p = b.run("visit", "add", "ZZ-1", "--stage", "keep", "before.dts")
    said = " ".join(p.stdout.split())
    say("before.dts was there already; it is an audit now, filed under keep." in said and "after.dts stood there" in said, said[:200])
    doc = b.doc("visit", "show", "ZZ-1")
    say(stages(doc) == {"before.dts": "keep", "after.dts": "prove"}, f"and the two are swapped: {stages(doc)}")
    right = b.claim("ZZ-1", "prove.meters")
    say(right["stands"] == "shown", f"the claims follow: {right}")
    say("was there already, an audit filed under keep." in b.run("visit", "add", "ZZ-1", "before.dts").stdout, "without --stage nothing moves")
    b.put("figures.csv", "a,b\n1,2\n")
    b.run("visit", "add", "ZZ-1", "figures.csv")
    say("a survey now" in b.run("visit", "add", "ZZ-1", "figures.csv", "--kind", "survey").stdout.replace("a survey row", "a survey"), "a kind is put right too")
    b.run("visit", "close", "ZZ-1", "--open-claims")
    b.run("visit", "add", "ZZ-1-1", "--stage", "prove", "before.dts", code=2)


def main():
    with tempfile.TemporaryDirectory() as home:
        for part in PARTS:
            part(Book(os.path.join(home, part.__name__)))
    print(f"{passed} passed, {failed} failed")
    return failed != 0


PARTS = (swapped,)

if __name__ == "__main__":
    sys.exit(main())

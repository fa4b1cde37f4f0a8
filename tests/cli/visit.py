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
import zipfile

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


def dropped(b):
    b.sample("sample-1.dts", "before.dts")
    b.sample("sample-2.dts", "other.dts")
    b.run("visit", "open", "ZZ-1", "--by", "A. Fitter", code=0)
    b.run("visit", "add", "ZZ-1", "before.dts", "other.dts")
    say(b.claim("ZZ-1", "prove.audit")["stands"] == "shown", "the audit of another machine stands as the one of after")
    b.run("visit", "drop", "ZZ-1", "other.dts", code=2)
    b.run("visit", "drop", "ZZ-1", "nothing.dts", "--because", "x", code=2)
    p = b.run("visit", "drop", "ZZ-1", "other.dts", "--because", "of the machine beside it", "--by", "A. Fitter")
    say("other.dts is taken out" in p.stdout and p.returncode in (0, 1), f"it is said: {p.stdout[:160]} {p.stderr}")
    say(b.claim("ZZ-1", "prove.audit")["stands"] == "open", "it counts no more")
    doc = b.doc("visit", "show", "ZZ-1")["visit"]
    out = doc["taken_out"][0]
    say([x["name"] for x in doc["evidence"]] == ["before.dts"] and out["name"] == "other.dts" and out["number"] == 2 and len(out["hash"]) == 64
        and out["because"] == "of the machine beside it" and out["by"] == "A. Fitter", f"it is on record: {out}")
    text = " ".join(b.run("visit", "show", "ZZ-1").stdout.split())
    say(f"Taken out: other.dts ({out['hash'][:12]}): of the machine beside it, says A. Fitter" in text, text[-300:])
    b.run("visit", "get", "ZZ-1", "2", "-o", "back.dts", code=0)
    say(open(os.path.join(b.folder, "back.dts"), "rb").read() == open(os.path.join(b.folder, "other.dts"), "rb").read(), "the book keeps its bytes")
    p = b.run("handover", "pack", "ZZ-1", "-o", "a.zip", "--name", "A. Fitter")
    with zipfile.ZipFile(os.path.join(b.folder, "a.zip")) as z:
        record = json.loads(z.read("handover.json"))["record"]
        say(not [n for n in z.namelist() if out["hash"] in n], "and is not packed")
    say(record["taken_out"][0]["hash"] == out["hash"] and record["taken_out"][0]["because"] == out["because"], "the package says so")
    b.run("handover", "verify", "a.zip", code=0)
    b.run("--book", os.path.join(b.folder, "office.sqlite"), "handover", "receive", "a.zip", code=0)
    office = json.loads(b.run("--json", "--book", os.path.join(b.folder, "office.sqlite"), "visit", "show", "ZZ-1").stdout)
    say(office["visit"]["taken_out"][0]["hash"] == out["hash"], "and the office's book too")
    say(b.run("book", "check").returncode == 0, "the book is whole")
    b.run("visit", "add", "ZZ-1", "other.dts")
    say([x["number"] for x in b.doc("visit", "show", "ZZ-1")["visit"]["evidence"]] == [1, 3], "added again it is a new piece")
    say("  3 prove     other.dts: an audit" in b.run("visit", "show", "ZZ-1", "--all").stdout, "--all lists the pieces")
    b.run("visit", "close", "ZZ-1", "--open-claims")
    b.run("visit", "drop", "ZZ-1", "3", "--because", "late", code=2)


def not_recognised(b):
    b.put("terminal.log", "Welcome to the modem\nOK\n")
    b.run("visit", "open", "ZZ-1")
    p = b.run("visit", "add", "ZZ-1", "terminal.log")
    say("nothing in it was recognised, and it is kept as a note" in " ".join(p.stdout.split()), f"a text is no evidence unseen: {p.stdout[:120]}")
    say(max(len(x) for x in p.stdout.splitlines()) <= 80, "and fits")
    b.put("note.txt", "key at the porter's\n")
    say("nothing in it" not in b.run("visit", "add", "ZZ-1", "note.txt", "--kind", "note").stdout, "unless it was said to be one")


def asset_number(data, asset):
    return data.replace(b"*HL-0932*", b"*%s*" % asset)


def another_asset(b):
    b.put("lines", "save one.dts\nquit\n")
    b.run("practice", "--pace", "fast", "--script", "lines", "--machine", "snack", code=0)
    with open(os.path.join(b.folder, "one.dts"), "rb") as f:
        audit = f.read()
    b.run("visit", "open", "ZZ-1", code=0)
    b.run("visit", "add", "ZZ-1", "one.dts")
    c = b.claim("ZZ-1", "know.machine")
    say(c["stands"] == "open" and "no serial number" in c["because"] and "asset HL-0932, the visit is for ZZ-1" in c["because"], f"both are said: {c}")
    say("fettle visit set ZZ-1-1 --machine-serial" in c["do"], f"the next step names what is missing: {c['do']}")
    doc = b.doc("visit", "set", "ZZ-1", "--machine-serial", "PL7730418")
    rules = [(f["rule"], f["weight"], f["seen"], f["expected"]) for f in doc["findings"] if f["rule"].startswith("visit.asset")]
    c = b.claim("ZZ-1", "know.machine")
    say(rules == [("visit.asset-differs", "doubt", "HL-0932", "ZZ-1")], f"a doubt: {doc['findings']}")
    say(c["stands"] == "shown" and "It says asset HL-0932, the visit is for ZZ-1." in c["because"], f"the plate decides, and it is said: {c}")
    say("HL-0932" in " ".join(b.run("visit", "show", "ZZ-1", "--all").stdout.split()), "also to people")
    for n, (visit, inside, doubt) in enumerate((("HL-0932", b"HL-0932", False), ("hl 0932", b"HL-0932", False), ("HL-0932", b"", False),
                                                ("HL-0932", b"00000000", False), ("HL-0932", b"HL-0933", True))):
        book = ("--book", os.path.join(b.folder, f"{n}.sqlite"))
        b.put("two.dts", asset_number(audit, inside))
        b.run(*book, "visit", "open", visit, "--machine-serial", "PL7730418", code=0)
        doc = json.loads(b.run("--json", *book, "visit", "add", visit, "two.dts").stdout)
        say(doubt == any(f["rule"] == "visit.asset-differs" for f in doc["findings"]), f"{visit} and {inside}: doubt {doubt}")
        c = next(c for c in doc["claims"] if c["id"] == "know.machine")
        say(c["stands"] == "shown" and doubt == ("It says asset" in c["because"]), f"which the claim tells: {c}")


def named_key(b):
    b.run("visit", "open", "ZZ-1", code=0)
    first = b.doc("handover", "key")
    p = b.run("handover", "pack", "ZZ-1", "-o", "a.zip", "--name", "A. Fitter")
    doc = b.doc("handover", "key")
    say("signed by A. Fitter" in " ".join((p.stdout + p.stderr).split()) or doc["signed_by"] == "A. Fitter", f"a name that is given counts: {p.stderr}")
    say(doc["signed_by"] == "A. Fitter" and doc["public_key"] == first["public_key"], "the key stays the same")
    say(f"was that of {first['signed_by']}; from now on its name is A. Fitter" in " ".join(p.stderr.split()), p.stderr)
    with zipfile.ZipFile(os.path.join(b.folder, "a.zip")) as z:
        say(json.loads(z.read("manifest.json"))["signed_by"] == "A. Fitter", "in the package too")
    key = os.path.join(b.folder, "fettle", "key")
    say(os.stat(key).st_mode & 0o777 == 0o600 and os.listdir(os.path.dirname(key)) == ["key"], "nobody else can read it, nothing lies beside it")
    p = b.run("handover", "pack", "ZZ-1", "-o", "a.zip", "--key", key, "--name", "B. Fitter")
    say("keeps this name" in p.stderr and b.doc("handover", "key")["signed_by"] == "A. Fitter", "a key in a file that was named keeps its name, and that is said")


def again(b):
    b.run("visit", "open", "HL-0932", code=0)
    p = b.run("visit", "open", "hl-0932", code=2)
    say("HL-0932-1 of HL-0932 is open since 20" in p.stderr and "fettle visit show HL-0932-1" in p.stderr, f"it is said: {p.stderr}")
    b.run("visit", "show", "HL-0932", code=0)
    b.run("visit", "open", "HL-0932", "--again", code=0)
    b.run("visit", "close", "HL-0932-1", "--open-claims")
    b.run("visit", "close", "HL-0932-2", "--open-claims")
    b.run("visit", "open", "HL-0932", code=0)


def wrong_digit(b):
    b.run("visit", "open", "ZZ-1", code=0)
    p = b.run("visit", "set", "ZZ-1", "--sim", "8949123456789012346")
    head = p.stdout[:p.stdout.find("visit ZZ-1-1, opened")]
    say("Expected: 7" in " ".join(head.split()), f"what is wrong with the number comes first: {head}")
    p = b.run("visit", "set", "ZZ-1", "--unit", "U-1")
    say("Expected: 7" not in p.stdout[:p.stdout.find("visit ZZ-1-1, opened")], "and only of what was just set")
    step = 'fettle visit waive ZZ-1-1 hand-over.numbers --because "the card reads so"'
    doc = b.doc("visit", "show", "ZZ-1")
    say(b.claim("ZZ-1", "hand-over.numbers")["do"].endswith(step) and [f["do"].endswith(step) for f in doc["findings"] if f["rule"].startswith("number.")] == [True],
        f"the step is one that can be taken: {b.claim('ZZ-1', 'hand-over.numbers')}")
    b.run("visit", "waive", "ZZ-1-1", "hand-over.numbers", "--because", "the card reads so", "--by", "A. Fitter")
    say(b.claim("ZZ-1", "hand-over.numbers")["stands"] == "waived", "and settles the claim")
    p = b.run("visit", "set", "ZZ-1", "--sim", "8949123456789012347")
    say(p.stdout.startswith("ZZ-1"), f"a right one is no matter: {p.stdout[:80]}")


def wrong_place(b):
    b.sample("sample-1.dts", "before.dts")
    b.run("visit", "open", "ZZ-1", code=0)
    b.run("visit", "add", "ZZ-1", "before.dts")
    for words in (("explain", "book.sqlite"), ("compare", "book.sqlite", "before.dts")):
        p = b.run(*words, code=3)
        say("is a database" in p.stderr and not p.stdout, f"the audits in a book are not explained: {p.stderr}")
    b.run("check", "book.sqlite", code=3)
    for words in (("visit", "open", "ZZ-2"), ("bench", "--port", "0"), ("visit", "show")):
        p = b.run("--book", "nodir/x.sqlite", *words, code=5)
        say("no folder nodir for the book nodir/x.sqlite" in p.stderr and not os.path.exists(os.path.join(b.folder, "nodir")), p.stderr)
    b.env["FETTLE_BOOK"] = os.path.join(b.folder, "new", "book.sqlite")
    b.run("visit", "open", "ZZ-3", code=0)


def listed(b):
    b.sample("sample-1.dts", "before.dts")
    b.run("visit", "open", "HL-1", "--machine-serial", "NOT-IT", "--site", "A hall with a name that is far too long for a line of the list")
    b.run("visit", "add", "HL-1", "before.dts", code=1)
    b.run("visit", "close", "HL-1", "--open-claims")
    b.run("visit", "open", "HL-2", code=0)
    lines = b.run("visit", "show", code=0).stdout.splitlines()
    say([x.split()[3:5] for x in lines[1:]] == [["open", "open"], ["closed", "contradicted"]], f"a closed visit tells its verdict: {lines}")
    say(max(len(x) for x in lines) <= 80, "and the list fits")


def waived_by_name(b):
    b.run("visit", "open", "ZZ-1", code=0)
    p = b.run("visit", "waive", "ZZ-1", "prove.bus", "--because", "no device")
    say("with --by NAME" in p.stderr and "fettle visit set ZZ-1-1 --by NAME" in p.stderr, f"a name is asked for: {p.stderr}")
    say(b.claim("ZZ-1", "prove.bus")["waived"]["by"] is None, "and none is made up")
    b.run("visit", "waive", "ZZ-1", "prove.door", "--because", "no switch", "--by", "B. Fitter")
    b.run("visit", "set", "ZZ-1", "--by", "A. Fitter")
    b.run("visit", "waive", "ZZ-1", "prove.bus", "--because", "no device")
    say([b.claim("ZZ-1", x)["waived"]["by"] for x in ("prove.door", "prove.bus")] == ["B. Fitter", "A. Fitter"], "the name given, else that of the visit")


def main():
    with tempfile.TemporaryDirectory() as home:
        for part in PARTS:
            part(Book(os.path.join(home, part.__name__)))
    print(f"{passed} passed, {failed} failed")
    return failed != 0


PARTS = (swapped, dropped, not_recognised, another_asset, named_key, again, wrong_digit, wrong_place, listed, waived_by_name)

if __name__ == "__main__":
    sys.exit(main())

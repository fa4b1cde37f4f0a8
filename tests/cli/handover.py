#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""handover from the outside: packs a visit, opens the package with unzip, pdftotext, b2sum and the JSON and zip
readers of Python, breaks it in every way a person or an enemy would, and files it into another book."""
import csv
import hashlib
import io
import json
import os
import shutil
import stat
import subprocess
import sys
import tempfile
import warnings
import zipfile

fettle = os.path.abspath(sys.argv[1])
room = tempfile.mkdtemp(prefix="handover-")
env = dict(os.environ, HOME=room, XDG_CONFIG_HOME=room + "/config", XDG_DATA_HOME=room + "/data", TZ="UTC", NO_COLOR="1")
env.pop("FETTLE_BOOK", None)

AUDIT = ("DXS*ABC0000000*VA*V1/1*1\r\nST*001*0001\r\nID1*QX-220719-004*Kestrel 40*0312*Canteen**BD-0417\r\nID4*2*978*EUR\r\n"
         "VA1*%d*%d*%d*%d\r\nPA1*21*%d*Oat bar\r\nPA2*%d*%d*%d*%d\r\nPA1*23*250*Nuts\r\nPA2*100*15000*10*1500\r\nSE*8*0001\r\nDXE*1*1\r\n")


def run(*words, code=0, where=None):
    got = subprocess.run([fettle, *words], capture_output=True, env=where or env, cwd=room, timeout=60)
    if got.returncode not in (code if isinstance(code, tuple) else (code,)):
        sys.exit(f"{words}: exit {got.returncode} instead of {code}\n{got.stdout.decode(errors='replace')}{got.stderr.decode(errors='replace')}")
    return got


def document(*words, code=0, where=None):
    return json.loads(run("--json", *words, code=code, where=where).stdout)


def write(name, data):
    with open(os.path.join(room, name), "wb") as f:
        f.write(data if isinstance(data, bytes) else data.encode())
    return name


def need(holds, what):
    if not holds:
        sys.exit("does not hold: " + what)


def tool(*words):
    """The output of somebody else's program; None where it is not installed."""
    if not shutil.which(words[0]):
        return None
    got = subprocess.run(words, capture_output=True, cwd=room)
    need(got.returncode == 0, " ".join(words) + "\n" + got.stderr.decode())
    return got.stdout.decode()


def rezip(change, source="a.zip", name="b.zip"):
    """The members of a package as a list of (name, bytes), changed and zipped again."""
    with zipfile.ZipFile(os.path.join(room, source)) as z:
        members = [(i.filename, z.read(i)) for i in z.infolist()]
    members = change(members)
    with zipfile.ZipFile(os.path.join(room, name), "w", zipfile.ZIP_DEFLATED) as z:
        for m in members:
            z.writestr(*m)
    return name


def rules(doc):
    return [f["rule"] for f in doc["findings"]]


def open_visit(book, asset, *more):
    doc = document("--book", book, "visit", "open", asset, *more)
    return doc["visit"]["id"]


def make():
    write("before.dts", AUDIT % (30000, 200, 3000, 20, 150, 100, 15000, 10, 1500))
    write("after.dts", AUDIT % (30150, 201, 3150, 21, 150, 101, 15150, 11, 1650))
    write("sales.csv", "time,selection,price,paid_with,tendered\n14:02,21,1.50,coin,1.50\n")
    visit = open_visit("one.sqlite", "BD-0417", "--site", "Harbour canteen, caf\u00e9", "--unit", "TU-5520117")
    for f in ("before.dts", "after.dts", "sales.csv"):
        run("--book", "one.sqlite", "visit", "add", visit, f, code=(0, 1))
    run("--book", "one.sqlite", "visit", "waive", visit, "prove.bus", "--because", "no capture device here")
    return visit


def packs(visit):
    got = subprocess.run([fettle, "--json", "--book", "one.sqlite", "handover", "pack", visit, "-o", "a.zip", "--name", "Ada Fitter"],
                         env=env, cwd=room, capture_output=True)
    need(got.returncode in (0, 1), "pack: " + got.stderr.decode())
    doc = json.loads(got.stdout)
    need(got.returncode == (doc["verdict"] == "contradicted"), "exit of pack follows the verdict")
    need(doc["signed_by"] == "Ada Fitter" and len(doc["package"]) == 64 and doc["conflicts"] == [], "keys of pack")
    need(doc["claims"] and set(doc["claims"][0]) >= {"id", "stage", "sentence", "stands", "evidence"}, "claims of pack")
    key = os.path.join(room, "config/fettle/key")
    need(stat.S_IMODE(os.stat(key).st_mode) == 0o600, "the key is readable by its owner only")
    first = open(os.path.join(room, "a.zip"), "rb").read()
    subprocess.run([fettle, "--book", "one.sqlite", "handover", "pack", visit, "-o", "again.zip"], env=dict(env, TZ="Asia/Kolkata"), cwd=room,
                   capture_output=True)
    need(first == open(os.path.join(room, "again.zip"), "rb").read(), "the same visit packs to the same bytes in any time zone")
    return doc


def opens_elsewhere(doc):
    text = tool("unzip", "-t", "a.zip")
    need(text is None or "No errors detected" in text, "unzip -t")
    text = tool("unzip", "-l", "a.zip")
    need(text is None or all(n in text for n in ("handover.json", "handover.pdf", "machines.csv", "manifest.json", "signature.json")), "unzip -l")
    with zipfile.ZipFile(os.path.join(room, "a.zip")) as z:
        need(z.testzip() is None, "zipfile")
        record = json.loads(z.read("handover.json"))
        manifest = json.loads(z.read("manifest.json"))
        for m in manifest["members"]:
            data = z.read(m["name"])
            need(len(data) == m["bytes"] and hashlib.blake2b(data, digest_size=32).hexdigest() == m["hash"], "hash of " + m["name"])
        lines = "".join(f'{m["hash"]} {m["bytes"]} {m["name"]}\n' for m in manifest["members"]
                        if m["name"] == "handover.json" or m["name"].startswith("evidence/"))
        need(hashlib.blake2b(lines.encode(), digest_size=32).hexdigest() == doc["package"] == manifest["content"], "the package's name")
        write("a.pdf", z.read("handover.pdf"))
        need(z.read("machines.csv").decode().splitlines()[1].startswith("BD-0417,TU-5520117,"), "machines.csv")
        line = next(csv.DictReader(io.StringIO(z.read("machines.csv").decode())))
        claims = [c for c in document("--book", "one.sqlite", "visit", "show", record["record"]["id"])["claims"] if c["stands"] == "open"]
        later = sum(c["due_later"] for c in claims)
    need(record["verdict"] == doc["verdict"] and record["record"]["asset"] == "BD-0417", "handover.json")
    text = tool("pdftotext", "-layout", "a.pdf", "-")
    for words in ("BD-0417", "Harbour canteen, caf\u00e9", "Every selection and its price is on record", "no capture device here", "page 1 of",
                  doc["package"][:8], "local codes"):
        need(text is None or words in text, f'pdftotext finds "{words}"')
    said = " ".join(run("handover", "verify", "a.zip").stdout.decode().split())
    need(0 < later < len(claims) == int(line["claims_open"]), f"the office's line counts all that are open: {line}")
    open_in_words = f"{line['claims_open']} open, {later} of them for the weeks after"
    need(open_in_words in said, f"and so does verify: {open_in_words}: {said}")
    need(text is None or open_in_words in " ".join(text.split()), f"and the paper: {open_in_words}")
    need(rules(document("handover", "verify", "a.zip")) == [], "an honest package has no findings")


def headings_with_their_claims():
    """Wherever a page ends, no stage's heading stands there without a claim below it."""
    stages = ("Know", "Keep", "Fit", "Prove", "Hand over", "Watch")
    alone, pages = [], 0
    for n in range(30):  # the length of a sentence moves what is below by lines, a part left out by less
        if n % 15 == 0:
            visit = open_visit("long.sqlite", f"BD-{n}", "--without", ("door", "door,bus")[n // 15])
        run("--book", "long.sqlite", "visit", "say", visit, "hand-over.box", "put back and locked, as it was found " * (1 + 3 * (n % 15)), code=(0, 1))
        run("--book", "long.sqlite", "handover", "pack", visit, "-o", "long.zip", "--name", "Ada Fitter", code=(0, 1))
        with zipfile.ZipFile(os.path.join(room, "long.zip")) as z:
            write("long.pdf", z.read("handover.pdf"))
        text = tool("pdftotext", "-layout", "long.pdf", "-")
        if text is None:
            return
        for page in text.split("\f"):
            lines = [x.strip() for x in page.splitlines() if x.strip()][:-2]  # the last two are the foot
            pages += 1
            alone += [(n, x) for x in lines[-1:] if x in stages]
    need(pages > 30 * 2, f"{pages} pages were read")
    need(not alone, f"no heading ends a page: {alone}")


def change_one(name, data):
    return lambda members: [(n, data(d) if n.startswith(name) else d) for n, d in members]


def tampering():
    for change, rule in (
            (change_one("evidence/", lambda d: d + b" "), "handover.changed-member"),
            (change_one("handover.json", lambda d: d.replace(b"BD-0417", b"BD-0418")), "handover.changed-member"),
            (lambda m: [x for x in m if x[0] != "handover.pdf"], "handover.missing-member"),
            (lambda m: m + [("evidence/" + 64 * "0" + ".csv", b"a,b\n")], "handover.extra-member"),
            (change_one("manifest.json", lambda d: d + b"\n"), "handover.signature"),
            (change_one("manifest.json", lambda d: d.replace(b"Ada", b"Eve")), "handover.signature")):
        doc = document("handover", "verify", rezip(change), code=1)
        need(rule in rules(doc) and doc["verdict"] == "contradicted", rule)
        run("--book", "two.sqlite", "handover", "receive", "b.zip", code=1)
    need(not os.path.exists(os.path.join(room, "two.sqlite")), "what does not hold never reaches a book")


def hostile():
    def link(members):
        i = zipfile.ZipInfo("evidence/" + 64 * "1" + ".csv")
        i.create_system = 3
        i.external_attr = (stat.S_IFLNK | 0o777) << 16
        return members + [(i, b"/etc/passwd")]

    whole = open(os.path.join(room, "a.zip"), "rb").read()
    cases = [
        (write("empty.zip", b""), "no package"), (write("noise.zip", os.urandom(4000)), "no package"),
        ("before.dts", "no package"), (write("cut.zip", whole[:len(whole) // 2]), "no package"),
        (rezip(lambda m: m + [("../../outside", b"x")], name="c1.zip"), "no place"),
        (rezip(lambda m: m + [("/etc/cron.d/x", b"x")], name="c2.zip"), "no place"),
        (rezip(lambda m: m + [m[0]], name="c3.zip"), "two members"),
        (rezip(link, name="c4.zip"), "link"),
        (rezip(lambda m: m + [("evidence/" + 64 * "2" + ".csv", bytes(96 << 20))], name="c5.zip"), "times its size"),
        (rezip(lambda m: [("evidence/%064x.csv" % i, b"") for i in range(2500)], name="c6.zip"), "more than"),
        (rezip(lambda m: [x for x in m if x[0] != "manifest.json"], name="c7.zip"), "manifest.json"),
        (rezip(lambda m: [x for x in m if x[0] != "signature.json"], name="c8.zip"), "signature.json"),
        (rezip(change_one("manifest.json", lambda d: b"[" * 100000), name="c9.zip"), "manifest.json"),
        ("nothing.zip", "no file"), (".", "folder"),
    ]
    for name, words in cases:
        for verb in ("verify", "receive"):
            text = run("--book", "two.sqlite", "handover", verb, name, code=3).stderr.decode()
            need(words in text and text.count("\n") == 1, f"{name}: one sentence with \"{words}\": {text}")
    need(not os.path.exists(os.path.join(room, "two.sqlite")) and not os.path.exists(os.path.join(room, "..", "outside")), "nothing was written")


def signers():
    office = dict(env, XDG_CONFIG_HOME=room + "/office")
    doc = document("handover", "verify", "a.zip", where=office)
    need(rules(doc) == ["handover.unknown-signer"] and doc["verdict"] == "open", "an unknown signer is a doubt")
    write("ada.key", run("handover", "key").stdout)
    need("secret" not in open(os.path.join(room, "ada.key")).read(), "the public half only")
    need(rules(document("handover", "verify", "a.zip", "--trust", "ada.key", where=office)) == [], "--trust")
    need(rules(document("handover", "verify", "a.zip", "--key", "ada.key", where=office)) == [], "--key of the signer")
    write("eve.key", run("handover", "key", "--name", "Eve", where=office).stdout)
    doc = document("handover", "verify", "a.zip", "--key", "eve.key", code=1)
    need(rules(doc) == ["handover.other-signer"], "--key of another")
    run("handover", "trust", "ada.key", where=office)
    need(rules(document("handover", "verify", "a.zip", where=office)) == [], "a trusted signer is known")
    run("handover", "trust", "before.dts", code=3, where=office)


def receives(exit_of_pack):
    doc = document("--book", "two.sqlite", "handover", "receive", "a.zip")
    need(doc["filed"] == "new" and doc["conflicts"] == [], "filed")
    doc = document("--book", "two.sqlite", "handover", "receive", "a.zip")
    need(doc["filed"] == "known", "twice without harm")
    run("--book", "two.sqlite", "handover", "pack", doc["filed_as"], "-o", "back.zip", code=exit_of_pack)
    with zipfile.ZipFile(os.path.join(room, "back.zip")) as b, zipfile.ZipFile(os.path.join(room, "a.zip")) as a:
        need(json.loads(a.read("handover.json"))["claims"] == json.loads(b.read("handover.json"))["claims"], "the same claims in the other book")
    # The same unit at another asset, in a book that holds it elsewhere.
    other = open_visit("three.sqlite", "BD-0999", "--unit", "TU-5520117")
    doc = document("--book", "three.sqlite", "handover", "receive", "a.zip", code=1)
    need([c["kind"] for c in doc["conflicts"]] == ["unit-elsewhere"] and "handover.unit-elsewhere" in rules(doc), "unit elsewhere")
    need(doc["conflicts"][0]["visit"] == other and doc["filed"] == "new", "named, and filed all the same")


def wrong_use(visit):
    book = ("--book", "one.sqlite")
    run(*book, "handover", "pack", visit, code=2)
    run(*book, "handover", "pack", visit, "-o", "x.zip", "--paper", "a5", code=2)
    run(*book, "handover", "sing", code=2)
    run(*book, "handover", "pack", "-o", "x.zip", code=2)
    run(*book, "handover", "pack", "NO-SUCH", "-o", "x.zip", code=(2, 3))
    text = run(*book, "handover", "pack", visit, "-o", "x.zip", "--mapping", write("m.csv", "column,from\nA,asset\nB,bogus\n"), code=3).stderr.decode()
    need("Line 3" in text, "the mapping is checked by line")
    run(*book, "handover", "pack", visit, "-o", "no-such-folder/x.zip", code=5)
    need(not os.path.exists(os.path.join(room, "x.zip")), "nothing half done is left")


def without_its_module(visit):
    """The program alone, as somebody copies it: all but the sheets works, and the sentence says what is missing."""
    alone = os.path.join(room, "bin", "fettle")
    os.mkdir(os.path.dirname(alone))
    shutil.copy(fettle, alone)
    for stray in ("fettle-sheets.so", os.path.join("paper", "fettle-sheets.so")):  # of somebody else, where the command runs
        os.makedirs(os.path.dirname(os.path.join(room, "strange", stray)), exist_ok=True)
        write(os.path.join("strange", stray), b"no module of ours")
    got = subprocess.run([alone, "--book", os.path.join(room, "one.sqlite"), "handover", "pack", visit, "-o", "y.zip"], capture_output=True, env=env,
                         cwd=os.path.join(room, "strange"), timeout=60, text=True)
    need(got.returncode == 5 and "draws sheets could not be loaded" in got.stderr and "does not lie" in got.stderr, "the sheets are missed")
    need(not os.path.exists(os.path.join(room, "strange", "y.zip")), "no package without its sheets")
    os.makedirs(os.path.join(room, "paper"))
    write(os.path.join("paper", "fettle-sheets.so"), b"no module at all")
    got = subprocess.run([alone, "--book", os.path.join(room, "one.sqlite"), "handover", "pack", visit, "-o", "y.zip"], capture_output=True, env=env,
                         cwd=room, timeout=60, text=True)
    need(got.returncode == 5 and "install fettle anew" in got.stderr, "a module that is none is refused")


try:
    warnings.simplefilter("ignore")  # zipfile warns of the double name that is made here on purpose
    the_visit = make()
    packed = packs(the_visit)
    opens_elsewhere(packed)
    headings_with_their_claims()
    tampering()
    hostile()
    signers()
    receives(int(packed["verdict"] == "contradicted"))
    wrong_use(the_visit)
    without_its_module(the_visit)
finally:
    shutil.rmtree(room, ignore_errors=True)

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""An office's book: many fitters' packages received at once, read by psql, moved to a file and back, and programs killed
at any moment, on a file and on a PostgreSQL server (FETTLE_SERVER, see tests/server.py). office.py FETTLE SAMPLES"""
import glob
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile

fettle, samples = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
server = os.environ["FETTLE_SERVER"]
passed = failed = 0


def need(good, what):
    global passed, failed
    passed += bool(good)
    failed += not good
    if not good:
        print("FAILED:", what)


def start(room, *words, **more):
    env = dict(os.environ, TZ="UTC", HOME=room, XDG_CONFIG_HOME=os.path.join(room, "keys"))
    return subprocess.Popen([fettle, "--json", *words], cwd=room, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                            text=True, **more)


def run(room, *words):
    p = start(room, *words)
    out, err = p.communicate()
    return p.returncode, json.loads(out.splitlines()[-1]) if out.strip() else {}, err


def psql(database, sql):
    return subprocess.run(["psql", "-qAt", server + database, "-c", sql], check=True, capture_output=True, text=True).stdout.strip()


def receive_from_many(room, office):
    fitters = 6
    packages = []
    audits = sorted(glob.glob(samples + "/*.dts") + glob.glob(samples + "/*.txt"))
    kind = "server" if office.startswith(server) else "file"
    for n in range(fitters):
        pack = f"{kind}-{n}.zip"
        book, asset = f"van-{kind}-{n}.sqlite", f"HL-{100 + n}"
        code, doc, err = run(room, "--book", book, "visit", "open", asset, "--site", "Linden Hall", "--by", f"Fitter {n}",
                             "--unit", f"U-{n}")
        need(code == 0, f"a visit is opened: {err}")
        run(room, "--book", book, "visit", "add", doc["visit"]["id"], audits[n % len(audits)])
        code, doc, err = run(room, "--book", book, "handover", "pack", doc["visit"]["id"], "-o", pack, "--name", f"Fitter {n}")
        need(os.path.exists(os.path.join(room, pack)), f"a package is made: {err}")
        packages.append(pack)
    for turn, want in (("first", "new"), ("second", "known")):
        running = [start(room, "--book", office, "handover", "receive", p) for p in packages]
        for p in running:
            out, err = p.communicate()
            doc = json.loads(out.splitlines()[-1]) if out.strip() else {}
            need(doc.get("filed") == want, f"received at the {turn} time as {want}: {doc.get('filed')} {err}")
    code, doc, _ = run(room, "--book", office, "visit", "show")
    need(len(doc["visits"]) == fitters, "each visit is there once")
    code, doc, err = run(room, "--book", office, "book", "check")
    need(code == 0 and doc["visits"] == fitters, f"the book is whole: {err}")


def moved(room):
    code, doc, err = run(room, "--book", server + "office", "book", "copy", "office.sqlite")
    need(code == 0, f"the book comes to a file: {err}")
    for t in doc.get("tables", []):
        there = psql("office", f"SELECT count(*) FROM fettle.{t['table']}")
        here = subprocess.run(["sqlite3", os.path.join(room, "office.sqlite"), f"SELECT count(*) FROM {t['table']}"], check=True,
                              capture_output=True, text=True).stdout.strip()
        need(there == here == str(t["rows"]), f"{t['table']} has as many rows for psql, sqlite3 and the copy: {there} {here} {t['rows']}")
    code, back, err = run(room, "--book", "office.sqlite", "book", "copy", server + "book")
    need(code == 0 and back.get("tables") == doc.get("tables"), f"and goes back alike: {err}")
    code, _, err = run(room, "--book", "office.sqlite", "book", "copy", server + "book")
    need(code == 2 and "holds something already" in err, "but never over something")
    hashes = [psql("office", "SELECT encode(hash, 'hex') FROM fettle.content ORDER BY 1").split(),
              subprocess.run(["sqlite3", os.path.join(room, "office.sqlite"), "SELECT lower(hex(hash)) FROM content ORDER BY 1"],
                             check=True, capture_output=True, text=True).stdout.split()]
    need(hashes[0] == hashes[1] and hashes[0], "the evidence has the same hashes for psql and sqlite3")


def watched(room):
    """The weeks after, from both kinds of place: the same documents, the second time from what was kept."""
    start(room, "practice", "fleet", "-o", "fleet", "--machines", "12", "--days", "25", "--seed", "3").communicate()
    told = []
    for book in ("watched.sqlite", server + "book"):
        for turn in range(2):
            p = start(room, "--book", book, "watch", "fleet/audits", "--counts", "fleet/counts.csv", "--doors", "fleet/doors.csv")
            out, err = p.communicate()
            need(p.returncode in (0, 1) and len(out.splitlines()) == 12, f"{book} is watched at turn {turn}: {err}")
            told.append(out)
    need(len(set(told)) == 1, "the file, the server, the first and the second turn tell the same")
    code, doc, err = run(room, "--book", server + "book", "book", "copy", "moved-weeks.sqlite")
    rows = {t["table"]: t["rows"] for t in doc.get("tables", [])}
    need(code == 0 and rows.get("watch_part", 0) >= 12, f"what was kept of the weeks moves along: {rows} {err}")
    out, err = start(room, "--book", "moved-weeks.sqlite", "watch", "fleet/audits", "--counts", "fleet/counts.csv", "--doors", "fleet/doors.csv").communicate()
    need(out == told[0], f"and tells the same there: {err}")


ROWS = "SELECT md5(string_agg(w::text, '|' ORDER BY number)) FROM fettle.watch_part w"
APRIL = (1775001600000000, 1777593600000000)


def brought_up_to_date(room):
    """A book of before on the server: every row stays, stretches of reads come to lie by months, and move on."""
    psql("postgres", "CREATE DATABASE before")
    subprocess.run(["psql", "-q", "-o", os.devnull, "-v", "ON_ERROR_STOP=1", server + "before", "-f",
                    os.path.join(os.path.dirname(samples), "books", "server-version-4.sql")], check=True)
    was = psql("before", ROWS)
    code, doc, err = run(room, "--book", server + "before", "book", "check")
    need(code == 0 and doc["version"] == 7 and doc["visits"] == 1, f"the book is brought up to date: {err}")
    need(psql("before", ROWS) == was, "every stretch is what it was")
    parts = psql("before", "SELECT string_agg(inhrelid::regclass::text, ' ' ORDER BY 1) FROM pg_inherits "
                           "WHERE inhparent = 'fettle.watch_part'::regclass")
    need(parts == " ".join(f"fettle.watch_part_2026_{m}" for m in ("03", "04", "05")), f"a part for every month: {parts}")
    query = f"FROM fettle.watch_part WHERE newest_us >= {APRIL[0]} AND newest_us < {APRIL[1]}"
    plan = psql("before", "EXPLAIN SELECT sum(reads) " + query)
    need("watch_part_2026_04" in plan and "2026_03" not in plan and "2026_05" not in plan, f"April alone is looked at: {plan}")
    need(psql("before", "SELECT count(*) " + query) == psql("before", "SELECT count(*) FROM fettle.watch_part_2026_04") == "3",
         "and has its rows")
    code, doc, err = run(room, "--book", server + "before", "book", "copy", "before.sqlite")
    need(code == 0, f"it moves to a file: {err}")
    psql("postgres", "CREATE DATABASE after")
    code, back, err = run(room, "--book", "before.sqlite", "book", "copy", server + "after")
    need(code == 0 and back["tables"] == doc["tables"], f"and from there to a server again: {err}")
    need(psql("after", ROWS) == was, "where every stretch is what it was")
    need(psql("after", "SELECT count(*) FROM fettle.watch_part_2026_04") == "3", "by months there too")
    psql("after", f"INSERT INTO fettle.watch_part (machine, reads, first_us, newest_us, bytes) VALUES ('X', 1, 1, {APRIL[0]}, '')")
    need(psql("after", "SELECT max(number) FROM fettle.watch_part WHERE machine = 'X'") == str(int(psql("before", "SELECT max(number) FROM fettle.watch_part")) + 1),
         "numbers go on behind those that came")


def odd_months(room):
    """Times that no file should have: each finds its place on the server, too, and comes back alike."""
    code, _, err = run(room, "--book", "odd.sqlite", "visit", "open", "OD-1")
    need(code == 0, err)
    times = [-2**63 + 1, -1, 0, 946684799999999, 946684800000000, 1772323200000000, 1772323199999999, 4102444799999999,
             4102444800000000, 2**63 - 1]
    rows = ", ".join(f"('M', 1, {t}, {t}, x'00')" for t in times)
    subprocess.run(["sqlite3", os.path.join(room, "odd.sqlite"),
                    f"INSERT INTO watch_part (machine, reads, first_us, newest_us, bytes) VALUES {rows}"], check=True)
    psql("postgres", "CREATE DATABASE odd")
    code, doc, err = run(room, "--book", "odd.sqlite", "book", "copy", server + "odd")
    need(code == 0, f"odd times go to the server: {err}")
    told = psql("odd", "SELECT tableoid::regclass || ' ' || count(*) FROM fettle.watch_part GROUP BY tableoid ORDER BY 1").split("\n")
    need(told == [f"fettle.watch_part_{n}" for n in ("2000_01 1", "2026_02 1", "2026_03 1", "2099_12 1", "before_2000 4", "from_2100 2")],
         f"each in its month: {told}")


def killed_at_any_moment(room, book, rounds):
    """What was acknowledged is there once, what was not is there whole or not at all."""
    chance = random.Random(7)
    code, doc, err = run(room, "--book", book, "visit", "open", "KM-1")
    takes = 0.02
    need(code == 0, f"a visit is opened: {err}")
    visit, acknowledged = doc["visit"]["id"], set()
    for n in range(rounds):
        name = f"note-{n}.txt"
        with open(os.path.join(room, name), "w", encoding="utf-8") as f:
            f.write(f"note {n}\n" * 200)
        p = start(room, "--book", book, "visit", "add", visit, name, "--kind", "note")
        try:
            p.wait(timeout=chance.uniform(0, 2 * takes))
            takes /= 1.3  # about half of them shall end by themselves, however busy the computer is
        except subprocess.TimeoutExpired:
            takes *= 1.3
            p.kill()
        out, _ = p.communicate()
        if p.returncode == 0 and out.strip():
            acknowledged.add(name)
    code, doc, err = run(room, "--book", book, "visit", "show", visit)
    names = [e["name"] for e in doc["visit"]["evidence"]]
    need(code == 0 and acknowledged <= set(names), f"what was acknowledged is there: {sorted(acknowledged - set(names))} {err}")
    need(len(names) == len(set(names)), "nothing is there twice")
    code, doc, err = run(room, "--book", book, "book", "check")
    need(code == 0, f"the book is whole after {rounds} kills: {err}")
    return len(acknowledged), rounds


def bench_begins(room, book):
    """What the bench says when it begins, until it has said how it ends."""
    p = subprocess.Popen([fettle, "bench", "--port", "0", "--book", book], cwd=room, env=dict(os.environ, HOME=room),
                         stdout=subprocess.PIPE, text=True)
    said = ""
    for line in p.stdout:
        said += line
        if "Ctrl-C" in line:
            break
    p.terminate()
    p.communicate()
    return said


def main():
    room = tempfile.mkdtemp(prefix="fettle-office-")
    try:
        for office in ("file.sqlite", server + "office"):
            receive_from_many(room, office)
        need("--tables FOLDER" in bench_begins(room, server + "office"), "a bench without a place for tables says so at once")
        need("--tables FOLDER" not in bench_begins(room, "file.sqlite"), "beside a file there is one")
        moved(room)
        watched(room)
        brought_up_to_date(room)
        odd_months(room)
        for book in ("killed.sqlite", server + "office"):
            done, rounds = killed_at_any_moment(room, book, 40)
            need(0 < done < rounds, f"some were killed and some were not: {done} of {rounds} ended by themselves")
    finally:
        shutil.rmtree(room, ignore_errors=True)
    print(f"{passed} passed, {failed} failed")
    return failed != 0


if __name__ == "__main__":
    sys.exit(main())

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""One fleet watched by several processes at once: on a PostgreSQL server they share the work, whatever becomes of one of
them, and all tell what one process tells from a file; a file is watched by one after the other. share.py FETTLE"""
import fcntl
import glob
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time

FETTLE = os.path.abspath(sys.argv[1])
server = os.environ["FETTLE_SERVER"]
WRITE_LOCK = "SELECT pg_advisory_xact_lock(1718904940)"  # as src/store/postgres.c has it
EXCEPTIONS = ("SELECT number, machine, asset, rule, selection, since_us, seen_us, ended_us, is_open, acknowledged, money, decimals, "
              "sure_ppm, seen, expected, file_before, file_after FROM {}watch_exception ORDER BY number")
READS = "SELECT machine, sum(reads), min(first_us), max(newest_us) FROM {}watch_part GROUP BY machine ORDER BY machine"
passed = failed = 0
numbers = iter(range(1, 1000))


def need(good, what):
    global passed, failed
    passed += bool(good)
    failed += not good
    if not good:
        print("FAILED:", what, flush=True)


def psql(database, sql):
    return subprocess.run(["psql", "-qAt", server + database, "-c", sql], check=True, capture_output=True, text=True).stdout.strip()


def sqlite(path, sql):
    return subprocess.run(["sqlite3", path, sql], check=True, capture_output=True, text=True).stdout.strip()


def new_book():
    name = f"share{next(numbers)}"
    psql("postgres", f"CREATE DATABASE {name}")
    return name


class Fleet:
    """Audits and tables, and what one process tells of them from a file."""

    def __init__(self, room, audits, tables):
        self.audits, self.tables = audits, tables
        self.file = os.path.join(room, os.path.basename(audits) + ".sqlite")
        self.told, err = self.start(self.file).communicate()
        need(self.told.count("\n") == 40 and not err, f"one process tells of {audits}: {err}")
        self.files = len(glob.glob(os.path.join(audits, "**", "*.dts"), recursive=True))

    def start(self, book, *more):
        return subprocess.Popen([FETTLE, "--json", "--book", book, "watch", self.audits, "--history", *self.tables, *more],
                                stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)

    def same(self, book, what):
        """The book on the server holds what the file holds, row for row, and each file and read once."""
        need(psql(book, EXCEPTIONS.format("fettle.")) == sqlite(self.file, EXCEPTIONS.format("")), f"{what}: the same exceptions")
        need(psql(book, READS.format("fettle.")) == sqlite(self.file, READS.format("")), f"{what}: the same reads of each machine")
        names = psql(book, "SELECT folder, encode(files, 'hex') FROM fettle.watch_files").splitlines()
        entries = [(folder, h[i:i + 16]) for folder, h in (x.split("|") for x in names) for i in range(0, len(h), 64)]
        need(len(entries) == len(set(entries)), f"{what}: no file is written down twice")
        if self.files:
            need(len(entries) == self.files, f"{what}: {len(entries)} of {self.files} files are known")

    def ends(self, processes, book, what):
        for p in processes:
            out, err = p.communicate(timeout=120)
            need(p.returncode in (0, 1) and out == self.told, f"{what}: each tells what one process tells ({p.returncode} {err})")
        self.same(book, what)
        out, _ = self.start(server + book).communicate(timeout=120)
        need(out == self.told, f"{what}: and so does the next")
        self.same(book, what + ", then one more")


def waiting(book, count):
    """Until so many sessions of fettle wait for a lock."""
    sql = "SELECT count(DISTINCT pid) FROM pg_locks JOIN pg_stat_activity USING (pid) WHERE NOT granted AND application_name = 'fettle'"
    for _ in range(1000):
        if int(psql(book, sql)) >= count:
            return
        time.sleep(0.02)
    need(False, f"{book}: {count} come to wait")


class Held:
    """A lock held by somebody else, so that who comes to it stays where it is."""

    def __init__(self, book, sql):
        self.psql = subprocess.Popen(["psql", "-qAt", server + book], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        self.psql.stdin.write(f"BEGIN; {sql}; SELECT 'held';\n")
        self.psql.stdin.flush()
        while "held" not in self.psql.stdout.readline():
            pass

    def end(self):
        self.psql.communicate("ROLLBACK;\n")


def at_once(fleet, count, what):
    book = new_book()
    fleet.ends([fleet.start(server + book) for _ in range(count)], book, f"{count} at once, {what}")


def forget_reads(book):
    psql(book, "DELETE FROM fettle.watch_files; DELETE FROM fettle.watch_folder; DELETE FROM fettle.watch_part")


def begun_book(fleet):
    """All is read there, nothing of it judged as of today."""
    book = new_book()
    fleet.start(server + book, "--until", "1999-01-01").communicate()
    return book


def killed_with_work_in_hand(fleet, book, what):
    """It has done what it claimed and is about to write it: the others wait for its claims, and do the work when it is gone."""
    held = Held(book, WRITE_LOCK)
    victim = fleet.start(server + book)
    waiting(book, 1)
    others = [fleet.start(server + book) for _ in range(2)]
    waiting(book, 3)
    victim.send_signal(signal.SIGKILL)
    victim.communicate()
    held.end()
    fleet.ends(others, book, f"killed with {what} in hand")


def killed_with_files(fleet):
    book = begun_book(fleet)
    forget_reads(book)
    killed_with_work_in_hand(fleet, book, "files")


def killed_at_the_end(fleet):
    """While it writes what came of the whole fleet."""
    book = begun_book(fleet)
    held = Held(book, "LOCK TABLE fettle.watch_told IN ACCESS EXCLUSIVE MODE")
    victim = fleet.start(server + book)
    waiting(book, 1)
    judged = psql(book, "SELECT count(DISTINCT round) || ' ' || count(*) FROM fettle.watch_judged")
    other = fleet.start(server + book)
    waiting(book, 2)
    need(psql(book, "SELECT count(DISTINCT round) || ' ' || count(*) FROM fettle.watch_judged") == judged == "1 40",
         f"what one judged the other takes: {judged}")
    victim.send_signal(signal.SIGKILL)
    victim.communicate()
    held.end()
    fleet.ends([other], book, "killed at the end")


def killed_whenever(fleet, rounds):
    chance = random.Random(5)
    for n in range(rounds):
        book = new_book()
        running = [fleet.start(server + book) for _ in range(3)]
        try:
            running[0].wait(chance.uniform(0.05, 0.9))
        except subprocess.TimeoutExpired:
            running[0].send_signal(signal.SIGKILL)
        running[0].communicate()
        fleet.ends(running[1:], book, f"killed whenever, {n}")


def skips_what_others_hold(fleet):
    """Half of the folders, then half of the machines are in the hands of somebody else: the other half is done meanwhile."""
    book = begun_book(fleet)
    forget_reads(book)
    half = "SELECT 1 FROM fettle.watch_claim WHERE folder < (SELECT folder FROM fettle.watch_claim ORDER BY 1 OFFSET 55 LIMIT 1) FOR UPDATE"
    held = Held(book, f"DO $$ BEGIN PERFORM 1 FROM ({half}) h; END $$")
    watcher = fleet.start(server + book)
    waiting(book, 1)
    need(psql(book, "SELECT count(DISTINCT folder) FROM fettle.watch_files") == "56", "half of the folders are read")
    machines = Held(book, "DO $$ BEGIN PERFORM 1 FROM (SELECT 1 FROM fettle.watch_judged ORDER BY machine LIMIT 20 FOR UPDATE) h; END $$")
    held.end()
    waiting(book, 1)
    need(psql(book, "SELECT count(round) || ' ' || count(DISTINCT round) FROM fettle.watch_judged WHERE round NOT LIKE '%915148800000000'") == "20 1",
         "half of the machines are judged")
    machines.end()
    fleet.ends([watcher], book, "half held by others")


def lies_by_months(fleet):
    """No stretch reaches over the end of a month, so that each month's partition has that month's reads and no others."""
    book = new_book()
    fleet.start(server + book).communicate()
    month = "to_char(to_timestamp({} / 1000000) AT TIME ZONE 'UTC', 'YYYY_MM')"
    need(psql(book, f"SELECT count(*) FROM fettle.watch_part WHERE {month.format('first_us')} <> {month.format('newest_us')}") == "0",
         "stretches hold one month each")
    names = psql(book, f"SELECT DISTINCT tableoid::regclass || ' ' || {month.format('newest_us')} FROM fettle.watch_part ORDER BY 1").splitlines()
    need(len(names) >= 4 and all(x.split()[0] == "fettle.watch_part_" + x.split()[1] for x in names), f"each in its partition: {names}")


def written_once(fleet):
    """What stands in the book already is not written again."""
    book = new_book()
    fleet.start(server + book).communicate()
    before = psql(book, "SELECT min(xmin::text) || ' ' || max(xmin::text) FROM fettle.watch_exception")
    fleet.start(server + book).communicate()
    need(psql(book, "SELECT min(xmin::text) || ' ' || max(xmin::text) FROM fettle.watch_exception") == before,
         "exceptions that stand are left alone")
    fleet.start(server + book, "--until", "1999-01-01").communicate()
    need(psql(book, "SELECT count(*) FROM fettle.watch_exception") == "0", "others take their place")
    psql(book, "DROP TABLE fettle.watch_part_2026_03")
    fleet.start(server + book).communicate()
    count = int(psql(book, "SELECT count(*) FROM fettle.watch_exception"))
    psql(book, "DELETE FROM fettle.watch_exception")
    fleet.start(server + book).communicate()
    need(count > 0 and count == int(psql(book, "SELECT count(*) FROM fettle.watch_exception")),
         f"also when a month was dropped, or what stood was taken away: {count}")


def writers_are_free(fleet):
    """While a watcher holds claims others write the book."""
    book = begun_book(fleet)
    held = Held(book, "LOCK TABLE fettle.watch_part IN ACCESS EXCLUSIVE MODE")
    watcher = fleet.start(server + book)
    waiting(book, 1)
    done = subprocess.run([FETTLE, "--json", "--book", server + book, "visit", "open", "HL-1"], capture_output=True, text=True, timeout=60)
    need(done.returncode == 0, f"a visit is opened while a watch is at work: {done.stderr}")
    held.end()
    fleet.ends([watcher], book, "beside a writer")


def a_file_is_for_one(fleet):
    """The second says so and waits; in the end all is there once."""
    path = fleet.file + "-two"
    with open(path + "-watch", "w", encoding="ascii") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        running = [fleet.start(path) for _ in range(2)]
        said = [p.stderr.readline() for p in running]
        need(all("Another watch is at work on the book" in s for s in said), f"who waits says so: {said}")
        need(all(p.poll() is None for p in running), "and waits")
    for p in running:
        out, err = p.communicate(timeout=120)
        need(out == fleet.told and not err, f"then tells all: {err}")
    need(sqlite(path, READS.format("")) == sqlite(fleet.file, READS.format("")), "each read is there once")


def main():
    room = os.path.realpath(tempfile.mkdtemp(prefix="fettle-share-"))
    try:
        made = os.path.join(room, "fleet")
        subprocess.run([FETTLE, "practice", "fleet", "-o", made, "--machines", "40", "--days", "110", "--seed", "11"], check=True,
                       stdout=subprocess.DEVNULL)
        tables = [x for t in ("counts", "settlements", "doors", "temperatures") for x in (f"--{t}", os.path.join(made, f"{t}.csv"))]
        fleet = Fleet(room, os.path.join(made, "audits"), tables)
        need(any(json.loads(x)["exceptions"] for x in fleet.told.splitlines()), "there is something to tell")
        for count in (1, 2, 4):
            at_once(fleet, count, "days in folders")
        killed_with_files(fleet)
        killed_with_work_in_hand(fleet, begun_book(fleet), "machines")
        killed_at_the_end(fleet)
        killed_whenever(fleet, 5)
        skips_what_others_hold(fleet)
        lies_by_months(fleet)
        written_once(fleet)
        writers_are_free(fleet)
        a_file_is_for_one(fleet)
        flat = os.path.join(room, "flat")
        os.mkdir(flat)
        for path in glob.glob(os.path.join(made, "audits", "*", "*.dts")):
            os.link(path, os.path.join(flat, os.path.basename(path)))
        wide = Fleet(room, flat, tables)
        need(wide.files > 4096, f"{wide.files} files are a wide folder")
        at_once(wide, 3, "one wide folder")
        killed_with_files(wide)
        packed = os.path.join(room, "audits.tar")
        subprocess.run(["tar", "-C", os.path.join(made, "audits"), "-cf", packed, "."], check=True)
        at_once(Fleet(room, packed, tables), 3, "an archive")
    finally:
        shutil.rmtree(room, ignore_errors=True)
    print(f"{passed} passed, {failed} failed")
    return failed != 0


if __name__ == "__main__":
    sys.exit(main())

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The loss of any single write or allocation in `visit add` leaves the book whole.

Runs the real program under the preloaded tests/failnth.c, letting the nth write (every n) or the nth
allocation (every n up to 400, then a sample) fail, and the disk be full from the nth write on. After
each, with a fresh process: the book passes sqlite3's integrity check, holds both files or neither, agrees with
what the program said, and `visit show` works."""
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile

fettle, shim = (os.path.abspath(a) for a in sys.argv[1:3])
room = tempfile.mkdtemp(prefix="fettle-loss-")
env = {k: v for k, v in os.environ.items() if not k.startswith(("FAILNTH", "LD_PRELOAD"))}
runs = 0


def need(truth, what):
    if not truth:
        sys.exit("loss: " + what)


def run(*words, extra=None, book="book.sqlite"):
    return subprocess.run([fettle, "--book", book, *words], cwd=room, env={**env, **(extra or {})}, capture_output=True)


def fresh():
    for name in ("book.sqlite", "book.sqlite-wal", "book.sqlite-shm"):
        path = os.path.join(room, name)
        if os.path.exists(path):
            os.unlink(path)
    shutil.copy(os.path.join(room, "start.sqlite"), os.path.join(room, "book.sqlite"))


def attempt(kind, at, on=False, number=5):
    """Adds two files with one failure; returns how many calls there were."""
    global runs
    fresh()
    extra = {"LD_PRELOAD": shim, "FAILNTH_KIND": kind, "FAILNTH_AT": str(at), "FAILNTH_COUNT": os.path.join(room, "count"),
             "FAILNTH_ERRNO": str(number)}
    if on:
        extra["FAILNTH_ON"] = "1"
    got = run("visit", "add", "T-1", "one.txt", "two.bin.png", extra=extra)
    runs += 1
    what = f"{kind} {at}{' and on' if on else ''}: exit {got.returncode}, {got.stderr.decode()!r}"
    need(got.returncode in (0, 5), what)
    if got.returncode == 5:
        need(got.stderr.startswith(b"fettle: ") and got.stderr.count(b"\n") == 1, "one sentence: " + what)
    shown = run("visit", "show", "T-1")
    need(shown.returncode == 0, f"visit show afterwards: {shown.stderr.decode()!r}; " + what)
    db = sqlite3.connect(os.path.join(room, "book.sqlite"))
    need(db.execute("PRAGMA integrity_check").fetchall() == [("ok",)], "integrity; " + what)
    need(db.execute("PRAGMA foreign_key_check").fetchall() == [], "references; " + what)
    count = db.execute("SELECT count(*) FROM evidence").fetchone()[0]
    contents = db.execute("SELECT count(*) FROM content").fetchone()[0]
    db.close()
    need(count in (0, 2) and contents == count, f"all or nothing, not {count} and {contents}; " + what)
    if got.returncode == 0:
        need(count == 2, "said done, but nothing is there; " + what)
    again = run("visit", "add", "T-1", "one.txt", "two.bin.png")
    need(again.returncode == 0, f"adding again: {again.stderr.decode()!r}; " + what)
    return int(open(os.path.join(room, "count")).read())


try:
    with open(os.path.join(room, "one.txt"), "w") as f:
        f.write("both anchors tight\n" * 40)
    with open(os.path.join(room, "two.bin.png"), "wb") as f:
        f.write(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 80)
    need(run("visit", "open", "T-1", "--machine-serial", "Q1", book="start.sqlite").returncode == 0, "opening")
    writes, allocations = attempt("write", 0), attempt("alloc", 0)
    need(writes > 5 and allocations > 50, f"the shim counts: {writes} writes, {allocations} allocations")
    for n in range(1, writes + 1):
        attempt("write", n)
        attempt("write", n, on=True, number=28)
    step = max(1, allocations // 120)
    for n in [*range(1, allocations + 1, step)]:
        attempt("alloc", n)
    print(f"loss: {runs} runs; every one of {writes} writes, one in {step} of {allocations} allocations: the book stayed whole")
finally:
    shutil.rmtree(room)

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""One fleet watched by one, two and four processes on one PostgreSQL book (FETTLE_SERVER, see tests/server.py), each from
cold and with one job: the time until all have told, and what each took of a processor. share.py FETTLE AUDITS"""
import os
import subprocess
import sys
import time


def watch(fettle, book, audits):
    with open(os.devnull, "w", encoding="ascii") as nowhere:
        return subprocess.Popen([fettle, "--book", book, "watch", audits, "--jobs", "1"], stdout=nowhere, stderr=nowhere)


def main():
    fettle, audits = sys.argv[1:]
    server = os.environ["FETTLE_SERVER"]
    files = sum(len(names) for _, _, names in os.walk(audits))
    watch(fettle, server + "book", audits).wait()  # the disk cache is warm then
    print(f"share: {files} audits, one job a process\n\n  {'processes':24} {'seconds':>8}  processor seconds of each, peak MB of the largest")
    for count in (1, 2, 4):
        book = f"share{count}"
        subprocess.run(["psql", "-q", server + "postgres", "-c", f"CREATE DATABASE {book}"], check=True)
        began = time.monotonic()
        used = [os.wait4(p.pid, 0)[1:] for p in [watch(fettle, server + book, audits) for _ in range(count)]]
        seconds = time.monotonic() - began
        if any(status and os.waitstatus_to_exitcode(status) != 1 for status, _ in used):
            sys.exit("a watch did not end well, so its time says nothing")
        took = " ".join(f"{r.ru_utime + r.ru_stime:.2f}" for _, r in used)
        print(f"  {count:<24} {seconds:8.2f}  {took}, {max(r.ru_maxrss for _, r in used) / 1024:.0f}", flush=True)
    print()


main()

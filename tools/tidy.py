#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""clang-tidy over every C file of a clang build, one line a file that is not clean.

tidy.py BUILD [FILE...]. A file that was clean is not looked at again until it, a header, a
table or the list of checks changes. Closes with "N passed, N failed".
"""
import concurrent.futures
import glob
import hashlib
import json
import os
import subprocess
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def digest(paths):
    h = hashlib.sha256()
    for p in sorted(paths):
        with open(p, "rb") as f:
            h.update(p.encode() + b"\0" + f.read())
    return h.hexdigest()


def shared_inputs(build):
    found = [os.path.join(ROOT, ".clang-tidy")]
    for pattern in ("include/**/*.h", "src/**/*.h", "tests/*.h"):
        found += glob.glob(os.path.join(ROOT, pattern), recursive=True)
    return found + glob.glob(os.path.join(build, "**/*.inc"), recursive=True)


def tidy(build, path):
    done = subprocess.run(["clang-tidy", "-p", build, "--quiet", path], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                          text=True, check=False)
    return done.returncode, done.stdout.strip() or (done.stderr.strip() if done.returncode else "")


def main():
    build = os.path.join(ROOT, sys.argv[1])
    with open(os.path.join(build, "compile_commands.json"), encoding="utf-8") as f:
        commands = json.load(f)
    files = sorted({os.path.realpath(os.path.join(c["directory"], c["file"])) for c in commands})
    files = [f for f in files if f.startswith((ROOT + "/src/", ROOT + "/fuzz/"))]
    if sys.argv[2:]:
        files = [f for f in files if any(f.endswith(a) for a in sys.argv[2:])]
    if not files:
        print("tidy: there is nothing to look at, which cannot be right")
        return 1
    stamps = os.path.join(build, "tidy")
    os.makedirs(stamps, exist_ok=True)
    common = digest(shared_inputs(build))
    todo = []
    for path in files:
        stamp = os.path.join(stamps, hashlib.sha256((common + digest([path])).encode()).hexdigest())
        if not os.path.exists(stamp):
            todo.append((path, stamp))
    failed = 0
    with concurrent.futures.ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        for (path, stamp), (code, text) in zip(todo, pool.map(lambda t: tidy(build, t[0]), todo)):
            if code or text:
                failed += 1
                print(text.replace(ROOT + "/", ""))
            else:
                with open(stamp, "w", encoding="ascii") as f:
                    f.write(os.path.relpath(path, ROOT) + "\n")
    print(f"{len(files) - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

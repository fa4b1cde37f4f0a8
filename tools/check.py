#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Build in every way that counts, run every test, and close with "N passed, N failed".

Three builds: gcc, clang (both with warnings as errors) and gcc with the address and undefined
behaviour sanitizers. Cases are counted one by one where a test tells how many it ran. The exit
status is 0 only when none failed.
"""
import json
import os
import re
import subprocess
import sys
import time

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
SANITIZE = ["-Db_sanitize=address,undefined", "-Db_lundef=false"]

# directory, compiler, options, suites left out, what it is called
BUILDS = [
    ("build", "gcc", [], [], "gcc"),
    ("build-clang", "clang", [], ["house", "cli", "paced", "doc"], "clang"),
    ("build-asan", "gcc", SANITIZE, ["house", "paced", "doc"], "sanitizers"),
]


class Tally:
    def __init__(self):
        self.passed = self.failed = 0

    def add(self, passed, failed):
        self.passed += passed
        self.failed += failed


def say(text):
    print(text, flush=True)


def cases_of(output):
    """(passed, failed) as a test tells it, or None: cmocka's closing lines, or "N passed, N failed"."""
    found = re.findall(r"^(\d+) passed, (\d+) failed$", output, re.M)
    if found:
        return int(found[-1][0]), int(found[-1][1])
    passed = re.findall(r"^\[  PASSED  \] (\d+) test", output, re.M)
    failed = re.findall(r"^\[  FAILED  \] (?:tests: )?(\d+) test", output, re.M)
    errors = re.findall(r"^\s*(\d+) FAILED TEST", output, re.M)
    if passed:
        return sum(map(int, passed)), max(sum(map(int, errors)), sum(map(int, failed)))
    return None


def count(results):
    """Cases of all tests of one build, and the tests that went wrong."""
    tally, bad = Tally(), []
    for r in results:
        output = (r.get("stdout") or "") + "\n" + (r.get("stderr") or "")
        cases = cases_of(output)
        if r["result"] == "SKIP":
            continue
        if r["result"] == "OK":
            passed, failed = cases or (1, 0)
            tally.add(max(passed, 1), 0)
        else:
            passed, failed = cases or (0, 1)
            tally.add(passed, max(failed, 1))
            bad.append((r, output))
    return tally, bad


def run(command, **more):
    return subprocess.run(command, cwd=ROOT, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
                          stderr=subprocess.STDOUT, text=True, errors="replace", check=False, **more)


def build(directory, compiler, options):
    """Configured and compiled, or the reason why not."""
    if not os.path.exists(os.path.join(ROOT, directory, "build.ninja")):
        done = run(["meson", "setup", directory, *options], env=dict(os.environ, CC=compiler))
        if done.returncode:
            return done.stdout
    done = run(["ninja", "-C", directory])
    return re.sub(r"^\[\d+/\d+\].*\n", "", done.stdout, flags=re.M) if done.returncode else None


def leaks_can_be_seen():
    """LeakSanitizer needs ptrace, which some containers refuse; without it the rest still holds."""
    source = "#include <stdlib.h>\nint main(void) { return 0; }\n"
    with __import__("tempfile").TemporaryDirectory() as d:
        exe = os.path.join(d, "probe")
        made = subprocess.run(["gcc", "-fsanitize=address", "-x", "c", "-", "-o", exe], input=source, text=True, check=False)
        return made.returncode == 0 and subprocess.run([exe], stderr=subprocess.DEVNULL, check=False).returncode == 0


def environment(name):
    env = dict(os.environ)
    if name == "sanitizers":
        leaks = int(leaks_can_be_seen())
        if not leaks:
            say("check: leaks cannot be looked for in this container; everything else is")
        env["ASAN_OPTIONS"] = f"detect_leaks={leaks}:strict_string_checks=1:detect_stack_use_after_return=1"
        env["LSAN_OPTIONS"] = f"suppressions={ROOT}/tests/lsan.supp:print_suppressions=0"
        env["UBSAN_OPTIONS"] = "halt_on_error=1:print_stacktrace=1"
    return env


def test(directory, left_out, name):
    command = ["meson", "test", "-C", directory, "--no-rebuild", "--print-errorlogs"]
    for suite in left_out:
        command += ["--no-suite", suite]
    if name == "sanitizers":
        command += ["--timeout-multiplier", "5"]
    log = os.path.join(ROOT, directory, "meson-logs", "testlog.json")
    if os.path.exists(log):
        os.remove(log)
    done = run(command, env=environment(name))
    if not os.path.exists(log):
        return [{"name": "meson test", "result": "FAIL", "stdout": done.stdout}]
    with open(log, encoding="utf-8") as f:
        return [json.loads(line) for line in f if line.strip()]


def show_bad(bad):
    for r, output in bad:
        say(f"--- {r['name']}: {r['result']} (exit {r.get('returncode', '?')})")
        say("\n".join(output.strip().splitlines()[-40:]))


def pages(total):
    """The pages are built first, since the program carries them; where they cannot be, that is a failure."""
    done = run(["sh", "tools/ui.sh"])
    total.add(not done.returncode, bool(done.returncode))
    if done.returncode:
        say(done.stdout.strip())


def browser(total):
    """The pages in a real browser, against the program that gcc built; snapshots lie in build/snapshots."""
    start = time.monotonic()
    done = run(["node", "tests/ui/run.mjs", "build"])
    passed, failed = cases_of(done.stdout) or (0, 1)
    if failed or done.returncode or "passed over" in done.stdout:
        say(done.stdout.strip())
        failed = max(failed, int(done.returncode != 0))
    say(f"check: pages: {passed} passed and {failed} failed in {time.monotonic() - start:.0f} s")
    total.add(passed, failed)


def main():
    total = Tally()
    pages(total)
    for directory, compiler, options, left_out, name in BUILDS:
        start = time.monotonic()
        why = build(directory, compiler, options)
        total.add(not why, bool(why))
        if why:
            say(why.strip()[-6000:])
            say(f"check: {name}: the build failed")
            continue
        built = time.monotonic()
        tally, bad = count(test(directory, left_out, name))
        show_bad(bad)
        say(f"check: {name}: built in {built - start:.0f} s, {tally.passed} passed and {tally.failed} failed "
            f"in {time.monotonic() - built:.0f} s")
        total.add(tally.passed, tally.failed)
        if tally.passed + tally.failed == 0:
            say(f"check: {name}: no test ran, which cannot be right")
            total.add(0, 1)
    browser(total)
    start = time.monotonic()
    lint = run([sys.executable, "tools/tidy.py", "build-clang"])
    passed, failed = cases_of(lint.stdout) or (0, 1)
    if failed or lint.returncode:
        say(lint.stdout.strip())
        failed = max(failed, 1)
    say(f"check: lint: {passed} files clean and {failed} not in {time.monotonic() - start:.0f} s")
    total.add(passed, failed)
    say(f"{total.passed} passed, {total.failed} failed")
    return 1 if total.failed else 0


if __name__ == "__main__":
    sys.exit(main())

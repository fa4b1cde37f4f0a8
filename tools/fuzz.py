#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Run every fuzz target for a while: fuzz.py BUILD [TARGET...]; FUZZ_SECONDS (60) is the time of each.

What is found beside the kept corpus grows in BUILD/corpus. An input that breaks a target is left as
fuzz/corpus/TARGET/crash-...: mend the defect and commit the input, then it is a test for good.
"""
import os
import subprocess
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))


def main():
    build = os.path.join(ROOT, sys.argv[1])
    targets = sys.argv[2:] or sorted(os.listdir(os.path.join(ROOT, "fuzz", "corpus")))
    seconds = os.environ.get("FUZZ_SECONDS", "60")
    broken = []
    for target in targets:
        kept = os.path.join(ROOT, "fuzz", "corpus", target)
        grown = os.path.join(build, "corpus", target)
        os.makedirs(grown, exist_ok=True)
        print(f"fuzz: {target} for {seconds} s", flush=True)
        done = subprocess.run([os.path.join(build, "fuzz", "fuzz_" + target), f"-max_total_time={seconds}", "-timeout=10",
                               "-print_final_stats=1", "-verbosity=0", f"-artifact_prefix={kept}/", grown, kept],
                              stdin=subprocess.DEVNULL, check=False)
        if done.returncode:
            broken.append(target)
    print(f"fuzz: {len(targets) - len(broken)} targets held" + (f"; broken: {' '.join(broken)}" if broken else ""))
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())

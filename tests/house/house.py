#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Run house checks: house.py ROOT BUILD PROGRAM [CHECK...]; with --self-test it tries the checks themselves.

Prints one line a complaint and closes with "N passed, N failed".
"""
import sys

import selftest
from build_checks import BUILD_CHECKS, Bench
from text_checks import CHECKS
from tree import Tree


def main():
    root, build, program, *names = sys.argv[1:]
    if names == ["--self-test"]:
        complaints = list(selftest.run(CHECKS, BUILD_CHECKS))
        for line in complaints:
            print(line)
        print(f"{selftest.run.count - len(complaints)} passed, {len(complaints)} failed")
        return 1 if complaints else 0
    tree = Tree.from_disk(root)
    failed = 0
    names = names or list(CHECKS) + list(BUILD_CHECKS)
    for name in names:
        complaints = list(CHECKS[name](tree) if name in CHECKS else BUILD_CHECKS[name](Bench(tree, build, program)))
        for line in complaints:
            print(f"{name}: {line}")
        failed += bool(complaints)
    print(f"{len(names) - failed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())

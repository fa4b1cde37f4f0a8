#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""tools/check.py counts what happened: check_counts.py TOOLS. A check that reports too well would hide the rest."""
import sys

sys.path.insert(0, sys.argv[1])
import check  # noqa: E402  (found only once the path above is known)

CMOCKA = "[==========] Running 3 test(s).\n[ RUN      ] a\n[       OK ] a\n"
OUTPUTS = [
    # result, output, passed and failed that must be counted
    ("OK", CMOCKA + "[  PASSED  ] 3 test(s).\n", (3, 0)),
    ("FAIL", CMOCKA + "[  PASSED  ] 1 test(s).\n[  FAILED  ] 2 test(s), listed below:\n[  FAILED  ] b\n\n 2 FAILED TEST(S)\n",
     (1, 2)),
    ("OK", "[  PASSED  ] 3 test(s).\n[  PASSED  ] 4 test(s).\n", (7, 0)),
    ("OK", "ok a\nok b\n2 passed, 0 failed\n", (2, 0)),
    ("FAIL", "2 passed, 5 failed\n", (2, 5)),
    ("OK", "nothing that counts\n", (1, 0)),
    ("FAIL", "nothing that counts\n", (0, 1)),
    ("FAIL", "all cases went well, then it crashed\n9 passed, 0 failed\n", (9, 1)),
    ("TIMEOUT", "", (0, 1)),
    ("ERROR", "", (0, 1)),
    ("UNEXPECTEDPASS", "", (0, 1)),
    ("SKIP", "", (0, 0)),
]


def main():
    failed = 0
    for result, output, want in OUTPUTS:
        tally, bad = check.count([{"name": "x", "result": result, "stdout": output}])
        seen = (tally.passed, tally.failed)
        if seen != want or bool(bad) != bool(want[1]):
            failed += 1
            print(f"{result} with {output!r}: counted {seen}, should be {want}; called bad: {bool(bad)}")
    print(f"{len(OUTPUTS) - failed} passed, {failed} failed")
    return 1 if failed else 0


sys.exit(main())

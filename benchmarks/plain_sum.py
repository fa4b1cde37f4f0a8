# SPDX-License-Identifier: Apache-2.0
"""A yardstick for `fettle check`: PA201 and PA202 of every file summed and held against VA102 and VA101, and
nothing else: no check value, no dictionary, no other identity."""
import os
import sys


def closes(data):
    count = value = 0
    want = None
    for line in data.split(b"\r\n"):
        if line.startswith(b"PA2*"):
            cells = line.split(b"*", 3)
            count += int(cells[1])
            value += int(cells[2])
        elif line.startswith(b"VA1*"):
            cells = line.split(b"*", 3)
            want = int(cells[2]), int(cells[1])
    return (count, value) == want


def main():
    names = os.listdir(sys.argv[1])
    good = 0
    for name in names:
        with open(os.path.join(sys.argv[1], name), "rb") as f:
            good += closes(f.read())
    print(f"{len(names)} files, {good} good")
    sys.exit(good != len(names))


main()

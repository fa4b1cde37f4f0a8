#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Turn text files into rows  ROW(NAME, "name", "first comment line", {bytes...}, n)  that C includes,
so that the program carries them. The summary is the first comment that is not the licence."""
import os
import re
import sys


def main():
    out, sources = sys.argv[1], sys.argv[2:]
    with open(out, "w", encoding="ascii") as f:
        for path in sources:
            name = os.path.splitext(os.path.basename(path))[0]
            with open(path, "rb") as s:
                data = s.read()
            notes = [l[1:].strip() for l in data.decode("ascii").splitlines() if l.startswith("#")]
            summary = next(n for n in notes if n and not n.startswith("SPDX"))
            ident = re.sub(r"[^A-Z0-9]", "_", name.upper())
            text = summary.replace("\\", "\\\\").replace('"', '\\"')
            f.write('ROW(%s, "%s", "%s", B(%s), %d)\n' % (ident, name, text, ",".join(map(str, data)), len(data)))


main()

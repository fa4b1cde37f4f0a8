#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Packs the pages into the program:  pages.py OUT FOLDER...  takes the first FOLDER that has an index.html and writes
a row  PAGE("/path", "type", "etag", raw size, packed size, bytes)  a file, sorted by path. Same files, same bytes: no time and
no name of a machine goes in. OUT is only written when it changes, so nothing is compiled anew for nothing."""
import gzip
import hashlib
import io
import os
import sys

TYPES = {
    ".html": "text/html; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".mjs": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml", ".png": "image/png", ".ico": "image/x-icon",
    ".json": "application/json", ".webmanifest": "application/manifest+json", ".woff2": "font/woff2",
    ".txt": "text/plain; charset=utf-8",
}


def files(folder):
    for root, dirs, names in os.walk(folder):
        dirs.sort()
        for name in sorted(names):
            path = os.path.join(root, name)
            ending = os.path.splitext(name)[1].lower()
            if ending in TYPES and not name.startswith("."):
                yield "/" + os.path.relpath(path, folder).replace(os.sep, "/"), TYPES[ending], path


def packed(data):
    out = io.BytesIO()
    with gzip.GzipFile(filename="", mode="wb", compresslevel=9, fileobj=out, mtime=0) as f:
        f.write(data)
    return out.getvalue()


def rows(folder):
    for name, kind, path in sorted(files(folder)):
        with open(path, "rb") as f:
            data = f.read()
        tag = hashlib.sha256(data).hexdigest()[:16]
        small = packed(data)
        body = ",".join(map(str, small))
        yield f'PAGE("{name}", "{kind}", "\\"{tag}\\"", {len(data)}, {len(small)}, B({body}))\n'


def main():
    out, folders = sys.argv[1], sys.argv[2:]
    folder = next((f for f in folders if os.path.exists(os.path.join(f, "index.html"))), None)
    if folder is None:
        sys.exit("pages.py: none of the folders has an index.html: " + " ".join(folders))
    text = "".join(rows(folder))
    try:
        with open(out, encoding="ascii") as f:
            if f.read() == text:
                return
    except OSError:
        pass
    with open(out, "w", encoding="ascii") as f:
        f.write(text)


main()

# SPDX-License-Identifier: Apache-2.0
"""The tree that the house checks look at: paths and texts, from the disk or made up by a test."""
import csv
import os
import subprocess

SKIP_DIRS = {".git", "papers", "__pycache__"}


class Tree:
    """Paths (relative, with /) to bytes. Checks never touch the disk themselves, so that the
    self-test can hand them small made-up trees."""

    def __init__(self, files, exceptions=()):
        self.files = {p: b if isinstance(b, bytes) else b.encode() for p, b in files.items()}
        self.exceptions = set(exceptions)

    @classmethod
    def from_disk(cls, root):
        files = {}
        for path in listed(root):
            full = os.path.join(root, path)
            if os.path.isfile(full) and not os.path.islink(full):
                with open(full, "rb") as f:
                    files[path] = f.read()
        tree = cls(files)
        name = "tests/house/exceptions.csv"
        if name in files:
            for row in rows_of(files[name].decode()):
                tree.exceptions.add((row["check"], row["path"], row["what"]))
        return tree

    def text(self, path):
        return self.files[path].decode("utf-8", "replace")

    def paths(self, *endings, under=""):
        return sorted(p for p in self.files if p.startswith(under) and (not endings or p.endswith(endings)))

    def excused(self, check, path, what=""):
        return (check, path, what) in self.exceptions


def rows_of(text):
    return list(csv.DictReader(line for line in text.splitlines() if line and not line.startswith("#")))


def listed(root):
    """What belongs to the project: tracked files and new ones that git does not ignore."""
    try:
        out = subprocess.run(["git", "-c", "safe.directory=*", "-C", root, "ls-files", "-z", "-co", "--exclude-standard"],
                             stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, check=True).stdout
        return sorted({p for p in out.decode().split("\0") if p})
    except (OSError, subprocess.CalledProcessError):
        found = []
        for folder, dirs, names in os.walk(root):
            dirs[:] = [d for d in dirs if d not in SKIP_DIRS and not d.startswith("build")]
            found += [os.path.relpath(os.path.join(folder, n), root) for n in names if not n.endswith(".pyc")]
        return sorted(found)

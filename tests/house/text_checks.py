# SPDX-License-Identifier: Apache-2.0
"""House rules that can be read off the sources. Each check takes a Tree and yields sentences."""
import csv
import io
import os
import re

from tree import rows_of

CODE = (".c", ".h")
FILE_LINES = 800
FUNCTION_LINES = 80
LINE_COLUMNS = 120

# Not bounded, not reentrant, locale-bound or without a way to tell an error from a value.
BANNED = ("sprintf vsprintf strcpy strcat strncpy strncat strtok strtok_r strtol strtoul strtoll strtoull strtod atoi "
          "atol atoll atof gmtime localtime ctime asctime sscanf scanf fscanf gets alloca tmpnam mktemp tempnam "
          "setlocale system popen usleep").split()

# What floors that do no I/O may include: the language, and two libraries that only compute.
PURE_HEADERS = set("assert.h errno.h float.h inttypes.h limits.h math.h stdalign.h stdarg.h stdbool.h stddef.h stdint.h "
                   "stdio.h stdlib.h string.h sodium.h jansson.h immintrin.h wmmintrin.h emmintrin.h smmintrin.h "
                   "tmmintrin.h arm_neon.h cpuid.h endian.h".split())


def without_comments(text):
    """Comments and the insides of strings blanked, lines kept."""
    def blank(m):
        s = m.group(0)
        if s[0] in "\"'":
            return s[0] + s[0]
        return re.sub(r"[^\n]", " ", s)
    return re.sub(r'/\*.*?\*/|//[^\n]*|"(?:\\.|[^"\\\n])*"|\'(?:\\.|[^\'\\\n])*\'', blank, text, flags=re.S)


def rooms(tree):
    return {r["room"]: r for r in rows_of(tree.text("tests/house/rooms.csv"))}


def room_of_header(name, table):
    stem = name[:-2]
    for room, row in table.items():
        if stem == room or stem.startswith((room + "-", room + "_")) or stem in row["headers"].split():
            return room
    return None


def room_of(path, table):
    parts = path.split("/")
    if parts[0] == "src" and len(parts) > 2:
        return parts[1] if parts[1] in table else None
    if path.startswith("include/fettle/") and len(parts) == 3:
        return room_of_header(parts[2], table)
    return None


def layering(tree):
    table = rooms(tree)
    for path in tree.paths(*CODE, under="src/") + tree.paths(".h", under="include/"):
        here = room_of(path, table)
        if not here:
            yield f"{path}: belongs to no room; tests/house/rooms.csv says which there are and their public headers"
            continue
        floor = int(table[here]["floor"])
        for n, line in enumerate(tree.text(path).splitlines(), 1):
            m = re.match(r'\s*#\s*include\s*(["<])([^">]+)[">]', line)
            if not m:
                continue
            quote, name = m.groups()
            at = f"{path}:{n}"
            if quote == "<" or name.endswith(".inc"):
                if table[here]["pure"] == "yes" and quote == "<" and name not in PURE_HEADERS:
                    if not tree.excused("layering", path, name):
                        yield f"{at}: {here} does no I/O, so it may not include <{name}>"
                continue
            if name.startswith("fettle/"):
                there = room_of_header(name[7:], table)
                if "include/" + name not in tree.files:
                    yield f"{at}: there is no public header {name}"
                elif there is None:
                    yield f"{at}: {name} belongs to no room; add it to tests/house/rooms.csv"
                elif there != here and there != "base" and int(table[there]["floor"]) >= floor:
                    yield (f"{at}: {here} (floor {floor}) may not call {there} (floor {table[there]['floor']}): "
                           "an arrow may only run downwards")
                continue
            if path.startswith("include/"):
                yield f"{at}: a public header includes only public headers (fettle/...), not \"{name}\""
            elif ".." in name or "/" in name:
                yield f"{at}: \"{name}\" reaches into another room; call its public header"
            elif os.path.dirname(path) + "/" + name not in tree.files:
                yield f"{at}: there is no {name} in {os.path.dirname(path)}"


def banned(tree):
    call = re.compile(r"(?<![\w.>])(" + "|".join(BANNED) + r")\s*\(")
    for path in tree.paths(*CODE):
        for n, line in enumerate(without_comments(tree.text(path)).splitlines(), 1):
            for m in call.finditer(line):
                if not tree.excused("banned", path, m.group(1)):
                    yield f"{path}:{n}: {m.group(1)} is not used here; see CONTRIBUTING.md for what to use"


def functions(text):
    """(name, first line, lines) of every function: a { and its } alone at the left margin."""
    lines = text.splitlines()
    start = None
    for n, line in enumerate(lines):
        if line == "{":
            start = n
        elif line.startswith("}") and start is not None:
            head = start - 1
            while head > 0 and lines[head - 1].strip() and not lines[head - 1].startswith(("}", "#", "/*", " */")) \
                    and not lines[head - 1].rstrip().endswith((";", "*/")):
                head -= 1
            name = re.search(r"(\w+)\s*\(", " ".join(lines[head:start]))
            yield name.group(1) if name else "?", head + 1, n - start + 1
            start = None


def lengths(tree):
    for path in tree.paths(*CODE, ".py", ".sh", ".md", ".build", ".js", ".css", ".html") + tree.paths("Makefile"):
        text = tree.text(path)
        count = text.count("\n")
        if count > FILE_LINES and not tree.excused("lengths", path, "file"):
            yield f"{path}: {count} lines; a file has at most {FILE_LINES}"
        if path.endswith(CODE):
            for name, line, length in functions(text):
                if length > FUNCTION_LINES and not tree.excused("lengths", path, name):
                    yield f"{path}:{line}: {name} has {length} lines; a function has at most {FUNCTION_LINES}"


def layout(tree):
    """SPDX on top, no blanks at line ends, tabs, line length, end of file."""
    for path in tree.paths(*CODE, ".py", ".sh") + tree.paths("Makefile", ".ci/run"):
        if "SPDX-License-Identifier: Apache-2.0" not in "\n".join(tree.text(path).splitlines()[:3]):
            yield f"{path}:1: the line SPDX-License-Identifier: Apache-2.0 is missing on top"
    kinds = CODE + (".py", ".sh", ".md", ".build", ".csv", ".case", ".txt", ".js", ".css", ".html")
    for path in tree.paths(*kinds) + tree.paths("Makefile", ".ci/run"):
        if path.startswith("fuzz/corpus/") or tree.excused("layout", path):
            continue
        raw = tree.files[path]
        if b"\r" in raw:
            yield f"{path}: has carriage returns"
        if raw and not raw.endswith(b"\n"):
            yield f"{path}: the last line has no end"
        for n, line in enumerate(raw.decode("utf-8", "replace").split("\n"), 1):
            if line.endswith((" ", "\t")):
                yield f"{path}:{n}: blanks at the end of the line"
            if path.endswith(CODE):
                bare = re.sub(r'"(?:\\.|[^"\\])*"', '""', line.expandtabs(4))  # a sentence stays in one piece, to be found
                if len(bare) > LINE_COLUMNS:
                    yield f"{path}:{n}: {len(bare)} columns; a line has at most {LINE_COLUMNS}"


def machine_paths(tree):
    """Nothing in the tree may depend on one machine or name where packages come from."""
    folders = "|".join(("work", "tmp", "home", "root", "Users", "mnt/data"))
    path_like = re.compile(r"(?<![\w.$}~-])/(?:" + folders + r")/[\w.%-]*")
    hosts = re.compile("|".join(re.escape(h) for h in (
        "deb." + "debian.org", "security." + "debian.org", "registry." + "npmjs", "pypi" + ".org",
        "pythonhosted" + ".org", "proxy." + "golang.org", "crates" + ".io", "rubygems" + ".org")))
    for path in sorted(tree.files):
        if path.startswith("fuzz/corpus/") or b"\0" in tree.files[path][:4096]:
            continue
        for n, line in enumerate(tree.text(path).splitlines(), 1):
            for m in list(path_like.finditer(line)) + list(hosts.finditer(line)):
                if not tree.excused("machine-paths", path, m.group(0)):
                    yield f"{path}:{n}: {m.group(0)} belongs to one machine or registry, not in the project"


def sources(tree):
    """A fact without a source is an opinion."""
    for path in tree.paths(".csv", under="data/"):
        if path.count("/") > 1:
            continue
        rows = list(csv.reader(io.StringIO(tree.text(path))))
        rows = [(n, r) for n, r in enumerate(rows, 1) if r and not r[0].startswith("#")]
        if not rows or rows[0][1][-1] != "source":
            yield f"{path}: the last column must be called source"
            continue
        for n, row in rows[1:]:
            if len(row) != len(rows[0][1]):
                yield f"{path}: row {n} has {len(row)} columns, the heading {len(rows[0][1])}"
            elif not row[-1].strip():
                yield f"{path}: row {n} ({row[0]}) has no source"


def links(tree):
    """A page points only at what is there."""
    for path in tree.paths(".md"):
        for n, line in enumerate(tree.text(path).splitlines(), 1):
            for target in re.findall(r"\]\(([^)\s#]+)", line):
                there = os.path.normpath(os.path.join(os.path.dirname(path), target))
                if ":" in target or there in tree.files or any(p.startswith(there + "/") for p in tree.files):
                    continue
                yield f"{path}:{n}: the link to {target} leads nowhere"


def exceptions(tree):
    """Every exception has a reason."""
    for row in rows_of(tree.text("tests/house/exceptions.csv")):
        if not (row.get("reason") or "").strip():
            yield f"tests/house/exceptions.csv: {row['check']},{row['path']},{row['what']} gives no reason"
        if row["path"] not in tree.files:
            yield f"tests/house/exceptions.csv: there is no {row['path']} any more"


CHECKS = {
    "layering": layering, "banned": banned, "lengths": lengths, "layout": layout,
    "machine-paths": machine_paths, "sources": sources, "links": links, "exceptions": exceptions,
}

# SPDX-License-Identifier: Apache-2.0
"""Every house check against a small tree it must accept and small trees it must reject.

A check that cannot fail is worth nothing, so each has samples of both kinds here.
"""
import os
import tempfile

from build_checks import Bench, judge_symbols
from tree import Tree

SPDX = "/* SPDX-License-Identifier: Apache-2.0 */\n"
ROOMS = ("room,floor,pure,headers\nbase,1,yes,slice\naudit,2,yes,\ndataport,2,yes,\nledger,3,yes,\nport,5,no,\n"
         "cli,6,no,\n")
NO_EXCEPTIONS = "check,path,what,reason\n"
HEADERS = {f"include/fettle/{n}.h": SPDX for n in ("slice", "audit", "dataport", "ledger", "port")}


def tree(files, exceptions=()):
    return Tree({"tests/house/rooms.csv": ROOMS, "tests/house/exceptions.csv": NO_EXCEPTIONS, **HEADERS, **files},
                exceptions)


def c(body):
    return {"src/audit/x.c": SPDX + body}


def long_function(lines):
    return "static int f(void)\n{\n" + "\tg();\n" * (lines - 2) + "}\n"


# check: (trees to accept, trees to reject)
SAMPLES = {
    "layering": (
        [tree(c('#include <string.h>\n#include "fettle/slice.h"\n#include "own.h"\n') | {"src/audit/own.h": SPDX}),
         tree({"src/ledger/x.c": '#include "fettle/audit.h"\n#include "rules.inc"\n'}),
         tree({"src/port/x.c": '#include <unistd.h>\n#include "fettle/dataport.h"\n'}),
         tree(c("#include <unistd.h>\n"), [("layering", "src/audit/x.c", "unistd.h")])],
        [tree(c('#include "fettle/ledger.h"\n')),
         tree(c('#include "fettle/dataport.h"\n')),
         tree({"include/fettle/slice.h": '#include "fettle/audit.h"\n'}),
         tree(c('#  include "../ledger/inner.h"\n')),
         tree(c("#include <unistd.h>\n")),
         tree(c('#include "fettle/nowhere.h"\n')),
         tree(c('#include "missing.h"\n')),
         tree({"src/attic/x.c": SPDX}),
         tree({"include/fettle/stray.h": SPDX}),
         tree({"include/fettle/audit.h": '#include "inner.h"\n'})]),
    "banned": (
        [tree(c("/* sprintf( is banned */\nint f(void)\n{\n\treturn snprintf(b, 2, \"strcpy(\") + my_atoi(x) + s.strtok(y);\n}\n"))],
        [tree(c("\tn = atoi(text);\n")), tree(c("\tif (!strtok (a, b))\n")), tree(c("\tgmtime(&t);\n"))]),
    "lengths": (
        [tree(c(long_function(80))), tree({"data/x.csv": "a\n" * 2000}),
         tree(c(long_function(90)), [("lengths", "src/audit/x.c", "f")])],
        [tree(c(long_function(81))), tree(c("\n" * 801)), tree({"docs/x.md": "x\n" * 801})]),
    "layout": (
        [tree(c("\tint a;\n"))],
        [tree({"src/audit/x.c": "int a;\n"}), tree(c("int a; \n")), tree(c("int a;\r\n")), tree(c("int a;")),
         tree(c("\t" + "a" * 117 + "\n")), tree({"tools/x.py": "import sys\n"}), tree({"docs/x.md": "a\t\n"})]),
    "machine-paths": (
        [tree(c("/* \"/dev/ttyUSB0\", a/work/b, ~/tmp/x */\n")), tree({"docs/x.md": "see https://example.org/\n"})],
        [tree(c("/* /" + "work/main */\n")), tree({"docs/x.md": "in /" + "tmp/x\n"}),
         tree({"docs/x.md": "https://deb." + "debian.org/x\n"})]),
    "sources": (
        [tree({"data/x.csv": "# a note\na,source\n1,from memory\n", "data/demo/y.csv": "a,b\n1,2\n"})],
        [tree({"data/x.csv": "a,b\n1,2\n"}), tree({"data/x.csv": "a,source\n1,\n"}),
         tree({"data/x.csv": "a,source\n1,2,3\n"})]),
    "links": (
        [tree({"docs/x.md": "[a](y.md#part) [b](../README.md) [c](https://example.org/) [d](../src)\n", "docs/y.md": "",
               "README.md": "", "src/audit/x.c": SPDX})],
        [tree({"docs/x.md": "[a](y.md)\n"}), tree({"docs/x.md": "[a](../docs/y.md)\n"})]),
    "exceptions": (
        [tree({"tests/house/exceptions.csv": NO_EXCEPTIONS + "lengths,src/audit/x.c,f,one table\n", "src/audit/x.c": SPDX})],
        [tree({"tests/house/exceptions.csv": NO_EXCEPTIONS + "lengths,src/audit/x.c,f,\n", "src/audit/x.c": SPDX}),
         tree({"tests/house/exceptions.csv": NO_EXCEPTIONS + "lengths,src/gone.c,f,one table\n"})]),
}


class Stage(Bench):
    """A bench whose program is a table of answers: words given to fettle -> (exit, stdout)."""

    def __init__(self, answers=None, files=None):
        super().__init__(tree(files or {}))
        self.answers = answers or {}

    def fettle(self, *words):
        code, out = self.answers.get(" ".join(words), (2, ""))
        return code, out, ""


HELP = (0, "fettle: x\n\nCommands:\n  one        does it\n\nmore\n")
PAGE = (0, "fettle one: does it\n\nOptions:\n  --deep N\n      how deep\n")
LONG, PARTED, SUB = ((0, PAGE[1] + t) for t in ("$ " + "x" * 80 + "\n", "\nTurn --deep\nN up.\n", "\nUsage: fettle one in\n"))
MAN = (0, ".TH FETTLE 1 2026-01-02 fettle\n.SH NAME\nfettle \\- x\n.SH EXIT STATUS\n0\n")
GOOD = {"--help": HELP, "one --help": PAGE, "help one": PAGE, "help --man": MAN, "help one --man": MAN}
ONE = {"src/cli/one.c": SPDX + '{ "deep", "N" }; cli_number(c, "deep", 1);\n'}

BUILD_SAMPLES = {
    "headers": (
        [Stage(files={"include/fettle/x.h": "#ifndef X\n#define X\n#include <stddef.h>\nstruct x { size_t n; };\n#endif\n"})],
        [Stage(files={"include/fettle/x.h": "struct x { size_t n; };\n"}),
         Stage(files={"include/fettle/x.h": "struct x { int n; };\n"}),
         Stage(files={"include/fettle/x.h": "#ifndef X\n#define X\nstatic inline int f(int a) { return 1; }\n#endif\n"})]),
    "man-pages": (
        [Stage(GOOD)],
        [Stage({**GOOD, "help one --man": (0, MAN[1] + ".nosuch\n")}), Stage({**GOOD, "help one --man": (0, "text\n")}),
         Stage({**GOOD, "help --man": (0, MAN[1].replace("EXIT STATUS", "EXITS"))})]),
    "help-pages": (
        [Stage(GOOD), Stage({**GOOD, "one --help": SUB, "help one": SUB, "one in --help": SUB})],
        [Stage({**GOOD, "one --help": LONG, "help one": LONG}), Stage({**GOOD, "one --help": PARTED, "help one": PARTED}),
         Stage({**GOOD, "one --help": SUB, "help one": SUB, "one in --help": PAGE}),
         Stage({**GOOD, "one --help": (0, PAGE[1] + "x" * 81 + "\n"), "help one": (0, PAGE[1] + "x" * 81 + "\n")}),
         Stage({**GOOD, "help one": HELP}), Stage({**GOOD, "one --help": (2, PAGE[1])}),
         Stage({**GOOD, "--help": (0, "nothing\n")})]),
    "options": (
        [Stage(GOOD, ONE)],
        [Stage(GOOD, {"src/cli/one.c": ONE["src/cli/one.c"] + 'cli_flag(c, "wide");\n'}), Stage(GOOD, {})]),
}

# Lines of objdump -t: (accept, reject)
SYMBOL_SAMPLES = (
    ["0000000000000000 l     O .rodata\t0000000000000010 table",
     "0000000000000000 l     O .data.rel.ro.local\t0000000000000010 names",
     "0000000000000000         *UND*\t0000000000000000 memcpy",
     "0000000000000000 l    d  .data\t0000000000000000 .data"],
    ["0000000000000000 l     O .bss\t0000000000000004 counter.0",
     "0000000000000000 g     O .data\t0000000000000004 mode",
     "0000000000000000         *UND*\t0000000000000000 clock_gettime",
     "0000000000000000         *UND*\t0000000000000000 open64"])


def try_samples(name, check, samples):
    accept, reject = samples
    for n, sample in enumerate(accept):
        run.count += 1
        for complaint in check(sample):
            yield f"{name}: good sample {n} was rejected: {complaint}"
    for n, sample in enumerate(reject):
        run.count += 1
        if not list(check(sample)):
            yield f"{name}: bad sample {n} was accepted"


def run(checks, build_checks):
    """Yields a sentence for each sample that a check judged wrongly; counts samples in run.count."""
    run.count = 0
    samples = {**SAMPLES, **BUILD_SAMPLES, "symbols": SYMBOL_SAMPLES, "generated": generated_samples()}
    for name, check in {**checks, **build_checks}.items():
        if name not in samples:
            yield f"the check {name} has no samples in tests/house/selftest.py"
            continue
        if name == "symbols":
            check = lambda line: judge_symbols("audit", line, tree({}))
        yield from try_samples(name, check, samples[name])


def generated_samples():
    """Two build folders of one rule each: one generator that repeats itself, one that does not."""
    return [ninja_folder("echo same > ")], [ninja_folder("date +%N > ")]


def ninja_folder(command):
    folder = tempfile.TemporaryDirectory()
    KEPT.append(folder)
    with open(os.path.join(folder.name, "build.ninja"), "w", encoding="ascii") as f:
        f.write(f"rule CUSTOM_COMMAND\n command = {command} $out\nbuild t.inc: CUSTOM_COMMAND\n")
    bench = Stage()
    bench.build = folder.name
    bench.run("ninja", "-C", folder.name)
    return bench


KEPT = []

# SPDX-License-Identifier: Apache-2.0
"""House rules that need a compiler or the built program. Each check takes a Bench and yields sentences."""
import os
import re
import subprocess
import tempfile

from text_checks import rooms

WARNINGS = ["-std=gnu17", "-D_GNU_SOURCE", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-Wshadow", "-Wstrict-prototypes", "-Wundef"]
MUTABLE = re.compile(r"^(\.data|\.bss|\.tdata|\.tbss|\*COM\*)(?!\.rel\.ro)")
# What asks the outside world, in any spelling of the C library.
OUTSIDE = re.compile(
    r"^(open(64|at)?|creat|read|write|close|lseek|fopen(64)?|fread|fwrite|fgets|fputs|fputc|puts|putchar|printf|fprintf|"
    r"__printf_chk|__fprintf_chk|vprintf|perror|getenv|secure_getenv|setenv|time|clock|clock_gettime|gettimeofday|"
    r"localtime(_r)?|nanosleep|sleep|poll|select|ioctl|socket|fork|exec\w+|system|popen|pthread_\w+|thrd_\w+|mtx_\w+|"
    r"rand|srand|random|drand48|randombytes_\w+|getrandom|exit|_exit|signal|sigaction)$")


class Bench:
    """The tree, the folder it was built in and the program; `run` may be replaced by a self-test."""

    def __init__(self, tree, build=None, program=None):
        self.tree, self.build, self.program = tree, build, program

    def run(self, *command, text=None):
        done = subprocess.run(command, input=text, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, check=False)
        return done.returncode, done.stdout, done.stderr

    def fettle(self, *words):
        return self.run(self.program, *words)

    def verbs(self):
        _, out, _ = self.fettle("--help")
        listed = out.split("Commands:\n", 1)[-1].split("\n\n", 1)[0]
        return re.findall(r"^  ([a-z]\w*)\s", listed, re.M)


def first_error(text):
    lines = text.strip().splitlines()
    return next((line for line in lines if "error" in line), lines[0] if lines else "no reason given")


def headers(bench):
    """Every public header compiles alone, twice in a file, under both compilers."""
    include = os.path.join(bench.build or "", "data")
    with tempfile.TemporaryDirectory() as root:
        for path, text in bench.tree.files.items():
            if path.startswith("include/"):
                os.makedirs(os.path.dirname(os.path.join(root, path)), exist_ok=True)
                with open(os.path.join(root, path), "wb") as f:
                    f.write(text)
        for compiler in ("gcc", "clang"):
            for path in bench.tree.paths(".h", under="include/"):
                name = path[len("include/"):]
                code, _, err = bench.run(compiler, *WARNINGS, "-I", os.path.join(root, "include"), "-I", include,
                                         "-fsyntax-only", "-x", "c", "-",
                                         text=f'#include "{name}"\n#include "{name}"\nint alone;\n')
                if code:
                    yield f"{path} does not stand alone under {compiler}: {first_error(err)}"


def symbols(bench):
    """Rooms without I/O keep no mutable data and ask nothing of the outside world."""
    for room, row in rooms(bench.tree).items():
        archive = os.path.join(bench.build, "src", room, f"lib{room}.a")
        if row["pure"] != "yes" or not os.path.exists(archive):
            continue
        yield from judge_symbols(room, bench.run("objdump", "-t", archive)[1], bench.tree)


def judge_symbols(room, table, tree):
    for line in table.splitlines():
        m = re.match(r"^[0-9a-f]{8,16} (.{7}) (\S+)\s+([0-9a-f]+)\s+(?:\.hidden )?(\S+)$", line)
        if not m:
            continue
        section, name = m.group(2), m.group(4)
        plain = name.split("@")[0]
        if "O" in m.group(1) and MUTABLE.match(section) and not tree.excused("symbols", "src/" + room, plain):
            yield f"src/{room}: {plain} can change while the program runs ({section}); rooms without I/O keep no globals"
        if section == "*UND*" and OUTSIDE.match(plain) and not tree.excused("symbols", "src/" + room, plain):
            yield f"src/{room}: calls {plain}; rooms without I/O take bytes and time as arguments"


def generated(bench):
    """The generators give the same bytes again, whatever the order of hashes and the clock."""
    _, targets, _ = bench.run("ninja", "-C", bench.build, "-t", "targets", "all")
    made = re.findall(r"^(\S+\.inc): CUSTOM_COMMAND", targets, re.M)
    if not made:
        yield "no generated tables were found, which cannot be right"
    for target in made:
        _, commands, _ = bench.run("ninja", "-C", bench.build, "-t", "commands", "-s", target)
        command = commands.strip().splitlines()[-1]
        with open(os.path.join(bench.build, target), "rb") as f:
            want = f.read()
        for seed in ("1", "2"):
            with tempfile.TemporaryDirectory() as d:
                other = os.path.join(d, "again.inc")
                again = command.replace(" " + target, " " + other)
                subprocess.run(again, shell=True, cwd=bench.build, env=dict(os.environ, PYTHONHASHSEED=seed), check=False)
                if not os.path.exists(other):
                    yield f"{target}: the command that makes it does not name its output: {command}"
                    break
                with open(other, "rb") as f:
                    if f.read() != want:
                        yield f"{target}: made again it is different"
                        break


def man_pages(bench):
    """Every manual page passes mandoc's lint at warnings."""
    for verb in bench.verbs() + [""]:
        words = ["help", *([verb] if verb else []), "--man"]
        code, page, err = bench.fettle(*words)
        if code or not page.startswith(".TH "):
            yield f"fettle {' '.join(words)} gives no page: {err.strip()}"
            continue
        if ".SH NAME" not in page or ".SH EXIT STATUS" not in page:
            yield f"fettle {' '.join(words)}: NAME or EXIT STATUS is missing"
        code, out, err = bench.run("mandoc", "-T", "lint", "-W", "warning", text=page)
        if code:
            yield f"fettle {' '.join(words)}: {(out + err).strip().splitlines()[0]}"


def parted(page):
    """Lines of a help page that end with an option whose argument, in capitals, begins the next."""
    listing, lines = False, page.splitlines()
    for line, after in zip(lines, lines[1:]):
        listing = line == "Options:" or listing and line.startswith("  ")
        if not listing and re.search(r"(^|[\s[(])--?[\w-]+$", line) and re.match(r"\s*[A-Z]", after):
            yield line.strip()


def help_pages(bench):
    """Every help fits 80 columns, parts no option from its argument, and is the same however it is asked for."""
    verbs = bench.verbs()
    if not verbs:
        yield "fettle --help lists no commands"
    for verb in verbs + [""]:
        code, page, err = bench.fettle(*([verb] if verb else []), "--help")
        name = f"fettle {verb} --help".replace("  ", " ")
        if code or err:
            yield f"{name}: exit {code} {err.strip()}"
        if verb and bench.fettle("help", verb)[1] != page:
            yield f"{name} and fettle help {verb} differ"
        for sub in re.findall(rf"^(?:Usage:|      ) fettle {verb} ([a-z]+)\b", page, re.M) if verb else []:
            if bench.fettle(verb, sub, "--help")[1] != page:
                yield f"{name} and fettle {verb} {sub} --help differ"
        for line in parted(page):
            yield f"{name}: the option and its argument part at: {line}"
        for line in page.splitlines():
            if len(line) > 80:
                yield f"{name}: a line of {len(line)} columns: {line}"
            if line.endswith((" ", "\t")):
                yield f"{name}: blanks at the end of: {line}"


def options(bench):
    """What a command's source asks for its help lists, and what the help lists some source asks for."""
    asked = {}
    call = re.compile(r'\bcli_(?:value|flag|number|value_nth)\s*\(\s*\w+\s*,\s*"([\w-]+)"')
    sources = bench.tree.paths(".c", under="src/cli/")
    for path in sources:
        for name in call.findall(bench.tree.text(path)):
            asked.setdefault(name, path)
    listed = set()
    for verb in bench.verbs():
        page = bench.fettle(verb, "--help")[1]
        listed |= set(re.findall(r"^  --?([\w-]+)", page, re.M))
    common = {"book", "json", "help"}
    text = "\n".join(bench.tree.text(p) for p in sources)
    for name, path in sorted(asked.items()):
        if name not in listed | common:
            yield f"{path} asks for --{name}, which no help lists, so nobody can give it"
    for name in sorted(listed - common):
        if name not in asked and text.count(f'"{name}"') < 2:
            yield f"the option --{name} is in a help page but nothing asks for it"


BUILD_CHECKS = {
    "headers": headers, "symbols": symbols, "generated": generated, "man-pages": man_pages,
    "help-pages": help_pages, "options": options,
}

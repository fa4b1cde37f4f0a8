#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Run case files of command lines: what goes in, what a person is told, what is left on the disk.

run-cli.py FETTLE TESTS CASE...      (run-cli.py --self-test FETTLE TESTS tries the runner itself)

A case file holds cases; each begins with "= title" and says, one a line:

  given WORDS        run the program like this first; it must succeed
  file NAME TEXT     write a file (\\n for a line end); an empty TEXT gives an empty file
  with NAME          one of: full-disk (the folder is on a disk without room), port-busy ({port} is
                     held by somebody else), port ({port} answers nothing), stdout-full
  as nobody          run without the rights of root, in a folder that nobody may write
  deny NAME          take all rights to this file away
  $ fettle WORDS     the command; exactly one
  exit N             its exit code; always stated
  err LINE           the whole of standard error, a line each; none: it must be silent
  out LINE           the whole of standard output, a line each; none: it must be silent; "out ..." alone: anything
  writes NAME...     what may be new or changed afterwards; otherwise the folder must be as it was

In expected lines {*} stands for anything. Every case runs in a fresh folder with: before.dts,
after.dts, sales.csv, folder/, empty, binary, letter.txt; the book is book.sqlite there.
Cases that this machine cannot play (no root, no mounts) are named and not counted.
"""
import fcntl
import hashlib
import os
import pty
import re
import shlex
import shutil
import subprocess
import sys
import tempfile

NOBODY = 65534
COPIES = {"before.dts": "samples/sample-1.dts", "after.dts": "samples/sample-1b.dts", "sales.csv": "sales/sample-1.csv"}


class Skip(Exception):
    pass


class Case:
    def __init__(self, title, where):
        self.title, self.where = title, where
        self.given, self.files, self.withs, self.deny = [], [], [], []
        self.nobody = False
        self.command = self.exit = None
        self.err, self.out, self.writes = [], [], set()

    def take(self, line):
        word, _, rest = line.partition(" ")
        if word == "$":
            if self.command:
                raise SystemExit(f"{self.where}: a case has one command")
            program, *self.command = shlex.split(rest)
            if program != "fettle":
                raise SystemExit(f"{self.where}: the command is fettle, not {program}")
        elif word == "given":
            self.given.append(shlex.split(rest))
        elif word == "file":
            name, _, text = rest.partition(" ")
            self.files.append((name, text.replace("\\n", "\n")))
        elif word == "with":
            self.withs += rest.split()
        elif word == "as" and rest == "nobody":
            self.nobody = True
        elif word == "deny":
            self.deny.append(rest)
        elif word == "exit":
            self.exit = int(rest)
        elif word in ("err", "out"):
            getattr(self, word).append(rest)
        elif word == "writes":
            self.writes |= set(rest.split())
        else:
            raise SystemExit(f"{self.where}: {line} is nothing a case says")


def read_cases(path):
    cases = []
    with open(path, encoding="utf-8") as f:
        for n, line in enumerate(f, 1):
            line = line.rstrip("\n")
            if not line or line.startswith("#"):
                continue
            if line.startswith("= "):
                cases.append(Case(line[2:], f"{os.path.basename(path)}:{n}"))
            elif not cases:
                raise SystemExit(f"{path}:{n}: a case begins with = and its title")
            else:
                cases[-1].take(line)
    for c in cases:
        if c.command is None or c.exit is None:
            raise SystemExit(f"{c.where}: {c.title}: the command or its exit code is missing")
    return cases


def fits(expected, seen):
    pattern = "".join(".*" if p == "{*}" else re.escape(p) for p in re.split(r"(\{\*\})", expected))
    return re.fullmatch(pattern, seen) is not None


def compare(what, expected, seen):
    if expected == ["..."]:
        return [] if seen else [f"{what} is silent"]
    if len(expected) != len(seen) or not all(fits(e, s) for e, s in zip(expected, seen)):
        return [f"{what} should be"] + ["    " + e for e in expected or ["(nothing)"]] + \
            ["  and is"] + ["    " + s for s in seen or ["(nothing)"]]
    return []


def picture(folder):
    """Every path in the folder with what it holds."""
    found = {}
    for at, dirs, names in os.walk(folder):
        for name in dirs:
            found[os.path.relpath(os.path.join(at, name), folder)] = "folder"
        for name in names:
            path = os.path.join(at, name)
            try:
                with open(path, "rb") as f:
                    found[os.path.relpath(path, folder)] = hashlib.sha256(f.read()).hexdigest()
            except OSError as e:
                found[os.path.relpath(path, folder)] = str(e.errno)
    return found


class Stage:
    """The folder a case runs in and what has to be undone after it."""

    def __init__(self, program, tests, case):
        self.case = case
        self.undo = []
        self.root = tempfile.mkdtemp(prefix="fettle-cli-")
        self.undo.append(lambda: shutil.rmtree(self.root, ignore_errors=True))
        os.chmod(self.root, 0o755)
        self.program = program
        self.folder = os.path.join(self.root, "here")
        os.mkdir(self.folder)
        self.port = "no-port-was-asked-for"
        for name, source in COPIES.items():
            shutil.copyfile(os.path.join(tests, source), os.path.join(self.folder, name))
        os.mkdir(os.path.join(self.folder, "folder"))
        self.write("empty", b"")
        self.write("binary", bytes(range(256)) * 8)
        self.write("letter.txt", b"Dear fitter,\nthe key is under the mat.\n")

    def write(self, name, data):
        with open(os.path.join(self.folder, name), "wb") as f:
            f.write(data)

    def prepare(self):
        for name, text in self.case.files:
            self.write(name, text.encode())
        for words in self.case.given:
            done = self.run(words)
            if done.returncode:
                raise SystemExit(f"{self.case.where}: given {words}: exit {done.returncode}: {done.stderr}")
        for name in self.case.withs:
            {"full-disk": self.full_disk, "port-busy": self.busy_port, "port": self.silent_port,
             "stdout-full": lambda: None}[name]()
        if self.case.nobody:
            self.become_nobody()
        for name in self.case.deny:
            if os.getuid() == 0 and not self.case.nobody:
                raise SystemExit(f"{self.case.where}: deny means nothing to root; add: as nobody")
            os.chmod(os.path.join(self.folder, name), 0)
            self.undo.insert(0, lambda n=name: os.chmod(os.path.join(self.folder, n), 0o700))

    def full_disk(self):
        """The folder moved onto a small file system that is then filled to the last byte."""
        disk = os.path.join(self.root, "disk")
        os.mkdir(disk)
        if os.getuid() or subprocess.run(["mount", "-t", "tmpfs", "-o", "size=256k", "fettle", disk],
                                         stderr=subprocess.DEVNULL, check=False).returncode:
            raise Skip("a small disk cannot be mounted here")
        self.undo.insert(0, lambda: subprocess.run(["umount", disk], check=False))
        for name in os.listdir(self.folder):
            shutil.move(os.path.join(self.folder, name), os.path.join(disk, name))
        self.folder = disk
        try:
            with open(os.path.join(disk, "ballast"), "wb", buffering=0) as f:
                while f.write(b"x" * 1024):
                    pass
        except OSError:
            pass

    def open_port(self):
        ours, theirs = pty.openpty()
        self.port = os.ttyname(theirs)
        self.undo += [lambda: os.close(ours), lambda: os.close(theirs)]
        return theirs

    def silent_port(self):
        self.open_port()

    def busy_port(self):
        fcntl.flock(self.open_port(), fcntl.LOCK_EX | fcntl.LOCK_NB)

    def become_nobody(self):
        if os.getuid():
            os.chmod(self.folder, 0o555)
            self.undo.insert(0, lambda: os.chmod(self.folder, 0o755))
            if os.path.exists(self.port):
                os.chmod(self.port, 0)
            return
        copy = os.path.join(self.root, "fettle")
        shutil.copy(self.program, copy)
        self.program = copy

    def run(self, words, final=False):
        env = {k: v for k, v in os.environ.items() if k != "NO_COLOR" and not k.startswith("XDG_")}
        env.update(FETTLE_BOOK="book.sqlite", HOME=self.folder, TZ="UTC", LC_ALL="C.UTF-8")
        more = {}
        if final and self.case.nobody and os.getuid() == 0:
            more = {"user": NOBODY, "group": NOBODY, "extra_groups": []}
        out = open("/dev/full", "wb") if final and "stdout-full" in self.case.withs else subprocess.PIPE
        return subprocess.run([self.program, *(w.replace("{port}", self.port) for w in words)], cwd=self.folder, env=env,
                              stdin=subprocess.DEVNULL, stdout=out, stderr=subprocess.PIPE, timeout=120, check=False, **more)

    def done(self):
        for step in self.undo:
            step()


def lines(data):
    return (data or b"").decode("utf-8", "replace").splitlines()


def try_case(program, tests, case):
    """What is wrong with the case, as lines; empty when it holds."""
    stage = Stage(program, tests, case)
    try:
        stage.prepare()
        before = picture(stage.folder)
        done = stage.run(case.command, final=True)
        after = picture(stage.folder)
    finally:
        stage.done()
    wrong = []
    if done.returncode != case.exit:
        wrong.append(f"exit {done.returncode}, should be {case.exit}")
    wrong += compare("standard error", case.err, [s.replace(stage.port, "{port}") for s in lines(done.stderr)])
    if "stdout-full" not in case.withs:
        wrong += compare("standard output", case.out, lines(done.stdout))
    changed = {p for p in before.keys() | after.keys() if before.get(p) != after.get(p)}
    if changed != case.writes:
        wrong.append(f"on the disk changed: {', '.join(sorted(changed)) or 'nothing'}; "
                     f"should change: {', '.join(sorted(case.writes)) or 'nothing'}")
    return wrong


def run_files(program, tests, paths):
    passed = failed = 0
    for path in paths:
        for case in read_cases(path):
            try:
                wrong = try_case(program, tests, case)
            except Skip as why:
                print(f"not run: {case.title}: {why}")
                continue
            passed += not wrong
            failed += bool(wrong)
            for n, line in enumerate(wrong):
                print(f"{case.where}: {case.title}: {line}" if n == 0 else "  " + line)
    return passed, failed


# A runner that accepts everything is worth nothing: each of these must be found wrong.
BROKEN = """\
= the exit code is another
$ fettle explain missing.dts
exit 4
err {*}
= the sentence is another
$ fettle explain missing.dts
exit 3
err fettle: All is well.
= a sentence is not expected
$ fettle explain missing.dts
exit 3
= an output is not expected
$ fettle --version
exit 0
= a file is written that was not named
$ fettle visit open A-1
exit 0
out ...
= a file is named that is not written
$ fettle --version
exit 0
out fettle {*}
writes book.sqlite
"""


def self_test(program, tests):
    with tempfile.NamedTemporaryFile("w", suffix=".case", encoding="utf-8") as f:
        f.write(BROKEN)
        f.flush()
        accepted = [c.title for c in read_cases(f.name) if not try_case(program, tests, c)]
        total = len(read_cases(f.name))
    for title in accepted:
        print(f"the runner accepted a case that is wrong: {title}")
    return total - len(accepted), len(accepted)


def main():
    if sys.argv[1] == "--self-test":
        passed, failed = self_test(os.path.abspath(sys.argv[2]), sys.argv[3])
    else:
        passed, failed = run_files(os.path.abspath(sys.argv[1]), sys.argv[2], sys.argv[3:])
    print(f"{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0


if __name__ == "__main__":
    sys.exit(main())

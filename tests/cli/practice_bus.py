# SPDX-License-Identifier: Apache-2.0
"""fettle practice --bus from the outside: the three forms of one play tell the same words, also to a decoder that is
none of ours (sigrok-cli's general one, where it is installed)."""
import os
import shutil
import subprocess
import sys
import tempfile
import zipfile

FETTLE = os.path.abspath(sys.argv[1])
PLAY = ["sell 21 coins 100 25", "sell 21 bill 500", "sell 23 card", "sell 22 card fail", "wait 3"]
failed = passed = 0


def say(good, what):
    global failed, passed
    passed += bool(good)
    failed += not good
    if not good:
        print("not so:", what)


def practice(folder, *args, lines=PLAY):
    return subprocess.run([FETTLE, "practice", "--pace", "fast", "--until-eof", *args], cwd=folder, text=True,
                          input="\n".join(lines) + "\n", capture_output=True, timeout=60)


def words_of(path):
    """(line, byte, mode) of each word of our words text, breaks left out."""
    for line in open(path).read().splitlines()[1:]:
        part = line.split()
        if "break" not in part:
            yield part[1], int(part[2].rstrip("*"), 16), part[2].endswith("*")


def levels_of(path):
    """Samples of both lines from a session file, joined in the order of its chunks."""
    with zipfile.ZipFile(path) as z:
        names = z.namelist()
        meta = z.read("metadata").decode()
        say(z.read("version") == b"2", "the session file says version 2")
        say("samplerate=1 MHz" in meta and "unitsize=1" in meta, "and how it was sampled")
        chunks = sorted((n for n in names if n.startswith("logic-1-")), key=lambda n: int(n.split("-")[2]))
        return b"".join(z.read(n) for n in chunks)


def read_words(samples, channel):
    """A receiver of nine data bits, sampling in mid-bit: as plain as it can be."""
    bit, at, found = 1e6 / 9600, 0, []
    line = bytes(s >> channel & 1 for s in samples)
    while (at := line.find(b"\0", at)) >= 0:
        end = line.find(b"\1", at)
        if end < 0 or end - at > 11 * bit:  # a reset of the bus
            at = end if end >= 0 else len(line)
            continue
        bits = [line[int(at + (n + 0.5) * bit)] for n in range(11)]
        say(bits[0] == 0 and bits[10] == 1, f"start and stop bit at {at}")
        found.append((sum(b << n for n, b in enumerate(bits[1:9])), bool(bits[9])))
        at = int(at + 10.5 * bit)
    return found


def independent(folder, name, channel):
    out = subprocess.run(["sigrok-cli", "-i", name, "-P", f"uart:rx={channel}:baudrate=9600:data_bits=9:parity=none",
                          "-A", "uart=rx-data"], cwd=folder, capture_output=True, text=True, timeout=120).stdout
    values = [int(line.split()[-1], 16) for line in out.splitlines()]
    return [(v & 0xFF, bool(v >> 8)) for v in values]


def main():
    with tempfile.TemporaryDirectory() as folder:
        def at(name):
            return os.path.join(folder, name)

        for form in "words", "vcd", "sr":
            run = practice(folder, "--bus", "one." + form)
            say(run.returncode == 0 and not run.stderr, f"a play is tapped as .{form}: {run.stderr}")
        want = list(words_of(at("one.words")))
        say(len(want) > 1000 and want[0] == ("C", 0x08, True), "its words begin with the reset of the changer")
        samples = levels_of(at("one.sr"))
        for letter, channel, name in ("C", 0, "controller"), ("P", 1, "peripheral"):
            mine = [(b, m) for line, b, m in want if line == letter]
            say(read_words(samples, channel) == mine, f"the session file carries the words of the {name}")
            if shutil.which("sigrok-cli"):
                for capture in "one.sr", "one.vcd":
                    theirs = independent(folder, capture, name)
                    say(theirs[-len(mine):] == mine and len(theirs) - len(mine) <= 2,
                        f"another decoder reads the same words of the {name} in {capture}")

        again = practice(folder, "--bus", "again.words")
        say(again.returncode == 0 and open(at("again.words")).read() == open(at("one.words")).read(),
            "the same play gives the same bytes")

        late = practice(folder, lines=["sell 21 coins 100 25", "bus start part.words", *PLAY, "bus stop", "sell 21 card"])
        part = list(words_of(at("part.words")))
        say(late.returncode == 0 and ("C", 0x09, True) not in part, "a tap in mid-life hears no setup")
        say(("C", 0x13, True) in part, "but the sales")

        # half a hundred polls of a changer that counts out change say no more than the first of them
        subprocess.run([FETTLE, "bus", "part.words", "--svg", "part.svg"], cwd=folder, capture_output=True, timeout=60)
        busy = sum(1 for line, byte, _ in part if line == "P" and byte == 0x02)
        drawn = open(at("part.svg"), encoding="utf-8").read().count(">payout busy<")
        say(busy > 10 and 1 <= drawn <= 2, f"{drawn} of {busy} busy answers are drawn")

        for args, lines, code, text in (
                (["--bus", "one.txt"], [], 2, ".vcd, .words or .sr"),
                (["--bus", "missing/one.vcd"], [], 5, "cannot be written"),
                (["--bus", "missing/one.sr"], [], 5, "cannot be written"),
                (["--script", "lines"], [], 2, "bus start FILE")):
            with open(at("lines"), "w") as f:
                f.write("bus start\n")
            run = practice(folder, *args, lines=lines)
            say(run.returncode == code and text in run.stderr, f"{args} ends with {code}: {run.returncode} {run.stderr}")
        if os.path.exists("/dev/full"):
            os.symlink("/dev/full", at("full.vcd"))
            run = practice(folder, "--bus", "full.vcd")
            say(run.returncode == 5 and "cannot be written" in run.stderr, f"a full disk is told: {run.stderr}")

    print(f"{passed} passed, {failed} failed")
    return 1 if failed else 0


sys.exit(main())

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Captures against tools that are none of ours: the words of each capture as a general UART decoder reads them (sigrok-cli),
and a dump that a simulator writes (iverilog). What is not installed is passed over with a line that says so."""
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile

FETTLE, SOURCE = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
SCRIPT = "sell 21 coins 100 25\nsell 11 card\nsell 13 bill 500\nwait 20\nquit\n"
failed = done = 0


def check(held, what):
    global failed, done
    done += 1
    if not held:
        failed += 1
        print("FAIL", what)


def ours(path, *options):
    out = subprocess.run([FETTLE, "bus", path, "--words", "--json", *options], capture_output=True, text=True, timeout=120, check=False)
    words = [json.loads(line).get("word") for line in out.stdout.splitlines()]
    return [(w["line"][0], w["byte"] | w["mode"] << 8, round(w["at_us"])) for w in words if w and w["kind"] == "word"]


def theirs(path, invert):
    got = []
    for line in ("controller", "peripheral"):
        out = subprocess.run(["sigrok-cli", "-i", path, "--protocol-decoder-samplenum", "-P",
                              f"uart:rx={line}:baudrate=9600:data_bits=9:invert_rx={'yes' if line in invert else 'no'}",
                              "-A", "uart=rx-data"], capture_output=True, text=True, timeout=300, check=True).stdout
        for row in out.splitlines():
            where, _, value = row.partition(" uart-1: ")
            got.append((line[0], int(value, 16), int(where.split("-")[0]) - 104))  # its mark begins behind the start bit
    return sorted(got, key=lambda w: w[2])


def play(folder, name, *faults):
    with open(os.path.join(folder, "play"), "w", encoding="ascii") as f:
        f.write(SCRIPT)
    path = os.path.join(folder, name)
    subprocess.run([FETTLE, "practice", "--pace", "fast", "--script", "play", "--bus", path, *faults], cwd=folder, check=True, capture_output=True)
    return path


def read(path):
    """Heading and changes of a dump of ours: (time, code, level)."""
    with open(path, encoding="ascii") as f:
        lines = f.read().split("\n")
    head = lines.index("#0")
    now, changes = 0, []
    for line in lines[head:]:
        if line.startswith("#"):
            now = int(line[1:])
        elif line[:1] in ("0", "1"):
            changes.append((now, line[1], int(line[0])))
    return lines[:head], changes


def write(path, head, changes):
    with open(path, "w", encoding="ascii") as f:
        f.write("\n".join(head) + "\n")
        now = None
        for at, code, level in changes:
            if at != now:
                f.write(f"#{at}\n")
                now = at
            f.write(f"{level}{code}\n")
        f.write(f"#{now + 5000}\n")  # or else the last stop bit would lie behind the end


def upside_down(path, codes):
    head, changes = read(path)
    write(path, head, [(at, code, level ^ (code in codes)) for at, code, level in changes])


def noisy(path):
    """Spikes of 4 to 12 us anywhere: a decoder that samples once a bit is hit by those in the middle of its bit."""
    head, changes = read(path)
    dice = random.Random(5)
    level, out = {}, []
    for (at, code, value), following in zip(changes, changes[1:] + [None]):
        level[code] = value
        out.append((at, code, value))
        if following and following[0] - at > 60 and dice.random() < 0.02:
            when = at + dice.randrange(15, 40)
            out += [(when, code, value ^ 1), (when + dice.randrange(4, 12), code, value)]
    write(path, head, sorted(out, key=lambda c: c[0]))


def compare(what, path, invert=(), least=1.0, options=()):
    """Ours and theirs alike; with noise at least that share, and every difference one that the noise hit."""
    a, b = ours(path, *options), theirs(path, invert)
    b = [w for w in b if not any(abs(w[2] - t) < 3 for t in BREAKS)]
    same = {(line, value) for line, value, _ in a}
    check(len(a) > 300 and same, f"{what}: {len(a)} words of ours")
    alike = sum(1 for x, y in zip(a, b) if x[:2] == y[:2] and abs(x[2] - y[2]) <= 6) if len(a) == len(b) else 0
    if least == 1.0:
        check(len(a) == len(b) == alike, f"{what}: {len(a)} words of ours, {len(b)} of theirs, {alike} alike")
        return a
    where = {(w[0], w[1], round(w[2] / 20)) for w in b} | {(w[0], w[1], round(w[2] / 20) + d) for w in b for d in (-1, 1)}
    alike = sum(1 for w in a if (w[0], w[1], round(w[2] / 20)) in where)
    check(alike >= least * len(a), f"{what}: {alike} of {len(a)} words alike")
    return a


BREAKS = (200000,)


def decoder(folder):
    clean = compare("clean", play(folder, "clean.vcd"))
    path = play(folder, "both.vcd")
    upside_down(path, ('!', '"'))
    compare("both upside down", path, ("controller", "peripheral"))
    path = play(folder, "one.vcd")
    upside_down(path, ('!',))
    turned = compare("the controller's upside down", path, ("controller",))
    check(turned == clean, "polarity changes no word")
    compare("a reader 2 % slow", play(folder, "slow.vcd", "--fault", "bus-baud reader -2"))
    compare("a changer 3 % fast", play(folder, "fast.vcd", "--fault", "bus-baud changer 3"))
    path = play(folder, "noise.vcd")
    noisy(path)
    heard = compare("spikes", path, least=0.97)
    check([w[:2] for w in heard] == [w[:2] for w in clean], "spikes change no word of ours")


def simulator(folder):
    subprocess.run(["iverilog", "-o", "dump", os.path.join(SOURCE, "tests", "bus", "dump.v")], cwd=folder, check=True)
    subprocess.run(["vvp", "dump"], cwd=folder, check=True, stdout=subprocess.DEVNULL)
    words = [w[:2] for w in ours(os.path.join(folder, "dump.vcd"))]
    one = [("c", 0x112), ("c", 0x012), ("p", 0x005), ("p", 0x000), ("p", 0x096), ("p", 0x19B), ("c", 0x000)]
    last = [("c", 0x10B), ("c", 0x00B), ("p", 0x100)]
    check(words == one * 12 + last, f"the simulator's dump: {words[-12:]}")


with tempfile.TemporaryDirectory() as home:
    if shutil.which("sigrok-cli"):
        decoder(home)
    else:
        print("sigrok-cli is not installed: words are not compared with another decoder")
    if shutil.which("iverilog"):
        simulator(home)
    else:
        print("iverilog is not installed: no dump of a simulator is read")
print(f"{done - failed} passed, {failed} failed")
sys.exit(1 if failed else 0)

# SPDX-License-Identifier: Apache-2.0
"""The bus part of run.py: captures that the practice machine makes, read by fettle and by a general decoder."""
import os
import shutil
import subprocess

PLAY = "sell 21 coins 100 25\nwait 1800\nsell 11 card\nwait 1800\nquit\n"
LARGE_MB, HALF_MB = 240, 120


def capture(fettle, home):
    """One capture of some minutes of bus time, about 1 MB of VCD."""
    with open(os.path.join(home, "play"), "w", encoding="ascii") as f:
        f.write(PLAY)
    path = os.path.join(home, "one.vcd")
    subprocess.run([fettle, "practice", "--pace", "fast", "--script", "play", "--bus", path], cwd=home, check=True,
                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return path


def repeated(path, home, megabytes):
    """The same traffic one after the other, as a machine that is switched on again and again."""
    with open(path, encoding="ascii") as f:
        lines = f.read().split("\n")
    head = lines.index("$end") + 1
    body = [int(line[1:]) if line.startswith("#") else line for line in lines[head:] if line]
    length = max(x for x in body if isinstance(x, int)) + 1000
    large = os.path.join(home, f"large-{megabytes}.vcd")
    with open(large, "w", encoding="ascii") as f:
        f.write("\n".join(lines[:head]) + "\n")
        shift = 0
        while f.tell() < megabytes * 1000000:
            f.write("\n".join(f"#{x + shift}" if isinstance(x, int) else x for x in body) + "\n")
            shift += length
    return large


def bench(build, home, measure):
    fettle = os.path.join(build, "src/cli/fettle")
    one = capture(fettle, home)
    size = os.path.getsize(one) / 1e6
    rows = [("fettle bus", [fettle, "bus", one], "words, blocks, meaning, judgement"),
            ("fettle bus --words", [fettle, "bus", "--words", one], "words of both lines")]
    if shutil.which("sigrok-cli"):
        rows.append(("sigrok-cli, its UART", ["sigrok-cli", "-i", one, "-P",
                                              "uart:rx=controller:tx=peripheral:baudrate=9600:data_bits=9",
                                              "-A", "uart=rx-data:tx-data"], "words of both lines"))
    print(f"bus: one capture of {size:.2f} MB (VCD), whole processes\n")
    print(f"  {'':24} {'seconds':>8} {'MB/s':>7} {'peak MB':>8}  what it does")
    times = {}
    for name, command, does in rows:
        times[name], memory = measure(build, command, home)
        print(f"  {name:24} {times[name]:8.3f} {size / times[name]:7.1f} {memory:8.1f}  {does}", flush=True)
    other = times.get("sigrok-cli, its UART")
    if other:
        print(f"\n  fettle bus takes {other / times['fettle bus']:.0f} times less, with --words "
              f"{other / times['fettle bus --words']:.0f} times less")
    for megabytes in (HALF_MB, LARGE_MB):
        large = repeated(one, home, megabytes)
        size = os.path.getsize(large) / 1e6
        # the machine that is switched on again and again is a finding, so this one ends with 0 or 1
        seconds, memory = measure(build, [fettle, "bus", large], home, good=(0, 1))
        print(f"  {size:.0f} MB: {seconds:.2f} s, {size / seconds:.0f} MB/s on one core, {memory:.1f} MB of memory", flush=True)
    print()

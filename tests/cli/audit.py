#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""explain and check from the outside: keys, exit codes, folders, archives, wrong input of every kind.

usage: audit.py FETTLE SAMPLES
"""
import json
import os
import re
import subprocess
import sys
import tarfile
import tempfile

FETTLE, SAMPLES = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
failed = passed = 0


def say(ok, what):
    global failed, passed
    passed += ok
    failed += not ok
    print(("ok   " if ok else "FAIL ") + what)


def run(*args, stdin=b""):
    p = subprocess.run([FETTLE, *args], input=stdin, capture_output=True)
    return p.returncode, p.stdout.decode(), p.stderr.decode()


def sample(name):
    with open(f"{SAMPLES}/{name}", "rb") as f:
        return f.read()


def write(name, data):
    with open(name, "wb") as f:
        f.write(data)
    return name


def keys(doc, wanted, what):
    missing = [k for k in wanted.split() if k not in doc]
    say(not missing, f"{what} has its keys {missing or ''}")


def explain():
    code, out, err = run("explain", f"{SAMPLES}/sample-1.dts", "--json")
    d = json.loads(out)
    say(code == 0 and err == "", "explain of a clean audit is 0 and silent")
    keys(d, "command verdict findings machine currency clock totals cash selections events reads resets power_outages reliance", "explain")
    keys(d["machine"], "serial model revision asset location", "machine")
    keys(d["totals"], "paid cash cashless_1 cashless_2 tokens test free", "totals")
    keys(d["cash"], "in to_box to_tubes bills_in dispensed dispensed_by_hand filled overpaid tubes_now", "cash")
    keys(d["reliance"], "sales_total sales_by_selection cash_in cash_out cashless price_lists events clock", "reliance")
    say(d["verdict"] == "shown" and d["currency"] == {"code": "USD", "numeric": 840, "decimals": 2, "decimals_known": True},
        "currency")
    say(d["totals"]["paid"] == {"value": 293075, "count": 1723, "value_since_reset": 52750, "count_since_reset": 310}, "paid")
    say(d["cash"]["bills_in"] == {"init": 102100, "reset": 19200}, "bills in minor units though CA304 holds whole ones")
    say(d["selections"][2]["name"] == "NUT MIX" and d["selections"][2]["paid"]["count"] == 284, "selection")
    say(d["clock"] == "2025-03-10T08:15:00" and d["reads"] == 10 and d["resets"] == 6, "clock and reads")
    code, out, _ = run("explain", f"{SAMPLES}/sample-3.dts", "--json")
    d = json.loads(out)
    say(d["totals"]["cashless_1"]["value"] is None and d["cash"]["tubes_now"] is None and d["reliance"]["cashless"] == "none",
        "what a coin-only machine does not send is null")
    for name in ("sample-1.dts", "sample-2.dts", "sample-3.dts"):
        code, out, _ = run("explain", f"{SAMPLES}/{name}")
        say(code == 0 and max(map(len, out.splitlines())) <= 80, f"explain {name} fits 80 columns")
    say(run("explain", "-", stdin=sample("sample-1.dts"))[0] == 0, "explain reads standard input")
    two = write("two.dts", sample("sample-1.dts") + sample("sample-2.dts"))
    say(json.loads(run("explain", two, "--set", "2", "--json")[1])["currency"]["code"] == "EUR", "the second audit of a file")
    say(run("explain", two, "--set", "3")[0] == 2, "there is no third")


def devices():
    """Rule B1: an exchanged reader restarts its own counters and nothing else; an exchanged machine is a fault."""
    before = f"{SAMPLES}/sample-1.dts"
    after = sample("sample-1b.dts").replace(b"CD1200456", b"CD9900001").replace(b"DA2*128600*761*23850*139", b"DA2*2250*12*2250*12")
    for command in ("compare", "prove"):
        code, out, _ = run(command, before, write("reader.dts", after), "--json")
        found = {(f["rule"], f["weight"]) for f in json.loads(out)["findings"]}
        say(code == 0 and ("ledger.serial-changed", "note") in found and not any(w != "note" for _, w in found),
            f"{command}: an exchanged reader with counters of its own")
        code, out, _ = run(command, before, write("fell.dts", after.replace(b"CD9900001", b"CD1200456")), "--json")
        say(code == 1, f"{command}: the same fall without an exchange contradicts")
        code, out, _ = run(command, before, write("other.dts", sample("sample-1b.dts").replace(b"SN4471203", b"SN4471204")), "--json")
        say(code == 1 and "ledger.serial-changed" in [f["rule"] for f in json.loads(out)["findings"]], f"{command}: another machine serial")
    code, out, _ = run("prove", before, before, "--json")
    say(code == 0 and json.loads(out)["verdict"] == "open", "an audit beside itself proves nothing")
    steer = write("steer.dts", sample("sample-1.dts").replace(b"PRETZEL", b"P\x1b[2J\x9b\x07"))
    out = subprocess.run([FETTLE, "explain", steer], capture_output=True).stdout
    say(b"\x1b" not in out and b"\x07" not in out and b"P.[2J" in out, "bytes that would steer a terminal are shown as dots")
    say(json.loads(run("explain", f"{SAMPLES}/sample-3.dts", "--json")[1])["currency"]["decimals"] is None, "decimals are not guessed")
    for command in ("compare", "prove"):
        for name, places in (("3", None), ("1", 2)):
            out = run(command, f"{SAMPLES}/sample-{name}.dts", f"{SAMPLES}/sample-{name}b.dts", "--json")[1]
            say(json.loads(out)["decimals"] == places, f"{command}: decimals {places} for sample {name}")


def sales_of_another_hour():
    """The right sales told for another time are a doubt; a watch some minutes off is a note; without a time nothing."""
    with open(f"{SAMPLES}/../sales/sample-1.csv", encoding="utf-8") as f:
        text = f.read()

    def weights(day, cut=False):
        listed = text.replace("2025-03-10T", day)
        if cut:
            listed = re.sub(r"(?m)^2025[^,]*", "", text)
        code, out, _ = run("prove", f"{SAMPLES}/sample-1.dts", f"{SAMPLES}/sample-1b.dts", "--json", "--sales", write("listed.csv", listed.encode()))
        d = json.loads(out)
        return code, d["verdict"], [f["weight"] for f in d["findings"] if f["rule"] == "ledger.sales-time"]
    say(weights("2025-03-10T") == (0, "shown", ["note"]), f"a sale told eight minutes before the first audit: {weights('2025-03-10T')}")
    say(weights("2025-03-09T") == (0, "open", ["doubt"]), f"the sales of the day before: {weights('2025-03-09T')}")
    say(weights("2025-03-18T") == (0, "open", ["doubt"]), f"the sales of the day after the second audit: {weights('2025-03-18T')}")
    say(weights("2025-03-12T") == (0, "shown", []), f"sales between the two: {weights('2025-03-12T')}")
    say(weights("", True) == (0, "shown", []), f"sales without a time: {weights('', True)}")


def check_one():
    code, out, _ = run("check", f"{SAMPLES}/sample-1.dts", "--json")
    d = json.loads(out)
    keys(d, "command verdict findings file segments crc segment_count", "check")
    say(code == 0 and d["crc"] == {"stated": "E5E7", "computed": "E5E7"} and d["segment_count"] == {"stated": 63, "computed": 63},
        "check value and count")
    bad = write("bad.dts", sample("sample-1.dts").replace(b"PRETZEL", b"PRETZAL"))
    code, out, _ = run("check", bad, "--json")
    d = json.loads(out)
    f = d["findings"]
    say(code == 1 and d["verdict"] == "contradicted" and "audit.crc" in [x["rule"] for x in f], "a changed byte contradicts")
    keys(f[0], "rule weight where seen expected why do", "a finding")
    cut = write("cut.dts", sample("sample-1.dts")[:700])
    code, out, _ = run("check", cut, "--json")
    say(code == 1 and "audit.truncated" in [x["rule"] for x in json.loads(out)["findings"]], "a cut audit contradicts")
    code, out, _ = run("check", cut)
    say("stops before its end" in out and max(map(len, out.splitlines())) <= 80, "and says so in words")
    order = [json.loads(x)["file"] for x in run("check", cut, f"{SAMPLES}/sample-1.dts", bad, "--json", "--jobs", "4")[1].splitlines()]
    say(order == [cut, f"{SAMPLES}/sample-1.dts", bad], "one line a file in the order given")


def check_many():
    os.makedirs("fleet/deep", exist_ok=True)
    names = [f"fleet/{'deep/' if i % 3 == 0 else ''}{i:04d}.dts" for i in range(500)]
    for i, n in enumerate(names):
        data = sample(f"sample-{i % 3 + 1}.dts")
        write(n, data if i != 77 else data.replace(b"*0001\r\nDXE", b"*0002\r\nDXE").replace(b"VA1*", b"VA1*9"))
    with tarfile.open("fleet.tar.gz", "w:gz") as t:
        for n in names:
            t.add(n)
    single = sorted(run("check", "fleet", "--json", "--jobs", "1")[1].splitlines())
    many = sorted(run("check", "fleet", "--json", "--jobs", "5")[1].splitlines())
    say(len(single) == 500 and single == many, "one hand or five, the same result")
    code, out, _ = run("check", "fleet.tar.gz", "--json")
    tar = [json.loads(x) for x in out.splitlines()]
    say(len(tar) == 500 and code == 1 and [x["file"] for x in tar] == ["fleet.tar.gz:" + n for n in names], "an archive in its own order")
    say(sum(x["verdict"] == "contradicted" for x in tar) == 1, "and the one bad audit in it")
    with open("fleet.tar.gz", "rb") as f:
        half = write("half.tar.gz", f.read()[:3000])
    code, out, _ = run("check", half)
    say(code == 3 and "copy it again" in out, "half an archive is told")
    code, out, _ = run("check", "fleet.tar.gz", "nowhere.dts", "fleet.tar.gz", "--json")
    say(code == 3 and len(out.splitlines()) == 1001, "what comes after an archive is checked too")
    say("500 audits: 499 shown" in run("check", "fleet")[1], "the sum for people")


def wrong():
    with open(FETTLE, "rb") as f:
        program = write("program", f.read(1 << 20))  # the beginning of one, whatever its size
    cases = [
        (["explain", "nowhere.dts"], 3, "There is no file"), (["explain", "fleet"], 3, "is a folder"),
        (["explain", write("empty.dts", b"")], 3, "is empty"), (["explain", program], 3, "no audit"),
        (["explain"], 2, "Too few words"), (["explain", "a", "b"], 2, "Too many words"),
        (["explain", "a", "--nonsense"], 2, "no option"), (["check"], 2, "Too few words"),
        (["check", "nowhere.dts"], 3, ""), (["check", "empty.dts"], 3, ""), (["check", program], 3, ""),
        (["check", "fleet", "--jobs", "0"], 2, "from 1 to"), (["check", "fleet", "--jobs"], 2, "needs a"),
    ]
    for args, code, words in cases:
        got, out, err = run(*args)
        lines = [x for x in err.splitlines() if x]
        say(got == code and words in err and len(lines) <= 1, f"{' '.join(args)[-40:]}: {got} {err.strip()[:90]}")
    if os.path.exists("/dev/full"):
        with open("/dev/full", "wb") as full:
            p = subprocess.run([FETTLE, "explain", f"{SAMPLES}/sample-1.dts"], stdout=full, stderr=subprocess.PIPE)
        say(p.returncode == 5 and b"could not be written" in p.stderr, "a full disk is told")
        bad = write("bad.dts", sample("sample-1.dts").replace(b"CA3*", b"CA3*9", 1))
        say(run("check", bad)[0] == 1, "an altered audit is contradicted")
        with open("/dev/full", "wb") as full:
            p = subprocess.run([FETTLE, "check", bad], stdout=full, stderr=subprocess.PIPE)
        say(p.returncode == 5, f"contradicted and unwritten: the higher code wins ({p.returncode})")


with tempfile.TemporaryDirectory() as home:
    os.chdir(home)
    os.environ.pop("FETTLE_BOOK", None)
    for part in (explain, devices, sales_of_another_hour, check_one, check_many, wrong):
        part()
    os.chdir("/")
print(f"{passed} passed, {failed} failed")
sys.exit(failed != 0)

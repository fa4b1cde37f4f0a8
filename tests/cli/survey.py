#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""The command survey from outside: templates, the demo fleet, wrong tables, questions, and the record as a claim of a visit."""
import json
import os
import subprocess
import sys
import tempfile

FETTLE = os.path.abspath(sys.argv[1])
DEMO = os.path.join(os.path.dirname(os.path.abspath(__file__)), "..", "..", "data", "demo")
failed = 0


def check(held, what):
    global failed
    if not held:
        failed += 1
        print("FAIL", what)


def run(*args, code=0, cwd=None):
    env = dict(os.environ, FETTLE_BOOK="book.sqlite", COLUMNS="80")
    done = subprocess.run([FETTLE, *args], cwd=cwd, env=env, capture_output=True, text=True, timeout=60, check=False)
    check(done.returncode == code, f"{args} ended with {done.returncode}: {done.stderr}{done.stdout[:300]}")
    check("--json" in args or "--template" in args or max((len(x) for x in done.stdout.splitlines()), default=0) <= 80, f"{args} fits 80 columns")
    return done.stdout, done.stderr


def put(folder, name, text):
    with open(os.path.join(folder, name), "w", encoding="utf-8") as f:
        f.write(text)


def fleet(folder):
    text, _ = run("survey", os.path.join(DEMO, "survey.csv"), "--catalogue", DEMO, code=1)
    check(text.startswith("40 machines: ") and "What to ask first" in text, "the fleet is summed up")
    docs = [json.loads(x) for x in run("survey", os.path.join(DEMO, "survey.csv"), "--catalogue", DEMO, "--json", code=1)[0].splitlines()]
    check(len(docs) == 40 and docs[0]["asset"] == "BD-1001", "one document a machine, in the order of the rows")
    check({d["fit"] for d in docs} == {"ready", "with-parts", "with-update", "look-first", "cannot"}, "every fit occurs in the demo")
    ranks = sorted(q["rank"] for d in docs for q in d["questions"])
    check(ranks == list(range(1, len(ranks) + 1)), "each rank is given once")
    worth = [w for _, w in sorted((q["rank"], q["worth_min"]) for d in docs for q in d["questions"])]
    check(worth == sorted(worth, reverse=True), "the best question ranks first")
    for d in docs:
        want = {"ready": "shown", "with-parts": "shown", "with-update": "open", "look-first": "open", "cannot": "contradicted"}[d["fit"]]
        check(d["verdict"] == want, f"{d['asset']} {d['fit']}: {d['verdict']}")
        check(abs(sum(d["chances"].values()) - 1) < 1e-5, f"{d['asset']}: chances add up")
        check(all(0 < k["chance"] <= 1 for k in d["kit"]), f"{d['asset']}: the kit's chances are chances")
        check(d["fit"] != "ready" or d["chances"]["ready"] >= 0.95, f"{d['asset']}: ready is ready")
        first = d["reasons"][0] if d["reasons"] else None
        if d["fit"] in ("cannot", "with-update"):
            check(first["possible"] == [d["fit"]], f"{d['asset']} {d['fit']}: what decides stands first: {first}")
        elif d["fit"] == "look-first":
            blocks = [r["chances"]["with_update"] + r["chances"]["cannot"] for r in d["reasons"] if len(r["possible"]) > 1]
            check(len(first["possible"]) > 1 and blocks[0] == max(blocks) > 0, f"{d['asset']}: what must be known stands first: {first}")
        elif d["fit"] == "with-parts" and any(r["possible"] == ["with-parts"] for r in d["reasons"]):
            check(first["possible"] == ["with-parts"], f"{d['asset']}: what is needed stands first: {first}")
        check(d["fit"] != "cannot" or not d["questions"], f"{d['asset']} cannot be fitted, so nothing is asked")
    short = {x.split()[0]: " ".join(x.split()[1:]) for x in text.replace("\n                   ", " ").splitlines() if x.startswith("  BD-")}
    check(short["BD-1078"].endswith("min may need: another lead"), f"an open way to the antenna names the part: {short['BD-1078']}")
    check(short["BD-1232"].endswith("may need: audit lead; to measure: signal"), f"what takes no part is to be measured: {short['BD-1232']}")
    questions = text[text.index("What to ask first"):]
    check(questions.count("find the revision of the controller") == 1, "a question at several machines is listed once")
    check("BD-1022 (71), BD-1043 (71)" in questions, "with the machines it is asked of")
    check(text.endswith("Exit code 1: 4 of 40 machines cannot be fitted.\n"), "the exit code is explained")
    bill(text)
    one, _ = run("survey", os.path.join(DEMO, "survey.csv"), "--catalogue", DEMO, "--asset", "BD-1015")
    check("bus tee" in one and "certain" in one and "no bus connector is free" in one, "one machine in full")
    run("survey", os.path.join(DEMO, "survey.csv"), "--catalogue", DEMO, "--asset", "BD-9", code=2)


def bill(text):
    """The buying list against its own sums and the names of the catalogue."""
    rows = [x for x in text[text.index("  part "):text.index("  To buy:")].splitlines()[1:] if x.strip()]
    pieces = cost = 0
    for row in rows:
        if not row[12:].startswith(" " * 30):
            buy, price = row[31:36].strip(), row[36:46].strip()
            enough, have = int(row[20:26]), int(row[26:31])
            check(buy == (str(enough - have) if enough > have else "-"), f"enough less what is there is bought: {row}")
            pieces += 0 if buy == "-" else int(buy)
            cost += 0 if price == "-" else round(100 * float(price))
    check(f"To buy: {pieces} pieces, {cost // 100}.{cost % 100:02}." in text, f"the list is added up: {pieces}, {cost}")
    check(any(x.startswith("  L-075 ") and "buy" not in x for x in rows) and pieces > 0, "leads are counted too")
    check("antenna for outside, with its gland" in " ".join(" ".join(rows).split()), "names are wrapped and never cut")


def tables(folder):
    put(folder, "nobody.csv", run("survey", "--template", "survey")[0].splitlines()[0] + "\n")
    _, err = run("survey", "nobody.csv", "--catalogue", DEMO, cwd=folder, code=3)
    check("nobody.csv names no machine" in err, err)
    os.mkdir(os.path.join(folder, "cat"))
    for name in ("families", "units", "parts", "leads", "technicians", "priors"):
        put(folder, f"cat/{name}.csv", run("survey", "--template", name)[0])
    put(folder, "fleet.csv", run("survey", "--template", "survey")[0])
    d = json.loads(run("survey", "fleet.csv", "--catalogue", "cat", "--json", cwd=folder)[0])
    check(d["asset"] == "A-1001" and d["family"] == "Corvane 3", "the templates make a whole")
    check("60 dB per 100 m" in open(os.path.join(folder, "cat/leads.csv"), encoding="utf-8").read(), "a loss says per what")
    check("a bus connector is free at the place of the unit" in open(os.path.join(folder, "cat/priors.csv"), encoding="utf-8").read(), "priors say what they are the chance of")
    put(folder, "wrong.csv", "asset,bus_volts,front,colour\nA1,lots,wood,red\n")
    _, err = run("survey", "wrong.csv", "--catalogue", "cat", cwd=folder, code=3)
    check("line 2, column 2" in err and "line 2, column 3" in err and "colour" in err, f"all that is wrong is told: {err}")
    run("survey", "fleet.csv", cwd=folder, code=2)
    run("survey", "fleet.csv", "--catalogue", "nowhere", cwd=folder, code=3)
    run("survey", "--template", "vans", code=2)
    run("survey", "fleet.csv", "--catalogue", "cat", "--record", "r", cwd=folder, code=2)
    put(folder, "open.csv", "asset,family,revision,unit,bus_free\nA1,Corvane 3,2.11,Lark 4,?\n")
    for mille in (0, 1000):
        put(folder, "mine.csv", f"prior,per_mille,weight\nbus_free,{mille},4\n")
        d = json.loads(run("survey", "open.csv", "--catalogue", DEMO, "--priors", "mine.csv", "--json", cwd=folder, code=0)[0])
        tee = [k["chance"] for k in d["kit"] if k["part"] == "BT-2"]
        check(tee == ([1] if mille == 0 else []), f"a prior of {mille} is heeded: {tee}")
    put(folder, "mine.csv", "prior,per_mille\nluck,10\n")
    run("survey", "open.csv", "--catalogue", DEMO, "--priors", "mine.csv", cwd=folder, code=3)


def claim(folder, asset):
    d = json.loads(run("visit", "show", asset, "--json", cwd=folder, code=1 if asset in ("BD-1190",) else 0)[0])
    return [c for c in d["claims"] if c["id"] == "know.fits"][0]


def visits(folder):
    survey = os.path.join(DEMO, "survey.csv")
    for asset, stands, code in (("BD-1001", "shown", 0), ("BD-1057", "open", 0), ("BD-1190", "contradicted", 1)):
        run("survey", survey, "--catalogue", DEMO, "--asset", asset, "--record", f"{asset}.survey", cwd=folder, code=code)
        run("visit", "open", asset, cwd=folder)
        run("visit", "add", asset, f"{asset}.survey", cwd=folder, code=code)
        c = claim(folder, asset)
        check(c["stands"] == stands and c["evidence"], f"{asset}: {c}")
    run("visit", "open", "BD-1008", cwd=folder)
    put(folder, "row.csv", "asset,family,serial\nBD-1008,Corvane 3,CO-40137\n")
    run("visit", "add", "BD-1008", "row.csv", cwd=folder)
    check(claim(folder, "BD-1008")["stands"] == "open", "a row without its catalogue leaves the claim open")
    run("visit", "add", "BD-1008", "BD-1001.survey", cwd=folder)
    check(claim(folder, "BD-1008")["stands"] == "open", "the record of another machine shows nothing")
    run("visit", "sheet", "BD-1001", "-o", "sheet.svg", cwd=folder)
    with open(os.path.join(folder, "sheet.svg"), encoding="utf-8") as f:
        check("Lark 4" in f.read(), "the record brings its catalogue to the wiring sheet")


def judged_by_the_record(folder):
    """What the cabinet is and what the unit needs come from the survey: a freezer at one degree has failed."""
    asset = "BD-1029"  # frozen, to be fitted with a unit that needs -105 dBm
    rows = [f"2026-03-02 {m // 60:02d}:{m % 60:02d}:00,{1.0 + 0.1 * (m // 10 % 2):.1f}" for m in range(0, 720)]
    put(folder, "freezer.csv", "time,temperature C\n" + "\n".join(rows) + "\n")
    put(folder, "radio.txt", "position closed\n" + "+CESQ: 99,99,255,255,20,34\n+CEREG: 2,1\n" * 30)  # RSRP -107 to -106 dBm
    run("visit", "open", asset, cwd=folder)
    run("visit", "add", asset, "freezer.csv", "radio.txt", cwd=folder)

    def stand(code):
        d = json.loads(run("visit", "show", asset, "--json", cwd=folder, code=code)[0])
        return {c["id"]: c for c in d["claims"]}

    before = stand(0)
    run("survey", os.path.join(DEMO, "survey.csv"), "--catalogue", DEMO, "--asset", asset, "--record", "f.survey", cwd=folder)
    run("visit", "add", asset, "f.survey", cwd=folder, code=1)
    after = stand(1)
    check(before["prove.temperature"]["stands"] != "contradicted", f"a cold cabinet at one degree: {before['prove.temperature']}")
    check(after["prove.temperature"]["stands"] == "contradicted", f"a freezer at one degree: {after['prove.temperature']}")
    check("3.5 dB" in before["prove.signal"]["because"], f"above the least level of any unit: {before['prove.signal']}")
    check(after["prove.signal"]["stands"] == "contradicted", f"below what this unit needs: {after['prove.signal']}")


def main():
    with tempfile.TemporaryDirectory() as folder:
        fleet(folder)
        tables(folder)
        visits(folder)
        judged_by_the_record(folder)
    print("failed" if failed else "passed")
    return 1 if failed else 0


sys.exit(main())

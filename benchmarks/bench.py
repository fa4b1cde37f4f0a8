# SPDX-License-Identifier: Apache-2.0
"""The bench: how soon the first page is there, how long a touch of it takes with 500 visits in the book, what the server takes."""
import http.client
import json
import os
import re
import signal
import statistics
import subprocess
import time

VISITS, FILLED = 500, 60


def fill(fettle, book, samples):
    """500 visits; the 60 latest are open and hold two audits each, as a busy month of a small firm leaves them."""
    def run(*words):
        subprocess.run([fettle, "--book", book, "visit", *words], stdout=subprocess.DEVNULL, check=False)
    for n in range(VISITS):
        run("open", f"HL-{n:04}", "--site", "Linden Hall foyer")
        if n < VISITS - FILLED:
            run("close", f"HL-{n:04}", "--open-claims")
        else:
            run("add", f"HL-{n:04}", os.path.join(samples, "sample-1.dts"), os.path.join(samples, "sample-1b.dts"))


class Browser:
    def __init__(self, port):
        self.line = http.client.HTTPConnection("127.0.0.1", port)
        self.origin = f"http://127.0.0.1:{port}"

    def ask(self, method, path, body=None):
        head = {"Accept-Encoding": "gzip"}
        if method != "GET":
            head["Origin"] = self.origin
        if body and body[:1] == "{":
            head["Content-Type"] = "application/json"
        self.line.request(method, path, body, head)
        answer = self.line.getresponse()
        text = answer.read()
        if answer.status not in (200, 201):
            raise SystemExit(f"{method} {path} gives {answer.status}: {text[:200]}")
        return text


def begin(fettle, book):
    started = time.perf_counter()
    server = subprocess.Popen([fettle, "bench", "--json", "--port", "0", "--book", book], stdout=subprocess.PIPE, text=True)
    port = int(re.search(r":(\d+)/", json.loads(server.stdout.readline())["url"]).group(1))
    return server, port, started


def memory_mb(server):
    with open(f"/proc/{server.pid}/status", encoding="ascii") as f:
        return int(re.search(r"VmHWM:\s+(\d+)", f.read()).group(1)) / 1024


def end(server):
    server.send_signal(signal.SIGTERM)
    if server.wait(20) != 0:
        raise SystemExit("the bench did not end well")


def first_page(fettle, book, listen=None):
    """(ms from the start of the program, ms from the first request) until page, script, style and list are there."""
    server, port, started = begin(fettle, book)
    asked = time.perf_counter()
    b = Browser(port)
    page = b.ask("GET", "/")
    names = ["/app.js", "/look.css"] if b"gzip" in page or page[:2] == b"\x1f\x8b" else []
    for name in names:
        try:
            b.ask("GET", name)
        except SystemExit:
            names = []  # a program that was built without its pages
            break
    b.ask("GET", "/api/bench")
    b.ask("GET", "/api/visits")
    done = time.perf_counter()
    end(server)
    return (done - started) * 1e3, (done - asked) * 1e3, bool(names)


def bench(build, home, samples):
    fettle = os.path.join(build, "src/cli/fettle")
    book = os.path.join(home, "book.sqlite")
    fill(fettle, book, samples)
    runs = [first_page(fettle, book) for _ in range(7)]
    print(f"bench: {VISITS} visits in the book, {FILLED} of them open with two audits each, {os.path.getsize(book) / 1e6:.1f} MB\n")
    print(f"  first page with its list, from the start of the program   {statistics.median(r[0] for r in runs):7.1f} ms")
    print(f"  the same, from the first request{'' if runs[0][2] else ' (no pages built)':25} {statistics.median(r[1] for r in runs):7.1f} ms")
    server, port, _ = begin(fettle, book)
    b = Browser(port)
    visit = f"/api/visits/HL-{VISITS - 1:04}"
    version = 0
    for what, times, call in (
            ("the list of visits", 20, lambda: b.ask("GET", "/api/visits")),
            ("the list with how each open one stands", 10, lambda: b.ask("GET", "/api/visits?judged=1")),
            ("one visit", 20, lambda: b.ask("GET", visit)),
            ("a word for a claim", 20, lambda: b.ask("POST", visit + "/say", '{"claim":"fit.level","text":"level"}')),
            ("an audit explained", 20, lambda: b.ask("GET", visit + "/evidence/1/explain")),
            ("two audits compared", 20, lambda: b.ask("GET", visit + "/compare?before=1&after=2"))):
        spans = []
        for _ in range(times):
            at = time.perf_counter()
            call()
            spans.append((time.perf_counter() - at) * 1e3)
        print(f"  {what:57} {statistics.median(spans):7.1f} ms   at most {max(spans):6.1f}", flush=True)
    spans = []
    for _ in range(50):
        at = time.perf_counter()
        b.ask("PUT", f"/api/drafts/form?version={version}", "what a form holds " * 40)
        version += 1
        spans.append((time.perf_counter() - at) * 1e3)
    print(f"  {'a draft kept':57} {statistics.median(spans):7.1f} ms   at most {max(spans):6.1f}")
    print(f"\n  most memory of the server: {memory_mb(server):.1f} MB\n", flush=True)
    end(server)

#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Be rude to the bench: crowds, slow and endless senders, nonsense, paths out of the tree, guesses at the code. All the
while an honest browser must be answered, nothing of the book may be lost, and the server must end cleanly.

usage: bench_hostile.py FETTLE
"""
import json
import os
import random
import re
import resource
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time

FETTLE = os.path.abspath(sys.argv[1])
SANITIZER = sys.argv[2] if len(sys.argv) > 2 else "none"
CROWD = 500
failed = passed = 0


def say(ok, what):
    global failed, passed
    passed += bool(ok)
    failed += not ok
    print(("ok   " if ok else "FAIL ") + what, flush=True)


class Bench:
    def __init__(self, folder, *options):
        env = dict(os.environ, TMPDIR=folder, XDG_CONFIG_HOME=folder)
        self.p = subprocess.Popen([FETTLE, "bench", "--json", "--port", "0", "--book", os.path.join(folder, "book.sqlite"), *options],
                                  stdout=subprocess.PIPE, env=env)
        first = json.loads(self.p.stdout.readline())
        self.code = first["code"]
        self.port = int(re.search(r":(\d+)/$", first["url"]).group(1))
        self.host = f"127.0.0.1:{self.port}"

    def connect(self, timeout=30):
        s = socket.create_connection(("127.0.0.1", self.port), timeout)
        return s

    def raw(self, data, timeout=30):
        """All that comes back until the end; b"" when it just ends."""
        s = self.connect(timeout)
        try:
            s.sendall(data)
        except OSError:
            pass
        got = b""
        try:
            while True:
                more = s.recv(65536)
                if not more:
                    break
                got += more
        except OSError:
            pass
        s.close()
        return got

    def ask(self, method, path, body=b"", **headers):
        """(status, headers as text, body)."""
        lines = {"Host": self.host, "Connection": "close"}
        if method not in ("GET", "HEAD"):
            lines["Origin"] = "http://" + self.host
            lines["Content-Length"] = str(len(body))
        if body[:1] == b"{":
            lines["Content-Type"] = "application/json"
        lines.update({k.replace("_", "-"): v for k, v in headers.items()})
        head = f"{method} {path} HTTP/1.1\r\n" + "".join(f"{k}: {v}\r\n" for k, v in lines.items() if v is not None) + "\r\n"
        got = self.raw(head.encode("latin-1") + body)
        head, _, rest = got.partition(b"\r\n\r\n")
        status = int(head.split(b" ")[1]) if head.startswith(b"HTTP/1.1 ") else 0
        return status, head.decode("latin-1"), rest

    def alive(self):
        return self.ask("GET", "/api/visits")[0] == 200

    def memory_kb(self):
        with open(f"/proc/{self.p.pid}/status") as f:
            return int(re.search(r"VmRSS:\s+(\d+)", f.read()).group(1))

    def end(self):
        self.p.send_signal(signal.SIGTERM)
        return self.p.wait(20)


def nonsense(b):
    rng = random.Random(7)
    h = b.host
    rows = [b"\r\n\r\n", b"GET\r\n\r\n", b"GET / HTTP/9.9\r\n\r\n", b"\x00\xff" * 400 + b"\r\n\r\n", b"GET / HTTP/1.1\r\nHost: \r\n\r\n",
            b"GET / HTTP/1.1\r\n\r\n", f"GET / HTTP/1.1\r\nHost: {h}\r\nHost: evil.example\r\n\r\n".encode(),
            f"POST /api/visits HTTP/1.1\r\nHost: {h}\r\nOrigin: http://{h}\r\nContent-Type: application/json\r\nContent-Length: -5\r\n\r\n".encode(),
            f"POST /api/visits HTTP/1.1\r\nHost: {h}\r\nOrigin: http://{h}\r\nContent-Length: 99999999999999999999\r\n\r\n".encode(),
            f"POST /api/visits HTTP/1.1\r\nHost: {h}\r\nOrigin: http://{h}\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n".encode(),
            f"GET /{'a' * 20000} HTTP/1.1\r\nHost: {h}\r\n\r\n".encode(), f"GET / HTTP/1.1\r\nHost: {h}\r\nX: {'a' * 60000}\r\n\r\n".encode(),
            f"GET /?{'a=1&' * 5000} HTTP/1.1\r\nHost: {h}\r\n\r\n".encode(),
            f"GET /api/visits HTTP/1.1\r\nHost: {h}\r\nCookie: {'fettle=' * 500}\r\n\r\n".encode()]
    rows += [bytes(rng.randrange(256) for _ in range(rng.randrange(1, 600))) + b"\r\n\r\n" for _ in range(60)]
    for row in rows:
        s = b.connect(10)
        try:
            s.sendall(row)
            s.shutdown(socket.SHUT_WR)
            s.recv(65536)
        except OSError:
            pass
        s.close()
    say(b.p.poll() is None and b.alive(), f"{len(rows)} requests of nonsense do no harm")
    deep = b'{"asset":' + b"[" * 30000 + b"]" * 30000 + b"}"
    say(b.ask("POST", "/api/visits", deep)[0] == 400, "a body of thirty thousand brackets is refused")


def paths(b, folder):
    secret = "root:"
    bad = ["/../../../etc/passwd", "/..%2f..%2f..%2fetc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd", "/./../etc/passwd", "/app.js/../../etc/passwd",
           "/api/visits/..%2f..%2fetc%2fpasswd/evidence/1", "/api/practice/1/files/..%2f..%2f..%2fetc%2fpasswd",
           "/api/practice/1/files/%2fetc%2fpasswd", "/api/drafts/..%2f..%2fetc%2fpasswd", "/api/jobs/..%2f1/audit", "/%00", "/api/visits/%00",
           "/index.html%00.js", "/\\..\\..\\etc\\passwd"]
    leaks = [p for p in bad if secret in b.ask("GET", p)[2].decode("latin-1")]
    say(not leaks, f"no path leads out of the tree: {leaks}")
    answers = {p: b.ask("GET", p)[0] for p in bad if p.startswith("/api/")}
    say(all(400 <= s < 500 for s in answers.values()), f"paths below /api/ that climb are refused: {answers}")
    name = "%2e%2e%2f%2e%2e%2fplanted.txt"
    visit = json.loads(b.ask("POST", "/api/visits", b'{"asset":"HOST-1"}')[2])["visit"]["id"]
    status, _, body = b.ask("POST", f"/api/visits/{visit}/evidence?name={name}", b"a note of the fitter\n")
    kept = json.loads(body)["visit"]["evidence"][0]["name"] if status == 200 else None
    say(status == 200 and kept == "planted.txt" and not os.path.exists(os.path.join(folder, "planted.txt")),
        f"a name with folders names no folder: {status} {kept}")
    for words in ("--kind=note", "-o", "--", "-", "a;touch x", "$(touch x)", "`touch x`", "x\ty"):
        q = "".join(f"%{c:02x}" for c in words.encode())
        status, _, body = b.ask("POST", f"/api/look/explain?name={q}", b"no audit at all")
        say(status == 422, f"the name {words!r} is a name and nothing else: {status}")
    left = [f for f in os.listdir(folder) if f == "x"]
    say(not left, "no shell was asked")


def bodies(b):
    h = f"Host: {b.host}\r\nOrigin: http://{b.host}\r\n"
    status, _, _ = b.ask("POST", "/api/visits", b'{"asset":"' + b"x" * 70000 + b'"}')
    say(status in (413, 0), f"fields of 70 kB are refused: {status}")
    status, _, _ = b.ask("PUT", "/api/drafts/big", b"x" * 300000)
    say(status in (413, 0), f"a draft of 300 kB is refused: {status}")
    say(b.ask("GET", "/api/drafts/big")[0] == 404, "and nothing of it is kept")
    got = b.raw(f"POST /api/look/explain HTTP/1.1\r\n{h}Content-Length: 5000000000\r\n\r\n".encode())
    say(b" 413 " in got.split(b"\r\n")[0], "five gigabytes are refused before they are sent")
    # without a length: cut off at the bound, whatever else comes
    s = b.connect(20)
    sent = 0
    try:
        s.sendall(f"PUT /api/drafts/endless HTTP/1.1\r\n{h}Transfer-Encoding: chunked\r\n\r\n".encode())
        chunk = b"10000\r\n" + b"y" * 65536 + b"\r\n"
        while sent < 64 << 20:
            s.sendall(chunk)
            sent += 65536
    except OSError:
        pass
    s.close()
    say(sent < 16 << 20, f"an endless body is cut off ({sent >> 10} kB had gone)")
    say(b.ask("GET", "/api/drafts/endless")[0] == 404 and b.alive(), "and leaves nothing behind")
    # half a body, then gone
    for _ in range(20):
        s = b.connect()
        s.sendall(f"POST /api/look/explain HTTP/1.1\r\n{h}Content-Length: 1000\r\n\r\nhalf".encode())
        s.close()
    # asked, and gone before the answer
    for _ in range(20):
        s = b.connect()
        s.sendall(f"GET /api/rules HTTP/1.1\r\n{h}\r\n".encode())
        s.close()
    say(b.alive(), "those who leave in the middle do no harm")


def foreign(b):
    body = b'{"asset":"EVIL-1"}'
    for origin in ("http://evil.example", "null", f"https://{b.host}", f"http://{b.host}.evil.example", f"http://127.0.0.1:{b.port + 1}", None):
        say(b.ask("POST", "/api/visits", body, Origin=origin)[0] == 403, f"Origin {origin} may change nothing")
    for host in ("evil.example", f"evil.example:{b.port}", f"localhost.evil.example:{b.port}", "127.0.0.1", f"127.0.0.1:{b.port}@evil.example",
                 f"[::1]:{b.port + 1}", f"0x7f.1:{b.port}"):
        say(b.ask("GET", "/api/visits", Host=host)[0] in (400, 421), f"Host {host} is not ours")
    say(b.ask("GET", "/api/rules", Sec_Fetch_Site="cross-site")[0] == 403, "a page of others cannot even set it to work")
    say(b"EVIL-1" not in b.ask("GET", "/api/visits")[2], "and nothing of theirs is in the book")


def crowd(b):
    """Silent, slow and half-told connections, while an honest browser works."""
    idle = []
    for n in range(CROWD):
        s = b.connect()
        if n % 3 == 0:
            s.sendall(b"GET /api/visits HT")
        elif n % 3 == 1:
            s.sendall(f"PUT /api/drafts/slow HTTP/1.1\r\nHost: {b.host}\r\nOrigin: http://{b.host}\r\nContent-Length: 200000\r\n\r\nx".encode())
        idle.append(s)
    stop = threading.Event()

    def drip():  # a byte now and then, which no bound on silence would catch
        while not stop.wait(0.5):
            for s in idle[::3]:
                try:
                    s.send(b"T")
                except OSError:
                    pass

    thread = threading.Thread(target=drip)
    thread.start()
    served = 0
    for n in range(40):
        status, _, _ = b.ask("PUT", f"/api/drafts/honest?version={n}", f"line {n}".encode())
        served += status == 200
    say(served == 40, f"with {CROWD} bad connections open {served} of 40 honest drafts were kept")
    say(b.ask("GET", "/")[0] == 200 and b.alive(), "and pages and commands are answered")
    memory = b.memory_kb()
    # A sanitizer keeps what was freed, and shadows of it all: there memory says nothing.
    if SANITIZER == "none":
        say(memory < 50000, f"the server takes {memory} kB with {CROWD} connections open")
    deadline = time.monotonic() + 45
    left = len(idle)
    while left and time.monotonic() < deadline:  # all are sent away in the end; the last by the rate they must keep
        stop.wait(0.5)
        left = 0
        for s in idle:
            try:
                s.setblocking(False)
                left += s.recv(4096) != b""
            except BlockingIOError:
                left += 1
            except OSError:
                pass
    stop.set()
    thread.join()
    say(left == 0, f"all of the crowd were sent away ({left} left)")
    for s in idle:
        s.close()
    draft = json.loads(b.ask("GET", "/api/drafts/honest")[2])["draft"]
    say(draft["version"] == 40 and draft["text"] == "line 39", "nothing of the honest browser was lost")


def busy(b):
    """More work than it takes at once: answered, or refused with a time to come back."""
    results = []

    def one():
        results.append(b.ask("GET", "/api/rules")[0])

    threads = [threading.Thread(target=one) for _ in range(120)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    say(set(results) <= {200, 503} and results.count(200) >= 60, f"of 120 at once {results.count(200)} were served, {results.count(503)} put off")
    streams = [b.connect() for _ in range(70)]
    for s in streams:
        s.sendall(f"GET /api/events HTTP/1.1\r\nHost: {b.host}\r\n\r\n".encode())
    heads = [s.recv(4096).split(b"\r\n")[0] for s in streams]
    say(sum(b" 200 " in h for h in heads) == 64 and sum(b" 503 " in h for h in heads) == 6, "64 windows may listen at once")
    for s in streams:
        s.close()
    # who has gone makes room at once, not when something is told next (a heartbeat comes after 15 s)
    begun, heard = time.monotonic(), b""
    while b" 200 " not in heard and time.monotonic() - begun < 30:
        time.sleep(0.1)
        s = b.connect()
        s.sendall(f"GET /api/events HTTP/1.1\r\nHost: {b.host}\r\n\r\n".encode())
        heard = s.recv(4096).split(b"\r\n")[0]
        s.close()
    say(time.monotonic() - begun < 8, f"windows that closed make room in {time.monotonic() - begun:.1f} s")
    say(b.alive(), "and it goes on")


def guesses(folder):
    b = Bench(folder, "--listen", "0.0.0.0")
    say(b.ask("GET", "/api/visits")[0] == 401, "on the network nobody is let in without a code")
    answers = [b.ask("POST", "/api/pair", json.dumps({"code": f"AAAA-{n:04}"}).encode())[0] for n in range(200)]
    say(answers.count(403) == 5 and answers.count(429) == 195, f"of 200 guesses {answers.count(403)} were looked at")
    right = b.ask("POST", "/api/pair", json.dumps({"code": b.code}).encode())[0]
    say(right == 429, "not even the right code is told from a wrong one then")
    for cookie in ("fettle=", "fettle=" + "0" * 64, "fettle=" + "f" * 63, "fettle='; DROP TABLE browser; --", "other=1"):
        say(b.ask("GET", "/api/visits", Cookie=cookie)[0] == 401, f"the cookie {cookie[:30]} opens nothing")
    # one computer takes all it can get; another is let in all the same
    held = []
    for _ in range(1100):
        s = socket.socket()
        s.settimeout(10)
        s.connect(("127.0.0.1", b.port))
        held.append(s)
    other = socket.create_connection(("127.0.0.1", b.port), 20, source_address=("127.0.0.9", 0))
    other.sendall(f"GET /api/bench HTTP/1.1\r\nHost: {b.host}\r\nConnection: close\r\n\r\n".encode())
    try:
        got = other.recv(4096)
    except OSError:
        got = b""
    say(b" 200 " in got.split(b"\r\n")[0], f"1100 connections from one address shut nobody else out: {got[:40]}")
    for s in [*held, other]:
        s.close()
    say(b.end() == 0, "the bench on the network ends with 0")


def named(folder):
    """Every address of the loopback is this computer, though its interface lists one."""
    b = Bench(folder, "--listen", "127.0.0.2")
    s = socket.create_connection(("127.0.0.2", b.port), 10)
    s.sendall(f"GET /api/visits HTTP/1.1\r\nHost: 127.0.0.2:{b.port}\r\nConnection: close\r\n\r\n".encode())
    say(b" 200 " in s.recv(4096).split(b"\r\n")[0], "a bench at 127.0.0.2 goes by that name")
    s.close()
    say(b.end() == 0, "and ends with 0")


def children(b):
    with open(f"/proc/{b.p.pid}/task/{b.p.pid}/children") as f:
        return f.read().split()


def lost(folder):
    """A bench that is killed takes its practice machines and commands along."""
    b = Bench(folder)
    made = json.loads(b.ask("POST", "/api/practice", b'{"pace":"real"}')[2])["machine"]
    began = b.ask("POST", "/api/reads", json.dumps({"port": made["ports"]["dex"], "link": "ddcmp", "timeout": 60}).encode())[0]
    left = children(b)
    say(began == 202 and len(left) == 2, f"a machine and a read are children of it: {began} {left}")
    b.p.kill()
    b.p.wait(10)
    deadline = time.monotonic() + 10
    while left and time.monotonic() < deadline:
        time.sleep(0.05)
        left = [pid for pid in left if os.path.exists(f"/proc/{pid}")]
    say(not left, f"none of them outlives it: {left}")


def settled_fds(b):
    """Files that it holds once nobody asks anything and no child is left; None: never."""
    for _ in range(100):
        if not children(b) and b.memory_kb():
            return len(os.listdir(f"/proc/{b.p.pid}/fd"))
        time.sleep(0.1)
    return None


def main():
    resource.setrlimit(resource.RLIMIT_NOFILE, (min(4096, resource.getrlimit(resource.RLIMIT_NOFILE)[1]),) * 2)
    with tempfile.TemporaryDirectory() as folder:
        b = Bench(folder)
        try:
            b.alive()
            time.sleep(0.5)
            begun = settled_fds(b)
            foreign(b)
            paths(b, folder)
            nonsense(b)
            bodies(b)
            busy(b)
            crowd(b)
            time.sleep(1.5)
            ended = settled_fds(b)
            say(ended is not None and abs(ended - begun) <= 1, f"no file and no child is left over: {begun} files held, then {ended}")
            say(b.end() == 0, "told to end, it ends with 0")
            left = [n for n in os.listdir(folder) if n.startswith("fettle-bench-")]
            say(not left, f"no folder of its is left: {left}")
            done = subprocess.run([FETTLE, "--book", os.path.join(folder, "book.sqlite"), "book", "check"], capture_output=True, text=True)
            say(done.returncode == 0, f"the book is whole: {done.stdout}{done.stderr}")
            guesses(folder)
            named(folder)
            lost(folder)
        finally:
            if b.p.poll() is None:
                b.p.kill()


main()
print(f"{passed} passed, {failed} failed")
sys.exit(failed > 0)

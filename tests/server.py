#!/usr/bin/env python3
# SPDX-License-Identifier: Apache-2.0
"""Starts Debian's PostgreSQL on loopback in a folder of its own, runs a command with the address of an empty database in
FETTLE_SERVER, and ends the server again. server.py COMMAND [ARGUMENT...]"""
import glob
import os
import pwd
import shutil
import socket
import subprocess
import sys
import tempfile
import time


def free_port():
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]


def as_server_user():
    """The server refuses to run as root; Debian's package brings a user for it."""
    if os.getuid() != 0:
        return {}
    p = pwd.getpwnam("postgres")
    return {"user": p.pw_uid, "group": p.pw_gid, "extra_groups": []}


def programs():
    found = sorted(glob.glob("/usr/lib/postgresql/*/bin"))
    if not found:
        sys.exit("server: Debian's postgresql is not installed (make need installs it)")
    return found[-1]


def start(folder, who, port):
    data, bin_dir = os.path.join(folder, "data"), programs()
    subprocess.run([f"{bin_dir}/initdb", "-D", data, "-U", "office", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "-N"],
                   check=True, stdout=subprocess.DEVNULL, cwd=folder, **who)
    log = open(os.path.join(folder, "log"), "wb")
    server = subprocess.Popen([f"{bin_dir}/postgres", "-D", data, "-h", "127.0.0.1", "-p", str(port), "-k", folder,
                               "-c", "fsync=off"], stdout=log, stderr=log, cwd=folder, **who)
    for _ in range(600):
        if subprocess.run([f"{bin_dir}/pg_isready", "-q", "-h", "127.0.0.1", "-p", str(port)], check=False).returncode == 0:
            return server
        if server.poll() is not None:
            break
        time.sleep(0.05)
    sys.exit("server: PostgreSQL did not start: " + open(os.path.join(folder, "log"), errors="replace").read()[-2000:])


def main():
    folder = tempfile.mkdtemp(prefix="fettle-server-")
    who = as_server_user()
    if who:
        os.chown(folder, who["user"], who["group"])
    server = None
    try:
        port = free_port()
        server = start(folder, who, port)
        address = f"postgresql://office@127.0.0.1:{port}/"
        for name in ("book", "office"):
            subprocess.run(["psql", "-q", address + "postgres", "-c", f"CREATE DATABASE {name}"], check=True)
        done = subprocess.run(sys.argv[1:], env={**os.environ, "FETTLE_SERVER": address}, check=False)
        return done.returncode
    finally:
        if server:
            server.send_signal(2)  # a fast shutdown
            server.wait()
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    sys.exit(main())

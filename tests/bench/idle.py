#!/usr/bin/env python3
"""Prints what the daemon costs while nothing is due: memory after a night, CPU, and how soon it is ready.

    tests/bench/idle.py PROGRAM [MINUTES]

The demo's farm is played and then run by the clock of this machine, so that it tells one night and idles;
its feed runs only while the demo plays, and each try to ask it fails, as on a morning without network.
"""

import os
import socket
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

PROGRAM = sys.argv[1]
MINUTES = float(sys.argv[2]) if len(sys.argv) > 2 else 10.0
NIGHT_WITHIN_S = 2400
TOLD = "SELECT count(*) FROM job_run WHERE job = 'tell' AND state = 'done' AND started_at >= ?"


def main():
    with tempfile.TemporaryDirectory() as folder:
        farm = Path(folder) / "farm"
        subprocess.run([PROGRAM, "demo", "--dir", farm], check=True, stdout=subprocess.DEVNULL)
        main_file = farm / "duskflight.toml"
        # The morning has come at any hour of this machine: told at midnight, just after it in UTC.
        text = main_file.read_text().replace("America/Los_Angeles", "UTC")
        main_file.write_text(text + '\n[telling]\ndigest_time = "00:00"\n' if "[telling]" not in text
                             else text.replace("[telling]", '[telling]\ndigest_time = "00:00"'))
        # A night so short a while ago that the clock needs no witness; it fails to fetch, and tells all the same.
        day = time.strftime("%Y-%m-%d", time.gmtime(time.time() - 2 * 86_400))
        subprocess.run([PROGRAM, "nightly", "--config", farm, "--as-of", day],
                       stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        measure(farm, Path(folder) / "notify")


def measure(farm, path):
    words = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    words.bind(str(path))
    begun = time.time()
    with open(farm / "log", "w") as log:
        daemon = subprocess.Popen([PROGRAM, "run", "--config", farm], stderr=log,
                                  env=os.environ | {"NOTIFY_SOCKET": str(path)})
    try:
        words.settimeout(2)
        ready = (heard(words), time.time())[1] - begun
        threading.Thread(target=drain, args=(words,), daemon=True).start()
        at_start = memory(daemon.pid)
        wait_for_the_night(farm, begun)
        # The steps after it reap the work and give back what it needed.
        time.sleep(70)
        after, used = memory(daemon.pid), cpu_s(daemon.pid)
        time.sleep(MINUTES * 60)
        idle = cpu_s(daemon.pid) - used
    finally:
        daemon.terminate()
        daemon.wait()
    print(f"ready after {ready * 1000:.0f} ms")
    print(f"at the start: {at_start}")
    print(f"after a night: {after}")
    print(f"CPU in {MINUTES:g} idle minutes: {idle:.2f} s")


def heard(words):
    """Waits for the first word; a program that says none is ready when the wait ends."""
    try:
        return words.recv(4096)
    except TimeoutError:
        return b""


def drain(words):
    """Listens on, as a manager does."""
    while True:
        heard(words)


def wait_for_the_night(farm, begun):
    give_up = time.time() + NIGHT_WITHIN_S
    while time.time() < give_up:
        with sqlite3.connect(f"file:{farm}/duskflight.sqlite?mode=ro", uri=True) as records:
            if records.execute(TOLD, [int(begun) - 1]).fetchone()[0]:
                return
        time.sleep(1)
    sys.exit(f"no night was told; the log is\n{(farm / 'log').read_text()[-2000:]}")


def memory(pid):
    keys = ("VmHWM", "VmRSS", "RssAnon", "RssFile", "Threads")
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    fields = dict(line.split(":", 1) for line in lines)
    return ", ".join(f"{key} {' '.join(fields[key].split())}" for key in keys)


def cpu_s(pid):
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


if __name__ == "__main__":
    main()

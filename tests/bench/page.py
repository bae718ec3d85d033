#!/usr/bin/env python3
"""Prints how long pages take while many people look at once, and what the daemon needs for that.

    tests/bench/page.py PROGRAM [BLOCKS [PEOPLE [SECONDS]]]

The farm of `farm.py`, as of today, is run by the clock of this machine: it tells one night, and shows its page on the
loopback address. Then people look at pages, first each at the next one as soon as one is there, then as people do, who
look at one for some seconds. What they need themselves is a process of its own.
"""

import asyncio
import os
import random
import re
import socket
import subprocess
import sys
import tempfile
import time
from multiprocessing import Process, Queue
from pathlib import Path

from idle import cpu_s, memory

PROGRAM = sys.argv[1]
BLOCKS, PEOPLE, SECONDS = (int(sys.argv[n]) if len(sys.argv) > n else usual for n, usual in
                           ((2, 800), (3, 50), (4, 60)))
TOLD_WITHIN_S, SHOWN_WITHIN_S = 600, 60
# How long one looks at a page before the next.
LOOKS_S = (2, 8)
# The farm in several orders and parts, its blocks, and what else there is; of a hundred looks so many.
LOOKS = (("/", 20), ("/?sort=next", 10), ("/?saying=1&part={part}", 10), ("/?find=block+{block}", 10),
         ("/block/b{block}", 35), ("/block/b{block}?as-of={day}", 3), ("/block/b{block}/days", 2),
         ("/stations", 4), ("/mails", 3), ("/health", 3))
TODAY = time.strftime("%Y-%m-%d", time.gmtime())


def main():
    with tempfile.TemporaryDirectory() as folder:
        farm = Path(folder) / "farm"
        subprocess.run([sys.executable, Path(__file__).parent / "farm.py", farm, str(BLOCKS), TODAY], check=True)
        port = free_port()
        declare(farm, port)
        with open(farm / "log", "w") as log:
            daemon = subprocess.Popen([PROGRAM, "run", "--config", farm], stderr=log)
        try:
            measure(daemon.pid, farm, port)
        finally:
            daemon.terminate()
            daemon.wait()


def declare(farm, port):
    """It has a page, and its morning has come at any hour of this machine."""
    main_file = farm / "duskflight.toml"
    text = main_file.read_text().replace("America/Los_Angeles", "UTC")
    main_file.write_text(f'{text}\n[season]\nfrom = "01-01"\nto = "12-31"\n[telling]\ndigest_time = "00:00"\n[page]\nlisten = "127.0.0.1:{port}"\n'
                         "sign_in = false\n")


def free_port():
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return free.getsockname()[1]


def measure(pid, farm, port):
    wait_for(lambda: "day told" in (farm / "log").read_text(), TOLD_WITHIN_S, farm)
    wait_for(lambda: asyncio.run(is_shown(port)), SHOWN_WITHIN_S, farm)
    # The steps after the night reap the work, and the page is made anew from what was told.
    time.sleep(70)
    print(f"a farm of {BLOCKS} blocks, nobody looks: {memory(pid)}")
    for words, pause in (("each again at once", (0, 0)), ("each every few seconds", LOOKS_S)):
        used, begun = cpu_s(pid), time.time()
        took = people_look(port, pause)
        used, lasted = cpu_s(pid) - used, time.time() - begun
        print(f"{PEOPLE} people look, {words}: {len(took) / lasted:.0f} pages a second, {used / lasted:.2f} of a core, "
              f"{1000 * used / len(took):.1f} ms of CPU a page; {spread(took)}")
        print(f"  {memory(pid)}")
    for kind, _ in LOOKS:
        took = [asyncio.run(alone(port, kind)) for _ in range(20)]
        print(f"  alone, {kind}: {spread([one for one, _ in took])}; {took[0][1] / 1000:.0f} kB")


def wait_for(is_so, within, farm):
    give_up = time.time() + within
    while not is_so():
        if time.time() > give_up:
            sys.exit(f"waited in vain; the log is\n{(farm / 'log').read_text()[-2000:]}")
        time.sleep(0.2)


def spread(took):
    took = sorted(took)
    part = lambda share: 1000 * took[min(int(share * len(took)), len(took) - 1)]
    return f"median {part(0.5):.0f} ms, 99 % {part(0.99):.0f} ms, longest {part(1):.0f} ms"


def people_look(port, pause):
    """How long each page took, as told by a process that looks for all of them."""
    said = Queue()
    looking = Process(target=lambda: said.put(asyncio.run(all_look(port, pause))))
    looking.start()
    took = said.get()
    looking.join()
    return took


async def all_look(port, pause):
    until = time.monotonic() + SECONDS
    each = await asyncio.gather(*(one_looks(port, pause, until, random.Random(n)) for n in range(PEOPLE)))
    return [took for of_one in each for took in of_one]


async def one_looks(port, pause, until, chance):
    took, way = [], await asyncio.open_connection("127.0.0.1", port)
    await asyncio.sleep(chance.uniform(0, pause[1]))
    while time.monotonic() < until:
        kinds, weights = zip(*LOOKS)
        address = chosen(chance.choices(kinds, weights)[0], chance)
        begun = time.perf_counter()
        status, _ = await look(way, port, address)
        took.append(time.perf_counter() - begun)
        if status != 200:
            sys.exit(f"{address} gave {status}")
        await asyncio.sleep(chance.uniform(*pause))
    way[1].close()
    return took


def chosen(kind, chance):
    return kind.format(block=chance.randrange(BLOCKS), part=chance.randrange(1, 9), day=f"{TODAY[:4]}-05-{chance.randrange(10, 31)}")


async def alone(port, kind):
    """How long one page takes while nobody else looks, and its bytes."""
    way = await asyncio.open_connection("127.0.0.1", port)
    begun = time.perf_counter()
    _, size = await look(way, port, chosen(kind, random))
    took = time.perf_counter() - begun
    way[1].close()
    return took, size


async def is_shown(port):
    try:
        return (await look(await asyncio.open_connection("127.0.0.1", port), port, "/"))[0] == 200
    except OSError:
        return False


async def look(way, port, address):
    reader, writer = way
    writer.write(f"GET {address} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n".encode())
    head = (await reader.readuntil(b"\r\n\r\n")).decode()
    size = int(re.search(r"(?im)^content-length: (\d+)", head)[1])
    await reader.readexactly(size)
    return int(head.split()[1]), size


if __name__ == "__main__":
    main()

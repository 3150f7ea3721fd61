"""Tablets that each enter one fact a second through the web: ``python -m benchmarks.tablets [--tablets N] [--seconds S]``.

The server runs in a process of its own (``forestay serve``) on the same machine as the tablets, so both share its cores.
Each answer is timed from the first byte sent to the last byte read; the server answers after the commit. Afterwards
every acknowledged fact is looked for in the record, and the record is verified. ``--db`` takes a PostgreSQL address.

``--readers M``: meanwhile so many people ask for plans that nobody asked for before, one after the other, timed apart;
``--planners N``: processes that make them (0: the process that answers makes them too).
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter

import numpy as np

from forestay.case.bodies import Measured
from forestay.case.fact import new_fact
from forestay.demo import NAMES
from forestay.store.checking import check
from forestay.store.sql import SqlFactStore


class Tablet:
    """One tablet, on a case of its own."""

    def __init__(self, number: int) -> None:
        self.name, self.case = f"tablet-{number}", f"CASE-{number}"
        self.acknowledged: dict[str, int] = {}
        self.times_s: list[float] = []
        self.refused: list[str] = []

    def request(self, sequence: int) -> bytes:
        """The next fact, as it goes over the wire."""
        body = Measured(values={"biometry.axial_length_mm": 20 + sequence % 1000 / 100})
        fact = new_fact(body, case=self.case, author="a1", device=self.name, device_sequence=sequence)
        sent = json.dumps({"facts": [{"header": fact.header.as_dict(), "body": fact.body.decode()}]}).encode()
        head = (
            f"POST /api/cases/{self.case}/facts HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
            f"Content-Length: {len(sent)}\r\n\r\n"
        )
        return head.encode() + sent

    async def enter(self, port: int, *, first_after_s: float, facts: int) -> None:
        """One fact a second, from a moment of its own."""
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        start = perf_counter() + first_after_s
        for sequence in range(1, facts + 1):
            request = self.request(sequence)
            await asyncio.sleep(max(0.0, start + sequence - 1 - perf_counter()))
            sent_at = perf_counter()
            writer.write(request)
            head = await reader.readuntil(b"\r\n\r\n")
            length = next(int(line[15:]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length:"))
            answer = await reader.readexactly(length)
            self.times_s.append(perf_counter() - sent_at)
            if b" 200 " not in head[:16]:
                self.refused.append(answer.decode()[:200])
                continue
            [kept] = json.loads(answer)["facts"]
            self.acknowledged[kept["id"]] = kept["server_sequence"]
        writer.close()


class Somebody:
    """Somebody who moves the capsulorhexis of an invented eye, each time to where it has not been."""

    def __init__(self, number: int) -> None:
        self.case = NAMES[number % len(NAMES)]
        self.number = number
        self.times_s: list[float] = []

    async def ask(self, port: int, until: float) -> None:
        """One plan after the other."""
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        while perf_counter() < until:
            size = 4.6 + (len(self.times_s) * 0.001 + self.number * 0.0001) % 1.5
            sent_at = perf_counter()
            writer.write(
                f"GET /cases/{self.case}/margins?capsulorhexis_mm={size:.4f} HTTP/1.1\r\nHost: localhost\r\n"
                "HX-Request: true\r\nHX-Target: div#look\r\n\r\n".encode()
            )
            head = await reader.readuntil(b"\r\n\r\n")
            length = next(int(line[15:]) for line in head.split(b"\r\n") if line.lower().startswith(b"content-length:"))
            await reader.readexactly(length)
            assert b" 200 " in head[:16], head[:200]
            self.times_s.append(perf_counter() - sent_at)
        writer.close()


async def run_beside(tablets: list[Tablet], people: list[Somebody], port: int, facts: int) -> None:
    """Facts from the tablets while people ask for plans."""
    until = perf_counter() + facts
    await asyncio.gather(run(tablets, port, facts), *(one.ask(port, until) for one in people))


def shares(times_s: list[float]) -> str:
    """Median and tail."""
    times_ms = 1000 * np.array(times_s)
    told = ", ".join(f"p{p} {np.percentile(times_ms, p):.0f} ms" for p in (50, 95, 99))
    return f"{len(times_ms)}: {told}, longest {times_ms.max():.0f} ms"


async def run(tablets: list[Tablet], port: int, facts: int) -> None:
    """All tablets, spread over the second."""
    await asyncio.gather(*(t.enter(port, first_after_s=n / len(tablets), facts=facts) for n, t in enumerate(tablets)))


def settle(db: str, tablets: list[Tablet]) -> str:
    """What became of the facts."""
    store = SqlFactStore(db)
    lost = doubled = 0
    for tablet in tablets:
        links = store.links(tablet.case)
        kept = {str(link.header.id): link.sequence for link in links}
        lost += sum(kept.get(name) != sequence for name, sequence in tablet.acknowledged.items())
        doubled += len(links) - len(kept)
    faults = len(check(store.database))
    store.close()
    refused = sum(len(tablet.refused) for tablet in tablets)
    return f"{lost} lost, {doubled} doubled, {refused} refused, {faults} faults of the record"


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tablets", type=int, default=50)
    parser.add_argument("--seconds", type=int, default=30)
    parser.add_argument("--db", default=None)
    parser.add_argument("--readers", type=int, default=0)
    parser.add_argument("--planners", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        db = given.db or f"sqlite:///{Path(folder) / 'cases.sqlite'}"
        command = [sys.executable, "-m", "forestay", "serve", "--demo", "--port", "0", "--db", db]
        command += ["--planners", str(given.planners)]
        environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment) as server:
            assert server.stdout is not None
            port = int(server.stdout.readline().split()[3].rstrip("/").rpartition(":")[2])
            warm, tablets = [Tablet(10_000)], [Tablet(n) for n in range(given.tablets)]
            asyncio.run(run(warm, port, 10))  # the server has finished starting by then
            people = [Somebody(n) for n in range(given.readers)]
            asyncio.run(run_beside(tablets, people, port, given.seconds))
            server.terminate()
        print(f"{len(tablets)} tablets, {given.seconds} s, facts {shares([t for one in tablets for t in one.times_s])}")
        if people:
            print(
                f"{len(people)} people, plans by {given.planners} {shares([t for one in people for t in one.times_s])}"
            )
        print(settle(db, tablets))
        print(f"load of this machine over the last minute: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main()

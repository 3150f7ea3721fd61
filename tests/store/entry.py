"""Tablets that enter facts through the web, keep what was acknowledged, and send again what was not."""

from __future__ import annotations

import http.client
import json
import os
import signal
import subprocess
import sys
import threading
from dataclasses import dataclass
from typing import Any

from forestay.case.bodies import Measured
from forestay.case.fact import Fact, new_fact
from forestay.store.checking import check
from forestay.store.sql import SqlFactStore

PATIENCE_S = 20


NURSERY = """
import os, signal, sys
from forestay.web.serve import serve
import forestay.store.sql
from forestay.services.planner import usual_make
from forestay.web import serve as web
usual_make()
web._quicken = lambda: None  # the solvers may stay slow: nothing is planned here
signal.signal(signal.SIGCHLD, signal.SIG_IGN)
for line in sys.stdin:
    born = os.fork()
    if born == 0:
        serve(0, line.strip(), False, say=lambda sentence: print(sentence, flush=True))
        os._exit(0)
    print("process", born, flush=True)
"""
"""Loads the program once, and for each database asked for lets a copy of itself serve it, as ``forestay serve`` does."""


class Nursery:
    """Starts servers quickly. Each is a process of its own, which can be killed."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-c", NURSERY], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def serve(self, db: str) -> Running:
        """A server over this database, once it says its address."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(f"{db}\n")
        self._process.stdin.flush()
        lines = sorted(self._process.stdout.readline().split() for _ in range(2))
        [said, born] = lines if lines[1][0] == "process" else lines[::-1]
        return Running(int(said[3].rstrip("/").rpartition(":")[2]), int(born[1]))

    def close(self) -> None:
        """No more servers."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait()


@dataclass(frozen=True)
class Running:
    """A server that runs."""

    port: int
    process: int

    def kill(self) -> None:
        """As a power cut for the process."""
        os.kill(self.process, signal.SIGKILL)


class Tablet:
    """Enters one fact after another; a fact that was not acknowledged waits and is sent again, the same."""

    def __init__(self, name: str, case: str) -> None:
        self.name, self.case = name, case
        self.acknowledged: dict[str, int] = {}
        self.waiting: Fact | None = None
        self.written = 0
        self.wrong: list[str] = []

    def _next(self) -> Fact:
        if self.waiting is None:
            self.written += 1
            body = Measured(values={"biometry.axial_length_mm": 20 + self.written % 1000 / 100})
            self.waiting = new_fact(body, case=self.case, author="a1", device=self.name, device_sequence=self.written)
        return self.waiting

    def send(self, connection: http.client.HTTPConnection) -> bool:
        """Send what waits or the next fact; whether it was acknowledged. A server that goes away is no error."""
        fact = self._next()
        sent = {"facts": [{"header": fact.header.as_dict(), "body": fact.body.decode()}]}
        try:
            address = f"/api/cases/{self.case}/facts"
            connection.request("POST", address, json.dumps(sent), {"Content-Type": "application/json"})
            answer = connection.getresponse()
            told: Any = json.loads(answer.read())
        except (OSError, http.client.HTTPException, ValueError):
            return False
        if answer.status != 200:
            if answer.status != 503:
                self.wrong.append(f"{answer.status} {told}")
            return False
        [kept] = told["facts"]
        self.acknowledged[kept["id"]] = kept["server_sequence"]
        self.waiting = None
        return True

    def enter(self, port: int, stop: threading.Event) -> None:
        """Enter until the server is gone or enough is said."""
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=PATIENCE_S)
        while not stop.is_set():
            if not self.send(connection):
                connection.close()
                if stop.wait(0.02):
                    break
        connection.close()


def settle(store: SqlFactStore, tablets: list[Tablet]) -> None:
    """Nothing acknowledged is lost, nothing is there twice, every chain and signature holds."""
    wrong = [wrong for tablet in tablets for wrong in tablet.wrong]
    assert wrong == [], wrong[:3]
    found = check(store.database)
    assert found == [], found
    for case in {tablet.case for tablet in tablets}:
        of_case = [tablet for tablet in tablets if tablet.case == case]
        if case not in store.cases():
            assert not any(tablet.acknowledged for tablet in of_case)
            continue
        links = store.links(case)
        kept = {str(link.header.id): link.sequence for link in links}
        assert len(kept) == len(links)
        for tablet in of_case:
            assert tablet.acknowledged.items() <= kept.items()
            own = [link.header.device_sequence for link in links if link.header.device == tablet.name]
            assert own == sorted(set(own)), "doubled, or out of the tablet's order"
        # what is kept and was not acknowledged is only what a tablet still waits for
        waiting = {str(tablet.waiting.header.id) for tablet in of_case if tablet.waiting is not None}
        acknowledged = {name for tablet in of_case for name in tablet.acknowledged}
        assert set(kept) <= acknowledged | waiting

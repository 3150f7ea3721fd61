"""Processes that make plans beside the one that answers, so that a fact is acknowledged while plans are made.

One process each for a share of the eyes: what an eye has warmed stays where it is asked for again, and one eye that takes
long holds up only its own share.
"""

from __future__ import annotations

import gc
import os
import signal
import threading
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from functools import partial
from multiprocessing import get_context, parent_process
from threading import Lock
from zlib import crc32

from forestay.eye.situation import Situation
from forestay.mechanics import fast
from forestay.plan.model import Plan
from forestay.services.planner import Given, Make, usual_ways
from forestay.text import language, speaking

AFTER_ANSWERS = 5
"""How much a planning process stands back for the one that answers, as niceness."""

_ways: dict[str, tuple[Make, Make]] = {}
"""How this process makes plans, by what it was given last."""


class PlanPool:
    """Warm processes for plans. ``ways`` gives what ``usual_ways`` gives, for use from any thread.

    ``quicken``: each compiles its kernels in the background; the last digits may then differ from numpy's.
    """

    def __init__(self, processes: int, *, quicken: bool = True) -> None:
        self._quicken = quicken
        self._lock = Lock()
        self._workers = [self._worker() for _ in range(processes)]

    def ways(self, given: Given) -> tuple[Make, Make]:
        """What makes whole plans and quick ones with what is given."""
        return partial(self._ask, given=given, quick=False), partial(self._ask, given=given, quick=True)

    def _worker(self) -> ProcessPoolExecutor:
        return ProcessPoolExecutor(1, mp_context=get_context("spawn"), initializer=_ready, initargs=(self._quicken,))

    def warm(self) -> None:
        """Start every process now; returns at once."""
        for worker in self._workers:
            worker.submit(_nothing)

    def close(self) -> None:
        """End every process, each after the plan that it is making, and let go of what was shared with it.

        Asked not to wait, an executor forgets what it would have to wait for: so each is waited for in its turn.
        """
        for worker in self._workers:
            worker.shutdown(wait=True, cancel_futures=True)
        gc.collect()  # its locks go with it, also where a signal ends this process without a last round

    def _ask(self, situation: Situation, *, given: Given, quick: bool) -> Plan:
        place = crc32(_eye(situation)) % len(self._workers)
        try:
            return self._sent(place, situation, given, quick=quick).result()
        except BrokenProcessPool:
            self._replace(place)
            return self._sent(place, situation, given, quick=quick).result()

    def _sent(self, place: int, situation: Situation, given: Given, *, quick: bool) -> Future[Plan]:
        return self._workers[place].submit(_plan, situation, language(), given, quick=quick)

    def _replace(self, place: int) -> None:
        """A new process in the place of one that ended, whoever of those who waited for it comes first."""
        with self._lock:
            try:
                self._workers[place].submit(_nothing).result()
            except BrokenProcessPool:
                self._workers[place].shutdown(wait=False)
                self._workers[place] = self._worker()


def _eye(situation: Situation) -> bytes:
    """What hardly changes of an eye while its facts come in."""
    case = situation.case
    return f"{case.eye.side} {case.person.age_years} {case.person.sex}".encode()


def _ready(quicken: bool) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # an interruption is for the process that answers
    os.nice(AFTER_ANSWERS)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if quicken:
        fast.start()
    _with(Given())


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
    os._exit(0)


def _nothing() -> None:
    pass


def _with(given: Given) -> tuple[Make, Make]:
    """How plans are made with what is given; only the last is kept, since settings seldom change."""
    if given.digest not in _ways:
        made = usual_ways(given)
        _ways.clear()
        _ways[given.digest] = made
    return _ways[given.digest]


def _plan(situation: Situation, tag: str, given: Given, *, quick: bool) -> Plan:
    with speaking(tag):
        return _with(given)[quick](situation)

"""The server, or its database, ends at random moments while facts are entered: none lost, none doubled, chain whole.

20 kills in the ordinary run; ``FORESTAY_KILLS=200`` for the long one.
"""

from __future__ import annotations

import os
import random
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from forestay.store.sql import SqlFactStore
from tests.postgresql import Server
from tests.store.entry import Nursery, Tablet, settle

KILLS = int(os.environ.get("FORESTAY_KILLS", "20"))
RESTARTS = 3


@pytest.fixture(scope="module")
def nursery() -> Iterator[Nursery]:
    """Where servers come from."""
    started = Nursery()
    yield started
    started.close()


@pytest.mark.parametrize("seed", range(2))
def test_killed_while_tablets_enter_it_loses_and_doubles_nothing(nursery: Nursery, tmp_path: Path, seed: int) -> None:
    db = f"sqlite:///{tmp_path}/cases.sqlite"
    moments = random.Random(seed)  # noqa: S311 - moments, no secrets
    tablets = [Tablet("d1", "M-1"), Tablet("d2", "M-1"), Tablet("d3", "M-2")]
    for _ in range(KILLS // 2):
        server = nursery.serve(db)
        stop = threading.Event()
        threads = [threading.Thread(target=tablet.enter, args=(server.port, stop)) for tablet in tablets]
        before = sum(len(tablet.acknowledged) for tablet in tablets)
        for thread in threads:
            thread.start()
        while sum(len(tablet.acknowledged) for tablet in tablets) == before:
            time.sleep(0.005)
        time.sleep(moments.uniform(0, 0.25))
        server.kill()
        stop.set()
        for thread in threads:
            thread.join()
    with closing(SqlFactStore(db)) as store:
        settle(store, tablets)
    assert all(tablet.acknowledged for tablet in tablets)


@pytest.mark.parametrize("mode", ["fast", "immediate"])
def test_a_restarted_postgresql_loses_and_doubles_nothing(nursery: Nursery, mode: str) -> None:
    own = Server()
    try:
        db = own.database()
        server = nursery.serve(db)
        tablets = [Tablet("d1", "M-1"), Tablet("d2", "M-1"), Tablet("d3", "M-2")]
        stop = threading.Event()
        threads = [threading.Thread(target=tablet.enter, args=(server.port, stop)) for tablet in tablets]
        for thread in threads:
            thread.start()
        for _ in range(RESTARTS):
            time.sleep(0.4)
            own.stop(mode)
            own.start()
        before = sum(len(tablet.acknowledged) for tablet in tablets)
        late = time.monotonic() + 30
        while sum(len(tablet.acknowledged) for tablet in tablets) < before + 3 and time.monotonic() < late:
            time.sleep(0.02)
        stop.set()
        for thread in threads:
            thread.join()
        after = sum(len(tablet.acknowledged) for tablet in tablets)
        server.kill()
        with closing(SqlFactStore(db)) as store:
            settle(store, tablets)
        assert after >= before + 3, "the server did not come back by itself"
    finally:
        own.remove()

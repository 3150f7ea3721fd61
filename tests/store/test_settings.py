"""Settings are only ever added to, chained and signed; a changed byte is found, and a backup brings every change back."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from forestay.errors import ConflictingFact
from forestay.store.backup import backup, restore
from forestay.store.checking import check
from forestay.store.interface import FactStore
from forestay.store.memory import MemoryFactStore
from forestay.store.sql import SqlFactStore

NOON = datetime(2026, 1, 2, 12, tzinfo=UTC)


def said(store: FactStore, part: str, content: bytes, based_on: int | None = None) -> int:
    return store.practice.add(part, content, author="u-a", device="d1", at=NOON, based_on=based_on).number


@pytest.fixture(params=["memory", "sqlite", "postgresql"])
def make(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], FactStore]:
    if request.param == "memory":
        kept = MemoryFactStore()
        return lambda: kept
    if request.param == "sqlite":
        return lambda: SqlFactStore(f"sqlite:///{tmp_path}/cases.sqlite")
    url = str(request.getfixturevalue("postgresql").database())
    return lambda: SqlFactStore(url)


def test_every_change_stays_and_another_one_meanwhile_is_not_overwritten(make: Callable[[], FactStore]) -> None:
    store = make()
    assert store.practice.last() == 0
    assert [said(store, "theatre", b"{}"), said(store, "lenses", b"{}"), said(store, "theatre", b"[1]")] == [1, 2, 3]
    assert [(row.part, row.content) for row in store.practice.rows(at=2)] == [("theatre", b"{}"), ("lenses", b"{}")]
    assert said(store, "lenses", b"[2]", based_on=2) == 4  # the other part moved, not this one
    with pytest.raises(ConflictingFact, match="change 3"):
        said(store, "theatre", b"[3]", based_on=1)
    store.close()
    again = make()
    assert [row.number for row in again.practice.rows()] == [1, 2, 3, 4]
    assert (again.practice.rows()[0].author, again.practice.rows()[0].at) == ("u-a", NOON.isoformat())
    again.close()


def test_two_at_once_are_two_changes_in_order(make: Callable[[], FactStore]) -> None:
    store = make()
    threads = [threading.Thread(target=said, args=(store, "theatre", str(n).encode())) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert [row.number for row in store.practice.rows()] == list(range(1, 9))
    assert len({row.content for row in store.practice.rows()}) == 8
    if isinstance(store, SqlFactStore):
        assert check(store.database) == []
    store.close()


CHANGES = {
    "a byte of what it says": "UPDATE setting SET content = CAST('{\"a\":1}' AS BLOB) WHERE number = 2",
    "who said it": "UPDATE setting SET author = 'u-b' WHERE number = 2",
    "when": "UPDATE setting SET at = '2026-01-03T12:00:00+00:00' WHERE number = 2",
    "dropped": "DELETE FROM setting WHERE number = 2",
    "its signature": "UPDATE setting SET signature = zeroblob(64) WHERE number = 2",
}


@pytest.mark.parametrize("how", CHANGES)
def test_a_change_that_was_tampered_with_is_found_and_named(tmp_path: Path, how: str) -> None:
    file = tmp_path / "cases.sqlite"
    store = SqlFactStore(f"sqlite:///{file}")
    for content in (b"{}", b"[1]", b"[2]"):
        said(store, "theatre", content)
    assert check(store.database) == []
    with sqlite3.connect(file) as raw:
        raw.execute(CHANGES[how])
    assert [(one.fault, one.position) for one in check(store.database)] == [("settings", 2)]
    store.close()


def test_a_backup_brings_every_change_back(tmp_path: Path) -> None:
    store = SqlFactStore(f"sqlite:///{tmp_path}/cases.sqlite")
    for content in (b"{}", b"[1]"):
        said(store, "theatre", content)
    rows = store.practice.rows()
    backup(store.database, tmp_path / "backup.sqlite")
    said(store, "theatre", b"[2]")
    restore(store.database, tmp_path / "backup.sqlite", at=NOON)
    assert store.practice.rows() == rows
    assert check(store.database) == []
    store.close()

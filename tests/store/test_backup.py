"""Backup while others write, restore that equals the original fact by fact, and erasures that stay erased."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from forestay.errors import BrokenChain, UnreadableFile
from forestay.services.keeping import mark
from forestay.store.attachments import add, content, listed
from forestay.store.backup import backup, restore
from forestay.store.checking import check
from forestay.store.interface import Identity, now
from forestay.store.question import question
from forestay.store.sql import SqlFactStore
from forestay.store.summaries import rebuild, summaries
from tests.case.strategies import NOON, fact, length
from tests.store.test_checking import CASES, PNG, fill

PERSON = Identity("Invented Person", "1952-03-01", "0000-17")
KINDS = ("sqlite", "postgresql")


def open_new(request: pytest.FixtureRequest, folder: Path, kind: str) -> SqlFactStore:
    if kind == "sqlite":
        folder.mkdir(exist_ok=True)
        return SqlFactStore(f"sqlite:///{folder}/cases.sqlite")
    return SqlFactStore(request.getfixturevalue("postgresql").database())


@pytest.fixture(params=KINDS)
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[SqlFactStore]:
    opened = open_new(request, tmp_path / "here", request.param)
    fill(opened)
    opened.identify("M-1", PERSON, by="a1")
    yield opened
    opened.close()


@pytest.mark.parametrize("kind", KINDS)
def test_a_restored_backup_equals_the_original_fact_by_fact(
    store: SqlFactStore, kind: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    done = backup(store.database, tmp_path / "backup.sqlite")
    assert (done.cases, done.facts) == (3, 12)
    there = open_new(request, tmp_path / "there", kind)
    there.append("M-9", [fact(length(23), 900, case="M-9")])
    told = restore(there.database, tmp_path / "backup.sqlite", at=NOON)
    assert there.cases() == store.cases() == list(CASES)
    for case in CASES:
        assert there.links(case) == store.links(case)
    assert mark(there) == mark(store)
    assert there.identity("M-1") == PERSON
    [picture] = listed(there.database, "M-3")
    assert content(there.database, "M-3", picture.id)[1] == PNG
    assert check(there.database) == []
    assert there.search(question("axial_length_mm>22.3"), limit=5)[0].case == "M-3"
    assert there.append("M-1", [fact(length(25), 77)])[0].header.server_sequence == 5
    assert check(there.database) == []
    assert mark(there) != mark(store)  # one fact more
    # what was there before is in a backup of its own
    assert told.set_aside is not None
    restore(there.database, told.set_aside, at=NOON)
    assert there.cases() == ["M-9"]
    there.close()


def test_a_backup_under_writers_is_one_state_and_the_file_stands_alone(store: SqlFactStore, tmp_path: Path) -> None:
    stop = threading.Event()

    def write() -> None:
        number = 1000
        while not stop.is_set():
            number += 1
            store.append("M-1", [fact(length(24), number)])

    writer = threading.Thread(target=write)
    writer.start()
    try:
        done = [backup(store.database, tmp_path / f"{n}.sqlite") for n in range(2)]
    finally:
        stop.set()
        writer.join()
    assert done[0].facts <= done[1].facts <= 12 + len(store.links("M-1"))
    assert sorted(path.name for path in tmp_path.iterdir() if path.name != "here") == ["0.sqlite", "1.sqlite"]
    raw = sqlite3.connect(tmp_path / "1.sqlite")
    assert raw.execute("SELECT count(*) FROM fact").fetchone() == (done[1].facts,)
    raw.close()


def test_a_changed_backup_is_refused_and_changes_nothing(store: SqlFactStore, tmp_path: Path) -> None:
    file = tmp_path / "backup.sqlite"
    backup(store.database, file)
    raw = sqlite3.connect(file)
    with raw:
        raw.execute("UPDATE fact SET body = CAST('{}' AS BLOB) WHERE case_number = 2 AND server_sequence = 3")
    raw.close()
    with pytest.raises(BrokenChain, match=r"M-2.*Fact 3"):
        restore(store.database, file, at=NOON)
    assert store.cases() == list(CASES)
    (tmp_path / "text").write_text("no backup")
    for wrong in ("text", "absent"):
        with pytest.raises(UnreadableFile):
            restore(store.database, tmp_path / wrong, at=NOON)
    with pytest.raises(UnreadableFile, match="written"):
        backup(store.database, tmp_path / "no" / "folder.sqlite")


def test_what_was_erased_stays_erased_after_an_older_backup_comes_back(store: SqlFactStore, tmp_path: Path) -> None:
    before = backup(store.database, tmp_path / "before.sqlite")
    links = store.links("M-2")
    store.erase("M-2", by="a1", why="asked for by the person")
    assert check(store.database) == []
    told = restore(store.database, tmp_path / "before.sqlite", at=NOON)
    assert (told.facts, told.erased_again) == (before.facts, 1)
    assert store.cases() == ["M-1", "M-3"]
    assert [(link.chain, link.body) for link in store.links("M-2")] == [(link.chain, None) for link in links]
    assert check(store.database) == []


def test_erased_words_are_in_no_file_any_more(tmp_path: Path) -> None:
    store = SqlFactStore(f"sqlite:///{tmp_path}/cases.sqlite")
    fill(store)
    from forestay.case.bodies import Decided

    why = Decided(subject="technique", choice="phacoemulsification", reason="Unmistakable sentence")
    store.append("M-1", [fact(why, 50)])
    store.identify("M-1", PERSON, by="a1")
    add(store.database, "M-1", PNG + b"Unmistakable picture", title="Unmistakable title", by="a1", at=now())
    summaries(store.database)

    def holds(word: bytes) -> bool:
        return any(word.lower() in path.read_bytes().lower() for path in tmp_path.iterdir())

    assert holds(b"Unmistakable")
    assert holds(b"Invented Person")
    store.erase("M-1", by="a1", why="asked for")
    assert not holds(b"Unmistakable")
    assert not holds(b"Invented Person")
    store.close()
    assert not holds(b"Unmistakable")


def test_lists_follow_the_facts_and_can_be_made_again(store: SqlFactStore) -> None:
    lines = summaries(store.database)
    assert [(line.case, line.sequence) for line in lines] == [(case, 4) for case in CASES]
    assert lines[0].trouble is not None
    from forestay.case.bodies import Found

    person = Found(values={"person.age_years": 70.0, "eye.side": "left", "lens.grade": 4.0})
    store.append("M-1", [fact(person, 60)])
    first = summaries(store.database)[0]
    assert (first.side, first.age_years, first.grade, first.sequence, first.trouble) == ("left", 70.0, 4.0, 5, None)
    assert rebuild(store.database) == 3
    assert summaries(store.database)[0] == first
    assert store.search(question("grade=4"), limit=5)[0].case == "M-1"
    store.erase("M-1", by="a1", why="x")
    assert [line.case for line in summaries(store.database)] == ["M-2", "M-3"]

"""The database itself: settings, what it refuses, and that an acknowledged fact outlives the process."""

from __future__ import annotations

import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from forestay.case.chain import verify
from forestay.errors import BrokenChain, ForestayError, InvalidInput, UnreadableFile
from forestay.store.interface import StoreUnavailable
from forestay.store.layout import REVISIONS, VERSION_TABLE
from forestay.store.location import FILE, as_url, default_url
from forestay.store.sql import SqlFactStore
from forestay.store.tables import metadata
from tests.case.strategies import fact, length
from tests.postgresql import Server


def opened(file: Path) -> SqlFactStore:
    return SqlFactStore(f"sqlite:///{file}")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A database with three facts."""
    path = tmp_path / "cases.sqlite"
    store = opened(path)
    store.append("M-1", [fact(length(20 + n / 10), n) for n in (1, 2, 3)])
    store.close()
    return path


def ask(file: Path, statement: str, *values: object) -> list[tuple[object, ...]]:
    raw = sqlite3.connect(file)
    try:
        with raw:
            return raw.execute(statement, values).fetchall()
    finally:
        raw.close()


def test_tables_are_strict_and_constraints_named(file: Path) -> None:
    rows = ask(file, "SELECT name, sql FROM sqlite_master WHERE type = 'table'")
    written = {str(name): str(statement) for name, statement in rows}
    shadows = {name for name in written if name.startswith("fact_text")}
    assert set(written) - shadows == {*metadata.tables, VERSION_TABLE}
    for name in metadata.tables:
        assert written[name].rstrip().endswith("STRICT")
    for name in ("pk_fact", "uq_fact_id", "fk_fact_case_number_case", "ck_fact_erased_together", "uq_case_id"):
        assert any(name in statement for statement in written.values())
    with pytest.raises(sqlite3.IntegrityError):
        ask(file, "UPDATE fact SET leaf = 'text' WHERE server_sequence = 1")


def test_write_ahead_log_and_version(file: Path) -> None:
    assert ask(file, "PRAGMA journal_mode") == [("wal",)]
    assert ask(file, "PRAGMA user_version") == [(len(REVISIONS),)]


def test_reopened_it_holds_the_same(file: Path) -> None:
    first, second = opened(file), opened(file)
    assert first.links("M-1") == second.links("M-1")
    assert [one.header.server_sequence for one in second.append("M-1", [fact(length(24), 4)])] == [4]
    assert len(first.facts("M-1")) == 4
    first.close()
    second.close()


@pytest.mark.parametrize("column", ["body", "salt", "leaf", "chain"])
def test_a_changed_byte_in_the_file_is_found(file: Path, column: str) -> None:
    [(value,)] = ask(file, f"SELECT {column} FROM fact WHERE server_sequence = 2")  # noqa: S608 - fixed names
    assert isinstance(value, bytes)
    ask(file, f"UPDATE fact SET {column} = ? WHERE server_sequence = 2", value[:-1] + bytes([value[-1] ^ 1]))  # noqa: S608
    store = opened(file)
    broken = verify(store.links("M-1"))
    store.close()
    assert broken is not None
    assert (broken.position, broken.fault) == (2, "changed")
    assert isinstance(broken.error(), BrokenChain)


def test_files_that_are_not_ours_are_refused(tmp_path: Path, file: Path) -> None:
    text = tmp_path / "notes.txt"
    text.write_text("not a database " * 100)
    other = tmp_path / "other.sqlite"
    ask(other, "CREATE TABLE t (x)")
    newer = tmp_path / "newer.sqlite"
    ask(newer, "PRAGMA user_version = 99")
    for bad, words in (
        (text, "not a database"),
        (other, "something else"),
        (newer, "newer"),
        (tmp_path / "absent" / "x", "unable to open"),
        (tmp_path, "unable to open"),
    ):
        with pytest.raises(UnreadableFile, match=words) as caught:
            opened(bad)
        assert caught.value.field == "db"
    ask(file, "DROP TABLE fact")
    store = opened(file)
    with pytest.raises(UnreadableFile, match="no such table"):
        store.links("M-1")
    store.close()


@pytest.mark.parametrize("url", ["postgresql://localhost", "nothing", "sqlite://", "mysql://x"])
def test_other_addresses_are_refused(url: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        SqlFactStore(url)
    assert caught.value.field == "db"


def test_a_store_in_memory_only_is_refused_since_it_keeps_no_log() -> None:
    with pytest.raises(ForestayError, match="write-ahead log"):
        SqlFactStore("sqlite:///:memory:")


def test_the_default_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FORESTAY_DB", "here.sqlite")
    assert default_url() == "sqlite:///here.sqlite"
    monkeypatch.delenv("FORESTAY_DB")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert default_url() == f"sqlite:///{tmp_path}/data/forestay/{FILE}"
    assert (tmp_path / "data" / "forestay").stat().st_mode & 0o777 == 0o700
    monkeypatch.delenv("XDG_DATA_HOME")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert default_url() == f"sqlite:///{tmp_path}/.local/share/forestay/{FILE}"
    (tmp_path / "plain").touch()
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "plain"))
    with pytest.raises(UnreadableFile, match="data folder"):
        default_url()
    assert as_url("sqlite:///x") == "sqlite:///x"


def test_a_server_that_is_not_there_or_forgets_is_one_sentence(postgresql: Server, tmp_path: Path) -> None:
    with pytest.raises(StoreUnavailable, match="does not answer now"):
        SqlFactStore(f"postgresql://forestay@/postgres?host={tmp_path}")
    with pytest.raises(ForestayError, match="does not exist"):
        SqlFactStore(f"postgresql://forestay@/absent?host={postgresql.folder}")
    url = postgresql.database()
    postgresql.configure("fsync", "off")
    try:
        with pytest.raises(UnreadableFile, match="fsync"):
            SqlFactStore(url)
    finally:
        postgresql.configure("fsync", "on")


APPENDER = """
import sys
from forestay.case.bodies import Measured
from forestay.case.fact import new_fact
from forestay.store.sql import SqlFactStore
from forestay.store.tables import metadata
from tests.postgresql import Server

store = SqlFactStore(sys.argv[1])
number = int(sys.argv[2])
while True:
    number += 1
    body = Measured(values={"biometry.axial_length_mm": 20 + number % 1000 / 100})
    fact = new_fact(body, case="M-1", author="a1", device="d1", device_sequence=number)
    kept = store.append("M-1", [fact])
    print(fact.header.id, kept[0].header.server_sequence, flush=True)
"""


def test_killed_at_any_moment_it_keeps_every_acknowledged_fact(tmp_path: Path) -> None:
    url = f"sqlite:///{tmp_path}/cases.sqlite"
    acknowledged: dict[str, int] = {}
    for turn in range(5):
        process = subprocess.Popen(
            [sys.executable, "-c", APPENDER, url, str(1000 * turn)], stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        with process.stdout:
            lines = [process.stdout.readline()]
            time.sleep(0.03 * turn)
            process.send_signal(signal.SIGKILL)
            lines += process.stdout.readlines()
        assert process.wait() == -signal.SIGKILL
        for line in lines:
            if line.endswith("\n"):
                fact_id, sequence = line.split()
                acknowledged[fact_id] = int(sequence)
        store = SqlFactStore(url)
        links = store.links("M-1")
        store.close()
        kept = {str(link.header.id): link.sequence for link in links}
        assert acknowledged.items() <= kept.items()
        assert len(kept) == len(links)
        assert len(kept) - len(acknowledged) <= turn + 1
        assert verify(links) is None
    assert len(acknowledged) >= 5

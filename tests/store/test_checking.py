"""One changed byte anywhere in the stored facts is found and named; so is what was dropped, moved, emptied or cut off."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from forestay.errors import ForestayError
from forestay.store.attachments import add
from forestay.store.checking import Finding, check, heads
from forestay.store.interface import now
from forestay.store.sql import SqlFactStore
from tests.case.strategies import fact, length

CASES = ("M-1", "M-2", "M-3")
FACTS = 4
PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(256))


def fill(store: SqlFactStore) -> None:
    """Three cases of four facts, the last with a picture."""
    for place, case in enumerate(CASES):
        numbers = range(10 * place + 1, 10 * place + 1 + FACTS)
        store.append(case, [fact(length(20 + n / 10), n, case=case) for n in numbers])
    add(store.database, "M-3", PNG, title="pupil", by="a1", at=now())


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A file with everything in it, its log folded in."""
    file = tmp_path_factory.mktemp("whole") / "cases.sqlite"
    store = SqlFactStore(f"sqlite:///{file}")
    fill(store)
    assert check(store.database) == []
    store.close()
    raw = sqlite3.connect(file)
    raw.execute("PRAGMA journal_mode=DELETE")
    raw.close()
    return file


def found_in(file: Path) -> list[Finding]:
    store = SqlFactStore(f"sqlite:///{file}")
    try:
        return check(store.database)
    finally:
        store.close()


def copied(whole: Path) -> Path:
    file = whole.with_name("copy.sqlite")
    for ending in ("-wal", "-shm"):
        file.with_name(file.name + ending).unlink(missing_ok=True)
    shutil.copyfile(whole, file)
    shutil.copyfile(whole.with_name("cases.sqlite.key"), file.with_name("copy.sqlite.key"))
    return file


def stored(whole: Path, column: str, case: int, sequence: int) -> bytes:
    raw = sqlite3.connect(whole)
    try:
        row = raw.execute(
            f"SELECT CAST({column} AS BLOB) FROM fact WHERE case_number = ? AND server_sequence = ?",  # noqa: S608
            (case, sequence),
        ).fetchone()
    finally:
        raw.close()
    return bytes(row[0])


@settings(max_examples=80, deadline=None, derandomize=True)
@given(st.data())
def test_one_changed_byte_of_the_file_inside_any_fact_is_found_and_named(whole: Path, data: st.DataObject) -> None:
    case, sequence = data.draw(st.integers(1, len(CASES))), data.draw(st.integers(1, FACTS))
    column = data.draw(st.sampled_from(["header", "body", "salt", "leaf", "chain", "id", "kind"]))
    value = stored(whole, column, case, sequence)
    file = copied(whole)
    content = bytearray(file.read_bytes())
    header = stored(whole, "header", case, sequence)
    # The row lies together in the file: id and kind before the header, all else after it.
    near = content.find(header) - 60 if column in ("id", "kind") else content.find(header)
    at = content.find(value, near) + data.draw(st.integers(0, len(value) - 1))
    content[at] ^= data.draw(st.integers(1, 255))
    file.write_bytes(bytes(content))
    found, refused = [], ""
    try:
        found = found_in(file)
    except ForestayError as wrong:
        refused = str(wrong.field)
    if refused:  # SQLite itself reads no further where text became no text, or an index points elsewhere
        assert (refused, column) in [("db", "id"), ("db", "kind")]
        return
    assert any(one.case == CASES[case - 1] and one.position == sequence for one in found) or (
        column in ("id", "kind") and any(one.fault == "file" for one in found)
    ), (column, found)


Change = Callable[[SqlFactStore], None]


def does(*statements: str) -> Change:
    def run(store: SqlFactStore) -> None:
        with store.database.writing() as connection:
            for statement in statements:
                connection.execute(text(statement))

    return run


@pytest.fixture(params=["sqlite", "postgresql"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[SqlFactStore]:
    at = f"sqlite:///{tmp_path}/cases.sqlite"
    opened = SqlFactStore(at if request.param == "sqlite" else request.getfixturevalue("postgresql").database())
    fill(opened)
    yield opened
    opened.close()


TAMPERINGS: dict[str, tuple[tuple[str, ...], tuple[str | None, int | None, str]]] = {
    "a dropped fact": (("DELETE FROM fact WHERE case_number = 2 AND server_sequence = 2",), ("M-2", 2, "dropped")),
    "two facts exchanged": (
        (
            "UPDATE fact SET server_sequence = 99 WHERE case_number = 2 AND server_sequence = 2",
            "UPDATE fact SET server_sequence = 2 WHERE case_number = 2 AND server_sequence = 3",
            "UPDATE fact SET server_sequence = 3 WHERE case_number = 2 AND server_sequence = 99",
        ),
        ("M-2", 2, "reordered"),
    ),
    "the end cut off": (("DELETE FROM fact WHERE case_number = 1 AND server_sequence = 4",), ("M-1", 4, "cut off")),
    "the end cut off with an older head made up": (
        (
            "DELETE FROM fact WHERE case_number = 1 AND server_sequence = 4",
            "UPDATE head SET sequence = 3, chain = (SELECT chain FROM fact WHERE case_number = 1 AND "
            "server_sequence = 3) WHERE case_number = 1",
        ),
        ("M-1", 3, "changed"),
    ),
    "the signature taken away": (("DELETE FROM head WHERE case_number = 3",), ("M-3", 4, "unsigned")),
    "a fact emptied": (
        ("UPDATE fact SET body = NULL, salt = NULL WHERE case_number = 1 AND server_sequence = 3",),
        ("M-1", 3, "erased"),
    ),
    "a fact moved to another case": (
        ("UPDATE fact SET case_number = 1, server_sequence = 5 WHERE case_number = 2 AND server_sequence = 4",),
        ("M-1", 5, "changed"),
    ),
    "a whole case taken away": (
        (
            "DELETE FROM fact WHERE case_number = 2",
            "DELETE FROM head WHERE case_number = 2",
            'DELETE FROM "case" WHERE number = 2',
        ),
        (None, None, "register"),
    ),
    "a case renamed": (("UPDATE \"case\" SET id = 'M-7' WHERE number = 1",), ("M-7", 1, "changed")),
    "a picture's title changed": (("UPDATE attachment SET title = 'other'",), ("M-3", None, "attachment")),
}


@pytest.mark.parametrize("name", TAMPERINGS)
def test_each_tampering_is_named(store: SqlFactStore, name: str) -> None:
    assert check(store.database) == []
    statements, expected = TAMPERINGS[name]
    does(*statements)(store)
    assert expected in [(one.case, one.position, one.fault) for one in check(store.database)]


def test_heads_kept_elsewhere_show_a_record_that_was_set_back_as_a_whole(store: SqlFactStore) -> None:
    before = heads(store.database)
    with store.database.reading() as connection:
        head = connection.execute(text("SELECT * FROM head WHERE case_number = 1")).mappings().one()
    store.append("M-1", [fact(length(25), 90)])
    after = heads(store.database)
    assert check(store.database, against=before) == check(store.database, against=after) == []
    with store.database.writing() as connection:
        connection.execute(text("DELETE FROM fact WHERE case_number = 1 AND server_sequence = 5"))
        connection.execute(
            text("UPDATE head SET sequence = :sequence, chain = :chain, signature = :signature WHERE case_number = 1"),
            {name: head[name] for name in ("sequence", "chain", "signature")},
        )
    assert check(store.database) == []  # whoever keeps no head elsewhere cannot see it
    [found] = check(store.database, against=after)
    assert (found.case, found.position, found.fault) == ("M-1", 5, "cut off")


def test_a_record_signed_by_a_stranger_is_not_trusted(tmp_path: Path) -> None:
    store = SqlFactStore(f"sqlite:///{tmp_path}/cases.sqlite")
    fill(store)
    store.close()
    (tmp_path / "cases.sqlite.key").unlink()
    found = found_in(tmp_path / "cases.sqlite")
    assert {one.fault for one in found} == {"not trusted"}
    assert len(found) == len(CASES)


def test_the_signature_is_ed25519_over_what_is_documented(tmp_path: Path) -> None:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    store = SqlFactStore(f"sqlite:///{tmp_path}/cases.sqlite")
    fill(store)
    with store.database.reading() as connection:
        row = connection.execute(text("SELECT chain, signature FROM head WHERE case_number = 1")).one()
    # docs/operation.md: the canonical JSON of these four keys
    said = b'{"case":"M-1","chain":"%s","sequence":4,"what":"forestay-head"}' % bytes(row[0]).hex().encode()
    Ed25519PublicKey.from_public_bytes(store.database.keyring.public).verify(row[1], said)
    assert (tmp_path / "cases.sqlite.key").stat().st_mode & 0o777 == 0o600
    store.close()

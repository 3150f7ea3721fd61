"""Search reads what it shows: the same answers whichever way is taken, and no statement that goes through the whole record."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text

from forestay.case.bodies import Body, Found, Measured
from forestay.store import indexing
from forestay.store.memory import MemoryFactStore
from forestay.store.question import question
from forestay.store.sql import SqlFactStore
from tests.case.strategies import fact

LOOKS = ("white", "brown", "black")
CASES, IN_A_CASE = 14, 4
QUESTIONS = (
    "axial",
    "white",
    "axial_length_mm>20",
    "axial_length_mm>24.6",
    "appearance=black axial_length_mm>24.6",
    "axial_length_mm>20 appearance=black",
    "white brown",
    "appearance=white found",
    "grade=3",
)


def fill(store: SqlFactStore | MemoryFactStore) -> None:
    """Cases with lengths and an appearance each."""
    for case in range(1, CASES + 1):
        bodies: list[Body] = [
            Measured(values={"biometry.axial_length_mm": 20 + (case * 7 + n * 11) % 50 / 10}) for n in range(IN_A_CASE)
        ]
        bodies.append(Found(values={"lens.appearance": LOOKS[case % len(LOOKS)]}))
        store.append(f"M-{case}", [fact(b, 100 * case + n, case=f"M-{case}") for n, b in enumerate(bodies)])


@pytest.fixture(params=["sqlite", "postgresql"])
def filled(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[SqlFactStore]:
    """A record with some cases, in either database."""
    url = f"sqlite:///{tmp_path}/cases.sqlite"
    store = SqlFactStore(url if request.param == "sqlite" else request.getfixturevalue("postgresql").database())
    fill(store)
    yield store
    store.close()


def test_few_and_many_answers_are_found_alike(filled: SqlFactStore, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every way against the store in memory, which looks at each fact by itself."""
    plain = MemoryFactStore()
    fill(plain)
    for few, block in ((2000, 100), (0, 2), (3, 1), (0, 100)):
        monkeypatch.setattr(indexing, "FEW", few)
        monkeypatch.setattr(indexing, "FIRST_BLOCK", block)
        monkeypatch.setattr(indexing, "LARGEST_BLOCK", 4)
        for asked in QUESTIONS:
            for limit in (1, 5, 100):
                told = filled.search(question(asked), limit=limit)
                assert told == plain.search(question(asked), limit=limit), (few, block, asked, limit)


def test_names_values_and_cases_are_reached_by_an_index(tmp_path: Path) -> None:
    """SQLite tells its way: SEARCH goes down an index, SCAN of a table through the whole of it."""
    store = SqlFactStore(f"sqlite:///{tmp_path}/cases.sqlite")
    fill(store)
    ways: list[str] = []
    asked = (
        (str(indexing.EACH_NAME), ()),
        (
            "SELECT case_number FROM fact_field WHERE case_number IN (?, ?) AND name || '' IN (?) AND number + 0 > ?",
            (1, 2, "biometry.axial_length_mm", 24.0),
        ),
        (
            "SELECT case_number FROM fact_field WHERE name IN (?) AND number > ? LIMIT 2001",
            ("biometry.axial_length_mm", 24.0),
        ),
    )
    with store.database.reading() as connection:
        for statement, values in asked:
            rows = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", values)
            ways += [str(row[3]) for row in rows]
        assert connection.scalar(text("SELECT count(*) FROM fact_field")) == CASES * (IN_A_CASE + 1)
    store.close()
    told = [way for way in ways if "fact_field" in way or " f " in f"{way} "]
    assert told
    assert all(way.startswith("SEARCH") for way in told), ways

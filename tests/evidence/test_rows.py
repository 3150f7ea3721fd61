"""The rows that ship: each can be followed to its source, and its spread and range make sense."""

from __future__ import annotations

import math
import re
from importlib.resources import files
from typing import Any

import pytest

from forestay.evidence import Row, default_evidence
from forestay.evidence.loader import STANDINGS, parse
from tests.project.source import words

ROWS = tuple(default_evidence().values())
FILES = sorted(f.name for f in files("forestay.evidence").joinpath("data").iterdir() if f.name.endswith(".toml"))
EARLIEST_YEAR = 1880
"""Ophthalmometry is about as old as this; an earlier year is a slip."""


def names(row: Row) -> str:
    """Label of a row in the list of tests."""
    return row.key


def leaves(value: Any) -> list[Any]:
    """All single values inside a value."""
    if isinstance(value, dict):
        return [leaf for inner in value.values() for leaf in leaves(inner)]
    if isinstance(value, tuple):
        return [leaf for inner in value for leaf in leaves(inner)]
    return [value]


def test_there_are_rows_and_each_file_gives_some() -> None:
    assert len(ROWS) > 50
    for name in FILES:
        _, rows = parse(files("forestay.evidence").joinpath("data", name).read_text(encoding="utf-8"), name)
        assert rows, f"{name} holds no row"


@pytest.mark.parametrize("name", FILES)
def test_every_file_opens_with_a_sentence_on_what_it_holds(name: str) -> None:
    first = files("forestay.evidence").joinpath("data", name).read_text(encoding="utf-8").splitlines()[0]
    assert re.match(r"# \S.{20,}", first)


@pytest.mark.parametrize("row", ROWS, ids=names)
def test_a_row_can_be_followed_to_its_source(row: Row) -> None:
    assert row.standing in STANDINGS
    assert len(row.meaning) > 2
    assert len(row.source.citation) > 10
    if row.source.doi is not None:
        assert re.fullmatch(r"10\.\d{4,9}/\S+", row.source.doi), "a DOI without resolver"
    elif row.source.address is not None:
        assert len(row.source.address) > 5


def test_what_is_said_to_be_read_names_where() -> None:
    """A DOI, an address, or at least the year or the volume of the publication."""
    vague = {
        row.source.key: row.source.citation
        for row in ROWS
        if row.standing == "read" and not (row.source.doi or row.source.address)
        if not re.search(r"\d{4}|\bvol", row.source.citation)
    }
    assert vague == {}


@pytest.mark.parametrize("row", [r for r in ROWS if r.standing in ("memory", "assumed")], ids=names)
def test_a_weak_row_says_why_in_a_sentence(row: Row) -> None:
    assert row.doubt is not None
    assert len(row.doubt.split()) >= 3


@pytest.mark.parametrize("row", ROWS, ids=names)
def test_numbers_are_finite_and_spread_fits_the_value(row: Row) -> None:
    assert all(math.isfinite(leaf) for leaf in leaves(row.value) if isinstance(leaf, float))
    assert row.sd is None or (row.sd >= 0 and math.isfinite(row.sd))
    if row.low is not None and row.high is not None:
        assert row.low <= row.high
        if isinstance(row.value, float):
            assert row.low <= row.value <= row.high
    assert row.n is None or row.n > 0
    assert row.year is None or EARLIEST_YEAR < row.year < 2100


@pytest.mark.parametrize("row", [r for r in ROWS if r.key.startswith("limit.")], ids=names)
def test_a_limit_is_a_low_and_a_high(row: Row) -> None:
    low, high = leaves(row.value)
    assert low < high


def test_keys_are_plain_words_joined_by_dots() -> None:
    assert [row.key for row in ROWS if not re.fullmatch(r"[a-z][a-z0-9_-]*(\.[a-z0-9][a-z0-9_/+-]*)+", row.key)] == []


def test_every_source_is_used() -> None:
    used = {row.source.key for row in ROWS}
    for name in FILES:
        sources, _ = parse(files("forestay.evidence").joinpath("data", name).read_text(encoding="utf-8"), name)
        assert set(sources) - used - words() == set(), f"{name}: quoted by no row and no rule"

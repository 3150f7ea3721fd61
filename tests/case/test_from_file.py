"""A case file as facts: nothing lost, nothing added, read like a consultation."""

from __future__ import annotations

import tomllib
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given, settings

from forestay.case.case_file import parse_case, read_case
from forestay.case.fields import PATHS
from forestay.case.fold import fold
from forestay.case.from_file import GROUPS, facts_from_case
from forestay.demo import NAMES, demo_bytes
from forestay.eye.records import CaseFile
from forestay.eye.validation import validate
from tests.case.strategies import NOON, case_tables, toml


def test_every_field_is_in_exactly_one_group() -> None:
    assert sorted(path for _, _, paths in GROUPS for path in paths) == sorted(PATHS)


@settings(deadline=None, derandomize=True, max_examples=200)
@given(case_tables)
def test_folding_the_facts_gives_the_case_file_exactly(tables: dict[str, Any]) -> None:
    case = validate(CaseFile, tables)
    situation = fold(facts_from_case(case))
    assert situation.case == case
    assert (situation.disagreements, situation.settled) == ((), ())


@settings(deadline=None, derandomize=True, max_examples=100)
@given(case_tables)
def test_reading_the_written_file_gives_the_case_exactly(tables: dict[str, Any]) -> None:
    assert read_case(toml(tables)).case == validate(CaseFile, tables)


@pytest.mark.parametrize("name", NAMES)
def test_the_invented_cases_read_back_and_make_a_short_thread(name: str) -> None:
    data = demo_bytes(name)
    case = validate(CaseFile, tomllib.loads(data.decode()))
    assert parse_case(data) == case
    assert read_case(data).case == case
    assert 8 <= len(facts_from_case(case)) <= 14


def test_the_same_file_gives_the_same_facts() -> None:
    case = parse_case(demo_bytes(NAMES[0]))
    made = [facts_from_case(case, case_id="M-1", happened_at=NOON, apart=timedelta(minutes=3)) for _ in range(2)]
    assert made[0] == made[1]
    assert [f.header.happened_at - NOON for f in made[0][:3]] == [timedelta(minutes=m) for m in (0, 3, 6)]
    other = facts_from_case(case, case_id="M-2", happened_at=NOON)
    assert not {f.header.id for f in other} & {f.header.id for f in made[0]}


def test_the_least_file_makes_two_facts() -> None:
    case = parse_case(b"[person]\nage_years = 70\n[eye]\nside = 'left'\n")
    assert len(facts_from_case(case)) == 2

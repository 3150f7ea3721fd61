"""Old bodies are read by today's code and never rewritten. The old schema in these tests is invented."""

from __future__ import annotations

import pytest

from forestay.case.bodies import BODIES, Done
from forestay.case.fact import Fact, content
from forestay.case.upcast import CURRENT, UPCASTERS, Upcasters, upcast
from forestay.errors import InvalidInput
from tests.case.strategies import fact

DONE = Done(step="tunnel", by="surgeon", sizes={"outer_lip_mm": 6.5})
OLD = b'{"step": "tunnel", "who": "surgeon", "outer_lip_cm": 0.65}'
TABLE: Upcasters = {
    ("done", 1): lambda raw: {**{k: v for k, v in raw.items() if k != "who"}, "by": raw["who"]},
    ("done", 2): lambda raw: {
        **{k: v for k, v in raw.items() if k != "outer_lip_cm"},
        "sizes": {"outer_lip_mm": 10 * raw["outer_lip_cm"]},
    },
}


def _of_version(version: int, body: bytes) -> Fact:
    made = fact(DONE, 1)
    return Fact(made.header.model_copy(update={"schema_version": version}), body)


def test_an_old_body_is_raised_version_by_version_on_reading() -> None:
    old = _of_version(1, OLD)
    assert content(old, TABLE) == DONE
    assert old.body == OLD


def test_a_body_between_versions_takes_only_the_steps_that_it_lacks() -> None:
    assert content(_of_version(2, b'{"step":"tunnel","by":"surgeon","outer_lip_cm":0.65}'), TABLE) == DONE


def test_todays_body_is_left_alone() -> None:
    raw = {"step": "tunnel"}
    assert upcast("done", 3, raw, TABLE) is raw
    assert upcast("found", 1, raw, TABLE) is raw


def test_a_newer_version_is_refused_with_what_to_do() -> None:
    with pytest.raises(InvalidInput, match="Update it") as caught:
        content(_of_version(CURRENT["done"] + 1, b"{}"))
    assert caught.value.field == "schema_version"


def test_a_gap_in_the_table_is_refused() -> None:
    with pytest.raises(InvalidInput, match="no longer read"):
        upcast("done", 1, {}, {("done", 2): lambda raw: raw})


def test_every_older_version_of_every_kind_can_be_raised() -> None:
    assert set(CURRENT) == set(BODIES)
    for kind, current in CURRENT.items():
        assert all((kind, version) in UPCASTERS for version in range(1, current))

"""The ends of every range that a calculation takes: an answer in plain numbers or one clear error, never anything else."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import pytest

from forestay.calc.many import answer
from forestay.calc.table import CALCULATIONS, find

SLOW = {"bag", "manoeuvre-loads", "ring-gap", "ring-in-bag", "ring-threading", "support-search", "supports-left"}
"""Equilibria that take long: their own tests and the sweeps go to the ends."""
SLOW_TOO = {
    "port-plan",
    "thick-lens-power",
    "funnel",
    "pupil-layout",
    "zonule-unzipping",
    "theatre-day",
    "sort-eyes",
    "risk-refit",
    "refraction-error",
    "second-eye",
}
"""Searches and series whose ends cost seconds."""


def ends(schema: dict[str, Any]) -> Iterator[float]:
    """Least and greatest value of a number with bounds, wherever it may also be null."""
    for way in (schema, *schema.get("anyOf", [])):
        if way.get("type") in ("number", "integer"):
            yield from (way[bound] for bound in ("minimum", "maximum") if bound in way)


def not_numbers(told: Any, path: str = "") -> Iterator[str]:
    """Where an answer holds a number that is none."""
    if isinstance(told, dict):
        for key, value in told.items():
            yield from not_numbers(value, f"{path}.{key}")
    elif isinstance(told, list):
        for value in told:
            yield from not_numbers(value, path)
    elif isinstance(told, float) and not math.isfinite(told):
        yield path


@pytest.mark.parametrize("name", sorted(set(CALCULATIONS) - SLOW - SLOW_TOO))
def test_the_ends_of_every_range_answer_or_err_clearly(name: str) -> None:
    row = find(name)
    fields = row.input.model_json_schema()["properties"]
    asked = [dict(row.example) | {field: end} for field, schema in fields.items() for end in ends(schema)]
    for keys, told in zip(asked, answer(row, asked), strict=True):
        assert list(not_numbers(told)) == [], keys
        assert told.get("error", {"message": "answered"})["message"], keys

"""Runs a calculation for a face: one object gives one answer; a list gives a list, a bad item its error there."""

from __future__ import annotations

from typing import Any

from forestay.calc.core import Calculation
from forestay.calc.table import find
from forestay.errors import ForestayError, InvalidInput
from forestay.text import tr

Answered = dict[str, Any] | list[dict[str, Any]]


def answer(name: str, payload: Any) -> Answered:
    """The answer or answers of the calculation ``name`` in plain JSON types.

    Raises a :class:`~forestay.errors.ForestayError` on an unknown name and on one bad object; a bad item of a list is
    answered in its place instead, so that the others are not lost.
    """
    row = find(name)
    if isinstance(payload, list):
        return [_item(row, item) for item in payload]
    return row.run(_object(payload)).as_dict()


def _item(row: Calculation[Any, Any], item: Any) -> dict[str, Any]:
    try:
        return row.run(_object(item)).as_dict()
    except ForestayError as wrong:
        return wrong.as_dict()


def _object(item: Any) -> dict[str, Any]:
    if not isinstance(item, dict):
        words = tr("a table of keys, or a list of such tables")
        raise InvalidInput(
            tr("The input is not a table of keys; allowed: {words}.", words=words),
            field=None,
            value=None,
            allowed=words,
        )
    return item

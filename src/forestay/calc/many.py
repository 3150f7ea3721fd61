"""JSON text in, JSON answer out, for one input or a list of them: what command and web share."""

from __future__ import annotations

import json
from typing import Any

from forestay.calc.core import Calculation
from forestay.errors import ForestayError, InvalidInput, UnreadableFile
from forestay.evidence import EvidenceSet
from forestay.text import tr

LONGEST_DIGITS = 1000
"""No quantity needs as many digits; longer ones take Python long to read, or it refuses them in its own words."""


def parse_json(text: bytes) -> Any:
    """The JSON value in ``text``; empty, binary, not JSON, NaN or a repeated key is one clear error."""
    if not text.strip():
        raise UnreadableFile(tr("The input is empty; give a JSON object."), field="input", allowed=tr("a JSON object"))
    try:
        value = json.loads(
            text.decode("utf-8-sig"), parse_constant=_no_constant, parse_int=_whole, object_pairs_hook=_no_repeats
        )
        _written_out(value, text)
        return value
    except UnicodeDecodeError:
        raise UnreadableFile(
            tr("The input is not text in UTF-8; give a JSON object."), field="input", allowed=tr("a JSON object")
        ) from None
    except RecursionError:
        raise UnreadableFile(
            tr("The input is nested too deeply."), field="input", allowed=tr("a JSON object")
        ) from None
    except ValueError as wrong:
        raise UnreadableFile(
            tr("The input is not JSON: {why}.", why=str(wrong).splitlines()[0]),
            field="input",
            allowed=tr("a JSON object"),
        ) from None


def _written_out(value: Any, text: bytes) -> None:
    """Refuse half a character (an escape such as ``\\ud800`` alone): no answer that names it could be written."""
    if b"\\u" not in text:
        return
    try:
        json.dumps(value, ensure_ascii=False).encode("utf-8")
    except UnicodeEncodeError:
        raise ValueError(tr("an escape stands for half a character")) from None


def _whole(digits: str) -> int:
    if len(digits) > LONGEST_DIGITS:
        raise ValueError(tr("a number has too many digits"))
    return int(digits)


def _no_constant(name: str) -> float:
    raise ValueError(tr("{name} is not a number here", name=name))


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    table: dict[str, Any] = {}
    for key, value in pairs:
        if key in table:
            raise ValueError(tr("the key {key} stands twice", key=repr(key)))
        table[key] = value
    return table


def answer(row: Calculation[Any, Any], given: Any, evidence: EvidenceSet | None = None) -> Any:
    """The envelope for one object; for a list, a list in which a bad item is ``{"error": …}`` in its place."""
    if isinstance(given, list):
        return [_one_of_many(row, item, evidence) for item in given]
    return _one(row, given, evidence)


def answer_json(row: Calculation[Any, Any], text: bytes, evidence: EvidenceSet | None = None) -> Any:
    """:func:`answer` from JSON text."""
    return answer(row, parse_json(text), evidence)


def _one(row: Calculation[Any, Any], given: Any, evidence: EvidenceSet | None) -> dict[str, Any]:
    if not isinstance(given, dict):
        raise InvalidInput(
            tr("The input is {kind}; allowed: an object of keys, or a list of them.", kind=type(given).__name__),
            field="input",
            allowed=tr("an object of keys, or a list of them"),
        )
    return row.run(given, evidence).as_dict()


def _one_of_many(row: Calculation[Any, Any], given: Any, evidence: EvidenceSet | None) -> dict[str, Any]:
    try:
        return _one(row, given, evidence)
    except ForestayError as error:
        return error.as_dict()

"""Eyes to sort from a table (CSV): one eye a line, the columns named as the signs; a blank is "not looked at"."""

from __future__ import annotations

from types import NoneType
from typing import Any, get_args

from forestay.calc.sorting import EyeSigns
from forestay.delimited import lines_of_table
from forestay.errors import InvalidInput, UnknownKey
from forestay.text import tr

WORDS = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}


def eyes_from_table(data: bytes, name: str = "") -> list[dict[str, Any]]:
    """The lines of a table as inputs of ``sort-eyes``; comma or semicolon, decimal point or comma.

    >>> eyes_from_table(b"eye;side;white;pressure_mmhg\\n101;left;yes;17,5\\n")
    [{'eye': '101', 'side': 'left', 'white': True, 'pressure_mmhg': 17.5}]
    """
    called = name or tr("the table")
    columns, lines = lines_of_table(data, called)
    unknown = next((c for c in columns if c not in EyeSigns.model_fields), None)
    if unknown is not None or "eye" not in columns or "side" not in columns:
        known = ", ".join(EyeSigns.model_fields)
        raise UnknownKey(
            tr(
                "{name} has the columns {columns}; allowed: {known}; eye and side are needed.",
                name=called,
                columns=", ".join(columns),
                known=known,
            ),
            field=unknown or "eye",
            allowed=known,
        )
    return [_eye(row, line) for line, row in lines]


def _eye(row: dict[str, str], line: int) -> dict[str, Any]:
    return {column: _value(column, text, line) for column, text in row.items() if text}


def _value(column: str, text: str, line: int) -> Any:
    kinds = [k for k in get_args(EyeSigns.model_fields[column].annotation) if k is not NoneType]
    if bool in kinds:
        if text.lower() not in WORDS:
            raise InvalidInput(
                tr(
                    "line {line}: {column} is {text}; allowed: yes, no or nothing.", line=line, column=column, text=text
                ),
                field=column,
                value=text,
                allowed=tr("yes, no or nothing"),
            )
        return WORDS[text.lower()]
    if column in NUMBERS:
        try:
            return float(text.replace(",", "."))
        except ValueError:
            raise InvalidInput(
                tr("line {line}: {column} is {text}, not a number.", line=line, column=column, text=text),
                field=column,
                value=text,
                allowed=tr("a number"),
            ) from None
    return text


NUMBERS = tuple(n for n in EyeSigns.model_fields if n.endswith(("_years", "_mmhg", "_d")))

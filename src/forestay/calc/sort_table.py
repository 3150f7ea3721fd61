"""Eyes to sort from a table (CSV): one eye a line, the columns named as the signs; a blank is "not looked at"."""

from __future__ import annotations

import csv
import io
from types import NoneType
from typing import Any, get_args

from forestay.calc.sorting import EyeSigns
from forestay.errors import InvalidInput, UnknownKey, UnreadableFile
from forestay.text import tr

WORDS = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}


def eyes_from_table(data: bytes, name: str = "") -> list[dict[str, Any]]:
    """The lines of a table as inputs of ``sort-eyes``; comma or semicolon, decimal point or comma.

    >>> eyes_from_table(b"eye;side;white;pressure_mmhg\\n101;left;yes;17,5\\n")
    [{'eye': '101', 'side': 'left', 'white': True, 'pressure_mmhg': 17.5}]
    """
    called = name or tr("the table")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise UnreadableFile(tr("{name} is not a text file in UTF-8.", name=called), allowed="CSV") from None
    head = text.split("\n", 1)[0]
    rows = csv.DictReader(io.StringIO(text), delimiter=";" if ";" in head else ",")
    columns = [c.strip() for c in rows.fieldnames or ()]
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
    return [_eye(row, number) for number, row in enumerate(rows, start=2)]


def _eye(row: dict[str, Any], line: int) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for column, raw in row.items():
        text = (raw or "").strip() if isinstance(raw, str) else ""
        if column is None or not text:
            continue
        out[column.strip()] = _value(column.strip(), text, line)
    return out


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

"""From a table and the fields of the form to what the page shows, and to the mapping that somebody chose."""

from __future__ import annotations

import json
from collections.abc import Mapping as Fields
from dataclasses import dataclass, field
from typing import Any

from forestay.case.fields import SECTIONS
from forestay.errors import InvalidInput
from forestay.exchange.table_file import Table as _Read
from forestay.exchange.table_file import plain, read_table
from forestay.exchange.table_mapping import Mapping, fields, kind_of, mapping_of
from forestay.exchange.units import allowed_units
from forestay.services.tables import TableLook, own_unit
from forestay.text import field_words, tr
from forestay.web.views.entry_words import label_of, section_titles
from forestay.web.views.importing import ColumnLine, RoleGroup, RowLine
from forestay.web.views.shell import told

CASE, DATE = "case", "date"
EXAMPLES = 3
MOST_ROWS = 200
ENDS = 40


@dataclass(frozen=True, slots=True)
class Table:
    """A table as the page needs it."""

    headings: tuple[str, ...] = field(metadata=told("headings of the columns"))
    examples: tuple[str, ...] = field(metadata=told("first values of each column"))

    @classmethod
    def read(cls, data: bytes, name: str, *, encoding: str) -> Table:
        """Headings, and the first values of each column."""
        read: _Read = read_table(data, name, encoding=encoding)
        first = read.rows[:EXAMPLES]
        shown = [[plain(row[n])[:ENDS] for row in first if n < len(row)] for n in range(len(read.headings))]
        return cls(read.headings, tuple(" · ".join(value for value in column if value) for column in shown))


def column_lines(table: Table, given: Fields[str, str]) -> tuple[ColumnLine, ...]:
    """Each column with what was chosen for it; a heading that is a field's own name is that field, in its own unit."""
    known = set(fields())
    return tuple(
        ColumnLine(
            number=n,
            heading=heading,
            examples=table.examples[n],
            role=given.get(f"role-{n}", heading if heading in known or heading in (CASE, DATE) else ""),
            unit=given.get(f"unit-{n}", own_unit(heading) if heading in known else ""),
            words=given.get(f"words-{n}", ""),
        )
        for n, heading in enumerate(table.headings)
    )


def roles() -> tuple[RoleGroup, ...]:
    """What a column can be: fields in words, by section of the case file."""
    titles = {**section_titles(), "seen": tr("Follow-up")}
    first = (("", tr("not read")), (CASE, tr("number of the case")), (DATE, tr("date of the row")))
    able = [path for path in fields() if kind_of(path) != "table"]
    return (
        RoleGroup(tr("Table"), first),
        *(
            RoleGroup(title, tuple((path, _label(path)) for path in able if path.startswith(f"{section}.")))
            for section, title in titles.items()
        ),
    )


def _label(path: str) -> str:
    section, _, key = path.partition(".")
    meaning = SECTIONS[section].model_fields[key].description if section in SECTIONS else None
    return label_of(path, meaning or field_words(path))


def units() -> tuple[str, ...]:
    """Every unit that some field can be in."""
    return tuple(dict.fromkeys(unit for path in fields() if kind_of(path) == "number" for unit in allowed_units(path)))


def told_mapping(given: Fields[str, str], headings: tuple[str, ...]) -> Mapping:
    """The mapping that the form says."""
    columns: dict[str, Any] = {}
    named: dict[str, str] = {}
    for n, heading in enumerate(headings):
        role = given.get(f"role-{n}", "")
        if role in (CASE, DATE):
            if role in named:
                raise InvalidInput(
                    tr("Two columns are mapped to {field}.", field=role), field=role, allowed=tr("each field once")
                )
            named[role] = heading
        elif role:
            columns[heading] = _column(role, given.get(f"unit-{n}", ""), given.get(f"words-{n}", ""))
    plainly = {
        "date_format": given.get("date_format", "").strip() or None,
        "encoding": given.get("encoding") or "utf-8",
    }
    return mapping_of({**named, **plainly, "decimal": given.get("decimal") or ".", "columns": columns})


def _column(role: str, unit: str, words: str) -> dict[str, Any]:
    made: dict[str, Any] = {"field": role} | ({"unit": unit} if unit else {})
    pairs = [part for part in words.split(",") if part.strip()]
    meant: dict[str, Any] = {}
    for part in pairs:
        word, sign, meaning = part.partition("=")
        if not sign or not word.strip() or not meaning.strip():
            raise InvalidInput(
                tr("{part} is no pair as in OD = right.", part=part.strip()[:ENDS]),
                field=role,
                value=part.strip()[:ENDS],
                allowed=tr("word = meaning, separated by commas"),
            )
        meant[word.strip()] = _meaning(role, meaning.strip())
    return made | ({"words": meant} if meant else {})


def _meaning(role: str, text: str) -> str | float | bool:
    if role in fields() and kind_of(role) == "yes-no":
        return {"yes": True, "true": True, "no": False, "false": False}.get(text.lower(), text)
    if role in fields() and kind_of(role) == "number":
        try:
            return float(text)
        except ValueError:
            return text
    return text


def mapping_as_file(mapping: Mapping) -> str:
    """The mapping as a file for the command, so that nobody chooses twice."""
    plainly = mapping.model_dump(exclude_none=True, exclude_defaults=True)
    columns = plainly.pop("columns")
    lines = [f"{key} = {_toml(value)}" for key, value in plainly.items()]
    for heading, column in columns.items():
        lines += ["", f"[columns.{_toml(heading)}]", *(f"{key} = {_toml(value)}" for key, value in column.items())]
    return "\n".join(lines) + "\n"


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_toml(key)} = {_toml(inner)}" for key, inner in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007F")


def row_lines(look: TableLook) -> tuple[RowLine, ...]:
    """The rows, those that are refused first."""
    words = {"new": tr("new case"), "added": tr("added"), "unchanged": tr("unchanged"), "refused": tr("refused")}
    ordered = sorted(look.rows, key=lambda row: row.state != "refused")
    return tuple(
        RowLine(row.line, row.case, words[row.state], "; ".join(row.says), row.state == "refused")
        for row in ordered[:MOST_ROWS]
    )

"""Which column of a table is which field, in which unit: a file that a practice writes once.

case = "Number"
date = "Measured on"
decimal = ","

[columns."Length"]
field = "biometry.axial_length_mm"
unit = "mm"

[columns."Eye"]
field = "eye.side"
words = { OD = "right", OS = "left" }
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping as Table
from datetime import UTC, datetime
from typing import Any, Literal

from pydantic import Field, model_validator

from forestay.case.bodies import Seen
from forestay.case.fields import SECTIONS, is_field
from forestay.errors import InvalidInput, UnreadableFile
from forestay.exchange.units import allowed_units
from forestay.eye.validation import validate
from forestay.record import Record
from forestay.text import tr

SEEN_FIELDS = tuple(f"seen.{name}" for name in Seen.model_fields)
MOST_COLUMNS = 300
ANY_DAY = datetime(2026, 3, 1, tzinfo=UTC)


class Column(Record):
    """What one column holds."""

    field: str
    unit: str | None = None
    words: dict[str, str | float | bool] = Field(default_factory=dict)
    """What stands in the cells -> what it means."""

    @model_validator(mode="after")
    def _known(self) -> Column:
        known = is_field(self.field) or self.field in SEEN_FIELDS
        if not known or kind_of(self.field) == "table":
            raise InvalidInput(
                tr("{field} is not a field of the case file or of a visit.", field=self.field[:80]),
                field="field",
                value=self.field[:80],
                allowed=tr("as in biometry.axial_length_mm, eye.side, seen.refraction_d"),
            )
        units = allowed_units(self.field) if is_number(self.field) else ()
        if (units and self.unit not in units) or (not units and self.unit is not None):
            allowed = ", ".join(units) or tr("no unit")
            raise InvalidInput(
                tr(
                    "The unit of {field} is {unit}; allowed: {allowed}.",
                    field=self.field,
                    unit=self.unit or tr("missing"),
                    allowed=allowed,
                ),
                field="unit",
                value=self.unit,
                allowed=allowed,
            )
        return self


class Mapping(Record):
    """How to read one kind of table."""

    case: str = Field(min_length=1)
    """Heading of the column that names the case: a number, never a name."""
    date: str | None = None
    date_format: str | None = None
    decimal: Literal[".", ","] = "."
    separator: Literal[",", ";", "\t", "|"] | None = None
    encoding: Literal["utf-8", "latin-1", "cp1252", "utf-16"] = "utf-8"
    sheet: str | None = None
    columns: dict[str, Column] = Field(min_length=1, max_length=MOST_COLUMNS)

    @model_validator(mode="after")
    def _dates_can_be_read(self) -> Mapping:
        """A part of a date that stands twice in the format fails in the reader of dates, not as a value."""
        form = self.date_format
        try:
            if form is not None:
                datetime.strptime(ANY_DAY.strftime(form), form)  # noqa: DTZ007 - only whether it can be read
        except (ValueError, re.error):
            raise InvalidInput(
                tr("The format of dates {value!r} cannot be read.", value=str(form)[:40]),
                field="date_format",
                value=str(form)[:40],
                allowed="%d.%m.%Y",
            ) from None
        return self

    @model_validator(mode="after")
    def _each_field_once(self) -> Mapping:
        fields = [column.field for column in self.columns.values()]
        twice = sorted({field for field in fields if fields.count(field) > 1})
        if twice:
            raise InvalidInput(
                tr("Two columns are mapped to {field}.", field=twice[0]),
                field="columns",
                value=twice[0],
                allowed=tr("each field once"),
            )
        return self


def read_mapping(data: bytes, name: str) -> Mapping:
    """A mapping from its file (TOML); one clear error where it cannot be used."""
    try:
        raw = tomllib.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as wrong:
        raise UnreadableFile(
            tr("{name} cannot be read as TOML: {reason}.", name=name, reason=str(wrong).splitlines()[0][:160]),
            field="mapping",
            allowed="TOML",
        ) from None
    return mapping_of(raw)


def mapping_of(raw: Table[str, Any]) -> Mapping:
    """A mapping from plain tables, as a form gives it."""
    return validate(Mapping, raw)


def kind_of(path: str) -> str:
    """What the field holds: ``number``, ``yes-no``, ``list``, ``table`` or ``word``."""
    section, _, key = path.partition(".")
    record = Seen if section == "seen" else SECTIONS[section]
    told = str(record.model_fields[key].annotation)
    for part, kind in (
        ("tuple", "list"),
        ("float", "number"),
        ("int", "number"),
        ("bool", "yes-no"),
        ("Literal", "word"),
    ):
        if part in told:
            return kind
    return "word" if "str" in told else "table"


def is_number(path: str) -> bool:
    """Whether the field holds one number."""
    return kind_of(path) == "number"


def fields() -> tuple[str, ...]:
    """All fields that a column can be mapped to."""
    return (*(f"{section}.{key}" for section, record in SECTIONS.items() for key in record.model_fields), *SEEN_FIELDS)

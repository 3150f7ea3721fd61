"""Rows of a table to values of cases, each with its own faults: what is wrong is said by line and column."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any

from forestay.case.bodies import Seen
from forestay.case.fact import CaseId
from forestay.case.fields import check_values
from forestay.errors import ForestayError
from forestay.exchange.dicom_in import DAYS_OF_YEAR
from forestay.exchange.table_file import Table, plain
from forestay.exchange.table_mapping import Column, Mapping, kind_of
from forestay.exchange.units import BORN, SNELLEN, converter, logmar_of_snellen, rounded
from forestay.eye.quantity import allowed, bounds
from forestay.eye.validation import validate
from forestay.record import Record
from forestay.text import tr

YES_NO = {"yes": True, "no": False, "true": True, "false": False}
BETWEEN = re.compile("[;|]")
"""What stands between the parts of a list in one cell."""
SHOWN = 40
NOON = 12


class _Case(Record):
    case: CaseId


@dataclass(slots=True)
class Row:
    """One row, read: of which case, when, what it says, and what cannot be."""

    number: int
    case: str
    moment: datetime | None = None
    values: dict[str, Any] = field(default_factory=dict)
    seen: dict[str, Any] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


class _FaultError(Exception):
    """One cell cannot be."""


def read_rows(table: Table, mapping: Mapping) -> list[Row]:
    """Every row of the table, whatever is wrong with it."""
    place = {heading: n for n, heading in enumerate(table.headings)}
    return [_row(number, cells, place, mapping) for number, cells in zip(table.numbers, table.rows, strict=True)]


def missing_columns(table: Table, mapping: Mapping) -> list[str]:
    """Columns that the mapping names and the table lacks."""
    named = [mapping.case, *([mapping.date] if mapping.date else []), *mapping.columns]
    return [name for name in named if name not in table.headings]


def columns_left(table: Table, mapping: Mapping) -> list[str]:
    """Columns that nothing is read from."""
    return [h for h in table.headings if h not in mapping.columns and h not in (mapping.case, mapping.date)]


def _row(number: int, cells: tuple[Any, ...], place: dict[str, int], mapping: Mapping) -> Row:
    row = Row(number, plain(cells[place[mapping.case]]))
    if len(cells) > len(place):
        row.faults.append(
            tr(
                "{found} cells where there are {n} headings; is a separator inside a value?",
                found=len(cells),
                n=len(place),
            )
        )
        return row
    _attempt(row, mapping.case, lambda: validate(_Case, {"case": row.case}))
    if mapping.date is not None:
        told = cells[place[mapping.date]]
        row.moment = _attempt(row, mapping.date, lambda: _moment(told, mapping.date_format, mapping.date or ""))
    for heading, column in mapping.columns.items():
        cell = cells[place[heading]]
        if plain(cell):
            _attempt(row, heading, lambda c=column, v=cell: _put(row, c, v, mapping))  # type: ignore[misc]
    if not row.faults:
        _attempt(row, "", lambda: _check(row))
    return row


def _attempt(row: Row, heading: str, does: Callable[[], Any]) -> Any:
    try:
        return does()
    except (_FaultError, ForestayError) as wrong:
        said = wrong.message if isinstance(wrong, ForestayError) else str(wrong)
        row.faults.append(f"{heading}: {said}" if heading else said)
        return None


def _put(row: Row, column: Column, cell: Any, mapping: Mapping) -> None:
    value = _value(column, cell, mapping, row.moment)
    section, _, key = column.field.partition(".")
    if section == "seen":
        row.seen[key] = value
    else:
        check_values({column.field: value})
        row.values[column.field] = value


def _check(row: Row) -> None:
    """What only shows in the row as a whole."""
    if row.seen:
        if "day" not in row.seen:
            raise _FaultError(tr("what was seen at a visit needs seen.day, counted from the operation"))
        validate(Seen, row.seen)
    if not row.values and not row.seen:
        raise _FaultError(tr("it holds no value"))
    if row.values:
        check_values(row.values)


def _value(column: Column, cell: Any, mapping: Mapping, moment: datetime | None) -> Any:
    text = plain(cell)
    if column.words:
        if text not in column.words:
            known = ", ".join(column.words)
            raise _FaultError(
                tr("{value} is not among the words of the mapping: {known}", value=_shown(text), known=known)
            )
        return column.words[text]
    kind = kind_of(column.field)
    if kind == "number":
        return _number(column, cell, mapping, moment)
    if kind == "yes-no":
        known_words = cell if isinstance(cell, bool) else YES_NO.get(text.lower())
        if known_words is None:
            raise _FaultError(tr("{value} is neither yes nor no", value=_shown(text)))
        return known_words
    if kind == "list":
        parts = [part.strip() for part in BETWEEN.split(text) if part.strip()]
        floats = "clock_hours" in column.field
        return [_float(part, mapping.decimal) for part in parts] if floats else parts
    return text


def _number(column: Column, cell: Any, mapping: Mapping, moment: datetime | None) -> float:
    if column.unit == BORN:
        return _years(cell, mapping, moment)
    if column.unit == SNELLEN:
        number = logmar_of_snellen(plain(cell))
        if not math.isfinite(number):
            raise _FaultError(tr("{value} is no fraction such as 6/18", value=_shown(plain(cell))))
        return rounded(column.field, number)
    number = _float(cell, mapping.decimal)
    value = converter(column.field, column.unit)(number)
    name = column.field.rpartition(".")[2]
    if not math.isfinite(value):
        raise _FaultError(tr("{value} cannot be", value=_shown(plain(cell))))
    value = rounded(column.field, value)
    if column.field.endswith((".day", ".days")) and value.is_integer():
        return int(value)
    if column.field.startswith("seen.") and name in _SEEN_LIMITS:
        low, high = bounds(_SEEN_LIMITS[name])
        if not low <= value <= high:
            raise _FaultError(tr("{value} is not {allowed}", value=f"{value:g}", allowed=allowed(_SEEN_LIMITS[name])))
    return value


_SEEN_LIMITS = {
    "acuity_logmar": "visual_acuity_logmar",
    "cylinder_d": "magnitude_d",
    "cylinder_axis_deg": "axis_deg",
} | {
    name: name
    for name in (
        "pressure_mmhg",
        "refraction_d",
        "k1_d",
        "k1_axis_deg",
        "k2_d",
        "k2_axis_deg",
        "corneal_thickness_um",
        "endothelial_count_per_mm2",
    )
}


def _float(cell: Any, decimal: str) -> float:
    """A number as the mapping says that numbers are written; thousands are not grouped."""
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        number = float(cell)
    else:
        text = plain(cell)
        other = "." if decimal == "," else ","
        try:
            if other in text or "_" in text:
                raise ValueError
            number = float(text.replace(decimal, "."))
        except ValueError:
            raise _FaultError(
                tr("{value} is no number with {decimal} before its decimals", value=_shown(text), decimal=decimal)
            ) from None
    if not math.isfinite(number):
        raise _FaultError(tr("{value} is no number", value=_shown(plain(cell))))
    return number


def _moment(cell: Any, form: str | None, heading: str) -> datetime:
    """When the row was measured; a day is its noon, and a time without a zone that of this computer."""
    if isinstance(cell, datetime):
        found = cell
    elif isinstance(cell, date):
        found = datetime(cell.year, cell.month, cell.day, NOON)  # noqa: DTZ001 - the zone follows
    else:
        text = plain(cell)
        try:
            found = datetime.strptime(text, form) if form else datetime.fromisoformat(text)  # noqa: DTZ007 - as above
        except ValueError:
            allowed = form or tr("2026-03-01")
            raise _FaultError(
                tr("{value} is no date as in {allowed}", value=_shown(text) or heading, allowed=allowed)
            ) from None
        if found == datetime.combine(found.date(), datetime.min.time()) and ":" not in text:
            found = found.replace(hour=NOON)
    try:
        return found if found.tzinfo is not None else found.astimezone()
    except (OverflowError, OSError, ValueError):
        raise _FaultError(tr("{value} is no date", value=_shown(plain(cell)))) from None


def _years(cell: Any, mapping: Mapping, moment: datetime | None) -> float:
    """Whole years at the row's date; the date of birth itself is not kept."""
    if moment is None:
        raise _FaultError(tr("an age from a date of birth needs the date of the row"))
    born = _moment(cell, mapping.date_format, "").date()
    return float(int((moment.date() - born) / timedelta(days=DAYS_OF_YEAR)))


def _shown(text: str) -> str:
    return text if len(text) <= SHOWN else text[:SHOWN] + "…"

"""A table of many eyes into the record: looked at first, then all of it or nothing.

Each row speaks for itself. A case that is not kept yet is opened by its row, which then needs age and side; in a case that
is kept, a value that differs stands beside the one there as a disagreement until somebody decides.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal
from uuid import UUID, uuid5

from forestay.case.bodies import Body, Found, Measured, Seen
from forestay.case.fact import Fact, new_fact
from forestay.case.fields import shown
from forestay.case.fold import fold
from forestay.case.from_file import GROUPS
from forestay.case.jsontext import canonical
from forestay.errors import ForestayError, InvalidInput, MissingInput
from forestay.exchange.table_file import Table, read_table
from forestay.exchange.table_mapping import Mapping, fields, kind_of, mapping_of
from forestay.exchange.table_rows import Row, columns_left, missing_columns, read_rows
from forestay.exchange.units import allowed_units
from forestay.eye.validation import validate
from forestay.services.cases import TABLES
from forestay.store.interface import FactStore
from forestay.text import field_words, tr

NAMESPACE = UUID("b4b4b5ce-4f7e-4f43-9c44-8d6b8d5a2c10")
AUTHOR = "table"
MOST_TOLD = 20
State = Literal["new", "added", "unchanged", "refused"]
STATES: tuple[State, ...] = ("new", "added", "unchanged", "refused")
CASE = "case"
NEEDED = ("eye.side", "person.age_years")
_KIND = {path: kind for _, kind, paths in GROUPS for path in paths}


@dataclass(frozen=True, slots=True)
class RowOutcome:
    """What a row does, or why it cannot."""

    line: int
    case: str
    state: State
    says: tuple[str, ...]
    """Values as they were understood, or what is wrong."""
    facts: int = 0


@dataclass(frozen=True, slots=True)
class TableLook:
    """What a table would do, or did."""

    rows: tuple[RowOutcome, ...]
    left: tuple[str, ...]
    """Columns that nothing was read from."""
    kept: bool = False

    def count(self, state: State) -> int:
        """How many rows do that."""
        return sum(row.state == state for row in self.rows)


def table_of(data: bytes, name: str, mapping: Mapping) -> Table:
    """The table as the mapping says it is written; the columns that it names must be there."""
    table = read_table(data, name, separator=mapping.separator, encoding=mapping.encoding, sheet=mapping.sheet)
    absent = missing_columns(table, mapping)
    if absent:
        raise MissingInput(
            tr("{name} has no column {columns}.", name=name, columns=", ".join(absent)[:200]),
            field="columns",
            value=absent[0][:80],
            allowed=", ".join(table.headings)[:400],
        )
    if not table.rows:
        raise MissingInput(tr("{name} has no rows.", name=name), field="rows", allowed=tr("at least one row"))
    return table


def look_at_table(store: FactStore, data: bytes, name: str, mapping: Mapping) -> TableLook:
    """What each row would do; nothing is kept."""
    return _look(store, data, name, mapping, AUTHOR)[0]


def import_table(store: FactStore, data: bytes, name: str, mapping: Mapping, *, author: str = AUTHOR) -> TableLook:
    """Keep all rows, or none where one of them cannot be."""
    look, facts = _look(store, data, name, mapping, author)
    refused = [row for row in look.rows if row.state == "refused"]
    if refused:
        told = [
            tr("line {line}: {why}", line=row.line, why="; ".join(row.says).rstrip(".")) for row in refused[:MOST_TOLD]
        ]
        more = tr(" and {n} more", n=len(refused) - MOST_TOLD) if len(refused) > MOST_TOLD else ""
        raise InvalidInput(
            tr(
                "{n} of {all} rows cannot be read, and nothing was kept: {told}{more}.",
                n=len(refused),
                all=len(look.rows),
                told=" | ".join(told),
                more=more,
            ),
            field=f"line {refused[0].line}",
            value=len(refused),
            allowed=tr("a table in which every row can be read"),
        )
    store.append_all(facts)
    return TableLook(look.rows, look.left, kept=True)


def _look(
    store: FactStore, data: bytes, name: str, mapping: Mapping, author: str
) -> tuple[TableLook, dict[str, list[Fact]]]:
    table = table_of(data, name, mapping)
    rows = read_rows(table, mapping)
    known = set(store.cases())
    kept: dict[str, list[Fact]] = {}
    added: dict[str, list[Fact]] = {}
    outcomes = []
    for row in rows:
        if row.case not in kept:
            kept[row.case] = store.facts(row.case) if row.case in known else []
        outcomes.append(_outcome(row, kept[row.case], added, author))
    return TableLook(tuple(outcomes), tuple(columns_left(table, mapping))), {c: f for c, f in added.items() if f}


def _outcome(row: Row, kept: Sequence[Fact], added: dict[str, list[Fact]], author: str) -> RowOutcome:
    if row.faults:
        return RowOutcome(row.number, row.case, "refused", tuple(row.faults))
    waiting = added.get(row.case, [])
    there = {fact.header.id for fact in [*kept, *waiting]}
    try:
        _right_eye(row, [*kept, *waiting])
        made = [fact for fact in _facts(row, author) if fact.header.id not in there]
        fold([*kept, *waiting, *made])
    except ForestayError as wrong:
        return RowOutcome(row.number, row.case, "refused", (wrong.message,))
    added.setdefault(row.case, []).extend(made)
    state: State = "unchanged" if not made else "added" if kept or waiting else "new"
    return RowOutcome(row.number, row.case, state, _says(row), len(made))


def _right_eye(row: Row, kept: Sequence[Fact]) -> None:
    """A new case needs side and age; a kept one must be about the row's eye."""
    if not kept:
        absent = [path for path in NEEDED if path not in row.values]
        if absent:
            raise MissingInput(
                tr("a new case needs {fields}", fields=", ".join(absent)), field=absent[0], allowed=tr("a value")
            )
        return
    own = fold(kept).case.eye.side
    told = row.values.get("eye.side", own)
    if told != own:
        raise InvalidInput(
            tr("the case is about the {own} eye, the row about the {side} one", own=own, side=told),
            field="eye.side",
            value=told,
            allowed=own,
        )


def _says(row: Row) -> tuple[str, ...]:
    values = {**row.values, **{f"seen.{key}": value for key, value in row.seen.items()}}
    return tuple(f"{_called(path)} {shown(path, value)}" for path, value in values.items())


def _called(path: str) -> str:
    """A field in words; of the fellow eye, of a visit and of the aim that is said."""
    section, words = path.partition(".")[0], field_words(path)
    if section == "fellow":
        return tr("fellow eye, {field}", field=words)
    if section == "seen":
        return tr("visit, {field}", field=words)
    return tr("aim, {field}", field=words) if section == "target" else words


def _facts(row: Row, author: str) -> list[Fact]:
    """One fact a kind. Each row is a device of its own: none knows of another."""
    groups: list[tuple[type[Body], dict[str, object]]] = [
        (Found, {"values": {p: v for p, v in row.values.items() if _KIND.get(p, Found) is Found}}),
        (Measured, {"values": {p: v for p, v in row.values.items() if _KIND.get(p) is Measured}}),
        (Seen, dict(row.seen)),
    ]
    told = {"values": row.values, "seen": row.seen, "at": row.moment.isoformat() if row.moment else None}
    key = hashlib.sha256(canonical(told)).hexdigest()
    moment = row.moment or datetime.now(UTC).astimezone()
    return [
        new_fact(
            validate(kind, body),
            case=row.case,
            author=author,
            device=f"table-{key[:12]}-{kind.KIND}",
            device_sequence=1,
            happened_at=moment,
            id=uuid5(NAMESPACE, f"{row.case}/{key}/{kind.KIND}"),
        )
        for kind, body in groups
        if body.get("values", body)
    ]


def is_own_table(data: bytes, name: str) -> bool:
    """Whether the headings are names of fields, as an export writes them: such a table needs no mapping."""
    if not name.lower().endswith(TABLES):
        return False
    try:
        headings = set(read_table(data, name).headings)
    except ForestayError:
        return False
    return {CASE, *NEEDED} <= headings


def own_mapping(data: bytes, name: str) -> Mapping:
    """The mapping of a table that an export wrote: each heading is its field, in the field's own unit."""
    headings = read_table(data, name).headings
    known = [h for h in headings if h in fields() and kind_of(h) != "table" and not h.startswith("seen.")]
    columns = {h: {"field": h} | ({"unit": own_unit(h)} if own_unit(h) else {}) for h in known}
    return mapping_of({"case": CASE, "columns": columns})


def own_unit(path: str) -> str:
    """The unit that a field is kept in, as a mapping names it; empty where it has none."""
    return allowed_units(path)[0] if kind_of(path) == "number" and allowed_units(path) else ""

"""The index of words and fields: written with each fact, made again from the facts when asked, and searched."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress

from sqlalchemy import Connection, Select, delete, insert, or_, select, text

from forestay.case.chain import Link
from forestay.errors import ForestayError
from forestay.store.interface import Hit
from forestay.store.question import Field, Question, Word, text_of, values_of, words
from forestay.store.rows import links_of
from forestay.store.tables import SEQUENCES, case, document, erasure, fact_field

SIGNS = {"=": "__eq__", "<": "__lt__", "<=": "__le__", ">": "__gt__", ">=": "__ge__"}
MOST_FACTS = 5
"""Facts that are named for each case found."""
LISTED = 500
"""Facts read for each part: the newest cases come first."""
ADD_WORDS = {
    "sqlite": text("INSERT INTO fact_text (rowid, words) VALUES (:doc, :words)"),
    "postgresql": text("INSERT INTO fact_text (doc, words) VALUES (:doc, to_tsvector('simple', :words))"),
}
ADD_FIELDS = insert(fact_field)
DOC = {"sqlite": "rowid", "postgresql": "doc"}
MATCHES = {
    "sqlite": "fact_text MATCH :asked",
    "postgresql": "words @@ to_tsquery('simple', :asked)",
}


def index(connection: Connection, number: int, links: Iterable[Link]) -> None:
    """Add facts to the index. What cannot be read here (a newer form) is kept, but not found."""
    told: list[dict[str, object]] = []
    fields: list[dict[str, object]] = []
    for link in links:
        fact = link.fact
        if fact is None:
            continue
        with suppress(ForestayError):
            said = " ".join(words(text_of(fact)))
            values = values_of(fact)
            told.append({"doc": document(number, link.sequence), "words": said})
            fields += [
                {
                    "case_number": number,
                    "server_sequence": link.sequence,
                    "name": value.name,
                    "place": value.place,
                    "number": value.number,
                    "word": value.word,
                }
                for value in values
            ]
    if told:
        connection.execute(ADD_WORDS[connection.dialect.name], told)
    if fields:
        connection.execute(ADD_FIELDS, fields)


def forget(connection: Connection, number: int) -> None:
    """Take a case out of the index."""
    connection.execute(delete(fact_field).where(fact_field.c.case_number == number))
    named = {"low": document(number, 0), "high": document(number + 1, 0)}
    doc = DOC[connection.dialect.name]
    connection.execute(text(f"DELETE FROM fact_text WHERE {doc} >= :low AND {doc} < :high"), named)  # noqa: S608
    if connection.dialect.name == "sqlite":
        connection.execute(text("INSERT INTO fact_text (fact_text) VALUES ('optimize')"))


def reindex(connection: Connection) -> int:
    """Make the whole index again from the facts; the number of cases read."""
    connection.execute(delete(fact_field))
    connection.execute(text("DELETE FROM fact_text"))
    numbers = list(connection.scalars(select(case.c.number).order_by(case.c.number)))
    for number in numbers:
        with suppress(ForestayError):
            index(connection, number, links_of(connection, number))
    return len(numbers)


def search(connection: Connection, question: Question, *, limit: int) -> list[Hit]:
    """See :meth:`~forestay.store.interface.FactStore.search`."""
    found: dict[int, set[int]] | None = None
    for part in question.parts:
        among = None if found is None else sorted(found)
        hits = _word(connection, part, among) if isinstance(part, Word) else _field(connection, part, among)
        if found is not None:
            hits = {number: found[number] | sequences for number, sequences in hits.items() if number in found}
        found = hits
        if not found:
            return []
    return _named(connection, found or {}, limit)


def _named(connection: Connection, found: dict[int, set[int]], limit: int) -> list[Hit]:
    newest = sorted(found, reverse=True)
    rows = connection.execute(
        select(case.c.number, case.c.id).where(
            case.c.number.in_(newest), case.c.number.not_in(select(erasure.c.case_number))
        )
    )
    names = {row[0]: row[1] for row in rows}
    return [Hit(names[number], tuple(sorted(found[number])[:MOST_FACTS])) for number in newest if number in names][
        :limit
    ]


def _word(connection: Connection, part: Word, among: Sequence[int] | None) -> dict[int, set[int]]:
    dialect = connection.dialect.name
    doc = DOC[dialect]
    asked = {"asked": f'"{part.start}"*' if dialect == "sqlite" else f"{part.start}:*"}
    where = MATCHES[dialect]
    if among is not None and len(among) == 1:
        where += f" AND {doc} >= {document(among[0], 0):d} AND {doc} < {document(among[0] + 1, 0):d}"
    statement = text(f"SELECT {doc} FROM fact_text WHERE {where}")  # noqa: S608 - fixed words and whole numbers
    return _grouped((divmod(row[0], SEQUENCES) for row in connection.execute(statement, asked)), among)


def _field(connection: Connection, part: Field, among: Sequence[int] | None) -> dict[int, set[int]]:
    names = list(connection.scalars(_field_names(part.name)))
    column = fact_field.c.word if isinstance(part.value, str) else fact_field.c.number
    condition = getattr(column, SIGNS[part.sign])(part.value)
    rows = connection.execute(
        select(fact_field.c.case_number, fact_field.c.server_sequence).where(fact_field.c.name.in_(names), condition)
    )
    return _grouped(((row[0], row[1]) for row in rows), among)


def _field_names(name: str) -> Select[tuple[str]]:
    ending = name.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
    column = fact_field.c.name
    return select(column).where(or_(column == name, column.like(f"%.{ending}", escape="\\"))).distinct()


def _grouped(rows: Iterable[tuple[int, int]], among: Sequence[int] | None) -> dict[int, set[int]]:
    wanted = None if among is None else set(among)
    found: dict[int, set[int]] = {}
    for number, sequence in rows:
        if wanted is None or number in wanted:
            found.setdefault(number, set()).add(sequence)
    return found

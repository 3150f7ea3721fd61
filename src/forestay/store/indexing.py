"""The index of words and fields: written with each fact, made again from the facts when asked, and searched."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress

from sqlalchemy import Connection, delete, insert, select, text

from forestay.case.chain import Link
from forestay.errors import ForestayError
from forestay.store.interface import Hit
from forestay.store.question import Field, Part, Question, Word, text_of, values_of, words
from forestay.store.rows import links_of
from forestay.store.tables import SEQUENCES, case, document, erasure, fact_field

SIGNS = {"=": "__eq__", "<": "__lt__", "<=": "__le__", ">": "__gt__", ">=": "__ge__"}
MOST_FACTS = 5
"""Facts that are named for each case found."""
FEW = 2000
"""Answers up to which the cases of a part are gone through alone."""
FIRST_BLOCK, LARGEST_BLOCK = 100, 1600
"""Cases that are gone through at a time."""
EACH_NAME = text(
    "WITH RECURSIVE names(name) AS (SELECT min(name) FROM fact_field UNION ALL "
    "SELECT (SELECT min(f.name) FROM fact_field AS f WHERE f.name > names.name) FROM names WHERE names.name IS NOT NULL) "
    "SELECT name FROM names WHERE name IS NOT NULL"
)
"""Each name of a field once, from one to the next in the index."""
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
    """See :meth:`~forestay.store.interface.FactStore.search`.

    Newest cases first, a block of cases at a time, and no further than ``limit`` asks. Where one part has few answers, only
    its cases are gone through; where all have many, blocks of all cases are, and are soon full. So a search reads what it
    shows, and not all that the record holds.
    """
    found: list[Hit] = []
    fields = {part: _named_so(connection, part.name) for part in question.parts if isinstance(part, Field)}
    for block in _blocks(connection, _few(connection, question, fields)):
        answers: dict[int, set[int]] | None = None
        for part in question.parts:
            among = block if answers is None else sorted(answers)
            if not among:
                break
            rows = (
                _words_in(connection, part, among)
                if isinstance(part, Word)
                else _fields_in(connection, part, fields[part], among)
            )
            hits = _grouped(rows, among)
            answers = hits if answers is None else {n: answers[n] | told for n, told in hits.items()}
        found += _named(connection, answers or {})
        if len(found) >= limit:
            break
    return found[:limit]


def _few(connection: Connection, question: Question, fields: Mapping[Field, Sequence[str]]) -> list[int] | None:
    """The cases of the part with the fewest answers, newest first; None where every part has many."""
    fewest: list[int] | None = None
    for part in question.parts:
        rows = _rows_of(connection, part, fields.get(part, ()) if isinstance(part, Field) else ())  # one more than few
        if len(rows) <= FEW and (fewest is None or len(rows) < len(fewest)):
            fewest = [row[0] for row in rows]
    return None if fewest is None else sorted(set(fewest), reverse=True)


def _rows_of(connection: Connection, part: Part, names: Sequence[str]) -> list[tuple[int, int]]:
    """Case and sequence of what answers a part, in no order, and no more than one beyond few."""
    if isinstance(part, Word):
        dialect = connection.dialect.name
        statement = text(f"SELECT {DOC[dialect]} FROM fact_text WHERE {MATCHES[dialect]} LIMIT {FEW + 1:d}")  # noqa: S608 - fixed words
        return [divmod(row[0], SEQUENCES) for row in connection.execute(statement, _asked(connection, part))]
    chosen = select(fact_field.c.case_number, fact_field.c.server_sequence)
    column = fact_field.c.word if isinstance(part.value, str) else fact_field.c.number
    held = chosen.where(fact_field.c.name.in_(names), getattr(column, SIGNS[part.sign])(part.value)).limit(FEW + 1)
    return [(row[0], row[1]) for row in connection.execute(held)]


def _blocks(connection: Connection, numbers: Sequence[int] | None) -> Iterator[list[int]]:
    """Cases in blocks, newest first: of these, or of all. Blocks grow, so that a long way takes few steps."""
    size, at, before = FIRST_BLOCK, 0, None
    while True:
        if numbers is not None:
            block = list(numbers[at : at + size])
        else:
            asked = select(case.c.number).order_by(case.c.number.desc()).limit(size)
            block = list(connection.scalars(asked if before is None else asked.where(case.c.number < before)))
        if not block:
            return
        yield block
        at, before, size = at + size, block[-1], min(2 * size, LARGEST_BLOCK)


def _named(connection: Connection, found: dict[int, set[int]]) -> list[Hit]:
    """The cases that are still there, newest first, with the first facts that answer."""
    if not found:
        return []
    rows = connection.execute(
        select(case.c.number, case.c.id).where(
            case.c.number.in_(found), case.c.number.not_in(select(erasure.c.case_number))
        )
    )
    names = {row[0]: row[1] for row in rows}
    return [Hit(names[n], tuple(sorted(found[n])[:MOST_FACTS])) for n in sorted(names, reverse=True)]


def _asked(connection: Connection, part: Word) -> dict[str, str]:
    return {"asked": f'"{part.start}"*' if connection.dialect.name == "sqlite" else f"{part.start}:*"}


def _words_in(connection: Connection, part: Word, among: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Facts of these cases, and of those between them, that have a word beginning so."""
    dialect = connection.dialect.name
    doc, low, high = DOC[dialect], document(min(among), 0), document(max(among) + 1, 0)
    where = f"{MATCHES[dialect]} AND {doc} >= {low:d} AND {doc} < {high:d}"
    statement = text(f"SELECT {doc} FROM fact_text WHERE {where}")  # noqa: S608 - fixed words and whole numbers
    return (divmod(row[0], SEQUENCES) for row in connection.execute(statement, _asked(connection, part)))


def _fields_in(
    connection: Connection, part: Field, names: Sequence[str], among: Sequence[int]
) -> Iterator[tuple[int, int]]:
    """Facts of these cases that give the field such a value. Name and value are asked in a way that no index answers, so
    that the case leads: an index of values would go through every case of the record."""
    name = fact_field.c.name.concat("")
    value = fact_field.c.word.concat("") if isinstance(part.value, str) else fact_field.c.number + 0
    rows = connection.execute(
        select(fact_field.c.case_number, fact_field.c.server_sequence).where(
            fact_field.c.case_number.in_(among), name.in_(names), getattr(value, SIGNS[part.sign])(part.value)
        )
    )
    return ((row[0], row[1]) for row in rows)


def _named_so(connection: Connection, name: str) -> list[str]:
    """The names of fields in the record that are called so, with or without their section: one step of the index each."""
    return [one for one in connection.scalars(EACH_NAME) if one == name or one.endswith(f".{name}")]


def _grouped(rows: Iterable[tuple[int, int]], among: Sequence[int]) -> dict[int, set[int]]:
    wanted = set(among)
    found: dict[int, set[int]] = {}
    for number, sequence in rows:
        if number in wanted:
            found.setdefault(number, set()).add(sequence)
    return found

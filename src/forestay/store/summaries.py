"""A line for each case, worked out from its facts and kept until there are more facts. It can always be made again."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace

from sqlalchemy import delete, func, insert, select

from forestay.case.chain import Link, facts_of
from forestay.case.fold import fold
from forestay.errors import ForestayError
from forestay.store.database import Database
from forestay.store.indexing import reindex
from forestay.store.rows import links_of
from forestay.store.tables import case, erasure, fact, summary


@dataclass(frozen=True, slots=True)
class Summary:
    """What a list shows of a case without opening it."""

    case: str
    sequence: int
    """How many facts there are."""
    last_at: str | None = None
    """When the last fact came in, ISO 8601."""
    authors: tuple[str, ...] = ()
    side: str | None = None
    age_years: float | None = None
    sex: str | None = None
    grade: float | None = None
    appearance: str | None = None
    events: int = 0
    """Complications and other events."""
    disagreements: int = 0
    trouble: str | None = None
    """Why the facts make no situation yet."""


def summarise(case_id: str, links: Sequence[Link]) -> Summary:
    """The line of one case."""
    last = links[-1].header.received_at if links else None
    facts = facts_of(links)
    known = Summary(
        case=case_id,
        sequence=len(links),
        last_at=None if last is None else last.isoformat(),
        authors=tuple(sorted({one.header.author for one in facts})),
    )
    try:
        situation = fold(facts)
    except ForestayError as wrong:
        return replace(known, trouble=wrong.message)
    eye = situation.case
    return replace(
        known,
        side=eye.eye.side,
        age_years=eye.person.age_years,
        sex=eye.person.sex,
        grade=eye.lens.grade,
        appearance=eye.lens.appearance,
        events=sum(one.header.kind == "happened" for one in facts),
        disagreements=len(situation.disagreements),
    )


def summaries(database: Database) -> list[Summary]:
    """The lines of all cases that were not erased, in order of arrival. Only cases with new facts are read."""
    with database.reading() as connection:
        rows = connection.execute(
            select(case.c.number, case.c.id, func.max(fact.c.server_sequence), summary.c.sequence, summary.c.content)
            .join(fact, fact.c.case_number == case.c.number)
            .join(summary, summary.c.case_number == case.c.number, isouter=True)
            .where(case.c.number.not_in(select(erasure.c.case_number)))
            .group_by(case.c.number, case.c.id, summary.c.sequence, summary.c.content)
            .order_by(case.c.number)
        ).all()
        stale = {row[0]: summarise(row[1], links_of(connection, row[0])) for row in rows if row[2] != row[3]}
    if stale:
        with database.writing() as connection:
            connection.execute(delete(summary).where(summary.c.case_number.in_(list(stale))))
            gone = set(connection.scalars(select(erasure.c.case_number)))
            lines = [
                {"case_number": number, "sequence": line.sequence, "content": json.dumps(asdict(line))}
                for number, line in stale.items()
                if number not in gone
            ]
            if lines:
                connection.execute(insert(summary), lines)
    return [stale[row[0]] if row[0] in stale else _read(row[4]) for row in rows]


def rebuild(database: Database) -> int:
    """Throw away all that was made from the facts, and make it again; the number of cases."""
    with database.writing() as connection:
        connection.execute(delete(summary))
        count = reindex(connection)
    summaries(database)
    return count


def _read(content: str) -> Summary:
    told = json.loads(content)
    return Summary(**{**told, "authors": tuple(told["authors"])})

"""Facts as rows: reading them and writing them, byte for byte."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from uuid import UUID

from sqlalchemy import Connection, bindparam, insert, select

from forestay.case.chain import START, Link, Tail
from forestay.case.fact import Fact, canonical_header, read_header
from forestay.case.fold import conflict
from forestay.store.tables import case, erasure, fact

COLUMNS = (fact.c.header, fact.c.leaf, fact.c.chain, fact.c.body, fact.c.salt)
AT_ONCE = 500
"""Identities asked for in one statement."""
# Made once: an append runs each of them, and making a statement costs more than running it.
NUMBER = select(case.c.number).where(case.c.id == bindparam("id"))
ERASED = select(erasure.c.case_number).where(erasure.c.case_number == bindparam("number"))
LAST = (
    select(fact.c.server_sequence, fact.c.chain)
    .where(fact.c.case_number == bindparam("number"))
    .order_by(fact.c.server_sequence.desc())
    .limit(1)
)
NAMED = select(*COLUMNS).where(
    fact.c.case_number == bindparam("number"), fact.c.id.in_(bindparam("ids", expanding=True))
)
TAKEN = select(fact.c.id).where(fact.c.id.in_(bindparam("ids", expanding=True)))
ADD = insert(fact)


def case_number(connection: Connection, case_id: str) -> int | None:
    """The number under which a case is kept, None where it is not."""
    return connection.scalar(NUMBER, {"id": case_id})


def is_erased(connection: Connection, number: int) -> bool:
    """Whether a case was erased."""
    return connection.scalar(ERASED, {"number": number}) is not None


def links_of(connection: Connection, number: int, sequences: Iterable[int] | None = None) -> list[Link]:
    """The chain of a case in order, or only these of its facts."""
    wanted = select(*COLUMNS).where(fact.c.case_number == number).order_by(fact.c.server_sequence)
    if sequences is not None:
        wanted = wanted.where(fact.c.server_sequence.in_(list(sequences)))
    rows = connection.execute(wanted)
    return [Link(read_header(header), leaf, chain, body, salt) for header, leaf, chain, body, salt in rows]


def links_named(connection: Connection, number: int, ids: Iterable[UUID]) -> list[Link]:
    """Those of these facts that the case has, in order."""
    found: list[Link] = []
    for part in _parts([str(one) for one in ids]):
        rows = connection.execute(NAMED, {"number": number, "ids": part})
        found += [Link(read_header(header), leaf, chain, body, salt) for header, leaf, chain, body, salt in rows]
    return sorted(found, key=lambda link: link.sequence)


def tail_of(connection: Connection, number: int | None, ids: Iterable[UUID]) -> Tail:
    """The end of a case, with those of ``ids`` that it has."""
    if number is None:
        return Tail(0, START, {})
    last = connection.execute(LAST, {"number": number}).one_or_none()
    sequence, chain = (0, START) if last is None else (last[0], last[1])
    return Tail(sequence, chain, {link.header.id: link for link in links_named(connection, number, ids)})


def insert_links(connection: Connection, number: int, added: Sequence[Link]) -> None:
    """Write new links; an identity that another case has is refused."""
    for part in _parts([str(link.header.id) for link in added]):
        taken = set(connection.scalars(TAKEN, {"ids": part}))
        for link in added:
            if str(link.header.id) in taken:
                raise conflict(Fact(link.header, b""))
    connection.execute(
        ADD,
        [
            {
                "case_number": number,
                "server_sequence": link.sequence,
                "id": str(link.header.id),
                "kind": link.header.kind,
                "header": canonical_header(link.header),
                "body": link.body,
                "salt": link.salt,
                "leaf": link.leaf,
                "chain": link.chain,
            }
            for link in added
        ],
    )


def _parts(every: list[str]) -> Iterator[list[str]]:
    for start in range(0, len(every), AT_ONCE):
        yield every[start : start + AT_ONCE]

"""Whom a case is about: one row beside the case, never in a fact."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import Connection, delete, insert, select

from forestay.store.interface import Identity
from forestay.store.tables import case
from forestay.store.tables import identity as table


def write(connection: Connection, number: int, identity: Identity, *, by: str, at: datetime) -> None:
    """Put the row of a case in its place."""
    connection.execute(delete(table).where(table.c.case_number == number))
    connection.execute(
        insert(table).values(
            case_number=number,
            name=identity.name,
            birth_date=identity.birth_date,
            number=identity.number,
            changed_at=at.isoformat(),
            changed_by=by,
        )
    )


def read(connection: Connection, number: int) -> Identity | None:
    """The row of a case, if there is one."""
    row = connection.execute(
        select(table.c.name, table.c.birth_date, table.c.number).where(table.c.case_number == number)
    ).one_or_none()
    return None if row is None else Identity(row[0], row[1], row[2])


def cases_of(connection: Connection, number: str) -> list[str]:
    """The cases whose person is kept under this number; an erased case has no such row any more."""
    if "\0" in number:  # which PostgreSQL keeps in no text
        return []
    asked = select(case.c.id).join(table, table.c.case_number == case.c.number).where(table.c.number == number)
    return list(connection.scalars(asked.order_by(case.c.number)))

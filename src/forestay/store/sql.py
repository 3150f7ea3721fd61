"""Facts in a database: the smallest store that keeps what it has acknowledged.

SQLite, with write-ahead log, full synchronisation and immediate write transactions: an acknowledged fact is on disk,
and two writers wait for one another instead of failing.
"""

from __future__ import annotations

import secrets
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, insert, select
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, IntegrityError

from forestay.case.chain import Link, accept, continuation, facts_of, verify
from forestay.case.fact import Fact, canonical_header, read_header
from forestay.case.fold import conflict
from forestay.errors import ForestayError, InvalidInput, UnreadableFile
from forestay.store.interface import no_such_case, now
from forestay.store.tables import VERSION, case, fact, metadata
from forestay.text import tr

WAIT_MS = 5000
"""How long a writer waits for another one."""


class SqlFactStore:
    """Facts in an SQLite file. Keeps the contract of :class:`~forestay.store.interface.FactStore`."""

    def __init__(
        self, url: str, *, clock: Callable[[], datetime] = now, salt: Callable[[int], bytes] = secrets.token_bytes
    ) -> None:
        self._clock = clock
        self._salt = salt
        self._engine = _engine(url)
        try:
            with self._writing() as connection:
                _prepare(connection)
        except ForestayError:
            self.close()
            raise

    def append(self, case_id: str, facts: Iterable[Fact]) -> list[Fact]:
        """See :meth:`~forestay.store.interface.FactStore.append`."""
        arriving = list(facts)
        with self._writing() as connection:
            known = _links(connection, case_id)
            added = accept(case_id, arriving, known, received_at=self._clock(), salt=self._salt)
            _insert(connection, case_id, added)
        kept = {link.header.id: link for link in [*known, *added]}
        return [Fact(kept[one.header.id].header, one.body) for one in arriving]

    def adopt(self, case_id: str, links: Sequence[Link]) -> int:
        """See :meth:`~forestay.store.interface.FactStore.adopt`."""
        broken = verify(links)
        if broken is not None:
            raise broken.error()
        with self._writing() as connection:
            added = continuation(_links(connection, case_id), links)
            _insert(connection, case_id, added)
        return len(added)

    def facts(self, case_id: str) -> list[Fact]:
        """See :meth:`~forestay.store.interface.FactStore.facts`."""
        return facts_of(self.links(case_id))

    def links(self, case_id: str) -> list[Link]:
        """See :meth:`~forestay.store.interface.FactStore.links`."""
        with self._reading() as connection:
            found = _links(connection, case_id)
        if not found:
            raise no_such_case(case_id)
        return found

    def cases(self) -> list[str]:
        """See :meth:`~forestay.store.interface.FactStore.cases`."""
        with self._reading() as connection:
            return list(connection.scalars(select(case.c.id).order_by(case.c.number)))

    def close(self) -> None:
        """Let go of the file."""
        self._engine.dispose()

    def _writing(self) -> AbstractContextManager[Connection]:
        return self._transaction(writes=True)

    def _reading(self) -> AbstractContextManager[Connection]:
        return self._transaction(writes=False)

    @contextmanager
    def _transaction(self, *, writes: bool) -> Iterator[Connection]:
        """One transaction: everything in it, or nothing. A file that cannot be used is one clear error."""
        try:
            with self._engine.connect().execution_options(writes=writes) as connection, connection.begin():
                yield connection
        except IntegrityError:
            raise
        except (DatabaseError, sqlite3.DatabaseError) as wrong:
            reason = str(getattr(wrong, "orig", wrong))
            raise _unusable(str(self._engine.url.database), reason) from None


def _unusable(file: str, reason: str) -> UnreadableFile:
    return UnreadableFile(
        tr("The database {file} cannot be used: {reason}.", file=file, reason=reason), field="db", value=file
    )


def _engine(url: str) -> Engine:
    try:
        parsed = make_url(url)
    except ArgumentError:
        raise InvalidInput(tr("The database address cannot be read."), field="db", allowed="sqlite:///FILE") from None
    if parsed.get_backend_name() != "sqlite" or not parsed.database:
        raise InvalidInput(
            tr("The database {name} is not one that is kept here; allowed: an SQLite file.", name=parsed.drivername),
            field="db",
            value=parsed.drivername,
            allowed="sqlite:///FILE",
        )
    engine = create_engine(parsed)
    event.listen(engine, "connect", _settings)
    event.listen(engine, "begin", _begin)
    return engine


def _settings(raw: Any, _record: Any) -> None:
    """Settings of each connection. The driver's own transactions are switched off: :func:`_begin` opens them."""
    raw.isolation_level = None
    cursor = raw.cursor()
    cursor.execute(f"PRAGMA busy_timeout={WAIT_MS:d}")
    mode = cursor.execute("PRAGMA journal_mode=WAL").fetchone()[0]
    cursor.execute("PRAGMA foreign_keys=ON")
    cursor.execute("PRAGMA synchronous=FULL")
    cursor.close()
    if mode != "wal":
        raise UnreadableFile(
            tr("The database cannot keep a write-ahead log here; put it on a local disk."), field="db", value=mode
        )


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _prepare(connection: Connection) -> None:
    """Make the tables in a new file; refuse a file of a newer version, or one that is not ours."""
    version = int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
    tables = connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar_one()
    if version > VERSION:
        raise _unusable(str(connection.engine.url.database), tr("it was made by a newer Forestay"))
    if version == 0:
        if tables:
            raise _unusable(str(connection.engine.url.database), tr("it holds something else"))
        metadata.create_all(connection)
        connection.exec_driver_sql(f"PRAGMA user_version={VERSION:d}")


def _links(connection: Connection, case_id: str) -> list[Link]:
    rows = connection.execute(
        select(fact.c.header, fact.c.leaf, fact.c.chain, fact.c.body, fact.c.salt)
        .join(case, case.c.number == fact.c.case_number)
        .where(case.c.id == case_id)
        .order_by(fact.c.server_sequence)
    )
    return [Link(read_header(header), leaf, chain, body, salt) for header, leaf, chain, body, salt in rows]


def _insert(connection: Connection, case_id: str, added: Sequence[Link]) -> None:
    if not added:
        return
    number = connection.scalar(select(case.c.number).where(case.c.id == case_id))
    if number is None:
        number = connection.scalar(insert(case).values(id=case_id).returning(case.c.number))
    taken = connection.scalars(select(fact.c.id).where(fact.c.id.in_([str(link.header.id) for link in added]))).all()
    for link in added:
        if str(link.header.id) in taken:
            raise conflict(Fact(link.header, b""))
    connection.execute(
        insert(fact),
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

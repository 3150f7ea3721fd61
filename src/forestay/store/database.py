"""One database: its engine, its transactions, its signing key. Everything else in the store stands on this."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from threading import Lock
from typing import Any

from sqlalchemy import Connection, Engine, text
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError

from forestay.errors import ForestayError
from forestay.store.engine import connect, parsed
from forestay.store.interface import StoreUnavailable, unusable
from forestay.store.layout import prepare
from forestay.store.location import erasures_file, key_file
from forestay.store.sealing import introduce
from forestay.store.signing import Keyring, open_keyring
from forestay.text import tr

BUSY = ("database is locked", "database table is locked", "lock timeout")


class Database:
    """Opens the database at ``url`` and brings its tables up to date."""

    def __init__(self, url: str, *, key: Path | None = None) -> None:
        self.url = parsed(url)
        self.dialect = self.url.get_backend_name()
        self.name = str(self.url.database)
        self.engine = connect(self.url)
        self._one_writer = Lock() if self.dialect == "sqlite" else None
        self.key_path = key or key_file(url)
        self.erasures_path = erasures_file(url)
        try:
            with self.writing() as connection:
                prepare(connection, name=self.name, key_path=self.key_path)
            self.keyring: Keyring = open_keyring(self.key_path)
            with self.writing() as connection:
                introduce(connection, self.keyring)
        except ForestayError:
            self.close()
            raise

    @staticmethod
    def plain_engine(url: str) -> Engine:
        """An engine with the right settings, without looking at the tables."""
        return connect(parsed(url))

    @property
    def file(self) -> Path | None:
        """The file, where it is one."""
        return Path(self.name) if self.dialect == "sqlite" else None

    def writing(self) -> AbstractContextManager[Connection]:
        """A transaction that may write; in SQLite writers of one process stand in line."""
        return self._transaction(writes=True)

    def reading(self) -> AbstractContextManager[Connection]:
        """A transaction that sees one state of the whole."""
        return self._transaction(writes=False)

    @contextmanager
    def _transaction(self, *, writes: bool) -> Iterator[Connection]:
        """Everything in it, or nothing. A database that cannot be used is one clear error."""
        turn = self._one_writer if writes and self._one_writer is not None else nullcontext()
        try:
            options: dict[str, Any] = {"writes": writes}
            if not writes and self.dialect != "sqlite":
                options["isolation_level"] = "REPEATABLE READ"
            with turn, self.engine.connect().execution_options(**options) as connection, connection.begin():
                yield connection
        except IntegrityError:
            raise
        except (DBAPIError, sqlite3.DatabaseError) as wrong:
            raise self._failed(wrong) from None
        except Exception as wrong:
            if type(wrong).__module__.startswith("sqlcipher3"):
                raise self._failed(wrong) from None
            raise

    def _failed(self, wrong: Exception) -> ForestayError:
        reason = (str(getattr(wrong, "orig", wrong)).strip().splitlines() or [tr("no reason given")])[0].rstrip(".")
        gone = isinstance(wrong, OperationalError) and self.dialect != "sqlite"
        if gone or getattr(wrong, "connection_invalidated", False) or any(word in reason for word in BUSY):
            return StoreUnavailable(tr("The database does not answer now: {reason}.", reason=reason), field="db")
        return unusable(self.name, reason)

    def lock_case(self, connection: Connection, case_id: str) -> None:
        """Let nobody else write to this case until the transaction ends. SQLite has one writer anyway."""
        if self.dialect != "sqlite":
            connection.execute(text("SELECT pg_advisory_xact_lock(hashtextextended(:id, 1))"), {"id": case_id})

    def lock_register(self, connection: Connection) -> None:
        """Let nobody else open a case until the transaction ends."""
        if self.dialect != "sqlite":
            connection.execute(text("SELECT pg_advisory_xact_lock(2)"))

    def close(self) -> None:
        """Let go of files and connections."""
        self.engine.dispose()

"""Connections: to an SQLite file, an encrypted one, or a PostgreSQL server, with the settings that keep what was said.

SQLite: write-ahead log, full synchronisation, immediate write transactions, erased bytes overwritten. PostgreSQL:
commits wait for the disk. A database that cannot promise this is refused.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError
from sqlalchemy.pool import QueuePool

from forestay.errors import InvalidInput, UnreadableFile
from forestay.store.encryption import is_encrypted, lock_of, raw_key
from forestay.text import tr

WAIT_MS = 5000
"""How long a writer waits for another one."""
POOL, MORE = 16, 32
ALLOWED = "sqlite:///FILE, postgresql://USER@HOST/NAME"
POSTGRES = ("postgresql", "postgres", "postgresql+psycopg")


def parsed(url: str) -> URL:
    """The address in its parts; one that is not kept here is refused."""
    try:
        made = make_url(url)
    except ArgumentError:
        raise InvalidInput(tr("The database address cannot be read."), field="db", allowed=ALLOWED) from None
    if made.drivername in POSTGRES and made.database:
        return made.set(drivername="postgresql+psycopg")
    if made.get_backend_name() == "sqlite" and made.database:
        return made
    raise InvalidInput(
        tr(
            "The database {name} is not one that is kept here; allowed: {allowed}.",
            name=made.drivername,
            allowed=ALLOWED,
        ),
        field="db",
        value=made.drivername,
        allowed=ALLOWED,
    )


def connect(url: URL) -> Engine:
    """An engine with its settings."""
    return _sqlite(url) if url.get_backend_name() == "sqlite" else _postgresql(url)


def _sqlite(url: URL) -> Engine:
    file = Path(str(url.database))
    encrypted = is_encrypted(file)
    key = raw_key(lock_of(file)) if encrypted else None
    more: dict[str, Any] = {}
    if encrypted:
        import sqlcipher3

        more["module"] = sqlcipher3
    engine = create_engine(url, poolclass=QueuePool, pool_size=POOL, max_overflow=MORE, **more)

    def settings(raw: Any, _record: Any) -> None:
        """Of each connection; the key comes first. The driver's own transactions are switched off: ``begin`` opens them."""
        raw.isolation_level = None
        cursor = raw.cursor()
        if key is not None:
            cursor.execute(f"PRAGMA key = \"x'{key.hex()}'\"")
        cursor.execute(f"PRAGMA busy_timeout={WAIT_MS:d}")
        mode = cursor.execute("PRAGMA journal_mode=WAL").fetchone()[0]
        cursor.execute("PRAGMA foreign_keys=ON")
        cursor.execute("PRAGMA synchronous=FULL")
        cursor.execute("PRAGMA secure_delete=ON")
        cursor.close()
        if mode != "wal":
            raise UnreadableFile(
                tr("The database cannot keep a write-ahead log here; put it on a local disk."), field="db", value=mode
            )

    event.listen(engine, "connect", settings)
    event.listen(engine, "begin", _begin)
    return engine


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _postgresql(url: URL) -> Engine:
    try:
        import psycopg  # noqa: F401 - the driver, an extra
    except ImportError:
        raise InvalidInput(
            tr("PostgreSQL needs the extra postgres of this package."),
            field="db",
            allowed="pip install forestay[postgres]",
        ) from None
    engine = create_engine(
        url,
        pool_size=POOL,
        max_overflow=MORE,
        pool_pre_ping=True,
        connect_args={"connect_timeout": 5, "prepare_threshold": None, "application_name": "forestay"},
    )

    def settings(raw: Any, _record: Any) -> None:
        with raw.cursor() as cursor:
            cursor.execute("SET synchronous_commit TO on")
            cursor.execute(f"SET lock_timeout TO {WAIT_MS:d}")
            through = cursor.execute("SHOW fsync").fetchone()[0]
        raw.commit()
        if through != "on":
            raise UnreadableFile(
                tr("This PostgreSQL server does not write through to the disk (fsync is off); switch it on."),
                field="db",
                value="fsync",
                allowed="on",
            )

    event.listen(engine, "connect", settings)
    return engine

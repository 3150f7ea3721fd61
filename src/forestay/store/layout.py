"""Brings the tables of a database to the layout of this version: makes them, or takes an older layout step by step.

The steps are the revisions in ``migrations/versions``. A new database is made at once in the newest layout; a test
holds both ways to the same result.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, inspect, text

import forestay.store.account_tables
import forestay.store.setting_tables  # noqa: F401 - the same
from forestay.store.indexing import reindex
from forestay.store.interface import unusable
from forestay.store.sealing import seal_all
from forestay.store.signing import open_keyring
from forestay.store.tables import WORDS, metadata
from forestay.text import tr

if TYPE_CHECKING:
    from alembic.config import Config


MIGRATIONS = Path(__file__).parent / "migrations"
REVISIONS = ("0001", "0002", "0003", "0004")
"""Every layout there was, oldest first."""
VERSION_TABLE = "alembic_version"


def prepare(connection: Connection, *, name: str, key_path: Path) -> None:
    """Make or renew the tables; refuse what was made by a newer version, or is not ours."""
    if connection.dialect.name != "sqlite":
        connection.execute(text("SELECT pg_advisory_xact_lock(3)"))
    there, more = _revision(connection)
    if there == REVISIONS[-1]:
        return
    if there is None and more:
        raise unusable(name, tr("it holds something else"))
    if there is None:
        create(connection)
    elif there in REVISIONS:
        upgrade(connection)
        seal(connection, key_path)
    else:
        raise unusable(name, tr("it was made by a newer Forestay"))


def _revision(connection: Connection) -> tuple[str | None, bool]:
    """The layout's revision, None in an empty database, and whether there is anything."""
    names = set(inspect(connection).get_table_names())
    if connection.dialect.name == "sqlite":
        version = int(connection.exec_driver_sql("PRAGMA user_version").scalar_one())
        if version > len(REVISIONS):
            return f"{version:04d}", True
        if version == 1 and VERSION_TABLE not in names:
            return REVISIONS[0], True
    if VERSION_TABLE in names:
        return str(connection.execute(text(f"SELECT version_num FROM {VERSION_TABLE}")).scalar_one()), True  # noqa: S608
    return None, bool(names if connection.dialect.name == "sqlite" else names & set(metadata.tables))


def create(connection: Connection) -> None:
    """The newest layout in an empty database."""
    metadata.create_all(connection)
    for statement in WORDS[connection.dialect.name]:
        connection.exec_driver_sql(statement)
    connection.exec_driver_sql(
        f"CREATE TABLE {VERSION_TABLE} (version_num VARCHAR(32) NOT NULL, "
        f"CONSTRAINT {VERSION_TABLE}_pkc PRIMARY KEY (version_num))"
    )
    connection.execute(text(f"INSERT INTO {VERSION_TABLE} VALUES (:revision)"), {"revision": REVISIONS[-1]})  # noqa: S608
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA user_version={len(REVISIONS):d}")


def upgrade(connection: Connection, to: str = "head") -> None:
    """Take an older layout to ``to`` within the transaction of ``connection``."""
    from alembic import command

    if VERSION_TABLE not in inspect(connection).get_table_names():
        command.stamp(_settings(connection), REVISIONS[0])
    command.upgrade(_settings(connection), to)


def downgrade(connection: Connection, to: str) -> None:
    """Take the layout back to ``to``; what only the newer layout can keep is lost."""
    from alembic import command

    command.downgrade(_settings(connection), to)


def _settings(connection: Connection) -> Config:
    from alembic.config import Config

    settings = Config()
    settings.set_main_option("script_location", str(MIGRATIONS))
    settings.attributes["connection"] = connection
    return settings


def seal(connection: Connection, key_path: Path) -> None:
    """Sign what an older layout kept unsigned, as far as its chains hold, and index it."""
    seal_all(connection, open_keyring(key_path))
    reindex(connection)

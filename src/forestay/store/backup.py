"""Backup while the server runs, and restore that is checked. A backup is one SQLite file, whatever the database is.

It holds one state of the whole, every fact byte for byte, and no signing key. So a backup of a server's database can be
restored into a file and the other way round.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, delete, func, insert, select

from forestay.case.chain import verify
from forestay.errors import BrokenChain, UnreadableFile
from forestay.store import erasing
from forestay.store.checking import Finding, check
from forestay.store.database import Database
from forestay.store.encryption import PLAIN, is_encrypted, lock_of
from forestay.store.indexing import reindex
from forestay.store.rows import case_number, links_of
from forestay.store.signing import open_keyring, trust
from forestay.store.tables import case, erasure, fact, metadata, signing_key
from forestay.text import tr

NOT_COPIED = {"session", "attempt", "fact_field", "summary"}
"""What ends with the server, or is made again from the facts."""
AT_ONCE = 2000


@dataclass(frozen=True, slots=True)
class Copied:
    """What a backup or a restore holds."""

    cases: int
    facts: int
    set_aside: Path | None = None
    """Where the record that was here before the restore was put."""
    erased_again: int = 0
    """Cases that the backup still had, and that were erased again."""


def backup(database: Database, target: Path) -> Copied:
    """Write a checked copy of everything to ``target``, replacing a file there only once the copy is whole."""
    part = target.with_name(target.name + ".part")
    _remove(part)
    try:
        if database.dialect == "sqlite":
            _copy_file(database, part)
        else:
            _copy_server(database, part)
        told = _checked(database, part)
        _one_file(part)
        os.replace(part, target)
        if lock_of(part).exists():
            os.replace(lock_of(part), lock_of(target))
    except OSError as wrong:
        raise UnreadableFile(
            tr("{name} cannot be written: {why}.", name=str(target), why=wrong.strerror or str(wrong)),
            field="FILE",
            value=str(target),
        ) from None
    finally:
        _remove(part)
    return told


def _copy_file(database: Database, part: Path) -> None:
    """Through SQLite's own online copy: page by page, one state of the whole, under writers."""
    source = Path(database.name)
    if is_encrypted(source):
        shutil.copyfile(lock_of(source), lock_of(part))
    os.close(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    copy = Database.plain_engine(f"sqlite:///{part}")
    try:
        reads, writes = database.engine.raw_connection(), copy.raw_connection()
        try:
            driver: Any = reads.driver_connection
            driver.backup(writes.driver_connection)
        finally:
            reads.close()
            writes.close()
    finally:
        copy.dispose()


def _copy_server(database: Database, part: Path) -> None:
    os.close(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    copy = Database(f"sqlite:///{part}", key=database.key_path)
    try:
        one_state = database.engine.connect().execution_options(isolation_level="REPEATABLE READ")
        with one_state as source, source.begin(), copy.writing() as target:
            _empty(target)
            _copy_rows(source, target)
            reindex(target)
    finally:
        copy.close()


def _checked(database: Database, part: Path) -> Copied:
    copy = Database(f"sqlite:///{part}", key=database.key_path)
    try:
        found = check(copy)
        if found:
            raise _broken(found)
        with copy.writing() as connection:
            for name in ("session", "attempt"):
                connection.execute(delete(metadata.tables[name]))
            return _count(connection)
    finally:
        copy.close()


def restore(database: Database, source: Path, *, at: datetime) -> Copied:
    """Put the record of a backup in the place of the one here, after both were secured.

    The backup is checked first, the record here is set aside in a backup of its own, what was erased here or there is
    erased again, and the result is checked and compared with the backup fact by fact.
    """
    with _opened(database, source) as copy:
        found = check(copy)
        if found:
            raise _broken(found)
        with copy.reading() as there:
            publics = list(there.scalars(select(signing_key.c.public)))
            stones = {stone.case: stone for stone in erasing.kept(there)}
            with database.reading() as here:
                aside = _aside(database, at) if here.scalar(select(func.count()).select_from(case)) else None
                stones |= {stone.case: stone for stone in erasing.kept(here)}
            stones |= {stone.case: stone for stone in erasing.noted(database.erasures_path)}
            set_aside = None if aside is None else (backup(database, aside), aside)[1]
            trust(database.key_path, publics)
            database.keyring = open_keyring(database.key_path)
            with database.writing() as target:
                _empty(target)
                _copy_rows(there, target)
                again = _erase_again(target, stones, publics)
                reindex(target)
                told = _same(there, target)
    erasing.sweep(database)
    left = check(database)
    if left:
        raise _broken(left)
    return replace(told, set_aside=set_aside, erased_again=again)


def _aside(database: Database, at: datetime) -> Path:
    name = f"{database.erasures_path.name.removesuffix('.erasures')}.before-restore-{at:%Y%m%dT%H%M%S}.sqlite"
    return database.erasures_path.with_name(name)


@contextmanager
def _opened(database: Database, source: Path) -> Iterator[Database]:
    """The backup, through a copy, so that reading it changes nothing of it; the keys in it are trusted for the check."""
    try:
        with source.open("rb") as opened:
            ours = opened.read(len(PLAIN)) == PLAIN or is_encrypted(source)
    except OSError as wrong:
        raise UnreadableFile(
            tr("{name} cannot be read: {why}.", name=str(source), why=wrong.strerror or str(wrong)),
            field="FILE",
            value=str(source),
        ) from None
    if not ours:
        raise UnreadableFile(
            tr("{name} is not a backup.", name=source.name),
            field="FILE",
            value=str(source),
            allowed=tr("a file that forestay backup wrote"),
        )
    with tempfile.TemporaryDirectory(dir=database.erasures_path.parent, prefix=".restoring-") as folder:
        file = Path(folder) / "copy.sqlite"
        shutil.copyfile(source, file)
        if lock_of(source).exists():
            shutil.copyfile(lock_of(source), lock_of(file))
        copy = Database(f"sqlite:///{file}", key=database.key_path)
        with copy.reading() as connection:
            copy.keyring.trust(connection.scalars(select(signing_key.c.public)))
        try:
            yield copy
        finally:
            copy.close()


def _tables() -> list[Table]:
    return [table for table in metadata.sorted_tables if table.name not in NOT_COPIED]


def _empty(connection: Connection) -> None:
    for table in reversed(metadata.sorted_tables):
        connection.execute(delete(table))


def _copy_rows(source: Connection, target: Connection) -> None:
    for table in _tables():
        rows = source.execution_options(yield_per=AT_ONCE).execute(select(table))
        for part in rows.mappings().partitions(AT_ONCE):
            target.execute(insert(table), [dict(row) for row in part])


def _erase_again(target: Connection, stones: dict[str, erasing.Tombstone], publics: list[bytes]) -> int:
    del publics
    again = 0
    for stone in stones.values():
        number = case_number(target, stone.case)
        if number is not None and erasing.apply(target, number, stone):
            again += 1
    return again


def _same(source: Connection, target: Connection) -> Copied:
    """Compare both fact by fact; erased ones by header, leaf and chain."""
    gone = set(target.scalars(select(erasure.c.case_number)))
    for number, case_id in source.execute(select(case.c.number, case.c.id)):
        there, here = links_of(source, number), links_of(target, number)
        if number in gone:
            there = [replace(link, body=None, salt=None) for link in there]
        if there != here or verify(here) is not None:
            raise BrokenChain(tr("Case {case} did not come back as it was; nothing was changed.", case=case_id))
    return _count(target)


def _count(connection: Connection) -> Copied:
    cases = connection.scalar(select(func.count()).select_from(case)) or 0
    return Copied(cases, connection.scalar(select(func.count()).select_from(fact)) or 0)


def _broken(found: list[Finding]) -> BrokenChain:
    first = found[0]
    more = tr(" ({count} faults in all)", count=len(found)) if len(found) > 1 else ""
    return BrokenChain(first.says + more, field=first.fault, value=first.position)


def _one_file(part: Path) -> None:
    """Fold the write-ahead log into the file, so that the file alone is the backup."""
    engine = Database.plain_engine(f"sqlite:///{part}")
    raw = engine.raw_connection()
    try:
        raw.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
        raw.cursor().execute("PRAGMA journal_mode=DELETE")
    finally:
        raw.close()
        engine.dispose()
    with part.open("rb+") as opened:
        os.fsync(opened.fileno())


def _remove(part: Path) -> None:
    for ending in ("", "-wal", "-shm", ".lock", ".erasures"):
        part.with_name(part.name + ending).unlink(missing_ok=True)

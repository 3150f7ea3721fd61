"""Removal of a person's data on request: bodies, salts and all that was made from them go; a signed tombstone stays.

Each erasure is also written to a list apart from the database, so that a backup made before it does not bring the data
back: whoever restores applies the list again.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy import Connection, delete, func, insert, select, text, update

from forestay.case.chain import Link
from forestay.store.database import Database
from forestay.store.indexing import forget
from forestay.store.interface import no_such_case
from forestay.store.rows import case_number, is_erased
from forestay.store.signing import Signature
from forestay.store.tables import attachment, blob, erasure, fact, identity, summary

ELSEWHERE = "elsewhere"
"""Who erased a case that came here already erased."""


@dataclass(frozen=True)
class Tombstone:
    """What stays of an erased case: that it was there, how far, and who erased it when and why."""

    case: str
    sequence: int
    chain: str
    erased_at: str
    erased_by: str
    why: str
    key_id: str
    signature: str

    def says(self) -> dict[str, str | int]:
        """What the signature covers."""
        return {name: value for name, value in asdict(self).items() if name not in ("key_id", "signature")}

    def signed(self) -> Signature:
        """Who stands by it."""
        return Signature(self.key_id, bytes.fromhex(self.signature))


def erase_case(database: Database, case_id: str, *, by: str, why: str, at: datetime) -> int:
    """See :meth:`~forestay.store.interface.FactStore.erase`. The list apart is written first: nothing can undo it."""
    with database.writing() as connection:
        database.lock_case(connection, case_id)
        number = case_number(connection, case_id)
        if number is None:
            raise no_such_case(case_id)
        if is_erased(connection, number):
            return 0
        stone = _stone(connection, database, case_id, number, by=by, why=why, at=at)
        _note(database.erasures_path, stone)
        bodies = apply(connection, number, stone)
    sweep(database)
    return bodies


def _stone(
    connection: Connection, database: Database, case_id: str, number: int, *, by: str, why: str, at: datetime
) -> Tombstone:
    sequence, chain = connection.execute(
        select(fact.c.server_sequence, fact.c.chain)
        .where(fact.c.case_number == number)
        .order_by(fact.c.server_sequence.desc())
        .limit(1)
    ).one()
    blank = Tombstone(case_id, sequence, chain.hex(), at.isoformat(), by, why, "", "")
    signed = database.keyring.sign("erasure", **blank.says())
    return Tombstone(case_id, sequence, chain.hex(), at.isoformat(), by, why, signed.key_id, signed.signature.hex())


def apply(connection: Connection, number: int, stone: Tombstone) -> int:
    """Delete what an erased case said, and set its tombstone; the number of bodies that went."""
    with_body = select(func.count()).where(fact.c.case_number == number, fact.c.body.is_not(None))
    bodies = connection.scalar(with_body) or 0
    connection.execute(update(fact).where(fact.c.case_number == number).values(body=None, salt=None))
    forget(connection, number)
    for table in (identity, attachment, summary):
        connection.execute(delete(table).where(table.c.case_number == number))
    connection.execute(delete(blob).where(blob.c.digest.not_in(select(attachment.c.digest))))
    if not is_erased(connection, number):
        _keep(connection, number, stone)
    return bodies


def _keep(connection: Connection, number: int, stone: Tombstone) -> None:
    connection.execute(
        insert(erasure).values(
            case_number=number,
            sequence=stone.sequence,
            chain=bytes.fromhex(stone.chain),
            erased_at=stone.erased_at,
            erased_by=stone.erased_by,
            why=stone.why,
            key_id=stone.key_id,
            signature=bytes.fromhex(stone.signature),
        )
    )


def note_erased_elsewhere(
    connection: Connection, database: Database, case_id: str, links: Sequence[Link], *, at: datetime
) -> None:
    """A case that came with facts already erased gets our tombstone too: it says that they came so."""
    number = case_number(connection, case_id)
    if number is not None and not is_erased(connection, number) and all(link.body is None for link in links):
        why = "came without bodies"
        _keep(connection, number, _stone(connection, database, case_id, number, by=ELSEWHERE, why=why, at=at))


def sweep(database: Database) -> None:
    """Overwrite what is left of erased bytes as far as the database lets us: the log, and dead rows of PostgreSQL."""
    raw = database.engine.raw_connection()
    try:
        if database.dialect == "sqlite":
            raw.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
            return
        driver = raw.driver_connection
        if driver is not None:
            driver.autocommit = True
            try:
                for table in ("fact", "fact_field", "fact_text", "identity", "attachment", "blob", "summary"):
                    driver.execute(f"VACUUM {table}")
            finally:
                driver.autocommit = False
    finally:
        raw.close()


def _note(path: Path, stone: Tombstone) -> None:
    with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), "w", encoding="utf-8") as out:
        out.write(json.dumps(asdict(stone), ensure_ascii=False, sort_keys=True) + "\n")
        out.flush()
        os.fsync(out.fileno())


def noted(path: Path) -> list[Tombstone]:
    """The tombstones in the list apart; a line that was cut off while it was written is passed over."""
    if not path.is_file():
        return []
    stones: list[Tombstone] = []
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            stones.append(Tombstone(**json.loads(line)))
        except (ValueError, TypeError):
            continue
    return stones


def kept(connection: Connection) -> list[Tombstone]:
    """The tombstones in the database."""
    rows = connection.execute(
        text(
            'SELECT "case".id, e.sequence, e.chain, e.erased_at, e.erased_by, e.why, e.key_id, e.signature '
            'FROM erasure e JOIN "case" ON "case".number = e.case_number ORDER BY e.case_number'
        )
    )
    return [Tombstone(r[0], r[1], bytes(r[2]).hex(), r[3], r[4], r[5], r[6], bytes(r[7]).hex()) for r in rows]

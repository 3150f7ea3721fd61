"""Reads the whole record and names whatever was changed, dropped or put elsewhere since it was accepted."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, func, select, text

from forestay.case.chain import START, Link, verify
from forestay.case.fact import canonical_header, read_header
from forestay.errors import ForestayError
from forestay.store.accounts import broken_access
from forestay.store.database import Database
from forestay.store.erasing import Tombstone, kept
from forestay.store.sealing import head_says, names_digest
from forestay.store.signing import Signature
from forestay.store.sql_settings import broken_setting
from forestay.store.tables import attachment, blob, case, fact, head, register
from forestay.text import tr


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold."""

    case: str | None
    position: int | None
    """Place of the fact in its case, from 1."""
    fact: str | None
    fault: str
    """changed, dropped, reordered, cut off, unsigned, not trusted, erased, attachment, register, settings, file"""
    says: str


Heads = Mapping[str, tuple[int, str]]
"""Heads kept elsewhere: case to sequence and chain in hexadecimal."""


def check(database: Database, *, against: Heads | None = None) -> list[Finding]:
    """Every fault of the record; empty where it is whole. ``against``: heads that were kept elsewhere."""
    found: list[Finding] = []
    with database.reading() as connection:
        found += _file(connection)
        stones = {stone.case: stone for stone in kept(connection)}
        for number, case_id in connection.execute(select(case.c.number, case.c.id).order_by(case.c.number)):
            found += _case(connection, database, number, case_id, stones.get(case_id))
            if against is not None and case_id in against:
                found += _against(connection, number, case_id, *against[case_id])
        found += _register(connection, database)
        found += _attachments(connection, database)
        broken = broken_access(connection)
        if broken is not None:
            says = tr("Line {number} of the record of who read what was changed, dropped or moved.", number=broken)
            found.append(Finding(None, broken, None, "access", says))
        broken = broken_setting(connection, database.keyring)
        if broken is not None:
            says = tr("Change {number} of the settings was changed, dropped or moved.", number=broken)
            found.append(Finding(None, broken, None, "settings", says))
        if against is not None:
            there = set(connection.scalars(select(case.c.id)))
            found += [
                Finding(name, None, None, "dropped", tr("Case {case} is missing.", case=name))
                for name in against
                if name not in there
            ]
    return found


def heads(database: Database) -> dict[str, tuple[int, str]]:
    """The head of every case, to be kept elsewhere."""
    with database.reading() as connection:
        rows = connection.execute(
            select(case.c.id, head.c.sequence, head.c.chain)
            .join(head, head.c.case_number == case.c.number)
            .order_by(case.c.number)
        )
        return {row[0]: (row[1], bytes(row[2]).hex()) for row in rows}


def _file(connection: Connection) -> Iterator[Finding]:
    if connection.dialect.name == "sqlite":
        told = [str(row[0]) for row in connection.exec_driver_sql("PRAGMA integrity_check(3)")]
        if told != ["ok"]:
            yield Finding(None, None, None, "file", tr("The file is damaged: {reason}.", reason=told[0][:200]))


def _case(
    connection: Connection, database: Database, number: int, case_id: str, stone: Tombstone | None
) -> Iterator[Finding]:
    columns = (fact.c.server_sequence, fact.c.id, fact.c.kind, fact.c.header)
    rows = connection.execute(
        select(*columns, fact.c.leaf, fact.c.chain, fact.c.body, fact.c.salt)
        .where(fact.c.case_number == number)
        .order_by(fact.c.server_sequence)
    ).all()
    links: list[Link] = []
    for position, row in enumerate(rows, start=1):
        link = _link(row, case_id)
        if link is None:
            yield _changed(case_id, position, row.id)
            return
        links.append(link)
    broken = verify(links)
    if broken is not None:
        says = tr("Case {case}: {says}", case=case_id, says=broken.says)
        yield Finding(case_id, broken.position, broken.fact_id, broken.fault, says)
    else:
        yield from _head(connection, database, number, case_id, links)
    yield from _erased(database, case_id, links, stone)


def _link(row: Any, case_id: str) -> Link | None:
    """The link in a row; None where header and row do not say the same, byte for byte."""
    try:
        header = read_header(bytes(row.header))
    except ForestayError:
        return None
    same = (
        canonical_header(header) == bytes(row.header)
        and header.case == case_id
        and str(header.id) == row.id
        and header.kind == row.kind
        and header.server_sequence is not None
    )
    return Link(header, row.leaf, row.chain, row.body, row.salt) if same else None


def _changed(case_id: str, position: int, fact_id: str) -> Finding:
    says = tr(
        "Case {case}: Fact {position} ({id}) was changed after it was accepted.",
        case=case_id,
        position=position,
        id=fact_id,
    )
    return Finding(case_id, position, fact_id, "changed", says)


def _head(
    connection: Connection, database: Database, number: int, case_id: str, links: list[Link]
) -> Iterator[Finding]:
    row = connection.execute(select(head).where(head.c.case_number == number)).one_or_none()
    last = len(links)
    if row is None:
        yield Finding(case_id, last, None, "unsigned", tr("Case {case}: nobody has signed its end.", case=case_id))
        return
    signed = Signature(row.key_id, row.signature)
    if row.key_id not in database.keyring.trusted:
        says = tr(
            "Case {case}: its end was signed with key {key}, which is not trusted here.", case=case_id, key=row.key_id
        )
        yield Finding(case_id, last, None, "not trusted", says)
    elif not database.keyring.holds(signed, "head", **head_says(case_id, row.sequence, bytes(row.chain))):
        yield Finding(
            case_id, last, None, "changed", tr("Case {case}: the signature of its end does not hold.", case=case_id)
        )
    if row.sequence != last or row.chain != (links[-1].chain if links else START):
        says = tr(
            "Case {case}: {signed} facts were signed, {kept} are kept; fact {missing} and what follows is missing.",
            case=case_id,
            signed=row.sequence,
            kept=last,
            missing=last + 1,
        )
        if row.sequence <= last:
            says = tr("Case {case}: fact {position} is not the one that was signed.", case=case_id, position=last)
        yield Finding(case_id, min(last + 1, row.sequence), None, "cut off", says)


def _erased(database: Database, case_id: str, links: list[Link], stone: Tombstone | None) -> Iterator[Finding]:
    holds = stone is not None and database.keyring.holds(stone.signed(), "erasure", **stone.says())
    if stone is not None and not holds:
        yield Finding(case_id, None, None, "erased", tr("Case {case}: its tombstone was changed.", case=case_id))
    for link in links:
        if link.body is None and (stone is None or link.sequence > stone.sequence):
            says = tr(
                "Case {case}: fact {position} was emptied, and nobody signed for it.",
                case=case_id,
                position=link.sequence,
            )
            yield Finding(case_id, link.sequence, str(link.header.id), "erased", says)
        elif link.body is not None and stone is not None:
            says = tr(
                "Case {case}: fact {position} stands again although it was erased.",
                case=case_id,
                position=link.sequence,
            )
            yield Finding(case_id, link.sequence, str(link.header.id), "erased", says)


def _against(connection: Connection, number: int, case_id: str, sequence: int, chain: str) -> Iterator[Finding]:
    there = connection.scalar(
        select(fact.c.chain).where(fact.c.case_number == number, fact.c.server_sequence == sequence)
    )
    if there is None or bytes(there).hex() != chain:
        says = tr("Case {case}: fact {position} is not the one whose head was kept.", case=case_id, position=sequence)
        yield Finding(case_id, sequence, None, "cut off" if there is None else "changed", says)


def _register(connection: Connection, database: Database) -> Iterator[Finding]:
    names = list(connection.scalars(select(case.c.id).order_by(case.c.number)))
    row = connection.execute(select(register)).one_or_none()
    if row is None:
        if names:
            yield Finding(None, None, None, "register", tr("The register of cases is missing."))
        return
    signed = Signature(row.key_id, row.signature)
    if row.key_id in database.keyring.trusted and not database.keyring.holds(
        signed, "register", cases=row.cases, digest=bytes(row.digest).hex()
    ):
        yield Finding(None, None, None, "register", tr("The signature of the register of cases does not hold."))
    if row.cases != len(names) or row.digest != names_digest(names):
        says = tr("The register names {signed} cases, {kept} are kept.", signed=row.cases, kept=len(names))
        yield Finding(None, None, None, "register", says)
    empty = connection.scalar(
        select(func.count()).where(case.c.number.not_in(select(fact.c.case_number))).select_from(case)
    )
    if empty:
        yield Finding(None, None, None, "dropped", tr("{count} cases have lost all their facts.", count=empty))
    orphans = connection.execute(
        text('SELECT count(*) FROM fact WHERE case_number NOT IN (SELECT number FROM "case")')
    ).scalar_one()
    if orphans:
        yield Finding(None, None, None, "dropped", tr("{count} facts have lost their case.", count=orphans))


def attachment_says(row: Any) -> dict[str, str]:
    """What the signature of an attachment covers."""
    return {name: str(row[name]) for name in ("id", "case", "digest", "title", "media_type", "added_at", "added_by")}


def _attachments(connection: Connection, database: Database) -> Iterator[Finding]:
    rows = connection.execute(
        select(attachment, case.c.id.label("case"), blob.c.content)
        .join(case, case.c.number == attachment.c.case_number)
        .join(blob, blob.c.digest == attachment.c.digest, isouter=True)
        .order_by(attachment.c.added_at)
    )
    for row in rows.mappings():
        content = row["content"]
        signed = Signature(row["key_id"], row["signature"])
        whole = content is not None and hashlib.sha256(content).hexdigest() == row["digest"]
        trusted = row["key_id"] not in database.keyring.trusted or database.keyring.holds(
            signed, "attachment", **attachment_says(row)
        )
        if not (whole and trusted):
            says = tr("Case {case}: the attachment {id} was changed.", case=row["case"], id=row["id"])
            yield Finding(row["case"], None, None, "attachment", says)

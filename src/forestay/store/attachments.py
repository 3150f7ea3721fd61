"""Photos and documents of a case, by the SHA-256 of their bytes: kept once, checked on every reading, signed for."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

from sqlalchemy import Connection, insert, select

from forestay.errors import BrokenChain, InvalidInput, NotFound
from forestay.store.checking import attachment_says
from forestay.store.database import Database
from forestay.store.interface import erased_case, no_such_case
from forestay.store.rows import case_number, is_erased
from forestay.store.tables import attachment, blob, case
from forestay.text import tr

LARGEST_BYTES = 20_000_000
BEGINNINGS = {
    b"\x89PNG\r\n\x1a\n": "image/png",
    b"\xff\xd8\xff": "image/jpeg",
    b"%PDF-": "application/pdf",
    b"II*\x00": "image/tiff",
    b"MM\x00*": "image/tiff",
}
"""How a file of each kind begins: what it is called does not count."""


@dataclass(frozen=True, slots=True)
class Attached:
    """A photo or document of a case, without its bytes."""

    id: str
    case: str
    digest: str
    title: str
    media_type: str
    size: int
    added_at: str
    added_by: str


def add(database: Database, case_id: str, content: bytes, *, title: str, by: str, at: datetime) -> Attached:
    """Keep a file with a case. The same bytes under the same title again change nothing."""
    media_type = _kind(content)
    digest = hashlib.sha256(content).hexdigest()
    with database.writing() as connection:
        number = _open_case(connection, case_id)
        there = [one for one in _listed(connection, number) if (one.digest, one.title) == (digest, title)]
        if there:
            return there[0]
        if connection.scalar(select(blob.c.digest).where(blob.c.digest == digest)) is None:
            connection.execute(insert(blob).values(digest=digest, size=len(content), content=content))
        said: dict[str, Any] = {
            "id": str(uuid4()),
            "case": case_id,
            "digest": digest,
            "title": title,
            "media_type": media_type,
            "added_at": at.isoformat(),
            "added_by": by,
        }
        signed = database.keyring.sign("attachment", **attachment_says(said))
        row = {name: value for name, value in said.items() if name != "case"}
        connection.execute(
            insert(attachment).values(case_number=number, key_id=signed.key_id, signature=signed.signature, **row)
        )
        return Attached(size=len(content), **said)


def listed(database: Database, case_id: str) -> list[Attached]:
    """What is kept with a case, oldest first; an unknown case is an error."""
    with database.reading() as connection:
        number = case_number(connection, case_id)
        if number is None:
            raise no_such_case(case_id)
        return _listed(connection, number)


def content(database: Database, case_id: str, attachment_id: str) -> tuple[Attached, bytes]:
    """One file with its bytes. Bytes that are not those that were kept are an error."""
    found = next((one for one in listed(database, case_id) if one.id == attachment_id), None)
    if found is None:
        raise NotFound(tr("There is no such attachment."), field="attachment", value=attachment_id[:80])
    with database.reading() as connection:
        kept = connection.scalar(select(blob.c.content).where(blob.c.digest == found.digest))
    if kept is None or hashlib.sha256(kept).hexdigest() != found.digest:
        raise BrokenChain(tr("The attachment {id} was changed after it was kept.", id=found.id), field="attachment")
    return found, kept


def _open_case(connection: Connection, case_id: str) -> int:
    number = case_number(connection, case_id)
    if number is None:
        raise no_such_case(case_id)
    if is_erased(connection, number):
        raise erased_case(case_id)
    return number


def _listed(connection: Connection, number: int) -> list[Attached]:
    rows = connection.execute(
        select(
            attachment.c.id,
            case.c.id.label("case"),
            attachment.c.digest,
            attachment.c.title,
            attachment.c.media_type,
            blob.c.size,
            attachment.c.added_at,
            attachment.c.added_by,
        )
        .join(blob, blob.c.digest == attachment.c.digest)
        .join(case, case.c.number == attachment.c.case_number)
        .where(attachment.c.case_number == number)
        .order_by(attachment.c.added_at, attachment.c.id)
    )
    return [Attached(**row) for row in rows.mappings()]


def _kind(content: bytes) -> str:
    if len(content) > LARGEST_BYTES:
        allowed = tr("at most {most} bytes", most=LARGEST_BYTES)
        raise InvalidInput(
            tr("The file has {size} bytes; allowed: {allowed}.", size=len(content), allowed=allowed),
            field="file",
            value=len(content),
            allowed=allowed,
        )
    for beginning, media_type in BEGINNINGS.items():
        if content.startswith(beginning):
            return media_type
    allowed = "PNG, JPEG, TIFF, PDF"
    raise InvalidInput(
        tr("The file is of no kind that is kept; allowed: {allowed}.", allowed=allowed), field="file", allowed=allowed
    )

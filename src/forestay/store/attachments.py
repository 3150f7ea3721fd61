"""Photos and documents of a case, by the SHA-256 of their bytes: kept once, checked on every reading, signed for."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from uuid import uuid4

from sqlalchemy import Connection, insert, select
from sqlalchemy.dialects.postgresql import insert as postgresql_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert

from forestay.case.lines import Enclosed
from forestay.errors import BrokenChain, ConflictingFact, InvalidInput, NotFound
from forestay.store.checking import attachment_says
from forestay.store.database import Database
from forestay.store.interface import erased_case, no_such_case
from forestay.store.rows import case_number, is_erased
from forestay.store.tables import attachment, blob, case
from forestay.text import tr

LARGEST_BYTES = 20_000_000
LONGEST = 120
"""Letters of a title."""
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
    title, media_type = titled(title), _kind(content)
    digest = hashlib.sha256(content).hexdigest()
    with database.writing() as connection:
        database.lock_case(connection, case_id)  # who comes second sees what the first one kept
        number = _open_case(connection, case_id)
        there = [one for one in _listed(connection, number) if (one.digest, one.title) == (digest, title)]
        if there:
            return there[0]
        made = Attached(str(uuid4()), case_id, digest, title, media_type, len(content), at.isoformat(), by)
        _keep(connection, database, number, made, content)
        return made


def bring_back(connection: Connection, database: Database, case_id: str, enclosed: Sequence[Enclosed]) -> None:
    """Keep what came with an exported case, within a transaction: as it was called there, signed here.

    What is there already stays as it is. A case that was erased stays without: its facts do not come back either.
    """
    if not enclosed:
        return
    number = case_number(connection, case_id)
    if number is None:
        raise no_such_case(case_id)
    if is_erased(connection, number):
        return
    there = {(one.digest, one.title) for one in _listed(connection, number)}
    for one in enclosed:
        title, media_type = titled(one.title), _kind(one.content)
        digest = hashlib.sha256(one.content).hexdigest()
        if (digest, title) in there:
            continue
        if connection.scalar(select(attachment.c.id).where(attachment.c.id == one.id)) is not None:
            raise ConflictingFact(
                tr("The attachment {id} is kept here already, with other content.", id=one.id),
                field="attachment",
                value=one.id,
            )
        size = len(one.content)
        made = Attached(one.id, case_id, digest, title, media_type, size, one.added_at, one.added_by)
        _keep(connection, database, number, made, one.content)
        there.add((digest, title))


def _keep(connection: Connection, database: Database, number: int, made: Attached, content: bytes) -> None:
    """The bytes, once, and the signed row of a case that names them."""
    put = sqlite_insert(blob) if connection.dialect.name == "sqlite" else postgresql_insert(blob)
    once = put.on_conflict_do_nothing(index_elements=["digest"])  # another case may keep the same bytes meanwhile
    if connection.scalar(select(blob.c.digest).where(blob.c.digest == made.digest)) is None:
        connection.execute(once, {"digest": made.digest, "size": made.size, "content": content})
    said = asdict(made)
    signed = database.keyring.sign("attachment", **attachment_says(said))
    row = {name: value for name, value in said.items() if name not in ("case", "size")}
    connection.execute(
        insert(attachment).values(case_number=number, key_id=signed.key_id, signature=signed.signature, **row)
    )


def titled(title: str) -> str:
    """A title as it is kept: one line, neither empty nor long."""
    plain = " ".join(title.split())
    if not plain or len(plain) > LONGEST or not plain.isprintable():
        allowed = tr("1 to {longest} letters", longest=LONGEST)
        raise InvalidInput(
            tr("{field} is needed: {words}.", field="title", words=allowed), field="title", allowed=allowed
        )
    return plain


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

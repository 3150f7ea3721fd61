"""Signs the end of each case, and the register of all cases, whenever they grow."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

from sqlalchemy import Connection, bindparam, func, insert, select, update

from forestay.case.chain import START, verify
from forestay.store.interface import now
from forestay.store.rows import links_of
from forestay.store.signing import Keyring, Signature
from forestay.store.tables import case, fact, head, register, signing_key

CHANGE_HEAD = (
    update(head)
    .where(head.c.case_number == bindparam("number_of_case"))
    .values(
        sequence=bindparam("sequence"),
        chain=bindparam("chain"),
        key_id=bindparam("key_id"),
        signature=bindparam("signature"),
    )
)


def introduce(connection: Connection, keyring: Keyring) -> None:
    """Keep the public half of the key that signs here."""
    if connection.scalar(select(signing_key.c.id).where(signing_key.c.id == keyring.id)) is None:
        connection.execute(insert(signing_key).values(id=keyring.id, public=keyring.public, since=now().isoformat()))


def head_says(case_id: str, sequence: int, chain: bytes) -> dict[str, str | int]:
    """What the signature of a head covers."""
    return {"case": case_id, "sequence": sequence, "chain": chain.hex()}


def seal_head(
    connection: Connection, keyring: Keyring, *, number: int, case_id: str, sequence: int, chain: bytes
) -> None:
    """Sign the end of a case as it is now."""
    signed = keyring.sign("head", **head_says(case_id, sequence, chain))
    values = {"sequence": sequence, "chain": chain, "key_id": signed.key_id, "signature": signed.signature}
    changed = connection.execute(CHANGE_HEAD, {"number_of_case": number, **values})
    if changed.rowcount == 0:
        connection.execute(insert(head).values(case_number=number, **values))


def names_digest(names: Iterable[str], start: bytes = START) -> bytes:
    """The digest over the names of cases in order of arrival: each hashed onto the ones before."""
    for name in names:
        start = hashlib.sha256(start + name.encode()).digest()
    return start


def seal_register(connection: Connection, keyring: Keyring, opened: str) -> None:
    """Sign the register after ``opened`` came to it."""
    kept = connection.execute(select(register.c.cases, register.c.digest)).one_or_none()
    count, digest = (0, START) if kept is None else (kept[0], kept[1])
    write_register(connection, keyring, count + 1, names_digest([opened], digest), there=kept is not None)


def write_register(connection: Connection, keyring: Keyring, cases: int, digest: bytes, *, there: bool) -> None:
    """Put the one row of the register in its place."""
    signed: Signature = keyring.sign("register", cases=cases, digest=digest.hex())
    values = {"cases": cases, "digest": digest, "key_id": signed.key_id, "signature": signed.signature}
    if there:
        connection.execute(update(register).values(**values))
    else:
        connection.execute(insert(register).values(id=1, **values))


def seal_all(connection: Connection, keyring: Keyring) -> None:
    """Sign every case that has no head yet and whose chain holds, and the register where there is none."""
    introduce(connection, keyring)
    known = list(connection.execute(select(case.c.number, case.c.id).order_by(case.c.number)))
    have = set(connection.scalars(select(head.c.case_number)))
    for number, case_id in known:
        if number in have or not connection.scalar(select(func.count()).where(fact.c.case_number == number)):
            continue
        links = links_of(connection, number)
        if verify(links) is None:
            seal_head(
                connection,
                keyring,
                number=number,
                case_id=case_id,
                sequence=links[-1].sequence,
                chain=links[-1].chain,
            )
    if known and connection.scalar(select(func.count()).select_from(register)) == 0:
        write_register(connection, keyring, len(known), names_digest(name for _, name in known), there=False)

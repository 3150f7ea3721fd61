"""Rows of accounts, sessions, trusted devices, failed attempts and the record of reading. No rule stands here."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, delete, func, insert, select, text, update
from sqlalchemy.exc import IntegrityError

from forestay.case.chain import START
from forestay.case.jsontext import canonical
from forestay.errors import ConflictingFact
from forestay.store.account_tables import access, account, attempt, device, session
from forestay.store.database import Database
from forestay.text import tr


@dataclass(frozen=True, slots=True)
class Account:
    """Somebody who may sign in. ``id`` is the pseudonym that facts carry."""

    id: str
    login: str
    shown_as: str
    roles: tuple[str, ...]
    password: str | None
    pin: str | None
    subject: str | None
    active: bool


@dataclass(frozen=True, slots=True)
class Session:
    """A signed-in browser."""

    token: bytes
    account_id: str
    device_id: str
    csrf: str
    started_at: str
    seen_at: str
    by_pin: bool


@dataclass(frozen=True, slots=True)
class Device:
    """A tablet on which a PIN is enough."""

    id: str
    name: str
    trusted_by: str
    trusted_at: str


@dataclass(frozen=True, slots=True)
class Access:
    """Who read or did what, when, from where, and what came of it."""

    at: str
    account_id: str | None
    device_id: str | None
    action: str
    case_id: str | None
    outcome: str


class AccountRows:
    """The tables of accounts."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def count(self) -> int:
        """How many accounts there are."""
        with self._database.reading() as connection:
            return connection.scalar(select(func.count()).select_from(account)) or 0

    def find(self, **wanted: str) -> Account | None:
        """The account with this ``id``, ``login`` or ``subject``."""
        [(name, value)] = wanted.items()
        with self._database.reading() as connection:
            row = connection.execute(select(account).where(account.c[name] == value)).mappings().one_or_none()
        return None if row is None else _account(row)

    def all(self) -> list[Account]:
        """Every account, in order of the name shown."""
        with self._database.reading() as connection:
            rows = connection.execute(select(account).order_by(account.c.shown_as, account.c.id)).mappings()
            return [_account(row) for row in rows]

    def add(self, new: Account, *, at: str, only_first: bool = False) -> bool:
        """Keep a new account; with ``only_first``, only where there is none yet. A name that is taken is refused."""
        try:
            with self._database.writing() as connection:
                if self._database.dialect != "sqlite":
                    connection.execute(text("SELECT pg_advisory_xact_lock(4)"))
                if only_first and connection.scalar(select(func.count()).select_from(account)):
                    return False
                connection.execute(
                    insert(account).values(
                        id=new.id,
                        login=new.login,
                        shown_as=new.shown_as,
                        role=" ".join(new.roles),
                        password=new.password,
                        pin=new.pin,
                        subject=new.subject,
                        active=int(new.active),
                        created_at=at,
                    )
                )
        except IntegrityError:
            raise ConflictingFact(
                tr("The name {login} is taken.", login=new.login), field="login", value=new.login
            ) from None
        return True

    def change(self, account_id: str, **values: Any) -> None:
        """Change columns of an account."""
        with self._database.writing() as connection:
            connection.execute(update(account).where(account.c.id == account_id).values(**values))

    def open(self, new: Session) -> None:
        """Keep a session."""
        with self._database.writing() as connection:
            connection.execute(
                insert(session).values(
                    token=new.token,
                    account_id=new.account_id,
                    device_id=new.device_id,
                    csrf=new.csrf,
                    started_at=new.started_at,
                    seen_at=new.seen_at,
                    by_pin=int(new.by_pin),
                )
            )

    def session(self, token: bytes) -> tuple[Session, Account] | None:
        """A session that was not ended, with its account."""
        with self._database.reading() as connection:
            row = (
                connection.execute(select(session).where(session.c.token == token, session.c.ended_at.is_(None)))
                .mappings()
                .one_or_none()
            )
            if row is None:
                return None
            whose = connection.execute(select(account).where(account.c.id == row["account_id"])).mappings().one()
        told = {name: row[name] for name in Session.__slots__}
        return Session(**{**told, "by_pin": bool(row["by_pin"])}), _account(whose)

    def wrote_from(self, account_id: str, device_id: str) -> bool:
        """Whether the account ever had a session on this device."""
        asked = select(session.c.token).where(session.c.account_id == account_id, session.c.device_id == device_id)
        with self._database.reading() as connection:
            return connection.execute(asked.limit(1)).first() is not None

    def seen(self, token: bytes, *, at: str) -> None:
        """Note that a session was used."""
        with self._database.writing() as connection:
            connection.execute(update(session).where(session.c.token == token).values(seen_at=at))

    def end(self, *, at: str, token: bytes | None = None, account_id: str | None = None) -> None:
        """End one session, or all of an account."""
        which = session.c.token == token if token is not None else session.c.account_id == account_id
        with self._database.writing() as connection:
            connection.execute(update(session).where(which, session.c.ended_at.is_(None)).values(ended_at=at))

    def trust(self, new: Device, token: bytes) -> None:
        """Keep a device that is trusted."""
        with self._database.writing() as connection:
            connection.execute(
                insert(device).values(
                    id=new.id, token=token, name=new.name, trusted_by=new.trusted_by, trusted_at=new.trusted_at
                )
            )

    def device(self, token: bytes) -> Device | None:
        """A trusted device by what it holds."""
        found = select(device).where(device.c.token == token, device.c.ended_at.is_(None))
        with self._database.reading() as connection:
            row = connection.execute(found).mappings().one_or_none()
        return None if row is None else Device(**{name: row[name] for name in Device.__slots__})

    def devices(self) -> list[Device]:
        """All trusted devices, newest first."""
        found = select(device).where(device.c.ended_at.is_(None)).order_by(device.c.trusted_at.desc())
        with self._database.reading() as connection:
            rows = connection.execute(found).mappings()
            return [Device(**{name: row[name] for name in Device.__slots__}) for row in rows]

    def distrust(self, device_id: str, *, at: str) -> None:
        """Trust a device no longer, and end the sessions on it."""
        with self._database.writing() as connection:
            connection.execute(update(device).where(device.c.id == device_id).values(ended_at=at))
            on_it = (session.c.device_id == device_id, session.c.ended_at.is_(None))
            connection.execute(update(session).where(*on_it).values(ended_at=at))

    def failed(self, what: str, *, at: str) -> None:
        """Count a failed attempt."""
        with self._database.writing() as connection:
            connection.execute(insert(attempt).values(what=what, at=at))

    def failures(self, what: str, *, since: str) -> int:
        """Failed attempts since then; older ones are forgotten."""
        with self._database.writing() as connection:
            connection.execute(delete(attempt).where(attempt.c.at < since))
            return connection.scalar(select(func.count()).where(attempt.c.what == what)) or 0

    def clear(self, what: str) -> None:
        """Forget failed attempts after one that went well."""
        with self._database.writing() as connection:
            connection.execute(delete(attempt).where(attempt.c.what == what))

    def note(self, row: Access) -> None:
        """Keep a line of the record of reading, chained to the line before."""
        with self._database.writing() as connection:
            if self._database.dialect != "sqlite":
                connection.execute(text("SELECT pg_advisory_xact_lock(5)"))
            last = connection.execute(
                select(access.c.number, access.c.chain).order_by(access.c.number.desc()).limit(1)
            ).one_or_none()
            number, chain = (0, START) if last is None else (last[0], last[1])
            connection.execute(insert(access).values(number=number + 1, chain=access_hash(chain, row), **_columns(row)))

    def noted(self, *, case_id: str | None = None, limit: int = 200) -> list[Access]:
        """Lines of the record of reading, newest first, of one case or of all."""
        found = select(access).order_by(access.c.number.desc()).limit(limit)
        if case_id is not None:
            found = found.where(access.c.case_id == case_id)
        with self._database.reading() as connection:
            return [_access(row) for row in connection.execute(found).mappings()]


def broken_access(connection: Connection) -> int | None:
    """The first line of the record of reading that was changed, dropped or moved; None where it is whole."""
    chain = START
    rows = connection.execute(select(access).order_by(access.c.number)).mappings()
    for number, row in enumerate(rows, start=1):
        chain = access_hash(chain, _access(row))
        if row["number"] != number or row["chain"] != chain:
            return number
    return None


def access_hash(previous: bytes, row: Access) -> bytes:
    """SHA-256(hash of the line before ‖ the line as canonical JSON)."""
    return hashlib.sha256(previous + canonical(_columns(row))).digest()


def _columns(row: Access) -> dict[str, str | None]:
    return {name: getattr(row, name) for name in Access.__slots__}


def _access(row: Any) -> Access:
    return Access(**{name: row[name] for name in Access.__slots__})


def _account(row: Any) -> Account:
    return Account(
        id=row["id"],
        login=row["login"],
        shown_as=row["shown_as"],
        roles=tuple(row["role"].split()),
        password=row["password"],
        pin=row["pin"],
        subject=row["subject"],
        active=bool(row["active"]),
    )

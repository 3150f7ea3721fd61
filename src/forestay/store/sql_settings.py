"""The settings of the practice in the database: each change chained to the one before, and signed."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import Connection, func, insert, select, text

from forestay.case.chain import START
from forestay.store.database import Database
from forestay.store.setting_tables import setting
from forestay.store.settings import NAMES, Setting, refuse_if_moved, setting_hash
from forestay.store.signing import Keyring, Signature


class SqlSettings:
    """Settings in the database."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def last(self) -> int:
        """See :meth:`SettingLog.last`."""
        with self._database.reading() as connection:
            return connection.scalar(select(func.max(setting.c.number))) or 0

    def rows(self, *, at: int | None = None) -> list[Setting]:
        """See :meth:`SettingLog.rows`."""
        with self._database.reading() as connection:
            return _rows(connection, at)

    def add(
        self, part: str, content: bytes, *, author: str, device: str, at: datetime, based_on: int | None
    ) -> Setting:
        """See :meth:`SettingLog.add`."""
        with self._database.writing() as connection:
            if self._database.dialect != "sqlite":
                connection.execute(text("SELECT pg_advisory_xact_lock(6)"))
            refuse_if_moved(_rows(connection), part, based_on)
            before = connection.execute(
                select(setting.c.number, setting.c.chain).order_by(setting.c.number.desc()).limit(1)
            ).one_or_none()
            number, chain = (0, START) if before is None else (before[0], bytes(before[1]))
            made = Setting(number + 1, at.isoformat(), author, device, part, content)
            chain = setting_hash(chain, made)
            signed = self._database.keyring.sign("setting", number=made.number, chain=chain.hex())
            connection.execute(
                insert(setting).values(
                    chain=chain,
                    key_id=signed.key_id,
                    signature=signed.signature,
                    **{n: getattr(made, n) for n in NAMES},
                )
            )
            return made


def broken_setting(connection: Connection, keyring: Keyring) -> int | None:
    """The first change of the settings that is not as it was said; None where all are."""
    chain = START
    rows = connection.execute(select(setting).order_by(setting.c.number)).mappings()
    for number, row in enumerate(rows, start=1):
        chain = setting_hash(chain, _setting(row))
        signed = Signature(row["key_id"], bytes(row["signature"]))
        untrue = signed.key_id in keyring.trusted and not keyring.holds(
            signed, "setting", number=number, chain=chain.hex()
        )
        if row["number"] != number or bytes(row["chain"]) != chain or untrue:
            return number
    return None


def _rows(connection: Connection, at: int | None = None) -> list[Setting]:
    asked = select(setting).order_by(setting.c.number)
    if at is not None:
        asked = asked.where(setting.c.number <= at)
    return [_setting(row) for row in connection.execute(asked).mappings()]


def _setting(row: Any) -> Setting:
    told: dict[str, Any] = {name: row[name] for name in NAMES}
    return Setting(**{**told, "content": bytes(row["content"])})

"""Facts in a database: SQLite or PostgreSQL, by the same statements.

What is given back is on disk. Each append reads the end of its case, not the whole, signs the new end, and writes the
index in the same transaction.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from uuid import UUID

from sqlalchemy import Connection, func, insert, select, text
from sqlalchemy.exc import IntegrityError

from forestay.case.bodies import Kind
from forestay.case.chain import Link, Tail, continuation, extend, facts_of, named_by, verify
from forestay.case.fact import Fact
from forestay.case.fold import conflict
from forestay.case.lines import Exported
from forestay.store import attachments, erasing, identities, indexing
from forestay.store.announcing import Announcing
from forestay.store.database import Database
from forestay.store.interface import Hit, Identity, Standing, erased_case, no_such_case, now
from forestay.store.question import Question
from forestay.store.rows import case_number, insert_links, is_erased, links_named, links_of, tail_of
from forestay.store.sealing import seal_head, seal_register
from forestay.store.settings import SettingLog
from forestay.store.sql_settings import SqlSettings
from forestay.store.tables import case, erasure, fact, head

DEVICE = {
    "sqlite": "max(CASE WHEN json_extract(CAST(header AS TEXT), '$.device') = :device "
    "THEN json_extract(CAST(header AS TEXT), '$.device_sequence') END)",
    "postgresql": "max(CASE WHEN convert_from(header, 'UTF8')::json ->> 'device' = :device "
    "THEN (convert_from(header, 'UTF8')::json ->> 'device_sequence')::bigint END)",
}


class SqlFactStore(Announcing):
    """Facts in a database. Keeps the contract of :class:`~forestay.store.interface.FactStore`."""

    def __init__(
        self,
        url: str,
        *,
        clock: Callable[[], datetime] = now,
        salt: Callable[[int], bytes] = secrets.token_bytes,
        key: Path | None = None,
    ) -> None:
        super().__init__()
        self._clock = clock
        self._salt = salt
        self.database = Database(url, key=key)
        self.practice: SettingLog = SqlSettings(self.database)

    def append(self, case_id: str, facts: Iterable[Fact]) -> list[Fact]:
        """See :meth:`~forestay.store.interface.FactStore.append`."""
        arriving = list(facts)
        try:
            with self.database.writing() as connection:
                tail, added = self._append(connection, case_id, arriving)
        except IntegrityError:
            raise conflict(arriving[0]) from None
        if added:
            self.announce(case_id)
        kept = {**tail.known, **{link.header.id: link for link in added}}
        return [Fact(kept[one.header.id].header, one.body) for one in arriving]

    def append_all(self, by_case: Mapping[str, Sequence[Fact]]) -> int:
        """See :meth:`~forestay.store.interface.FactStore.append_all`."""
        added: dict[str, int] = {}
        with self.database.writing() as connection:
            for case_id in sorted(by_case):  # always in one order, so that two of these do not wait for each other
                try:
                    added[case_id] = len(self._append(connection, case_id, by_case[case_id])[1])
                except IntegrityError:
                    raise conflict(by_case[case_id][0]) from None
        for case_id, count in added.items():
            if count:
                self.announce(case_id)
        return sum(added.values())

    def _append(self, connection: Connection, case_id: str, arriving: Sequence[Fact]) -> tuple[Tail, list[Link]]:
        """The facts of one case within a transaction: how the case ended, and what was added."""
        self.database.lock_case(connection, case_id)
        number = case_number(connection, case_id)
        tail = tail_of(connection, number, named_by(arriving))
        if number is not None and is_erased(connection, number):
            raise erased_case(case_id)
        added = extend(case_id, arriving, tail, received_at=self._clock(), salt=self._salt)
        self._keep(connection, case_id, number, added)
        return tail, added

    def adopt(self, case_id: str, links: Sequence[Link]) -> int:
        """See :meth:`~forestay.store.interface.FactStore.adopt`."""
        return self.take_in([Exported(case_id, tuple(links), ())])[0]

    def take_in(self, copies: Sequence[Exported]) -> list[int]:
        """See :meth:`~forestay.store.interface.FactStore.take_in`."""
        added = [0] * len(copies)
        with self.database.writing() as connection:
            for at in sorted(range(len(copies)), key=lambda one: copies[one].case):  # one order, as in append_all
                copy = copies[at]
                try:
                    added[at] = len(self._adopt(connection, copy.case, copy.links))
                    if copy.pending:
                        added[at] += len(self._append(connection, copy.case, copy.pending)[1])
                    attachments.bring_back(connection, self.database, copy.case, copy.enclosed)
                except IntegrityError:
                    header = copy.links[0].header if copy.links else copy.pending[0].header
                    raise conflict(Fact(header, b"")) from None
        for copy, count in zip(copies, added, strict=True):
            if count:
                self.announce(copy.case)
        return added

    def _adopt(self, connection: Connection, case_id: str, links: Sequence[Link]) -> list[Link]:
        """What was accepted elsewhere, within a transaction: what of it was new."""
        if not links:
            return []
        broken = verify(links)
        if broken is not None:
            raise broken.error()
        self.database.lock_case(connection, case_id)
        number = case_number(connection, case_id)
        known = links_of(connection, number) if number is not None else []
        added = continuation(known, links)
        if added and number is not None and is_erased(connection, number):
            raise erased_case(case_id)
        self._keep(connection, case_id, number, added)
        if any(link.body is None for link in added):
            erasing.note_erased_elsewhere(connection, self.database, case_id, links, at=self._clock())
        return added

    def _keep(self, connection: Connection, case_id: str, number: int | None, added: Sequence[Link]) -> None:
        if not added:
            return
        if number is None:
            self.database.lock_register(connection)
            last = connection.scalar(select(func.max(case.c.number))) or 0
            number = last + 1
            connection.execute(insert(case).values(number=number, id=case_id))
            seal_register(connection, self.database.keyring, case_id)
        insert_links(connection, number, added)
        indexing.index(connection, number, added)
        seal_head(
            connection,
            self.database.keyring,
            number=number,
            case_id=case_id,
            sequence=added[-1].sequence,
            chain=added[-1].chain,
        )

    def facts(self, case_id: str) -> list[Fact]:
        """See :meth:`~forestay.store.interface.FactStore.facts`."""
        return facts_of(self.links(case_id))

    def links(self, case_id: str) -> list[Link]:
        """See :meth:`~forestay.store.interface.FactStore.links`."""
        with self.database.reading() as connection:
            return links_of(connection, self._number(connection, case_id))

    def standing(self, case_id: str, ids: Iterable[UUID], device: str) -> Standing:
        """See :meth:`~forestay.store.interface.FactStore.standing`."""
        with self.database.reading() as connection:
            number = self._number(connection, case_id)
            last, own = connection.execute(
                select(func.max(fact.c.server_sequence), text(DEVICE[self.database.dialect])).where(
                    fact.c.case_number == number
                ),
                {"device": device},
            ).one()
            return Standing(last or 0, own or 0, tuple(links_named(connection, number, ids)))

    def links_at(self, case_id: str, sequences: Iterable[int]) -> list[Link]:
        """See :meth:`~forestay.store.interface.FactStore.links_at`."""
        with self.database.reading() as connection:
            return links_of(connection, self._number(connection, case_id), sequences)

    def head(self, case_id: str) -> int:
        """See :meth:`~forestay.store.interface.FactStore.head`."""
        with self.database.reading() as connection:
            number = self._number(connection, case_id)
            return connection.scalar(select(head.c.sequence).where(head.c.case_number == number)) or 0

    def sequences(self, holding: Kind | None = None) -> dict[str, int]:
        """See :meth:`~forestay.store.interface.FactStore.sequences`."""
        kept = (
            select(case.c.id, head.c.sequence)
            .join(head, head.c.case_number == case.c.number)
            .where(case.c.number.not_in(select(erasure.c.case_number)))
            .order_by(case.c.number)
        )
        if holding is not None:
            kept = kept.where(case.c.number.in_(select(fact.c.case_number).where(fact.c.kind == holding)))
        with self.database.reading() as connection:
            return {row[0]: row[1] for row in connection.execute(kept)}

    def cases(self) -> list[str]:
        """See :meth:`~forestay.store.interface.FactStore.cases`."""
        kept = select(case.c.id).where(case.c.number.not_in(select(erasure.c.case_number)))
        with self.database.reading() as connection:
            return list(connection.scalars(kept.order_by(case.c.number)))

    def erase(self, case_id: str, *, by: str, why: str) -> int:
        """See :meth:`~forestay.store.interface.FactStore.erase`."""
        return erasing.erase_case(self.database, case_id, by=by, why=why, at=self._clock())

    def identify(self, case_id: str, identity: Identity, *, by: str) -> None:
        """See :meth:`~forestay.store.interface.FactStore.identify`."""
        with self.database.writing() as connection:
            number = self._number(connection, case_id)
            if is_erased(connection, number):
                raise erased_case(case_id)
            identities.write(connection, number, identity, by=by, at=self._clock())

    def identity(self, case_id: str) -> Identity | None:
        """See :meth:`~forestay.store.interface.FactStore.identity`."""
        with self.database.reading() as connection:
            return identities.read(connection, self._number(connection, case_id))

    def numbered(self, number: str) -> list[str]:
        """See :meth:`~forestay.store.interface.FactStore.numbered`."""
        with self.database.reading() as connection:
            return identities.cases_of(connection, number)

    def search(self, question: Question, *, limit: int) -> list[Hit]:
        """See :meth:`~forestay.store.interface.FactStore.search`."""
        with self.database.reading() as connection:
            return indexing.search(connection, question, limit=limit)

    def _number(self, connection: Connection, case_id: str) -> int:
        number = case_number(connection, case_id)
        if number is None:
            raise no_such_case(case_id)
        return number

    def close(self) -> None:
        """Let go of files and connections."""
        self.database.close()

"""A store that forgets: for tests, and for a look that nobody wants kept."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from threading import Lock
from uuid import UUID

from forestay.case.chain import Link, accept, continuation, facts_of, verify
from forestay.case.fact import Fact
from forestay.case.fold import conflict
from forestay.store.interface import no_such_case, now


class MemoryFactStore:
    """Facts in memory. Keeps the contract of :class:`~forestay.store.interface.FactStore`."""

    def __init__(
        self, *, clock: Callable[[], datetime] = now, salt: Callable[[int], bytes] = secrets.token_bytes
    ) -> None:
        self._clock = clock
        self._salt = salt
        self._cases: dict[str, list[Link]] = {}
        self._owner: dict[UUID, str] = {}
        self._lock = Lock()

    def append(self, case_id: str, facts: Iterable[Fact]) -> list[Fact]:
        """See :meth:`~forestay.store.interface.FactStore.append`."""
        arriving = list(facts)
        with self._lock:
            known = self._cases.get(case_id, [])
            added = accept(case_id, arriving, known, received_at=self._clock(), salt=self._salt)
            self._keep(case_id, added)
            kept = {link.header.id: link for link in [*known, *added]}
        return [Fact(kept[fact.header.id].header, fact.body) for fact in arriving]

    def adopt(self, case_id: str, links: Sequence[Link]) -> int:
        """See :meth:`~forestay.store.interface.FactStore.adopt`."""
        broken = verify(links)
        if broken is not None:
            raise broken.error()
        with self._lock:
            added = continuation(self._cases.get(case_id, []), links)
            self._keep(case_id, added)
        return len(added)

    def _keep(self, case_id: str, added: list[Link]) -> None:
        for link in added:
            if self._owner.get(link.header.id, case_id) != case_id:
                raise conflict(Fact(link.header, b""))
        if added:
            self._cases.setdefault(case_id, []).extend(added)
            self._owner |= {link.header.id: case_id for link in added}

    def facts(self, case_id: str) -> list[Fact]:
        """See :meth:`~forestay.store.interface.FactStore.facts`."""
        return facts_of(self.links(case_id))

    def links(self, case_id: str) -> list[Link]:
        """See :meth:`~forestay.store.interface.FactStore.links`."""
        with self._lock:
            if case_id not in self._cases:
                raise no_such_case(case_id)
            return list(self._cases[case_id])

    def cases(self) -> list[str]:
        """See :meth:`~forestay.store.interface.FactStore.cases`."""
        with self._lock:
            return list(self._cases)

    def close(self) -> None:
        """Nothing to let go of."""

"""A store that forgets: for tests, and for a look that nobody wants kept."""

from __future__ import annotations

import secrets
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from threading import Lock
from uuid import UUID

from forestay.case.bodies import Kind
from forestay.case.chain import Link, accept, continuation, erase, facts_of, verify
from forestay.case.fact import Fact
from forestay.case.fold import conflict
from forestay.case.lines import Exported
from forestay.errors import InvalidInput
from forestay.store.announcing import Announcing
from forestay.store.interface import Hit, Identity, Standing, erased_case, no_such_case, now
from forestay.store.question import Question, answers
from forestay.store.settings import MemorySettings, SettingLog
from forestay.text import tr

MOST_FACTS = 5
"""Facts that are named for each case found."""


class MemoryFactStore(Announcing):
    """Facts in memory. Keeps the contract of :class:`~forestay.store.interface.FactStore`."""

    def __init__(
        self, *, clock: Callable[[], datetime] = now, salt: Callable[[int], bytes] = secrets.token_bytes
    ) -> None:
        super().__init__()
        self._clock = clock
        self._salt = salt
        self._cases: dict[str, list[Link]] = {}
        self._owner: dict[UUID, str] = {}
        self._erased: set[str] = set()
        self._identities: dict[str, Identity] = {}
        self._lock = Lock()
        self.practice: SettingLog = MemorySettings()

    def append(self, case_id: str, facts: Iterable[Fact]) -> list[Fact]:
        """See :meth:`~forestay.store.interface.FactStore.append`."""
        arriving = list(facts)
        with self._lock:
            known = list(self._cases.get(case_id, []))
            added = self._append(case_id, arriving)
            kept = {link.header.id: link for link in [*known, *added]}
        self._announce_all({case_id: len(added)})
        return [Fact(kept[fact.header.id].header, fact.body) for fact in arriving]

    def _append(self, case_id: str, arriving: Sequence[Fact]) -> list[Link]:
        if case_id in self._erased:
            raise erased_case(case_id)
        known = self._cases.get(case_id, [])
        added = accept(case_id, arriving, known, received_at=self._clock(), salt=self._salt)
        self._keep(case_id, added)
        return added

    def append_all(self, by_case: Mapping[str, Sequence[Fact]]) -> int:
        """See :meth:`~forestay.store.interface.FactStore.append_all`."""
        with self._all_or_nothing():
            added = {case_id: len(self._append(case_id, by_case[case_id])) for case_id in sorted(by_case)}
        self._announce_all(added)
        return sum(added.values())

    @contextmanager
    def _all_or_nothing(self) -> Iterator[None]:
        """With the lock held; on an error all is as it was before."""
        with self._lock:
            cases = {case_id: list(links) for case_id, links in self._cases.items()}
            before = dict(self._owner), cases, set(self._erased)
            try:
                yield
            except BaseException:
                self._owner, self._cases, self._erased = before
                raise

    def _announce_all(self, added: Mapping[str, int]) -> None:
        for case_id, count in added.items():
            if count:
                self.announce(case_id)

    def adopt(self, case_id: str, links: Sequence[Link]) -> int:
        """See :meth:`~forestay.store.interface.FactStore.adopt`."""
        return self.take_in([Exported(case_id, tuple(links), ())])[0]

    def take_in(self, copies: Sequence[Exported]) -> list[int]:
        """See :meth:`~forestay.store.interface.FactStore.take_in`."""
        if any(copy.enclosed for copy in copies):
            raise InvalidInput(tr("This record is not kept in a database."), field="db")
        with self._all_or_nothing():
            added = [
                len(self._adopt(copy.case, copy.links))
                + (len(self._append(copy.case, copy.pending)) if copy.pending else 0)
                for copy in copies
            ]
        for copy, count in zip(copies, added, strict=True):
            self._announce_all({copy.case: count})
        return added

    def _adopt(self, case_id: str, links: Sequence[Link]) -> list[Link]:
        if not links:
            return []
        broken = verify(links)
        if broken is not None:
            raise broken.error()
        added = continuation(self._cases.get(case_id, []), links)
        if added and case_id in self._erased:
            raise erased_case(case_id)
        self._keep(case_id, added)
        if added and all(link.body is None for link in links):
            self._erased.add(case_id)
        return added

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

    def standing(self, case_id: str, ids: Iterable[UUID], device: str) -> Standing:
        """See :meth:`~forestay.store.interface.FactStore.standing`."""
        links, asked = self.links(case_id), set(ids)
        own = [link.header.device_sequence for link in links if link.header.device == device]
        return Standing(len(links), max(own, default=0), tuple(link for link in links if link.header.id in asked))

    def links_at(self, case_id: str, sequences: Iterable[int]) -> list[Link]:
        """See :meth:`~forestay.store.interface.FactStore.links_at`."""
        wanted = set(sequences)
        return [link for link in self.links(case_id) if link.sequence in wanted]

    def head(self, case_id: str) -> int:
        """See :meth:`~forestay.store.interface.FactStore.head`."""
        return len(self.links(case_id))

    def sequences(self, holding: Kind | None = None) -> dict[str, int]:
        """See :meth:`~forestay.store.interface.FactStore.sequences`."""
        with self._lock:
            return {
                case_id: len(links)
                for case_id, links in self._cases.items()
                if case_id not in self._erased
                and (holding is None or any(link.header.kind == holding for link in links))
            }

    def cases(self) -> list[str]:
        """See :meth:`~forestay.store.interface.FactStore.cases`."""
        with self._lock:
            return [case_id for case_id in self._cases if case_id not in self._erased]

    def erase(self, case_id: str, *, by: str, why: str) -> int:
        """See :meth:`~forestay.store.interface.FactStore.erase`."""
        del by, why
        gone = sum(link.body is not None for link in self.links(case_id))
        with self._lock:
            self._cases[case_id] = [erase(link) for link in self._cases[case_id]]
            self._erased.add(case_id)
            self._identities.pop(case_id, None)
        return gone

    def identify(self, case_id: str, identity: Identity, *, by: str) -> None:
        """See :meth:`~forestay.store.interface.FactStore.identify`."""
        del by
        self.links(case_id)
        with self._lock:
            if case_id in self._erased:
                raise erased_case(case_id)
            self._identities[case_id] = identity

    def identity(self, case_id: str) -> Identity | None:
        """See :meth:`~forestay.store.interface.FactStore.identity`."""
        self.links(case_id)
        return self._identities.get(case_id)

    def numbered(self, number: str) -> list[str]:
        """See :meth:`~forestay.store.interface.FactStore.numbered`."""
        return [
            case_id
            for case_id in self.cases()
            if (kept := self._identities.get(case_id)) is not None and kept.number == number
        ]

    def search(self, question: Question, *, limit: int) -> list[Hit]:
        """See :meth:`~forestay.store.interface.FactStore.search`."""
        hits: list[Hit] = []
        for case_id in reversed(self.cases()):
            facts = self.facts(case_id)
            found = [{f.header.server_sequence or 0 for f in facts if answers(part, f)} for part in question.parts]
            if all(found):
                hits.append(Hit(case_id, tuple(sorted(set().union(*found))[:MOST_FACTS])))
        return hits[:limit]

    def close(self) -> None:
        """Nothing to let go of."""

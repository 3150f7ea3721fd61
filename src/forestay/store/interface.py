"""What every store of facts does, whatever it is made of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import Protocol

from forestay.case.chain import Link
from forestay.case.fact import Fact
from forestay.errors import NotFound
from forestay.text import tr


class FactStore(Protocol):
    """Facts by case, only ever appended to."""

    def append(self, case_id: str, facts: Iterable[Fact]) -> list[Fact]:
        """Accept facts and give each its server sequence; all of them or, on an error, none.

        A fact that is already kept is given back as it was accepted; the same identity with other content is a
        :class:`~forestay.errors.ConflictingFact`. The first fact opens the case. What is returned is on disk.
        """

    def adopt(self, case_id: str, links: Sequence[Link]) -> int:
        """Keep facts that were accepted elsewhere exactly as they are, with salts and chain; how many were new.

        The chain is verified first. A case that has another history here is refused.
        """

    def facts(self, case_id: str) -> list[Fact]:
        """The facts of a case that were not erased, in fold order; an unknown case is an error."""

    def links(self, case_id: str) -> list[Link]:
        """The whole chain of a case; an unknown case is an error."""

    def cases(self) -> list[str]:
        """The cases kept, in order of arrival."""

    def close(self) -> None:
        """Let go of files and connections."""


def no_such_case(case_id: str) -> NotFound:
    """The error for a case that is not kept here."""
    return NotFound(tr("There is no case {case} here.", case=case_id[:80]), field="case", value=case_id[:80])


def now() -> datetime:
    """The moment of acceptance."""
    return datetime.now(UTC)

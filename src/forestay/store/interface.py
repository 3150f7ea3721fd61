"""What every store of facts does, whatever it is made of."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Protocol
from uuid import UUID

from forestay.case.bodies import Kind
from forestay.case.chain import Link
from forestay.case.fact import Fact
from forestay.case.lines import Exported
from forestay.errors import ForestayError, NotFound, UnreadableFile
from forestay.store.question import Question
from forestay.store.settings import SettingLog
from forestay.text import tr


class StoreUnavailable(ForestayError):
    """The database does not answer just now. Nothing was kept; the same request may be sent again."""

    code = "store-unavailable"
    http_status = 503


class ErasedCase(ForestayError):
    """The case was erased on request; it takes no more facts."""

    code = "erased"
    http_status = 410


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a case is, for whoever is about to add to it."""

    sequence: int
    """The last server sequence."""
    device_sequence: int
    """The last sequence of the device asked about; 0 where it has not written here."""
    known: tuple[Link, ...]
    """Those of the facts asked about that are kept."""


@dataclass(frozen=True, slots=True)
class Identity:
    """Whom a case is about. Kept apart from the facts, never part of one."""

    name: str
    birth_date: str | None = None
    """ISO 8601 date."""
    number: str | None = None
    """The number under which the clinic keeps the person."""


@dataclass(frozen=True, slots=True)
class Hit:
    """A case that answers a question, with the facts that do."""

    case: str
    sequences: tuple[int, ...]


class FactStore(Protocol):
    """Facts by case, only ever appended to; and beside them the settings of the practice."""

    @property
    def practice(self) -> SettingLog:
        """The settings of the practice."""

    def append(self, case_id: str, facts: Iterable[Fact]) -> list[Fact]:
        """Accept facts and give each its server sequence; all of them or, on an error, none.

        A fact that is already kept is given back as it was accepted; the same identity with other content is a
        :class:`~forestay.errors.ConflictingFact`. The first fact opens the case. What is returned is on disk. A case
        that was erased takes no more facts.
        """

    def append_all(self, by_case: Mapping[str, Sequence[Fact]]) -> int:
        """The same for several cases at once: all facts of all of them or, on an error, none; how many were new."""

    def adopt(self, case_id: str, links: Sequence[Link]) -> int:
        """Keep facts that were accepted elsewhere exactly as they are, with salts and chain; how many were new.

        The chain is verified first. A case that has another history here is refused.
        """

    def take_in(self, copies: Sequence[Exported]) -> list[int]:
        """Keep what other records exported: what was accepted there as it is, what still waits newly accepted.

        All of all of them or, on an error, none; how many facts of each were new. What is enclosed is kept with its
        case, signed here; a case that was erased stays without it, and a store without attachments refuses it.
        """

    def facts(self, case_id: str) -> list[Fact]:
        """The facts of a case that were not erased, in fold order; an unknown case is an error."""

    def links(self, case_id: str) -> list[Link]:
        """The whole chain of a case; an unknown case is an error."""

    def standing(self, case_id: str, ids: Iterable[UUID], device: str) -> Standing:
        """How far a case is, and which of ``ids`` it has, without reading it all; an unknown case is an error."""

    def links_at(self, case_id: str, sequences: Iterable[int]) -> list[Link]:
        """These facts of a case, by their place; an unknown case is an error."""

    def head(self, case_id: str) -> int:
        """The last server sequence of a case, at little cost; an unknown case is an error."""

    def sequences(self, holding: Kind | None = None) -> dict[str, int]:
        """The last server sequence of each case that was not erased, in order of arrival: what has moved since a look.

        ``holding``: only cases with a fact of this kind.
        """

    def listen(self, listener: Callable[[str], None]) -> Callable[[], None]:
        """Call ``listener`` with the case after this program kept facts of it; what is given back ends that.

        It is called from any thread and must return at once. Facts that another program keeps are not announced.
        """

    def cases(self) -> list[str]:
        """The cases kept, in order of arrival, without those that were erased."""

    def erase(self, case_id: str, *, by: str, why: str) -> int:
        """Delete all that a case says, and keep that it was there: headers and hashes, and a signed tombstone.

        Gives the number of facts that lost their body. Bodies, salts, identity, attachments and every index go; the
        chain still verifies. A second time changes nothing.
        """

    def identify(self, case_id: str, identity: Identity, *, by: str) -> None:
        """Say whom a case is about; an unknown case is an error."""

    def identity(self, case_id: str) -> Identity | None:
        """Whom a case is about, if that was said; an unknown case is an error."""

    def numbered(self, number: str) -> list[str]:
        """The cases of the person whom the clinic keeps under this number, in order of arrival."""

    def search(self, question: Question, *, limit: int) -> list[Hit]:
        """The cases in which every part of the question is answered by some fact, newest case first."""

    def close(self) -> None:
        """Let go of files and connections."""


def no_such_case(case_id: str) -> NotFound:
    """The error for a case that is not kept here."""
    return NotFound(tr("There is no case {case} here.", case=case_id[:80]), field="case", value=case_id[:80])


def erased_case(case_id: str) -> ErasedCase:
    """The error for adding to a case that was erased."""
    return ErasedCase(
        tr("Case {case} was erased on request and takes no more facts.", case=case_id[:80]),
        field="case",
        value=case_id[:80],
    )


def now() -> datetime:
    """The moment of acceptance."""
    return datetime.now(UTC)


def unusable(name: str, reason: str) -> UnreadableFile:
    """The error for a database that cannot be used."""
    return UnreadableFile(
        tr("The database {file} cannot be used: {reason}.", file=name, reason=reason), field="db", value=name
    )

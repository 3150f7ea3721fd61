"""Export and import of a case as lines of JSON (the form: ``case.lines``), lossless: exact bodies, salts and chain.

Importing twice changes nothing the second time. The same identity with other content is refused, and so is a copy whose
history is another one than the history kept here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from forestay.case.chain import Link
from forestay.case.fact import Fact
from forestay.case.lines import read, write

SUFFIX = ".jsonl"
MEDIA_TYPE = "application/x-ndjson"


class Keeper(Protocol):
    """What an import needs of a store."""

    def append(self, case_id: str, facts: Iterable[Fact]) -> list[Fact]:
        """Accept facts that were not accepted anywhere yet."""

    def adopt(self, case_id: str, links: Sequence[Link]) -> int:
        """Keep facts that were accepted elsewhere as they are; how many were new."""

    def cases(self) -> list[str]:
        """The cases kept."""

    def links(self, case_id: str) -> list[Link]:
        """The chain of a case."""


@dataclass(frozen=True, slots=True)
class Imported:
    """What an import did: the case, how many facts were new, how many the case has now."""

    case: str
    new: int
    facts: int
    notes: tuple[str, ...] = ()
    """What whoever imported should know of how the file was read."""


def export_facts(keeper: Keeper, case_id: str) -> bytes:
    """The case as lines of JSON, ready for a file."""
    return write(case_id, keeper.links(case_id))


def import_facts(keeper: Keeper, data: bytes) -> Imported:
    """Keep all facts in ``data``: accepted ones with their chain, waiting ones newly accepted."""
    arriving = read(data)
    before = count(keeper, arriving.case)
    if arriving.links:
        keeper.adopt(arriving.case, arriving.links)
    if arriving.pending:
        keeper.append(arriving.case, arriving.pending)
    after = count(keeper, arriving.case)
    return Imported(arriving.case, after - before, after)


def count(keeper: Keeper, case_id: str) -> int:
    """How many facts a case has; none where it is not kept."""
    return len(keeper.links(case_id)) if case_id in keeper.cases() else 0

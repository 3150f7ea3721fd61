"""Export and import of a case as lines of JSON (the form: ``case.lines``), lossless: exact bodies, salts and chain.

Importing twice changes nothing the second time. The same identity with other content is refused, and so is a copy whose
history is another one than the history kept here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from forestay.case.chain import Link
from forestay.case.lines import Enclosed, Exported, read, write
from forestay.errors import UnreadableFile
from forestay.text import tr

SUFFIX = ".jsonl"
MEDIA_TYPE = "application/x-ndjson"


class Keeper(Protocol):
    """What an import needs of a store."""

    def take_in(self, copies: Sequence[Exported]) -> list[int]:
        """Keep what other records exported, all of it or nothing; how many facts of each were new."""

    def sequences(self) -> dict[str, int]:
        """The cases kept, each with the number of its last fact."""

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
    enclosed: int = 0
    """How many photos and documents came with it."""


def export_facts(keeper: Keeper, case_id: str) -> bytes:
    """The case as lines of JSON, ready for a file."""
    return write(case_id, keeper.links(case_id))


def import_facts(keeper: Keeper, data: bytes) -> Imported:
    """Keep all facts in ``data``: accepted ones with their chain, waiting ones newly accepted."""
    return import_all(keeper, [data])[0]


def import_all(
    keeper: Keeper, files: Iterable[bytes], enclosed: Mapping[str, tuple[Enclosed, ...]] | None = None
) -> list[Imported]:
    """The same for several cases with what is enclosed with each: all of all of them or, on an error, nothing."""
    held = dict(enclosed or {})
    arriving = [(copy := read(data), held.pop(copy.case, ())) for data in files]
    if held:
        raise no_case_of(next(iter(held)))
    copies = [replace(copy, enclosed=ones) for copy, ones in arriving]
    new = keeper.take_in(copies)
    known = keeper.sequences()  # asked once, however many cases came
    return [
        Imported(copy.case, n, known.get(copy.case, 0), enclosed=len(copy.enclosed))
        for copy, n in zip(copies, new, strict=True)
    ]


def no_case_of(case: str) -> UnreadableFile:
    """The error for an attachment without its case."""
    return UnreadableFile(
        tr("The file holds attachments of case {case}, but not the case.", case=case[:80]),
        field="case",
        value=case[:80],
    )


def count(keeper: Keeper, case_id: str) -> int:
    """How many facts a case has; none where it is not kept."""
    return keeper.sequences().get(case_id, 0)

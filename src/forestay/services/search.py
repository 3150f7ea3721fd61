"""Find cases by words and by fields of their facts."""

from __future__ import annotations

from dataclasses import dataclass

from forestay.case.chain import facts_of
from forestay.case.fact import content
from forestay.case.words import say
from forestay.store.interface import FactStore
from forestay.store.question import question

MOST_CASES = 100


@dataclass(frozen=True, slots=True)
class FoundCase:
    """A case that answers, with the facts that do, in words."""

    case: str
    facts: tuple[str, ...]


def find(store: FactStore, text: str, *, limit: int = MOST_CASES) -> list[FoundCase]:
    """Cases in which each word and each condition is answered by some fact, newest first.

    Words match from their beginning; ``axial_length_mm>26`` or ``appearance=white`` match a field. Facts that were
    taken back are found too: they are part of the record.
    """
    found: list[FoundCase] = []
    for hit in store.search(question(text), limit=limit):
        facts = facts_of(store.links_at(hit.case, hit.sequences))
        found.append(FoundCase(hit.case, tuple(say(content(one)) for one in facts)))
    return found

"""What an engine may add to its numbers: doubts. A doubt is not an error; it is shown beside the result."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something a reader must know before trusting a number: a default taken, an input outside the studied range.

    ``code`` is stable and short (``outside-studied-range``); ``message`` is one sentence in the reader's language.
    """

    code: str
    message: str


def unique(doubts: list[Doubt] | tuple[Doubt, ...]) -> tuple[Doubt, ...]:
    """The doubts in first-seen order, each once."""
    return tuple(dict.fromkeys(doubts))

"""The first line of a plan: the verdict, why, what to do first, and what would change it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["operate", "operate-later", "refer", "do-not-operate"]


@dataclass(frozen=True)
class First:
    """Something to do before surgery, and why."""

    do: str
    why: str
    rule: str
    sources: tuple[str, ...] = ()


@dataclass(frozen=True)
class WouldChange:
    """What would change the verdict: in words, and the verdict that would then stand."""

    what: str
    because: str
    then: Verdict
    rule: str


@dataclass(frozen=True)
class Decision:
    """The first line of a plan."""

    decision: Verdict
    why: str
    first: tuple[First, ...]
    sentence: str
    would_change: tuple[WouldChange, ...] = ()

"""The comparison as a value: what each option comes to by each measure, who is beaten, and the smaller choices beside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from forestay.plan.model_risk import Origin


@dataclass(frozen=True)
class Criterion:
    """What an option comes to by one measure. ``counts``: whether it is held for or against the option.
    ``low`` to ``high``: its central 90 %, or the published range where it is quoted."""

    key: str
    label: str
    value: float | None
    low: float | None
    high: float | None
    unit: str
    better: Literal["less", "more"]
    counts: bool
    origin: Origin | None
    same: float = 0.0
    """Difference that is not held against an option, in the unit."""
    same_ratio: float = 1.0
    """Values within this ratio are called the same too."""
    apart_sd: float | None = None
    """One standard deviation of the value in what it does not share with the other options, in the unit."""


@dataclass(frozen=True)
class BeatenBy:
    """An option that another one beats: no better in any measure known for both, and worse in some."""

    option: str
    by: str
    better_in: tuple[str, ...]
    unknown: tuple[str, ...]
    says: str


@dataclass(frozen=True)
class Way:
    """One anaesthetic or one place of the incision, compared with the others in the same way."""

    key: str
    label: str
    state: Literal["chosen", "possible", "avoided", "not here"]
    why: tuple[str, ...]
    criteria: tuple[Criterion, ...] = ()


@dataclass(frozen=True)
class Comparison:
    """What can be said of the options without weights; ``unbeaten`` of more than one is no clear winner by measures."""

    beaten: tuple[BeatenBy, ...]
    unbeaten: tuple[str, ...]
    says: tuple[str, ...]
    anaesthesia: tuple[Way, ...]
    incisions: tuple[Way, ...]

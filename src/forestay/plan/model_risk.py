"""Parts of the plan that speak of chances: what stands behind a number, a risk, what a finding would change."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Origin:
    """What stands behind a number on the screen: formula, inputs with units, range, sources, standing."""

    formula: str
    inputs: tuple[tuple[str, str], ...]
    valid: str
    sources: tuple[dict[str, Any], ...]
    calculation: str | None = None
    weak: bool = False
    """True where any row behind it is from memory or assumed: shown as a small degree sign."""


@dataclass(frozen=True)
class Risk:
    """A probability from published series, with interval and source.

    ``complication`` names what went wrong: risks of one complication overlap and are never added. ``of_this_eye``:
    worked out for this eye by a model; else a published rate, quoted. ``population``: whose eyes it was; ``interval``:
    what low and high are; ``raised_by``: published ratios that speak about this eye, told beside and not multiplied.
    """

    name: str
    label: str
    probability: float
    low: float
    high: float
    origin: Origin
    complication: str = ""
    of_this_eye: bool = False
    population: str = ""
    interval: str = ""
    raised_by: tuple[str, ...] = ()
    raised_keys: tuple[str, ...] = ()
    """The rows of those ratios, in the same order."""
    finding: str = ""
    """The finding whose eyes were counted; empty: any eye."""
    other_hands: bool = False
    """Told as in other hands than those that operate: beside the figure of another way, not compared with it."""
    leads: bool = False
    """A series of a sign that the model does not know, above what the model gives: told before it, never compared with it."""
    by_model: float | None = None
    """The same without the surgeon's own record, where that moved it: what a record is compared with."""


@dataclass(frozen=True)
class FindingChange:
    """What one finding at surgery would make of the zonule. ``facts``: the finding by path of the case file.

    ``weak``: probability that the zonule is not normal; ``marked``: that it is very weak or worse; ``hours``:
    healthy-equivalent clock hours of zonule, of 12.
    """

    key: str
    label: str
    facts: dict[str, Any]
    weak_before: float
    weak_after: float
    marked_before: float
    marked_after: float
    hours_before: float
    hours_after: float
    origin: Origin

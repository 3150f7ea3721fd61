"""The pieces that margins are built of: an option's setting, the origin of a number, and the margin itself."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from forestay.evidence import Reader
from forestay.evidence.loader import DOUBTFUL
from forestay.plan.context import Context
from forestay.plan.model import Margin, Measures, Origin, Widen
from forestay.plan.setting import Setting
from forestay.plan.spread import Spread
from forestay.text import tr


@dataclass(frozen=True)
class Offer:
    """One option under consideration: the setting, its measures, the context."""

    setting: Setting
    measures: Measures
    context: Context

    @property
    def technique(self) -> str:
        """Name of the technique."""
        return self.measures.technique

    def with_measures(self, **changes: Any) -> Offer:
        """The same option with some measures changed, to see what that would gain."""
        return replace(self, measures=replace(self.measures, **changes))


def origin(
    use: Reader,
    *,
    formula: str,
    inputs: Sequence[tuple[str, str]],
    valid: str,
    calculation: str | None = None,
) -> Origin:
    """What stands behind a number: the rows read through ``use`` become its sources, and mark it weak if doubtful."""
    return Origin(
        formula=formula,
        inputs=tuple(inputs),
        valid=valid,
        sources=tuple(use.sources()),
        calculation=calculation,
        weak=any(row.standing in DOUBTFUL for row in use.used),
    )


Scale = Literal["absolute", "comparative"]
Group = Literal["main", "zonule"]


def margin_of(
    key: str,
    step: str,
    *,
    needs: Spread,
    has: Spread,
    unit: str,
    says: str,
    rests_on: Sequence[str],
    origin: Origin,
    widen: Widen | None,
    scale: Scale = "absolute",
    group: Group = "main",
) -> Margin:
    """A margin: has - needs with its central 90 %.

    ``absolute``: also the share of draws in which it is positive. ``comparative``: it ranks within this eye and
    predicts nothing, so no probability. Where scatter only ever takes away, the value without scatter can lie outside
    the central 90 %; the interval then reaches to it.
    """
    margin = has.minus(needs)
    return Margin(
        key=key,
        step=step,
        needs=needs.centre,
        has=has.centre,
        unit=unit,
        margin=margin.centre,
        low=min(margin.low, margin.centre),
        high=max(margin.high, margin.centre),
        scale=scale,
        probability=margin.share_above() if scale == "absolute" else None,
        rests_on=tuple(rests_on),
        widen=widen,
        says=says,
        origin=origin,
        group=group,
    )


@dataclass(frozen=True)
class Change:
    """A change that might widen a margin: in words, what it does to the offer, and which control makes it."""

    words: str
    offer: Offer
    control: str | None = None
    value: float | str | None = None


def best_change(now: float, changes: Sequence[Change], gives: Callable[[Offer], float]) -> Widen | None:
    """The change that widens the margin most; None where none widens it."""
    gains = [(gives(c.offer) - now, c) for c in changes]
    gains = [(gain, c) for gain, c in gains if gain > WORTH_TOLERANCE]
    if not gains:
        return None
    gain, change = max(gains, key=lambda g: g[0])
    return Widen(change=change.words, gain=gain, control=change.control, value=change.value)


WORTH_TOLERANCE = 0.005
"""A gain smaller than this is not worth a line."""


def mm(value: float) -> str:
    """A length for a sentence: one decimal and the unit."""
    return tr("{value:.1f} mm", value=value)


def known(**values: Any) -> tuple[tuple[str, str], ...]:
    """Inputs for an origin: name and value with unit, leaving out what is not known."""
    return tuple((name, str(value)) for name, value in values.items() if value is not None)

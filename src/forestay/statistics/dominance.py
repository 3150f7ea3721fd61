"""Options compared by several measures at once: who is beaten outright, and what one's own weights make of the rest.

No measure is turned into another and none has a weight of its own. An option is *beaten* by another that is at least as
good in every measure known for both and better in one. Weights belong to the person who asks; a weight says how much it
matters to go from the worst to the best of these options in that measure.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

Better = Literal["less", "more"]
Values = Mapping[str, float | None]
TOLERANCE = 1e-9
"""Scores that differ by less are equal: rounding."""


@dataclass(frozen=True)
class Measure:
    """A measure: its name, which way is better, and how far two values may differ and still be called the same.

    ``same`` [unit of the measure]; ``same_ratio`` [ratio >= 1]: where given, values within that ratio are the same too.
    """

    name: str
    better: Better
    same: float = 0.0
    same_ratio: float = 1.0

    def gain(self, one: float, other: float) -> float:
        """How much better ``one`` is than ``other`` [unit of the measure]; 0 where they are called the same."""
        if abs(one - other) <= self.same + TOLERANCE:
            return 0.0
        low, high = sorted((abs(one), abs(other)))
        if low > 0 and high / low < self.same_ratio:
            return 0.0
        return one - other if self.better == "more" else other - one


@dataclass(frozen=True)
class Beaten:
    """One option beaten by another, with the measures in which the other is better and those not known for both."""

    option: str
    by: str
    better_in: tuple[str, ...]
    unknown: tuple[str, ...]


def beaten(options: Mapping[str, Values], measures: Sequence[Measure]) -> tuple[Beaten, ...]:
    """Every pair in which one option beats the other. A measure not known for both leaves the pair open unless another
    is known; it is named.

    >>> beaten({"a": {"risk": 1.0}, "b": {"risk": 2.0}}, [Measure("risk", "less")])[0].by
    'a'
    """
    found = []
    for loser, worse in options.items():
        for winner, good in options.items():
            if winner == loser:
                continue
            known = [m for m in measures if good.get(m.name) is not None and worse.get(m.name) is not None]
            gains = {m.name: m.gain(_known(good, m), _known(worse, m)) for m in known}
            if gains and min(gains.values()) >= 0 and max(gains.values()) > 0:
                unknown = tuple(m.name for m in measures if m not in known)
                found.append(Beaten(loser, winner, tuple(n for n, g in gains.items() if g > 0), unknown))
    return tuple(found)


def _known(values: Values, measure: Measure) -> float:
    value = values[measure.name]
    assert value is not None  # noqa: S101 - only measures known for both are asked
    return value


def goodness(options: Mapping[str, Values], measures: Sequence[Measure]) -> dict[str, dict[str, float]]:
    """Each value on a scale from 0 (worst of these options) to 1 (best); a measure not known for all, or the same for
    all, parts none of them and is left out.

    >>> goodness({"a": {"t": 10.0}, "b": {"t": 30.0}, "c": {"t": 20.0}}, [Measure("t", "less")])["c"]
    {'t': 0.5}
    """
    scaled: dict[str, dict[str, float]] = {name: {} for name in options}
    for measure in measures:
        values = {name: given.get(measure.name) for name, given in options.items()}
        numbers = [v for v in values.values() if v is not None]
        if len(numbers) < len(options) or not numbers or max(numbers) - min(numbers) <= TOLERANCE:
            continue
        low, high = min(numbers), max(numbers)
        for name, value in values.items():
            share = ((value or 0.0) - low) / (high - low)
            scaled[name][measure.name] = share if measure.better == "more" else 1.0 - share
    return scaled


def scores(
    options: Mapping[str, Values], measures: Sequence[Measure], weights: Mapping[str, float]
) -> dict[str, float]:
    """Weighted mean of :func:`goodness` [0-1]; empty where no weight touches a measure that parts the options."""
    scaled = goodness(options, measures)
    total = sum(w for name, w in weights.items() if any(name in s for s in scaled.values()))
    if total <= 0:
        return {}
    return {o: sum(weights.get(n, 0.0) * v for n, v in s.items()) / total for o, s in scaled.items()}


@dataclass(frozen=True)
class Lead:
    """How far the highest score is ahead of the next [0-1], one standard deviation of that, and the chance that it is.

    ``clear``: the lead is larger than its spread; where no spread is known, any lead is.
    """

    first: str
    second: str
    lead: float
    sd: float
    chance: float
    clear: bool


def lead(
    options: Mapping[str, Values],
    measures: Sequence[Measure],
    weights: Mapping[str, float],
    spreads: Mapping[str, Values],
) -> Lead | None:
    """The lead of the first option under these weights, with the spread that its values leave; None without a score.

    lead = sum over measures of w (g1 - g2), its variance the sum of (w / range)^2 (s1^2 + s2^2); s is the standard
    deviation of a value in what it does not share with the other option. A spread that is not given counts as 0.

    >>> given = ({"a": {"t": 10.0}, "b": {"t": 30.0}}, [Measure("t", "less")], {"t": 1.0})
    >>> found = lead(*given, {"a": {"t": 12.0}, "b": {"t": 16.0}})
    >>> found.lead, found.sd, found.clear
    (1.0, 1.0, False)
    """
    found = scores(options, measures, weights)
    ranked = sorted(found.items(), key=lambda item: (-item[1], item[0]))
    if len(ranked) < 2:
        return None
    (first, top), (second, next_) = ranked[:2]
    scaled = goodness(options, measures)
    total = sum(w for name, w in weights.items() if any(name in s for s in scaled.values()))
    variance = 0.0
    for name in scaled[first]:
        values = [v for given in options.values() if (v := given.get(name)) is not None]
        share = weights.get(name, 0.0) / (total * (max(values) - min(values)))
        both = [spreads.get(option, {}).get(name) or 0.0 for option in (first, second)]
        variance += share * share * (both[0] * both[0] + both[1] * both[1])
    ahead, sd = top - next_, math.sqrt(variance)
    if sd > TOLERANCE:
        chance = 0.5 * (1.0 + math.erf(ahead / (sd * math.sqrt(2.0))))
    else:
        chance = 1.0 if ahead > TOLERANCE else 0.5
    return Lead(first, second, ahead, sd, chance, ahead > max(sd, 0.0) + TOLERANCE)


@dataclass(frozen=True)
class WeightFlip:
    """The weight of one measure, the others kept, at which another option comes first."""

    measure: str
    weight: float
    now: float
    then: str


def leader(found: Mapping[str, float]) -> str | None:
    """The option with the highest score; None where two share it, or there is none."""
    ranked = sorted(found.items(), key=lambda item: -item[1])
    if not ranked or (len(ranked) > 1 and ranked[0][1] - ranked[1][1] <= TOLERANCE):
        return None
    return ranked[0][0]


def weight_flips(
    options: Mapping[str, Values], measures: Sequence[Measure], weights: Mapping[str, float]
) -> tuple[WeightFlip, ...]:
    """For each measure the nearest weight at or above 0 at which the first option is overtaken, exactly.

    With goodness d = own - rival, the lead is the sum of weight x d; it is 0 at weight_k = -(sum over the others) / d_k.
    """
    first = leader(scores(options, measures, weights))
    if first is None:
        return ()
    scaled, found = goodness(options, measures), []
    for name in scaled[first]:
        nearest: WeightFlip | None = None
        now = weights.get(name, 0.0)
        for rival, other in scaled.items():
            lead = {n: v - other[n] for n, v in scaled[first].items()}
            if rival == first or abs(lead[name]) <= TOLERANCE:
                continue
            at = -sum(weights.get(n, 0.0) * d for n, d in lead.items() if n != name) / lead[name]
            if at >= 0 and (nearest is None or abs(at - now) < abs(nearest.weight - now)):
                nearest = WeightFlip(name, at, now, rival)
        if nearest is not None:
            found.append(nearest)
    return tuple(found)

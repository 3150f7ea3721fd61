"""Predictions kept until their truth is known, then scored: told probabilities, and told intervals.

References
----------
Brier GW. Mon Weather Rev 1950;78:1. Gneiting T, Raftery AE. J Am Stat Assoc 2007;102:359 (scores of intervals). Van
Calster B and others. BMC Med 2019;17:230 (intercept, slope and curve; what they ask for in events).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forestay.statistics import calibration, proportion

LOWEST_CHANCE = 1e-6
"""A told probability is kept this far from 0 and 1 for its logarithm."""
CURVE_GROUPS = 10
"""Points of a calibration curve."""
EDGE_ROUNDING = 1e-9
"""What lies on the end of an interval is inside it, whatever the rounding of its last digit."""


@dataclass(frozen=True, slots=True)
class Chance:
    """A told probability of an event, and whether it came; None while that is not known."""

    about: str
    said: float
    came: bool | None
    of_this_eye: bool = True
    """False for a rate of a published series, the same for every eye."""


@dataclass(frozen=True, slots=True)
class Span:
    """A told value with its interval at ``level``, and what came, all in ``unit``; None while that is not known."""

    about: str
    unit: str
    expected: float
    low: float
    high: float
    level: float
    came: float | None


@dataclass(frozen=True)
class ChanceScore:
    """Told probabilities of one event against what came. None where the cases cannot say."""

    about: str
    of_this_eye: bool
    n: int
    """Cases whose truth is known."""
    waiting: int
    """Cases whose truth is not known yet; they are in no figure here."""
    events: int
    expected: float
    ratio: float | None
    """Events seen over events told; None where none was told."""
    ratio_low: float | None
    ratio_high: float | None
    """Exact interval of that ratio, the told number taken as it is."""
    brier: float
    scaled_brier: float | None
    """1 less the score over that of always telling the observed share; None where all or none had it."""
    intercept: float | None
    slope: float | None
    predicted_points: tuple[float, ...]
    observed_points: tuple[float, ...]
    sizes: tuple[int, ...]
    enough: bool
    """Enough events, and enough others, for a slope and a curve."""


@dataclass(frozen=True)
class SpanScore:
    """Told intervals of one quantity against what came, in its unit."""

    about: str
    unit: str
    n: int
    waiting: int
    level: float
    inside: int
    coverage: float
    coverage_low: float
    coverage_high: float
    """Exact interval of the coverage."""
    below: int
    above: int
    mean_error: float
    """What came less what was told."""
    sd: float | None
    width: float
    """Mean width of the told intervals."""
    interval_score: float
    """Mean width, plus 2/(1 - level) times the distance by which a value fell outside; less is better."""

    @property
    def verdict(self) -> str:
        """``as-told``, ``too-narrow`` or ``too-wide``: whether the told level lies in the interval of the coverage."""
        if self.coverage_high < self.level:
            return "too-narrow"
        return "too-wide" if self.coverage_low > self.level else "as-told"


def score_chances(chances: Sequence[Chance], *, curve_events: float, groups: int, level: float) -> ChanceScore | None:
    """The score of told probabilities of one event; None while no truth is known.

    ``curve_events``: events, and others, from which slope and curve are told [cases]; ``groups``: points of the curve;
    ``level`` of the interval of the ratio [share, 0 to 1].

    >>> told = [Chance("rupture", p, came) for p, came in ((0.1, False), (0.2, False), (0.3, True), (0.8, True))]
    >>> found = score_chances([*told, Chance("rupture", 0.5, None)], curve_events=200, groups=10, level=0.95)
    >>> found.n, found.waiting, round(found.brier, 3), round(found.scaled_brier, 2), found.enough
    (4, 1, 0.145, 0.42, False)
    """
    known = [c for c in chances if c.came is not None]
    if not known:
        return None
    p = np.clip(np.array([c.said for c in known]), LOWEST_CHANCE, 1 - LOWEST_CHANCE)
    y = np.array([bool(c.came) for c in known], float)
    found = calibration.calibration(predicted=p, observed=y)
    enough = min(found.events, len(known) - found.events) >= curve_events
    bins = calibration.curve(predicted=p, observed=y, groups=groups)
    low, high = _ratio_ends(found.events, found.expected, level)
    return ChanceScore(
        about=known[0].about,
        of_this_eye=known[0].of_this_eye,
        n=len(known),
        waiting=len(chances) - len(known),
        events=found.events,
        expected=found.expected,
        ratio=found.ratio,
        ratio_low=low,
        ratio_high=high,
        brier=found.brier,
        scaled_brier=found.scaled_brier,
        intercept=found.intercept,
        slope=found.slope if enough else None,
        predicted_points=tuple(bins.predicted.tolist()) if enough else (),
        observed_points=tuple(bins.observed.tolist()) if enough else (),
        sizes=tuple(bins.n.tolist()) if enough else (),
        enough=enough,
    )


def _ratio_ends(events: int, expected: float, level: float) -> tuple[float, float]:
    """Exact Poisson interval of the count, over the told number (Garwood F. Biometrika 1936;28:437)."""
    from scipy.special import gammaincinv

    tail = (1 - level) / 2
    low = float(gammaincinv(events, tail)) if events else 0.0
    return low / expected, float(gammaincinv(events + 1, 1 - tail)) / expected


def score_spans(spans: Sequence[Span], *, level: float) -> SpanScore | None:
    """The score of told intervals of one quantity at one level; None while no truth is known.

    ``level`` of the exact interval of the coverage [share, 0 to 1]. Spans of unequal level may not be mixed.

    >>> told = [Span("refraction", "D", 0.0, -1.0, 1.0, 0.9, came) for came in (-0.5, 0.2, 1.5)]
    >>> found = score_spans(told, level=0.95)
    >>> found.inside, found.above, round(found.interval_score, 3), found.verdict
    (2, 1, 5.333, 'as-told')
    """
    known = [s for s in spans if s.came is not None]
    if not known:
        return None
    if len({s.level for s in known}) > 1:
        raise ValueError("intervals of unequal level")
    came = np.array([s.came for s in known], float)
    low, high = np.array([s.low for s in known]), np.array([s.high for s in known])
    error = came - np.array([s.expected for s in known])
    under = np.maximum(low - came - EDGE_ROUNDING, 0)
    over = np.maximum(came - high - EDGE_ROUNDING, 0)
    below, above = int(np.count_nonzero(under)), int(np.count_nonzero(over))
    inside = len(known) - below - above
    ends = proportion.exact(events=inside, n=len(known), level=level)
    missed = 2 / (1 - known[0].level) * (under + over)
    return SpanScore(
        about=known[0].about,
        unit=known[0].unit,
        n=len(known),
        waiting=len(spans) - len(known),
        level=known[0].level,
        inside=inside,
        coverage=inside / len(known),
        coverage_low=float(ends.low),
        coverage_high=float(ends.high),
        below=below,
        above=above,
        mean_error=float(error.mean()),
        sd=float(error.std(ddof=1)) if len(known) > 1 else None,
        width=float(np.mean(high - low)),
        interval_score=float(np.mean(high - low + missed)),
    )

"""Complications: counts with intervals, against what was told before surgery and against published rates."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from forestay.evidence import Reader, Row
from forestay.learning.predictions import CURVE_GROUPS, Chance, ChanceScore, score_chances
from forestay.review.groups import grouped, kept_apart
from forestay.review.outcome import Outcome
from forestay.statistics import cusum, funnel, proportion, rare, shrinkage

Happened = Callable[[Outcome], bool]

COMPLICATIONS: dict[str, Happened] = {
    "rupture": lambda o: o.rupture,
    "capsule-torn": lambda o: o.happened("posterior-capsule-tear"),
    "zonule-torn": lambda o: o.happened("zonular-dialysis"),
    "vitreous": lambda o: o.happened("vitreous-in-chamber"),
    "lens-matter-lost": lambda o: o.happened("lens-matter-lost-posteriorly"),
    "rhexis-torn": lambda o: o.happened("anterior-capsule-tear"),
    "choroidal-haemorrhage": lambda o: o.happened("choroidal-haemorrhage"),
    "technique-changed": lambda o: o.happened("technique-changed"),
    "any-in-surgery": lambda o: bool(o.events),
    "infection": lambda o: o.happened("endophthalmitis"),
}
"""Name -> whether it happened. The first is the audit's definition; the others are its parts and stand apart."""

TOLD = {"rupture": "capsule-rupture"}
"""Complication -> name of the risk that the plan told for it."""

BENCHMARKS = {
    "rupture": ("audit.benchmark.rupture", "audit.benchmark.rupture_now"),
    "any-in-surgery": ("audit.benchmark.manual",),
    "infection": ("audit.benchmark.infection",),
}
LOWEST_RISK = 1e-6
"""A told probability is kept this far from 0 and 1 for its logarithm."""
SEARCH_STATES = 200
"""States of the chain while the limit is searched: they tell a shorter run, so that the limit errs to the quiet side."""


@dataclass(frozen=True)
class Count:
    """How often something happened, with intervals and what was expected."""

    name: str
    events: int
    n: int
    rate: float
    wilson: tuple[float, float]
    exact: tuple[float, float]
    expected: float | None
    """Events expected from what was told before surgery, over the cases that were told."""
    observed_where_told: int | None
    ratio: float | None
    own_rate: float | None
    """Own rate drawn towards the published one."""
    own_weight: float | None
    benchmarks: tuple[tuple[str, float], ...]
    """Meaning with population, and rate, of published audits."""


@dataclass(frozen=True)
class Sums:
    """Risk-adjusted sums of one complication in the order of the operations."""

    name: str
    odds_ratio: float
    worse: tuple[float, ...]
    better: tuple[float, ...]
    balance: tuple[float, ...]
    limit: float
    signals: tuple[int, ...]
    better_signals: tuple[int, ...]
    false_alarm_every: float
    found_after: float
    cases: tuple[str, ...]


@dataclass(frozen=True)
class Point:
    """One surgeon in the funnel."""

    surgeon: str
    n: int
    events: int
    rate: float
    inner: tuple[float, float]
    outer: tuple[float, float]
    small: bool
    """Too few expected events for limits to say much; look at the interval."""
    interval: tuple[float, float]
    outside: bool


@dataclass(frozen=True)
class Spacing:
    """Cases between events of one complication, beside what chance gives at the published rate."""

    name: str
    rate: float
    gaps: tuple[int, ...]
    since_last: int
    low: float
    median: float
    high: float


def counts(outcomes: Sequence[Outcome], use: Reader) -> tuple[Count, ...]:
    """Every complication, whether it happened or not."""
    return tuple(_count(name, outcomes, use) for name in COMPLICATIONS) if outcomes else ()


def _count(name: str, outcomes: Sequence[Outcome], use: Reader) -> Count:
    happened = COMPLICATIONS[name]
    events, n, level = sum(map(happened, outcomes)), len(outcomes), use.number("audit.usual_level")
    wilson = proportion.wilson(events=events, n=n, level=level)
    exact = proportion.exact(events=events, n=n, level=level)
    told = told_cases(name, outcomes)
    expected = sum(o.risks[TOLD[name]] for o in told) if told else None
    seen = sum(map(happened, told)) if told else None
    rows = [use.row(key) for key in BENCHMARKS.get(name, ())]
    shrunk = None
    if rows:
        published = use.number(BENCHMARKS[name][0])
        weight = use.number("audit.prior_cases")
        shrunk = shrinkage.rate(events=events, n=n, prior_rate=published, prior_weight=weight, level=level)
    return Count(
        name=name,
        events=events,
        n=n,
        rate=events / n,
        wilson=(float(wilson.low), float(wilson.high)),
        exact=(float(exact.low), float(exact.high)),
        expected=expected,
        observed_where_told=seen,
        ratio=seen / expected if expected and seen is not None else None,
        own_rate=shrunk.mean if shrunk else None,
        own_weight=shrunk.own_weight if shrunk else None,
        benchmarks=tuple((published_words(row), float(str(row.value))) for row in rows),
    )


def published_words(row: Row) -> str:
    """What a published figure is, of whom, and where it stands."""
    return f"{row.meaning} ({row.population}; {row.source.citation})"


def told_cases(name: str, outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Cases whose risk of this complication was told before surgery."""
    risk = TOLD.get(name)
    return [o for o in outcomes if risk in o.risks] if risk else []


def _told(name: str, outcomes: Sequence[Outcome]) -> tuple[list[Outcome], np.ndarray, np.ndarray]:
    told = told_cases(name, outcomes)
    p = np.clip(np.array([o.risks[TOLD[name]] for o in told], float), LOWEST_RISK, 1 - LOWEST_RISK)
    return told, p, np.array([COMPLICATIONS[name](o) for o in told], float)


def sums(name: str, outcomes: Sequence[Outcome], use: Reader) -> Sums | None:
    """Both charts and the balance, with a limit set for one's own case-mix; None where no risk was told."""
    told, p, y = _told(name, outcomes)
    if not told:
        return None
    ratio = use.number("audit.worse_odds_ratio")
    mix = np.quantile(p, np.linspace(0, 1, MIX_GRID)) if p.size > MIX_GRID else p
    limit = limit_for(mix, odds_ratio=ratio, every=use.number("audit.cusum_false_alarm_cases"))
    worse = cusum.risk_adjusted(expected=p, observed=y, odds_ratio=ratio, limit=limit)
    better = cusum.risk_adjusted(expected=p, observed=y, odds_ratio=1 / ratio, limit=limit)
    return Sums(
        name=name,
        odds_ratio=ratio,
        worse=tuple(worse.path.tolist()),
        better=tuple(better.path.tolist()),
        balance=tuple(cusum.balance(expected=p, observed=y).tolist()),
        limit=limit,
        signals=tuple(worse.signals.tolist()),
        better_signals=tuple(better.signals.tolist()),
        false_alarm_every=cusum.run_length(expected=mix, odds_ratio=ratio, limit=limit, true_odds_ratio=1),
        found_after=cusum.run_length(expected=mix, odds_ratio=ratio, limit=limit, true_odds_ratio=ratio),
        cases=tuple(o.case_id for o in told),
    )


MIX_GRID = 21
"""Quantiles of the risks that stand for the case-mix in the run length."""


def limit_for(mix: np.ndarray, *, odds_ratio: float, every: float) -> float:
    """The lowest limit, to two decimals, whose false alarms are at least ``every`` cases apart with this case-mix."""

    def lasts(limit: float) -> float:
        return cusum.run_length(
            expected=mix, odds_ratio=odds_ratio, limit=limit, true_odds_ratio=1, states=SEARCH_STATES
        )

    low, high = 0.0, 1.0
    while lasts(high) < every:
        low, high = high, 2 * high
    while high - low > 1 / 100:
        middle = (low + high) / 2
        length = lasts(middle)
        low, high = (middle, high) if length < every else (low, middle)
    return float(np.ceil(high * 100) / 100)


def points(name: str, outcomes: Sequence[Outcome], use: Reader) -> tuple[Point, ...]:
    """Surgeons against the rate of all together; those with few operations are left out."""
    groups = grouped(outcomes, lambda o: o.surgeon)
    fewest = use.number("audit.fewest_shown")
    if len(groups) < 2 or not outcomes:
        return ()
    happened = COMPLICATIONS[name]
    target = sum(map(happened, outcomes)) / len(outcomes)
    inner_level, outer_level = use.numbers("audit.funnel_levels")
    found = []
    sizes = [len(cases) for cases in groups.values()]
    shown = kept_apart(sizes, fewest=fewest, smallest=use.number("audit.smallest_group"))
    for (surgeon, cases), show in zip(groups.items(), shown, strict=True):
        if not show:
            continue
        n, events = len(cases), sum(map(happened, cases))
        inner = funnel.limits(n=n, target=target, level=inner_level)
        outer = funnel.limits(n=n, target=target, level=outer_level)
        ends = proportion.wilson(events=events, n=n, level=use.number("audit.usual_level"))
        rate = events / n
        found.append(
            Point(
                surgeon=surgeon,
                n=n,
                events=events,
                rate=rate,
                inner=(float(inner.low), float(inner.high)),
                outer=(float(outer.low), float(outer.high)),
                small=n * target < use.number("audit.fewest_expected"),
                interval=(float(ends.low), float(ends.high)),
                outside=not float(outer.low) <= rate <= float(outer.high),
            )
        )
    return tuple(found)


@dataclass(frozen=True)
class Limits:
    """Funnel limits at one size of series."""

    n: int
    inner: tuple[float, float]
    outer: tuple[float, float]


def funnel_lines(name: str, outcomes: Sequence[Outcome], shown: Sequence[Point], use: Reader) -> tuple[Limits, ...]:
    """Limits over the sizes of the surgeons ``shown``, for the lines of the picture."""
    sizes = [point.n for point in shown]
    if not sizes:
        return ()
    target = sum(map(COMPLICATIONS[name], outcomes)) / len(outcomes)
    grid = np.unique(np.geomspace(max(FUNNEL_FROM, min(sizes) / 2), max(sizes) * 1.5, FUNNEL_POINTS).astype(int))
    inner, outer = (funnel.limits(n=grid, target=target, level=level) for level in use.numbers("audit.funnel_levels"))
    return tuple(
        Limits(int(n), (float(a), float(b)), (float(c), float(d)))
        for n, a, b, c, d in zip(grid, inner.low, inner.high, outer.low, outer.high, strict=True)
    )


FUNNEL_FROM, FUNNEL_POINTS = 10, 40
"""Smallest series and number of places at which the lines of a funnel are drawn."""


def scored(name: str, outcomes: Sequence[Outcome], use: Reader) -> ChanceScore | None:
    """The told risk against what came; None where too few were told."""
    told, p, y = _told(name, outcomes)
    if len(told) < use.number("audit.smallest_group"):
        return None
    return score_chances(
        [Chance(name, float(said), bool(came)) for said, came in zip(p, y, strict=True)],
        curve_events=use.number("audit.curve_events"),
        groups=CURVE_GROUPS,
        level=use.number("audit.usual_level"),
    )


def spacing(name: str, outcomes: Sequence[Outcome], use: Reader) -> Spacing | None:
    """Cases between events, with the geometric quantiles at the published rate."""
    if not outcomes or name not in BENCHMARKS:
        return None
    rate = use.number(BENCHMARKS[name][0])
    y = np.array([COMPLICATIONS[name](o) for o in outcomes])
    usual = rare.between(rate=rate, tail=use.number("audit.gap_tail"))
    last = np.flatnonzero(y)
    since = int(y.size - 1 - last[-1]) if last.size else int(y.size)
    return Spacing(name, rate, tuple(rare.gaps(y).tolist()), since, usual.low, usual.median, usual.high)

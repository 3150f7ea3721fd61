"""Calculations of audit: a rate with its intervals, funnel limits, risk-adjusted sums, own rates drawn to published."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.record import Record
from forestay.statistics import cusum, funnel, proportion, shrinkage
from forestay.text import tr

Pair = tuple[float, float]
Share = Annotated[float, within("probability")]
Outcome = Annotated[int, Field(ge=0, le=1, description="1 where it happened, else 0")]


def pair(interval: proportion.Interval) -> Pair:
    """Both ends of an interval as plain numbers."""
    return float(interval.low), float(interval.high)


def no_more_events_than_cases(events: int, n: int) -> None:
    """More events than cases is an error that names both."""
    if events > n:
        raise InvalidInput(
            tr("events is {events}, which is more than the {n} cases.", events=events, n=n),
            field="events",
            value=events,
            allowed=tr("0 to {n}", n=n),
        )


class RateInput(Record):
    """In how many of how many cases it happened."""

    events: Annotated[int, within("events")]
    n: Annotated[int, within("series_size")]
    level: Annotated[float, within("level")] | None = None


class Rate(Record):
    """The share with two intervals: one to show, one that never promises too much."""

    rate: float = Field(description="events over cases")
    wilson: Pair = Field(description="score interval, two-sided")
    exact: Pair = Field(description="exact interval, two-sided, also where nothing happened")


@calculation(
    "rate",
    summary="A rate with its intervals",
    formula="Wilson's score interval; exact interval from beta quantiles (Clopper and Pearson)",
    valid="cases independent of one another; two eyes of one person are not quite",
    input=RateInput,
    output=Rate,
    example={"events": 5, "n": 25},
)
def rate(given: RateInput, use: Reader) -> tuple[Rate, list[Doubt]]:
    """Share of cases, with the level asked for or the usual one."""
    no_more_events_than_cases(given.events, given.n)
    level = given.level if given.level is not None else use.number("audit.usual_level")
    counts = {"events": given.events, "n": given.n, "level": level}
    doubts = []
    if given.level is None:
        doubts.append(Doubt("level-assumed", tr("No level was given; {level:.0%} was taken.", level=level)))
    if given.events == 0:
        bound = float(proportion.upper_bound(**counts))
        doubts.append(
            Doubt(
                "none-is-not-never",
                tr("None in {n} still allows a true rate up to {bound:.2%} (one-sided).", n=given.n, bound=bound),
            )
        )
    found = Rate(
        rate=given.events / given.n, wilson=pair(proportion.wilson(**counts)), exact=pair(proportion.exact(**counts))
    )
    return found, doubts


class FunnelInput(Record):
    """Size of a series and the rate that it is compared with."""

    n: Annotated[int, within("series_size")]
    target: Share


class Funnel(Record):
    """How far chance alone takes a series of this size from the target."""

    limits_95: Pair = Field(description="limits that hold 95 % of series on target")
    limits_998: Pair = Field(description="limits that hold 99.8 % of series on target")


@calculation(
    "funnel",
    summary="Funnel limits for a series of a given size",
    formula="interpolated exact binomial limits: (r - alpha) / n, r the smallest count with P(R <= r) >= q",
    valid="one target for all, no spread between surgeons beyond chance",
    input=FunnelInput,
    output=Funnel,
    example={"n": 500, "target": 0.0195},
)
def funnel_limits(given: FunnelInput, use: Reader) -> tuple[Funnel, list[Doubt]]:
    """Inner and outer limits; a series too small for limits is said to be."""
    inner, outer = use.numbers("audit.funnel_levels")
    doubts = []
    fewest = use.number("audit.fewest_expected")
    if given.n * given.target < fewest:
        doubts.append(
            Doubt(
                "few-expected",
                tr(
                    "Fewer than {fewest:g} events are expected in {n} cases: look at the interval of the rate instead.",
                    fewest=fewest,
                    n=given.n,
                ),
            )
        )
    found = Funnel(
        limits_95=pair(funnel.limits(n=given.n, target=given.target, level=inner)),
        limits_998=pair(funnel.limits(n=given.n, target=given.target, level=outer)),
    )
    return found, doubts


class CusumInput(Record):
    """Cases in their order: the risk told before surgery, and what happened."""

    expected: tuple[Annotated[float, Field(gt=0, lt=1)], ...] = Field(
        strict=False, min_length=1, description="probability before surgery, case by case, above 0 and below 1"
    )
    observed: tuple[Outcome, ...] = Field(strict=False, min_length=1, description="1 where it happened, else 0")
    odds_ratio: Annotated[float, within("odds_ratio")]
    limit: Annotated[float, within("chart_limit")]


class Cusum(Record):
    """The sum after each case, never reset, and the cases at which it rises to the limit."""

    path: tuple[float, ...] = Field(description="the sum after each case")
    signals: tuple[int, ...] = Field(description="cases, counted from 0, at which the sum reaches the limit from below")
    balance: tuple[float, ...] = Field(description="expected less observed events so far: a picture, not a test")
    false_alarm_every: float = Field(description="cases between false alarms with these risks, on average")
    found_after: float = Field(description="cases until a true change by the odds ratio is found, on average")


@calculation(
    "risk-adjusted-cusum",
    summary="Risk-adjusted cumulative sum",
    formula="S = max(0, S + y ln R - ln(1 - p + R p)); run lengths by a Markov chain over these risks",
    valid="risks told before surgery and kept; signals depend on the case-mix, which the run lengths take as it is here",
    input=CusumInput,
    output=Cusum,
    example={"expected": [0.02, 0.02, 0.05], "observed": [0, 0, 1], "odds_ratio": 2, "limit": 2.5},
)
def risk_adjusted_cusum(given: CusumInput, use: Reader) -> tuple[Cusum, list[Doubt]]:
    """The path, its signals and how often such a chart cries wolf."""
    if len(given.expected) != len(given.observed):
        raise InvalidInput(
            tr(
                "observed has {there} entries and expected has {here}: one of each for every case.",
                there=len(given.observed),
                here=len(given.expected),
            ),
            field="observed",
            value=len(given.observed),
            allowed=tr("{n} entries", n=len(given.expected)),
        )
    if given.odds_ratio == 1:
        raise InvalidInput(
            tr("odds_ratio is 1, which looks for no change; say what to look for, above or below 1."),
            field="odds_ratio",
            value=1,
            allowed=tr("above or below 1"),
        )
    charted = cusum.risk_adjusted(
        expected=given.expected, observed=given.observed, odds_ratio=given.odds_ratio, limit=given.limit
    )
    mix = np.asarray(given.expected)
    away, near = (
        cusum.run_length(expected=mix, odds_ratio=given.odds_ratio, limit=given.limit, true_odds_ratio=true)
        for true in (1.0, given.odds_ratio)
    )
    usual = use.number("audit.worse_odds_ratio")
    says = tr(
        "A false alarm comes about every {away:.0f} cases, and a true change by an odds ratio of {ratio:g} is found "
        "after about {near:.0f} (usual odds ratio looked for: {usual:g}).",
        away=away,
        near=near,
        ratio=given.odds_ratio,
        usual=usual,
    )
    balance = cusum.balance(expected=given.expected, observed=given.observed)
    found = Cusum(
        path=tuple(charted.path.tolist()),
        signals=tuple(charted.signals.tolist()),
        balance=tuple(balance.tolist()),
        false_alarm_every=away,
        found_after=near,
    )
    return found, [Doubt("run-length", says)]


class OwnRateInput(Record):
    """One's own count and the published rate it is drawn towards."""

    events: Annotated[int, within("events")]
    n: Annotated[int, Field(ge=0, description="number of one's own cases; 0 gives the published rate back")]
    published_rate: Annotated[float, Field(gt=0, lt=1, description="published rate for like eyes")]
    published_weight: Annotated[float, within("prior_weight")]
    level: Annotated[float, within("level")] | None = None


class OwnRate(Record):
    """A rate between one's own and the published one."""

    rate: float = Field(description="the rate to plan with")
    interval: Pair = Field(description="credible interval")
    own_weight: float = Field(description="share of it that comes from one's own cases")
    above_published: float = Field(description="probability that the true rate is above the published one")


@calculation(
    "own-rate",
    summary="One's own rate, drawn towards the published one",
    formula="beta-binomial: (a + events) / (a + b + n), a = weight x published, b = weight x (1 - published)",
    valid="like eyes in both; the weight says how many cases the published rate counts as",
    input=OwnRateInput,
    output=OwnRate,
    example={"events": 3, "n": 50, "published_rate": 0.0195, "published_weight": 100},
)
def own_rate(given: OwnRateInput, use: Reader) -> tuple[OwnRate, list[Doubt]]:
    """The shrunk rate, with how much one's own cases weigh."""
    no_more_events_than_cases(given.events, given.n)
    found = shrinkage.rate(
        events=given.events,
        n=given.n,
        prior_rate=given.published_rate,
        prior_weight=given.published_weight,
        level=given.level if given.level is not None else use.number("audit.usual_level"),
    )
    says = tr("Own cases make up {share:.0%} of this rate.", share=found.own_weight)
    answer = OwnRate(
        rate=found.mean,
        interval=(found.low, found.high),
        own_weight=found.own_weight,
        above_published=found.above_prior,
    )
    return answer, [Doubt("own-weight", says)]


CALCULATIONS = (rate, funnel_limits, risk_adjusted_cusum, own_rate)

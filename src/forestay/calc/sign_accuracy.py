"""The calculation ``sign-accuracy``: what a sign is worth, from how often it was there with and without what it stands for."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.record import Record
from forestay.risk import bayes
from forestay.text import tr

FEW = 5
"""Eyes in a cell below which the intervals of ratios are rough."""
Count = Annotated[int, Field(ge=0, le=10_000_000)]
Share = Annotated[float, Field(gt=0, lt=1, description="probability, above 0 and below 1")]


class SignAccuracyInput(Record):
    """A sign and an event counted in the same eyes."""

    eyes_with: Count = Field(description="eyes that had the sign")
    events_with: Count = Field(description="events among them")
    eyes_without: Count = Field(description="eyes that were looked at and did not have it")
    events_without: Count = Field(description="events among them")
    prior: Share | None = None
    level: Annotated[float, within("level")] | None = None


class SignAccuracyOutput(Record):
    """What the counts say. Ratios are null where a cell of the table is empty."""

    sensitivity: float = Field(description="share of the events that had the sign")
    specificity: float = Field(description="share of the eyes without event that did not have it")
    positive: float | None = Field(description="likelihood ratio of the sign seen")
    positive_low: float | None = Field(description="lower end of it")
    positive_high: float | None = Field(description="upper end of it")
    negative: float | None = Field(description="likelihood ratio of the sign looked for and not seen")
    negative_low: float | None = Field(description="lower end of it")
    negative_high: float | None = Field(description="upper end of it")
    odds_ratio: float | None = Field(description="odds of the event with the sign over those without it")
    odds_ratio_low: float | None = Field(description="lower end of it")
    odds_ratio_high: float | None = Field(description="upper end of it")
    after_with: float | None = Field(description="the given probability, once the sign is seen")
    after_without: float | None = Field(description="the given probability, once the sign is looked for and not seen")


@calculation(
    "sign-accuracy",
    summary="What a sign is worth from counts: sensitivity, specificity, likelihood ratios and odds ratio with intervals",
    formula="LR+ = sensitivity / (1 - specificity), LR- = (1 - sensitivity) / specificity, intervals on the log scale; "
    "odds after = odds before x LR",
    valid="eyes one after another, all looked at for the sign before the event was known",
    input=SignAccuracyInput,
    output=SignAccuracyOutput,
    example={"eyes_with": 122, "events_with": 19, "eyes_without": 937, "events_without": 19, "prior": 0.064},
)
def sign_accuracy(given: SignAccuracyInput, use: Reader) -> tuple[SignAccuracyOutput, list[Doubt]]:
    """The table of two by two."""
    level = given.level if given.level is not None else use.number("audit.usual_level")
    _refuse(given)
    events = given.events_with + given.events_without
    others = given.eyes_with + given.eyes_without - events
    cells = (
        given.events_with,
        given.eyes_with - given.events_with,
        given.events_without,
        given.eyes_without - given.events_without,
    )
    none = (None, None, None)
    positive: tuple[float | None, ...] = none
    negative: tuple[float | None, ...] = none
    odds: tuple[float | None, ...] = none
    after: tuple[float | None, ...] = (None, None)
    doubts = []
    if min(cells) == 0:
        doubts.append(
            Doubt("empty-cell", tr("A cell of the table is empty: no ratio has an interval, and none is given."))
        )
    else:
        counts = {name: getattr(given, name) for name in ("events_with", "eyes_with", "events_without", "eyes_without")}
        found = bayes.ratio_intervals(**counts, level=level)
        positive, negative = found.positive, found.negative
        odds = bayes.odds_ratio_interval(**counts, level=level)
        if given.prior is not None:
            after = (bayes.update(given.prior, found.positive[0]), bayes.update(given.prior, found.negative[0]))
        if min(cells) < FEW:
            doubts.append(
                Doubt("few-eyes", tr("A cell of the table has fewer than {n} eyes: the intervals are rough.", n=FEW))
            )
    return SignAccuracyOutput(
        sensitivity=given.events_with / events,
        specificity=(given.eyes_without - given.events_without) / others,
        positive=positive[0],
        positive_low=positive[1],
        positive_high=positive[2],
        negative=negative[0],
        negative_low=negative[1],
        negative_high=negative[2],
        odds_ratio=odds[0],
        odds_ratio_low=odds[1],
        odds_ratio_high=odds[2],
        after_with=after[0],
        after_without=after[1],
    ), doubts


def _refuse(given: SignAccuracyInput) -> None:
    """More events than eyes, no event at all, or nothing but events: no table of two by two."""
    for name, events, eyes in (
        ("events_with", given.events_with, given.eyes_with),
        ("events_without", given.events_without, given.eyes_without),
    ):
        if events > eyes:
            _wrong(name, events, tr("at most the eyes counted, {n}", n=eyes))
    events = given.events_with + given.events_without
    if events == 0:
        _wrong("events_with", 0, tr("at least one event with or without the sign"))
    if events == given.eyes_with + given.eyes_without:
        _wrong("eyes_without", given.eyes_without, tr("at least one eye without event"))


def _wrong(name: str, value: int, words: str) -> None:
    raise InvalidInput(
        tr("{name} is {value}; allowed: {words}.", name=name, value=value, words=words),
        field=name,
        value=value,
        allowed=words,
    )


CALCULATIONS = (sign_accuracy,)

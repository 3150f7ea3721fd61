"""Calculations that lay one's own record beside the published model: raw rate, factor on the odds, recalibration."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.records import Technique
from forestay.record import Record
from forestay.risk import own_record as engine
from forestay.risk.bayes import logistic, logit
from forestay.text import tr

Count = Annotated[int, Field(ge=0, le=1_000_000)]
Share = Annotated[float, Field(gt=0, lt=1, description="probability, above 0 and below 1")]


class RecordIn(Record):
    """Own operations of one technique: how many, events seen, events that the model expected."""

    technique: Technique = Field(description="technique of the operations")
    operations: Count = Field(description="operations counted")
    events: Count = Field(description="capsule ruptures or vitreous losses seen")
    expected: Annotated[float, Field(ge=0, le=1_000_000)] = Field(
        description="sum of the model's probabilities of the same operations"
    )

    @model_validator(mode="after")
    def _no_more_events_than_operations(self) -> RecordIn:
        if self.events > self.operations:
            raise ValueError(tr("no more events than operations"))
        return self


class SurgeonFactorInput(Record):
    """Own records by technique, and which technique is asked for."""

    technique: Technique = Field(description="technique that is planned")
    records: tuple[RecordIn, ...] = Field(strict=False, min_length=1, description="own records, one a technique")
    probability: Share | None = None


class FactorAt(Record):
    """The factor at one assumed spread between surgeons."""

    surgeon_sd: float = Field(description="assumed standard deviation of log odds between surgeons")
    factor: float = Field(description="factor on the odds, mean")
    low: float = Field(description="lower end of the central 95 per cent")
    high: float = Field(description="upper end of the central 95 per cent")
    weight: float = Field(description="weight of the own record, 0 to 1; the rest is the prior's")
    above_one: float = Field(description="probability that the factor is above 1")
    surgeons_low: float = Field(description="factor on the odds above which 97.5 per cent of surgeons lie, so spread")
    surgeons_high: float = Field(description="factor on the odds below which 97.5 per cent of surgeons lie, so spread")
    median_odds_ratio: float = Field(description="median odds ratio between two surgeons drawn at random, so spread")


class SurgeonFactorOut(Record):
    """What the own record says, always with events, expected and operations beside it.

    ``probability`` is what was given, moved by the factor on its odds.
    """

    events: int = Field(description="events of this technique")
    expected: float = Field(description="events that the model expected")
    operations: int = Field(description="operations of this technique")
    prior: float = Field(description="factor before this technique's own record: 1, or that of the other techniques")
    factor: float = Field(description="factor on the odds, mean")
    low: float = Field(description="lower end of the central 95 per cent")
    high: float = Field(description="upper end of the central 95 per cent")
    weight: float = Field(description="weight of the own record, 0 to 1; the rest is the prior's")
    above_one: float = Field(description="probability that the factor is above 1")
    tried: tuple[FactorAt, ...] = Field(description="the same at other spreads between surgeons")
    probability: float | None = Field(
        description="the given probability, moved by the factor; null where none was given"
    )


def small_record(use: Reader) -> Doubt:
    """What must stand beside every shrunk figure."""
    use.row("own_record.surgeon_sd")
    return Doubt(
        "shrunk",
        tr(
            "The figure is drawn towards the published one, the more the fewer operations there are: a surgeon of few "
            "operations looks more average than the record may be. No events yet proves little."
        ),
    )


def _same_technique_once(records: tuple[RecordIn, ...]) -> None:
    names = [r.technique for r in records]
    for number, name in enumerate(names):
        if name in names[:number]:
            raise InvalidInput(
                tr("records holds {name} twice; join the two.", name=name),
                field=f"records.{number}.technique",
                value=name,
                allowed=tr("each technique once"),
            )


@calculation(
    "surgeon-factor",
    summary="The surgeon's own record against the model's expectation: a factor on the odds, and how much it weighs",
    formula="gamma(a, a) prior, a = 1 / (exp(sd^2) - 1); factor = (a + events) / (a + expected); weight = expected / "
    "(a + expected)",
    valid="own operations in the order in which they came, none left out; expected by the same model",
    input=SurgeonFactorInput,
    output=SurgeonFactorOut,
    example={
        "technique": "manual-small-incision",
        "records": [{"technique": "manual-small-incision", "operations": 400, "events": 7, "expected": 4.2}],
        "probability": 0.04,
    },
)
def surgeon_factor(given: SurgeonFactorInput, use: Reader) -> tuple[SurgeonFactorOut, list[Doubt]]:
    """Factor on the odds with interval and weight, at the assumed spread and at others."""
    _same_technique_once(given.records)
    constants, level = use.constants(engine.OwnRecordConstants), use.number("interval.published")
    records = tuple(engine.OwnRecord(r.technique, r.operations, r.events, r.expected) for r in given.records)
    mine = next((r for r in records if r.technique == given.technique), None)
    mine = mine or engine.OwnRecord(given.technique, 0, 0, 0.0)
    prior, sd = engine.prior_from_others(records, given.technique, constants=constants, level=level)

    def at(spread: float) -> engine.SurgeonFactor:
        return engine.surgeon_factor(
            events=mine.events, expected=mine.expected, surgeon_sd=spread, level=level, prior_mean=prior
        )

    found = at(sd)
    tried = tuple(
        FactorAt(
            surgeon_sd=spread,
            factor=other.mean,
            low=other.low,
            high=other.high,
            weight=other.weight,
            above_one=other.above_one,
            surgeons_low=ends[0],
            surgeons_high=ends[1],
            median_odds_ratio=engine.median_odds_ratio(spread),
        )
        for spread in use.numbers("own_record.surgeon_sd_tried")
        for other, ends in ((at(spread), engine.surgeons_apart(spread, level=level)),)
    )
    moved = None if given.probability is None else float(logistic(logit(given.probability) + _log(found.mean)))
    result = SurgeonFactorOut(
        events=mine.events,
        expected=mine.expected,
        operations=mine.operations,
        prior=prior,
        factor=found.mean,
        low=found.low,
        high=found.high,
        weight=found.weight,
        above_one=found.above_one,
        tried=tried,
        probability=moved,
    )
    doubts = [small_record(use)]
    if prior != 1:
        doubts.append(
            Doubt(
                "prior-from-other-techniques",
                tr("The starting point {prior:.2f} comes from the surgeon's other techniques.", prior=prior),
            )
        )
    return result, doubts


def _log(value: float) -> float:
    return float(logit(value / (1 + value)))


class TechniqueRateInput(Record):
    """Own count of one technique, and the published rate that it is laid beside."""

    published_rate: Share = Field(description="published rate")
    events: Count = Field(description="events seen")
    operations: Count = Field(description="operations counted")

    @model_validator(mode="after")
    def _no_more_events_than_operations(self) -> TechniqueRateInput:
        if self.events > self.operations:
            raise ValueError(tr("no more events than operations"))
        return self


class TechniqueRate(Record):
    """Own rate, drawn towards the published one."""

    rate: float = Field(description="posterior mean")
    low: float = Field(description="lower end of the central 95 per cent")
    high: float = Field(description="upper end of the central 95 per cent")
    weight: float = Field(description="weight of the own record, 0 to 1")
    prior_operations: float = Field(description="operations' worth of the published rate")
    raw: float | None = Field(description="events over operations; null without operations")


@calculation(
    "technique-rate",
    summary="Own rate of a complication of one technique, drawn towards the published one as far as surgeons differ",
    formula="beta prior, n0 = 1 / (p (1 - p) sd^2) - 1; rate = (n0 p + events) / (n0 + operations)",
    valid="one technique, no case mix; where operations differ in difficulty use surgeon-factor",
    input=TechniqueRateInput,
    output=TechniqueRate,
    example={"published_rate": 0.0101, "events": 3, "operations": 250},
)
def technique_rate(given: TechniqueRateInput, use: Reader) -> tuple[TechniqueRate, list[Doubt]]:
    """Own rate with interval and weight."""
    sd = use.number("own_record.surgeon_sd")
    mean, low, high, weight = engine.rate_from_record(
        published_rate=given.published_rate,
        surgeon_sd=sd,
        events=given.events,
        operations=given.operations,
        level=use.number("interval.published"),
    )
    prior = engine.prior_operations(published_rate=given.published_rate, surgeon_sd=sd)
    raw = given.events / given.operations if given.operations else None
    return TechniqueRate(rate=mean, low=low, high=high, weight=weight, prior_operations=prior, raw=raw), [
        small_record(use)
    ]


class CaseIn(Record):
    """One own operation: what the model said before it, and whether the event came."""

    predicted: Share = Field(description="the model's probability")
    observed: bool = Field(description="whether the capsule ruptured or vitreous was lost")


class RecalibrationInput(Record):
    """Own operations, each with prediction and outcome; ``probability`` is one to recalibrate."""

    cases: tuple[CaseIn, ...] = Field(strict=False, min_length=1, max_length=100_000, description="own operations")
    probability: Share | None = None


class RecalibrationOut(Record):
    """logit p' = intercept + slope x logit p, with how much the own data weigh in each.

    ``method``: ``intercept`` (few events: the factor on the odds alone) or ``intercept-and-slope``.
    """

    method: Literal["intercept", "intercept-and-slope"] = Field(description="what was refitted")
    operations: int = Field(description="own operations")
    events: int = Field(description="events among them")
    expected: float = Field(description="events that the model expected")
    intercept: float = Field(description="shift of the log odds")
    intercept_sd: float = Field(description="its standard deviation")
    slope: float = Field(description="slope of the log odds; 1 where it is not refitted")
    slope_sd: float = Field(description="its standard deviation; 0 where it is not refitted")
    weight_intercept: float = Field(description="weight of the own data in the intercept, 0 to 1")
    weight_slope: float = Field(description="weight of the own data in the slope, 0 to 1")
    probability: float | None = Field(description="the given probability, recalibrated")
    low: float | None = Field(description="lower end of its central 90 per cent")
    high: float | None = Field(description="upper end of its central 90 per cent")


@calculation(
    "risk-recalibration",
    summary="Recalibrates the model's risk to the surgeon's own operations, with shrinkage, and shows what they weigh",
    formula="logit p' = a + b logit p; a ~ N(0, sd^2), b ~ N(1, sd^2); under 20 events a alone, by surgeon-factor",
    valid="own operations, none left out, each with the prediction made before it",
    input=RecalibrationInput,
    output=RecalibrationOut,
    example={
        "cases": [{"predicted": 0.02, "observed": False}, {"predicted": 0.1, "observed": True}],
        "probability": 0.05,
    },
)
def risk_recalibration(given: RecalibrationInput, use: Reader) -> tuple[RecalibrationOut, list[Doubt]]:
    """Intercept, and from enough events on slope, of the predicted log odds."""
    constants = use.constants(engine.OwnRecordConstants)
    record = engine.OwnRecord(
        technique="",
        operations=len(given.cases),
        events=sum(c.observed for c in given.cases),
        expected=sum(c.predicted for c in given.cases),
        predicted=tuple(c.predicted for c in given.cases),
        observed=tuple(c.observed for c in given.cases),
    )
    moved = engine.learned((record,), "", constants=constants, level=use.number("interval.published"))
    ends = (None, None, None)
    if given.probability is not None:
        at = moved.at(logit(given.probability), level=use.number("interval.shown"))
        ends = tuple(float(logistic(v)) for v in at)  # type: ignore[assignment]
    result = RecalibrationOut(
        method="intercept-and-slope" if moved.refits_slope else "intercept",
        operations=record.operations,
        events=record.events,
        expected=record.expected,
        intercept=moved.intercept,
        intercept_sd=moved.covariance[0][0] ** 0.5,
        slope=moved.slope,
        slope_sd=moved.covariance[1][1] ** 0.5,
        weight_intercept=moved.weight_intercept,
        weight_slope=moved.weight_slope,
        probability=ends[0],
        low=ends[1],
        high=ends[2],
    )
    doubts = [small_record(use)]
    if record.events >= constants.refit_events:
        doubts.append(
            Doubt(
                "enough-to-refit",
                tr("With {n} events every coefficient can be refitted, its published ratio as prior.", n=record.events),
            )
        )
    return result, doubts


CALCULATIONS = (surgeon_factor, technique_rate, risk_recalibration)

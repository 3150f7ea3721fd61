"""The calculation ``risk-refit``: every coefficient of the rupture model refitted to more than a hundred own events."""

from __future__ import annotations

import math

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.own_record import small_record
from forestay.calc.risk import EyeFactors, ModelName, levels_of, read_model
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.record import Record
from forestay.risk import refit as engine
from forestay.risk.bayes import logistic
from forestay.risk.complication import Model, Spread
from forestay.text import tr

EXAMPLE_OPERATIONS = 1200
"""Operations of the invented example."""


class OperatedEye(EyeFactors):
    """One own operation."""

    observed: bool = Field(description="whether the capsule ruptured or vitreous was lost")


class RiskRefitInput(Record):
    """Own operations of one technique, none left out, and an eye to ask about."""

    model: ModelName = Field(description="which model's ratios are the priors")
    cases: tuple[OperatedEye, ...] = Field(
        strict=False, min_length=1, max_length=50_000, description="own operations of one technique"
    )
    eye: EyeFactors | None = Field(default=None, description="an eye to ask about")


class CoefficientOut(Record):
    """One level of one factor."""

    name: str = Field(description="factor")
    level: str = Field(description="level against the factor's reference level")
    published: float = Field(description="published odds ratio, the prior's centre")
    refitted: float = Field(description="odds ratio after the own operations")
    low: float = Field(description="lower end of its central 90 per cent")
    high: float = Field(description="upper end of its central 90 per cent")
    weight: float = Field(description="share of the prior's variance that the own operations took away, 0 to 1")
    seen: int = Field(description="own operations at this level")


class RiskRefitOutput(Record):
    """The refitted model."""

    operations: int = Field(description="own operations")
    events: int = Field(description="events among them")
    expected: float = Field(description="events that the published model expected of them")
    expected_refitted: float = Field(description="events that the refitted one expects of them")
    reference_probability: float = Field(description="of the reference eye, refitted")
    intercept_weight: float = Field(description="weight of the own operations in it, 0 to 1")
    coefficients: tuple[CoefficientOut, ...] = Field(description="every level of every factor")
    probability: float | None = Field(description="of the eye asked about, refitted; null where none was")
    low: float | None = Field(description="lower end of its central 90 per cent, from the coefficients alone")
    high: float | None = Field(description="upper end of the same")


def _example() -> list[dict[str, object]]:
    """An invented practice, regular on purpose: every tenth operation ends in the event, more often in small pupils."""
    return [
        {
            "age_years": 60 + i % 35,
            "sex": "male" if i % 2 else "female",
            "pupil": "small" if i % 4 == 0 else "large",
            "observed": i % 20 == 0 or i % 21 == 0,
        }
        for i in range(EXAMPLE_OPERATIONS)
    ]


@calculation(
    "risk-refit",
    summary="Every coefficient of the rupture model refitted to more than a hundred own events, published ratios as priors",
    formula="logistic regression, b_k ~ N(ln OR_k, se_k^2), b_0 ~ N(logit p0, se0^2 + sd^2): highest point and covariance",
    valid="own operations of one technique, none left out; more than 100 events; an unknown factor enters by its usual share",
    input=RiskRefitInput,
    output=RiskRefitOutput,
    example={"model": "uk-2009", "cases": _example(), "eye": {"age_years": 74, "sex": "male", "pupil": "small"}},
)
def risk_refit(given: RiskRefitInput, use: Reader) -> tuple[RiskRefitOutput, list[Doubt]]:
    """Priors from the published model, own operations on top."""
    observed = [case.observed for case in given.cases]
    least = use.number("own_record.refit_events")
    if sum(observed) < least:
        raise InvalidInput(
            tr(
                "cases hold {n} events; allowed: {least:.0f} or more. With fewer, risk-recalibration moves intercept and"
                " slope and overfits less.",
                n=sum(observed),
                least=least,
            ),
            field="cases",
            value=sum(observed),
            allowed=tr("{least:.0f} events or more", least=least),
        )
    model, doubts = read_model(given.model, use)
    use.row("complication.mix")
    starts = use.numbers("complication.odds.age_starts_years")

    def levels(one: EyeFactors) -> dict[str, str]:
        return levels_of(one, model, starts)[0]

    eyes = [levels(case) for case in given.cases]
    level = use.number("interval.shown")
    found = engine.refit(model, eyes, observed, least_error=use.constants(Spread).common, level=level)
    before = (model.intercept, *(_log(model, name, at) for name, at in engine.names(model)))
    rows = [engine.design_row(model, eye) for eye in eyes]
    ends = (None, None, None) if given.eye is None else found.probability(levels(given.eye), level=level)
    doubts += [small_record(use), _doubt()]
    result = RiskRefitOutput(
        operations=len(eyes),
        events=sum(observed),
        expected=_expected(rows, before),
        expected_refitted=_expected(rows, found.at),
        reference_probability=float(logistic(found.model.intercept)),
        intercept_weight=found.weight_intercept,
        coefficients=tuple(
            CoefficientOut(
                name=c.factor,
                level=c.level,
                published=c.published,
                refitted=c.refitted,
                low=c.low,
                high=c.high,
                weight=c.weight,
                seen=c.seen,
            )
            for c in found.coefficients
        ),
        probability=ends[0],
        low=ends[1],
        high=ends[2],
    )
    return result, doubts


def _log(model: Model, name: str, level: str) -> float:
    factor = next(f for f in model.factors if f.name == name)
    return math.log(factor.odds_ratios[factor.levels.index(level)])


def _expected(rows: list[tuple[float, ...]], at: tuple[float, ...]) -> float:
    return sum(float(logistic(sum(x * b for x, b in zip(row, at, strict=True)))) for row in rows)


def _doubt() -> Doubt:
    says = tr(
        "Refitting is for one technique and surgeon, with no operation left out; the plan goes on with intercept and slope,"
        " which overfit less."
    )
    return Doubt("refit-overfits", says)


CALCULATIONS = (risk_refit,)

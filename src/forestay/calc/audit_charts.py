"""Calculations of audit: calibration of predictions, charts of measured values, gaps between events, learning curves."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.audit import Outcome
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.record import Record
from forestay.statistics import calibration as scoring
from forestay.statistics import errors as error_engine
from forestay.statistics import learning_curve, measured, rare
from forestay.text import tr

Outcomes = Annotated[tuple[Outcome, ...], Field(strict=False, min_length=1, description="1 where it happened, else 0")]
Numbers = Annotated[tuple[float, ...], Field(strict=False, min_length=1, description="values in their order")]


class CalibrationInput(Record):
    """Predictions and what came of them."""

    predicted: tuple[Annotated[float, Field(gt=0, lt=1)], ...] = Field(
        strict=False, min_length=1, description="predicted probability, above 0 and below 1"
    )
    observed: Outcomes


class Calibration(Record):
    """How well they agree; null where the cases cannot say."""

    n: int = Field(description="cases")
    events: int = Field(description="events observed")
    expected: float = Field(description="events expected")
    ratio: float = Field(description="observed over expected")
    brier: float = Field(description="mean squared distance of prediction and outcome")
    scaled_brier: float | None = Field(description="1 less the score over that of always telling the observed rate")
    spiegelhalter_z: float = Field(description="standard normal where the predictions are right")
    intercept: float | None = Field(description="shift of the log odds that makes expected equal observed")
    slope: float | None = Field(description="slope of the outcome on the log odds; below 1: too extreme")
    slope_intercept: float | None = Field(description="intercept that goes with the slope")


@calculation(
    "calibration",
    summary="How well predicted probabilities agree with what happened",
    formula="Brier = mean (p - y)^2; logistic regression of y on logit p gives intercept and slope",
    valid="predictions made before the outcome was known; a surgeon's own cases rarely allow a curve",
    input=CalibrationInput,
    output=Calibration,
    example={"predicted": [0.1, 0.2, 0.3, 0.8], "observed": [0, 0, 1, 1]},
)
def calibration(given: CalibrationInput, use: Reader) -> tuple[Calibration, list[Doubt]]:
    """Scores of the predictions; too few events for more than observed over expected is said."""
    n = len(given.predicted)
    if n != len(given.observed):
        raise InvalidInput(
            tr(
                "observed has {there} entries and predicted has {here}: one of each for every case.",
                there=len(given.observed),
                here=n,
            ),
            field="observed",
            value=len(given.observed),
            allowed=tr("{n} entries", n=n),
        )
    found = scoring.calibration(predicted=given.predicted, observed=given.observed)
    enough = use.number("audit.curve_events")
    doubts = []
    if min(found.events, n - found.events) < enough:
        says = tr(
            "{events} events in {n} cases: fewer than {enough:g} of each kind allow observed over expected, not a curve "
            "or a new model.",
            events=found.events,
            n=n,
            enough=enough,
        )
        doubts.append(Doubt("few-events", says))
    return Calibration(n=n, **found._asdict()), doubts


class ErrorsInput(Record):
    """Prediction errors, achieved less predicted, all in one unit."""

    errors: Numbers
    bands: tuple[Annotated[float, Field(gt=0)], ...] = Field(
        (0.5, 1.0), strict=False, min_length=1, description="distances from the prediction to count within"
    )


class Errors(Record):
    """Summary in the unit of the errors."""

    n: int = Field(description="cases")
    mean: float = Field(description="mean error")
    sd: float | None = Field(description="standard deviation; null for one case")
    mean_absolute: float = Field(description="mean absolute error")
    median_absolute: float = Field(description="median absolute error")
    root_mean_square: float = Field(description="root mean square error")
    largest: float = Field(description="largest absolute error")
    within: tuple[float, ...] = Field(description="share within each band")


@calculation(
    "prediction-errors",
    summary="Mean, spread and shares within bands of prediction errors",
    formula="error = achieved - predicted; an error on the edge of a band counts as inside",
    valid="one eye of a person; sulcus, sutured and complicated eyes apart from those in the bag",
    input=ErrorsInput,
    output=Errors,
    example={"errors": [-0.62, 0.25, 0.4], "bands": [0.5, 1]},
)
def prediction_errors(given: ErrorsInput, use: Reader) -> tuple[Errors, list[Doubt]]:  # noqa: ARG001
    """The errors in figures."""
    return Errors(**error_engine.summary(given.errors, bands=given.bands)._asdict()), []


class MeasuredInput(Record):
    """Values in order, the centre and spread of a steady process, and the settings of both charts."""

    values: Numbers
    centre: float = Field(description="value of the steady process")
    sd: float = Field(gt=0, description="standard deviation of the steady process, in the unit of the values")
    weight: float = Field(0.1, gt=0, le=1, description="weight of the newest value in the weighted mean")
    width: float = Field(2.7, gt=0, description="distance of the limits of the weighted mean, in standard errors")
    allowance_sd: float = Field(0.5, ge=0, description="allowance of the sums, in standard deviations")
    limit_sd: float = Field(5.0, gt=0, description="limit of the sums, in standard deviations")


class MeasuredChart(Record):
    """Weighted mean with its limits, and the two sums."""

    weighted_mean: tuple[float, ...] = Field(description="weighted mean after each value")
    low: tuple[float, ...] = Field(description="lower limit of the weighted mean")
    high: tuple[float, ...] = Field(description="upper limit of the weighted mean")
    outside: tuple[int, ...] = Field(description="values, counted from 0, whose weighted mean lies outside")
    above: tuple[float, ...] = Field(description="sum of what lies above the centre by more than the allowance")
    below: tuple[float, ...] = Field(description="sum of what lies below")
    signals: tuple[int, ...] = Field(description="values, counted from 0, at which a sum passes the limit")


@calculation(
    "measured-chart",
    summary="Weighted mean and two-sided sum of a measured quantity",
    formula="z = w x + (1 - w) z; C+ = max(0, x - centre - K + C+), C- likewise",
    valid="a steady process with known centre and spread, values independent of one another",
    input=MeasuredInput,
    output=MeasuredChart,
    example={"values": [9.45, 7.99, 9.29, 11.66], "centre": 10, "sd": 1},
)
def measured_chart(given: MeasuredInput, use: Reader) -> tuple[MeasuredChart, list[Doubt]]:  # noqa: ARG001
    """Both charts of the same values."""
    mean = measured.weighted_mean(
        given.values, centre=given.centre, sd=given.sd, weight=given.weight, width=given.width
    )
    sums = measured.tabular_sum(
        given.values,
        centre=given.centre,
        allowance=given.allowance_sd * given.sd,
        limit=given.limit_sd * given.sd,
    )
    outside = np.flatnonzero((mean.mean < mean.low) | (mean.mean > mean.high))
    found = MeasuredChart(
        weighted_mean=tuple(mean.mean.tolist()),
        low=tuple(mean.low.tolist()),
        high=tuple(mean.high.tolist()),
        outside=tuple(outside.tolist()),
        above=tuple(sums.above.tolist()),
        below=tuple(sums.below.tolist()),
        signals=tuple(sums.signals.tolist()),
    )
    return found, []


class GapsInput(Record):
    """A steady rate, and the cases in order if there are any."""

    rate: float = Field(gt=0, lt=1, description="steady rate of a rare event")
    observed: tuple[Outcome, ...] = Field((), strict=False, description="1 where it happened, else 0, in order")


class Gaps(Record):
    """Cases between events: what is usual, and what was seen."""

    mean: float = Field(description="cases between events on average")
    upper: float = Field(description="mean plus three standard deviations")
    low: float = Field(description="gap that is as short only once in many")
    median: float = Field(description="half of the gaps are as short")
    high: float = Field(description="gap that is as long only once in many")
    gaps: tuple[int, ...] = Field(description="cases before each event seen")


@calculation(
    "rare-events",
    summary="Cases between two rare events",
    formula="mean (1 - p)/p; upper = mean + 3 sqrt(mean (mean + 1)); geometric quantiles",
    valid="a steady rate; the rule of three standard deviations has no lower limit, so it cannot show a cluster",
    input=GapsInput,
    output=Gaps,
    example={"rate": 0.01, "observed": [0, 0, 1, 0, 1]},
)
def rare_events(given: GapsInput, use: Reader) -> tuple[Gaps, list[Doubt]]:
    """Usual gaps at this rate beside those seen."""
    usual = rare.between(rate=given.rate, tail=use.number("audit.gap_tail"))
    return Gaps(**usual._asdict(), gaps=tuple(rare.gaps(given.observed).tolist())), []


class LearningInput(Record):
    """A trainee's cases in order and the two rates to tell apart; those of the evidence where not given."""

    observed: Outcomes
    acceptable: float | None = Field(None, gt=0, lt=1, description="failure rate held acceptable")
    unacceptable: float | None = Field(None, gt=0, lt=1, description="failure rate held unacceptable")
    error: float | None = Field(None, gt=0, lt=0.5, description="chance of error allowed, either way")


class Learning(Record):
    """The running sum with both lines, and where the record has decided."""

    path: tuple[float, ...] = Field(description="failures less what is allowed for each case")
    accept_at: float = Field(description="at or below this the acceptable rate is shown")
    reject_at: float = Field(description="at or above this the unacceptable rate is shown")
    accepted_after: int | None = Field(description="cases until the acceptable rate is shown; null if not yet")
    rejected_after: int | None = Field(description="cases until the unacceptable rate is shown; null if not yet")
    clean_cases: int = Field(description="cases without a failure that show the acceptable rate")


@calculation(
    "learning-curve",
    summary="A trainee's cases: is the failure rate acceptable, unacceptable, or not yet known",
    formula="Wald's sequential test: sum of failures less s for each case, between -h0 and h1",
    valid="cases of about equal difficulty; the rates are a training programme's choice",
    input=LearningInput,
    output=Learning,
    example={"observed": [0, 0, 1, 0, 0, 0]},
)
def learning(given: LearningInput, use: Reader) -> tuple[Learning, list[Doubt]]:
    """The test's path and what it has shown so far."""
    good = given.acceptable if given.acceptable is not None else use.number("audit.acceptable_rupture")
    bad = given.unacceptable if given.unacceptable is not None else use.number("audit.unacceptable_rupture")
    if good >= bad:
        raise InvalidInput(
            tr("acceptable is {good:g}; it must lie below unacceptable, {bad:g}.", good=good, bad=bad),
            field="acceptable",
            value=good,
            allowed=tr("below {bad:g}", bad=bad),
        )
    error = given.error if given.error is not None else use.number("audit.sequential_error")
    test = learning_curve.sequential(acceptable=good, unacceptable=bad, false_alarm=error, false_pass=error)
    path = learning_curve.sequential_path(given.observed, test=test)
    down, up = np.flatnonzero(path <= -test.accept), np.flatnonzero(path >= test.reject)
    doubts = []
    if given.acceptable is None or given.unacceptable is None:
        says = tr("Rates taken from three residents: {good:.0%} acceptable, {bad:.0%} not.", good=good, bad=bad)
        doubts.append(Doubt("rates-assumed", says))
    found = Learning(
        path=tuple(path.tolist()),
        accept_at=-test.accept,
        reject_at=test.reject,
        accepted_after=int(down[0]) + 1 if down.size else None,
        rejected_after=int(up[0]) + 1 if up.size else None,
        clean_cases=test.clean_cases,
    )
    return found, doubts


CALCULATIONS = (calibration, prediction_errors, measured_chart, rare_events, learning)

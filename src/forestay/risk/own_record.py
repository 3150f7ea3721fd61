"""A surgeon's own record against the published model: how far it moves the risk, and how much it weighs.

Three ways, by how much there is to learn from. Few events: one factor on the odds, its prior the published spread
between surgeons (gamma-Poisson on expected counts, which keeps the case mix). More: intercept and slope of the
predicted log odds, shrunk to 0 and 1. Many: every coefficient, each with the published ratio as its prior. For a raw
rate of one technique without case mix: beta-binomial.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forestay.risk.bayes import logistic, logit
from forestay.risk.normal import central, normal_quantile

GRID_STEPS = 4001
"""Points of the grid on which a posterior is laid out."""
GRID_LIMIT_LOG = 12.0
"""The grid reaches this far to both sides of its centre, in natural logarithms."""
NEWTON_ITERATIONS = 50
"""At most so many steps to the highest point of a posterior."""
NEWTON_TOLERANCE = 1e-10
"""A step smaller than this ends the search."""

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class OwnRecordConstants:
    """How much surgeons differ and when more is refitted.

    ``surgeon_sd`` [log odds], ``technique_sd`` [log odds: of one technique from the surgeon's others], ``slope_sd``
    [-], ``slope_events`` and ``refit_events`` [events from which slope, and all coefficients, are refitted].
    """

    PREFIX: ClassVar[str] = "own_record"
    surgeon_sd: float
    technique_sd: float
    slope_sd: float
    slope_events: float
    refit_events: float


@dataclass(frozen=True)
class OwnRecord:
    """Own operations of one technique: how many, events seen, events that the model expected; or case by case.

    ``predicted`` and ``observed`` list the same operations with the model's probability and whether the event came;
    empty where only the sums are known.
    """

    technique: str
    operations: int
    events: int
    expected: float
    predicted: tuple[float, ...] = ()
    observed: tuple[bool, ...] = ()


@dataclass(frozen=True)
class SurgeonFactor:
    """Factor on the odds: mean with interval, spread of its logarithm, weight of the own record.

    ``mean`` = weight x (events / expected) + (1 - weight) x prior mean.
    """

    mean: float
    low: float
    high: float
    log_sd: float
    weight: float
    above_one: float
    """Probability that the factor is above 1."""


@dataclass(frozen=True)
class Recalibration:
    """logit p' = intercept + slope x logit p: most likely values with their covariance, and weights of the own data."""

    intercept: float
    slope: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    weight_intercept: float
    weight_slope: float

    @property
    def refits_slope(self) -> bool:
        """Whether the slope was refitted, or left at 1."""
        return self.covariance[1][1] > 0

    def spread(self, log_odds: float) -> float:
        """Standard deviation of the recalibrated log odds at the model's ``log_odds``."""
        (a, ab), (_, b) = self.covariance
        return math.sqrt(max(a + 2 * ab * log_odds + b * log_odds**2, 0.0))

    def at(self, log_odds: float, *, level: float) -> tuple[float, float, float]:
        """Recalibrated log odds with its central interval, by the own record's uncertainty alone."""
        centre = self.intercept + self.slope * log_odds
        half = normal_quantile(central(level)[1]) * self.spread(log_odds)
        return centre, centre - half, centre + half


def gamma_shape(surgeon_sd: float) -> float:
    """Shape a of a gamma distribution of mean 1 that is as wide as a log-normal of that SD: 1 / (exp(sd^2) - 1).

    >>> round(gamma_shape(0.5), 2)
    3.52
    """
    return 1 / math.expm1(surgeon_sd**2)


def median_odds_ratio(surgeon_sd: float) -> float:
    """Median odds ratio between two surgeons drawn at random: exp(sqrt(2) z(0.75) sd), z(0.75) the upper quartile.

    >>> round(median_odds_ratio(0.5), 2)
    1.61
    """
    return math.exp(math.sqrt(2) * normal_quantile(1 - 0.25) * surgeon_sd)


def surgeons_apart(surgeon_sd: float, *, level: float) -> tuple[float, float]:
    """Between which factors on the odds the middle ``level`` of surgeons lies: exp(+- z sd), a log-normal spread.

    >>> [round(end, 2) for end in surgeons_apart(0.5, level=0.95)]
    [0.38, 2.66]
    """
    half = normal_quantile(central(level)[1]) * surgeon_sd
    return math.exp(-half), math.exp(half)


def surgeon_factor(
    *, events: float, expected: float, surgeon_sd: float, level: float, prior_mean: float = 1.0
) -> SurgeonFactor:
    """Factor on the odds from events against expected: gamma(a, a / m) prior, gamma(a + O, a / m + E) posterior.

    Parameters: ``events`` O [count], ``expected`` E [sum of the model's probabilities], ``surgeon_sd`` [log odds],
    ``prior_mean`` m [-]. Result: mean (a + O) / (a / m + E) with its central interval. Known bias: it pulls surgeons of
    few operations to the prior; events, expected and the weight E / (a / m + E) belong beside it.
    """
    shape, rate = gamma_shape(surgeon_sd) + events, gamma_shape(surgeon_sd) / prior_mean + expected
    mean = shape / rate
    logs = math.log(mean) + np.linspace(-GRID_LIMIT_LOG, GRID_LIMIT_LOG / 4, GRID_STEPS)
    density = shape * logs - rate * np.exp(logs)
    share = _cumulative(logs, density)
    below, above = central(level)
    low, high = (math.exp(_quantile(logs, share, p)) for p in (below, above))
    weights = np.gradient(share)
    centre = float(np.sum(weights * logs) / np.sum(weights))
    log_sd = math.sqrt(float(np.sum(weights * (logs - centre) ** 2) / np.sum(weights)))
    above_one = 1 - float(np.interp(0.0, logs, share))
    return SurgeonFactor(mean, low, high, log_sd, expected / rate, above_one)


def prior_operations(*, published_rate: float, surgeon_sd: float) -> float:
    """Operations' worth of a published rate where surgeons differ by ``surgeon_sd``: n0 = 1 / (p (1 - p) sd^2) - 1.

    >>> round(prior_operations(published_rate=0.0101, surgeon_sd=0.5))
    399
    """
    return 1 / (published_rate * (1 - published_rate) * surgeon_sd**2) - 1


def rate_from_record(
    *, published_rate: float, surgeon_sd: float, events: int, operations: int, level: float
) -> tuple[float, float, float, float]:
    """Own rate of one technique: beta prior about the published rate, as wide as surgeons differ.

    Result: mean, low, high, weight of the own record.
    """
    prior = prior_operations(published_rate=published_rate, surgeon_sd=surgeon_sd)
    a, b = prior * published_rate + events, prior * (1 - published_rate) + operations - events
    centre = math.log(a / b)
    x = centre + np.linspace(-GRID_LIMIT_LOG, GRID_LIMIT_LOG / 4, GRID_STEPS)
    share = _cumulative(x, a * x - (a + b) * np.logaddexp(0.0, x))
    below, above = central(level)
    low, high = (float(logistic(_quantile(x, share, p))) for p in (below, above))
    return a / (a + b), low, high, operations / (operations + prior)


def posterior_logistic(
    design: ArrayLike, observed: ArrayLike, *, prior_mean: ArrayLike, prior_sd: ArrayLike
) -> tuple[Floats, Floats]:
    """Coefficients of a logistic model with independent normal priors: highest point and covariance there.

    Parameters: ``design`` [(n, k)], ``observed`` [(n,), 0 or 1], priors [(k,)]. With priors, one solution always
    exists; Newton's method with halved steps finds it.
    """
    x, y = np.asarray(design, dtype=float), np.asarray(observed, dtype=float)
    mean, precision = np.asarray(prior_mean, dtype=float), 1 / np.asarray(prior_sd, dtype=float) ** 2

    def height(b: Floats) -> float:
        eta = x @ b
        return float(y @ eta - np.sum(np.logaddexp(0.0, eta)) - 0.5 * np.sum(precision * (b - mean) ** 2))

    at = mean.copy()
    information = np.diag(precision)
    for _ in range(NEWTON_ITERATIONS):
        p = logistic(x @ at)
        slope = x.T @ (y - p) - precision * (at - mean)
        information = (x.T * (p * (1 - p))) @ x + np.diag(precision)
        step = np.linalg.solve(information, slope)
        size = 1.0
        while height(at + size * step) < height(at) and size > NEWTON_TOLERANCE:
            size /= 2
        at = at + size * step
        if float(np.max(np.abs(size * step))) < NEWTON_TOLERANCE:
            break
    return at, np.asarray(np.linalg.inv(information), dtype=np.float64)


def recalibrate(
    *, predicted: Sequence[float], observed: Sequence[bool], intercept_sd: float, slope_sd: float
) -> Recalibration:
    """Intercept and slope of the predicted log odds, shrunk to 0 and 1.

    Priors N(0, intercept_sd^2) and N(1, slope_sd^2). Weight of the own data: the share of the prior variance that they
    took away.
    """
    log_odds = np.asarray(logit(np.asarray(predicted, dtype=float)))
    design = np.column_stack((np.ones_like(log_odds), log_odds))
    at, covariance = posterior_logistic(
        design, np.asarray(observed, dtype=float), prior_mean=(0.0, 1.0), prior_sd=(intercept_sd, slope_sd)
    )
    rows: Any = tuple(tuple(float(v) for v in row) for row in covariance)
    return Recalibration(
        intercept=float(at[0]),
        slope=float(at[1]),
        covariance=rows,
        weight_intercept=1 - float(covariance[0, 0]) / intercept_sd**2,
        weight_slope=1 - float(covariance[1, 1]) / slope_sd**2,
    )


def prior_from_others(
    records: Sequence[OwnRecord], technique: str, *, constants: OwnRecordConstants, level: float
) -> tuple[float, float]:
    """Prior mean and SD of a technique's factor: the surgeon's other techniques together, or all surgeons.

    A technique without a record of its own starts where the surgeon's others stand, with their spread and that between
    techniques, never wider than between surgeons.
    """
    others = [r for r in records if r.technique != technique]
    if not others:
        return 1.0, constants.surgeon_sd
    pooled = surgeon_factor(
        events=sum(r.events for r in others),
        expected=sum(r.expected for r in others),
        surgeon_sd=constants.surgeon_sd,
        level=level,
    )
    return pooled.mean, min(math.hypot(constants.technique_sd, pooled.log_sd), constants.surgeon_sd)


@lru_cache(maxsize=64)
def learned(
    records: tuple[OwnRecord, ...], technique: str, *, constants: OwnRecordConstants, level: float
) -> Recalibration:
    """What the own records say of one technique, by as much as they allow.

    Under ``slope_events`` events, or without case by case predictions, the factor on the odds alone; from there on
    intercept and slope. Without any record: nothing moves, and the spread is that between surgeons.
    """
    prior, sd = prior_from_others(records, technique, constants=constants, level=level)
    mine = next((r for r in records if r.technique == technique), OwnRecord(technique, 0, 0, 0.0))
    if mine.predicted and mine.events >= constants.slope_events:
        return recalibrate(
            predicted=mine.predicted, observed=mine.observed, intercept_sd=sd, slope_sd=constants.slope_sd
        )
    found = surgeon_factor(events=mine.events, expected=mine.expected, surgeon_sd=sd, level=level, prior_mean=prior)
    return Recalibration(
        intercept=math.log(found.mean),
        slope=1.0,
        covariance=((found.log_sd**2, 0.0), (0.0, 0.0)),
        weight_intercept=found.weight,
        weight_slope=0.0,
    )


def _cumulative(x: Floats, log_density: Floats) -> Floats:
    """Cumulative share of a density on an even grid, by the trapezium rule."""
    density = np.exp(log_density - np.max(log_density))
    areas = np.concatenate(([0.0], np.cumsum(0.5 * (density[1:] + density[:-1]) * np.diff(x))))
    return np.asarray(areas / areas[-1])


def _quantile(x: Floats, share: Floats, probability: float) -> float:
    return float(np.interp(probability, share, x))

"""Every coefficient of the odds-ratio model refitted to one's own operations, each published ratio as its prior.

    logit p = b0 + sum of b_k x_k,   b0 ~ N(logit p0, se0^2 + sd^2),   b_k ~ N(ln OR_k, se_k^2)

``se`` are the standard errors of the published log odds, ``sd`` the spread between surgeons. The highest point of the
posterior and the covariance there are given (Laplace). An unknown factor enters by its share in the model's mix, which
draws its coefficient a little towards 0. Meant for more than a hundred own events: with fewer, intercept, or intercept
and slope, overfit less. Reference: working rule after Vergouwe et al., Stat Med 2017;36:4529; logistic revision with
priors, Feng et al., JAMIA 2022;29:841.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from forestay.risk.bayes import logistic
from forestay.risk.complication import Model
from forestay.risk.normal import central, normal_quantile
from forestay.risk.own_record import posterior_logistic

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Coefficient:
    """One level of one factor: published and refitted odds ratio with its interval, and the weight of the own data.

    ``weight``: share of the prior variance that the own operations took away. ``seen``: own operations at that level.
    """

    factor: str
    level: str
    published: float
    refitted: float
    low: float
    high: float
    weight: float
    seen: int


@dataclass(frozen=True)
class Refit:
    """The refitted model: its coefficients, log odds of the reference eye, covariance, and the weight in the intercept."""

    model: Model
    coefficients: tuple[Coefficient, ...]
    at: tuple[float, ...]
    covariance: tuple[tuple[float, ...], ...]
    weight_intercept: float

    def probability(self, eye: Mapping[str, str], *, level: float) -> tuple[float, float, float]:
        """Probability in one eye with its central interval, by the uncertainty of the coefficients alone."""
        row = np.asarray(design_row(self.model, eye))
        centre = float(row @ np.asarray(self.at))
        sd = math.sqrt(float(row @ np.asarray(self.covariance) @ row))
        half = normal_quantile(central(level)[1]) * sd
        middle, low, high = (float(logistic(v)) for v in (centre, centre - half, centre + half))
        return middle, low, high


def names(model: Model) -> tuple[tuple[str, str], ...]:
    """Factor and level of each coefficient after the intercept, in the order of :func:`design_row`."""
    return tuple((f.name, level) for f in model.factors for level in f.levels[1:])


def design_row(model: Model, eye: Mapping[str, str]) -> tuple[float, ...]:
    """1 for the intercept, then 1 at each level that the eye has; of an unknown factor the shares of its levels."""
    row = [1.0]
    for factor in model.factors:
        if factor.name in eye:
            row += [float(eye[factor.name] == level) for level in factor.levels[1:]]
        else:
            row += list(factor.mix[1:])
    return tuple(row)


def refit(
    model: Model,
    eyes: Sequence[Mapping[str, str]],
    observed: Sequence[bool],
    *,
    least_error: float,
    level: float,
) -> Refit:
    """The model refitted to own operations.

    Parameters: ``eyes`` levels of the known factors, one an operation; ``observed`` whether the event came;
    ``least_error`` [log odds] standard error of a ratio that is published without one; ``level`` of the intervals.
    """
    design = np.array([design_row(model, eye) for eye in eyes], dtype=float)
    ratios = [(f, at) for f in model.factors for at in range(1, len(f.levels))]
    prior = np.array([model.intercept, *(math.log(f.odds_ratios[at]) for f, at in ratios)])
    errors = [f.log_errors[at] or least_error for f, at in ratios]
    prior_sd = np.array([math.hypot(model.intercept_error, model.surgeon_sd), *errors])
    found, covariance = posterior_logistic(design, np.asarray(observed, float), prior_mean=prior, prior_sd=prior_sd)
    sd = np.sqrt(np.diag(covariance))
    half = normal_quantile(central(level)[1])
    coefficients = tuple(
        Coefficient(
            factor=f.name,
            level=f.levels[at],
            published=f.odds_ratios[at],
            refitted=math.exp(found[k]),
            low=math.exp(found[k] - half * sd[k]),
            high=math.exp(found[k] + half * sd[k]),
            weight=1 - float(covariance[k, k]) / float(prior_sd[k]) ** 2,
            seen=int(np.sum(design[:, k] == 1.0)),
        )
        for k, (f, at) in enumerate(ratios, start=1)
    )
    return Refit(
        model=replace(model, intercept=float(found[0])),
        coefficients=coefficients,
        at=tuple(float(v) for v in found),
        covariance=tuple(tuple(float(v) for v in row) for row in covariance),
        weight_intercept=1 - float(covariance[0, 0]) / float(prior_sd[0]) ** 2,
    )

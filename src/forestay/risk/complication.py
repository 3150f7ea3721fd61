"""Risk of capsule rupture or vitreous loss from odds ratios: a logistic model with its uncertainty.

The log odds of an eye are the reference eye's plus ln(odds ratio) of each factor. A factor that is not known is
averaged over the mix of eyes. The interval holds what is unknown about the numbers themselves (standard errors of the
log odds ratios and of the reference eye), how surgeons differ, and the unknown factors.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from forestay.risk.bayes import logistic, logit, odds
from forestay.risk.normal import central, normal_cdf
from forestay.risk.own_record import Recalibration

TOLERANCE_LOG_ODDS = 1e-6
"""Width to which a quantile of the mixture, or an intercept, is solved."""
TAIL_LIMIT_SD = 8.0
"""Standard deviations beyond which no quantile is sought."""

GRADES = ("consultant", "associate-specialist", "staff-grade", "fellow", "registrar", "house-officer")
PUPILS = ("large", "medium", "small")
FLAGS = (
    "glaucoma",
    "diabetic_retinopathy",
    "brown_or_white",
    "no_fundus_view",
    "pseudoexfoliation",
    "long_eye",
    "alpha_blocker",
    "cannot_lie_flat",
)


@dataclass(frozen=True)
class OddsRatios:
    """Published odds ratios [-] of each factor against the reference eye."""

    PREFIX: ClassVar[str] = "complication.odds"
    age_starts_years: tuple[float, ...]
    age: tuple[float, ...]
    male: float
    glaucoma: float
    diabetic_retinopathy: float
    brown_or_white: float
    no_fundus_view: float
    pseudoexfoliation: float
    pupil_medium: float
    pupil_small: float
    long_eye: float
    alpha_blocker: float
    cannot_lie_flat: float
    fellow: float
    registrar: float
    house_officer: float


@dataclass(frozen=True)
class Spread:
    """Standard errors of log odds [-] where none is published, and the spread between surgeons."""

    PREFIX: ClassVar[str] = "complication.spread"
    common: float
    rare: float
    intercept: float
    surgeon: float
    common_factors: tuple[str, ...]


@dataclass(frozen=True)
class Factor:
    """A factor with its levels, the reference first: odds ratio, standard error of its logarithm, share of eyes."""

    name: str
    levels: tuple[str, ...]
    odds_ratios: tuple[float, ...]
    log_errors: tuple[float, ...]
    mix: tuple[float, ...]


@dataclass(frozen=True)
class Model:
    """A whole model: log odds of the reference eye with its error, spread between surgeons, factors, cap."""

    intercept: float
    intercept_error: float
    surgeon_sd: float
    factors: tuple[Factor, ...]
    cap: float


@dataclass(frozen=True)
class Contribution:
    """What one factor did to the odds. For an unknown factor the mean odds ratio over the mix."""

    name: str
    level: str
    odds_ratio: float


@dataclass(frozen=True)
class Estimate:
    """Probability with interval; ``outside`` where the model gave more than its cap."""

    probability: float
    low: float
    high: float
    odds: float
    composite_odds_ratio: float
    uncapped_probability: float
    outside: bool
    contributions: tuple[Contribution, ...]


def age_band(age_years: float, starts_years: tuple[float, ...]) -> str:
    """The name of the age band: ``under-60``, ``60-69`` … ``90-over`` for bands that start at 60, 70, 80, 90.

    >>> age_band(55, (60, 70, 80, 90)), age_band(69.9, (60, 70, 80, 90)), age_band(90, (60, 70, 80, 90))
    ('under-60', '60-69', '90-over')
    """
    return age_bands(starts_years)[sum(age_years >= start for start in starts_years)]


def age_bands(starts_years: tuple[float, ...]) -> tuple[str, ...]:
    """Names of the age bands, the youngest first."""
    inner = [f"{low:g}-{high - 1:g}" for low, high in pairwise(starts_years)]
    return (f"under-{starts_years[0]:g}", *inner, f"{starts_years[-1]:g}-over")


def build(
    *,
    ratios: OddsRatios,
    spread: Spread,
    mix: Mapping[str, Any],
    reference_probability: float,
    career_grade_odds: float,
    cap: float,
) -> Model:
    """The model from its published parts.

    Parameters: ``ratios`` [-], ``spread`` [log odds], ``mix`` [share of eyes by level], ``reference_probability``
    [probability of the reference eye], ``career_grade_odds`` [odds ratio used for associate specialist and staff
    grade], ``cap`` [largest probability given out].
    """
    table: list[tuple[str, tuple[str, ...], tuple[float, ...], tuple[float, ...]]] = [
        ("age", age_bands(ratios.age_starts_years), ratios.age, tuple(mix["age"][1:])),
        ("sex", ("female", "male"), (ratios.male,), (mix["male"],)),
    ]
    table += [(flag, ("no", "yes"), (getattr(ratios, flag),), (mix[flag],)) for flag in FLAGS]
    table += [
        ("pupil", PUPILS, (ratios.pupil_medium, ratios.pupil_small), (mix["pupil_medium"], mix["pupil_small"])),
        (
            "surgeon_grade",
            GRADES,
            (career_grade_odds, career_grade_odds, ratios.fellow, ratios.registrar, ratios.house_officer),
            (0.0, 0.0, mix["fellow"], mix["registrar"], mix["house_officer"]),
        ),
    ]
    factors = []
    for name, levels, values, shares in table:
        error = spread.common if name in spread.common_factors else spread.rare
        first = mix["age"][0] if name == "age" else 1 - sum(shares)
        whole = first + sum(shares)
        factors.append(
            Factor(
                name,
                levels,
                (1.0, *values),
                (0.0, *(error if value != 1 else 0.0 for value in values)),
                tuple(share / whole for share in (first, *shares)),
            )
        )
    return Model(logit(reference_probability), spread.intercept, spread.surgeon, tuple(factors), cap)


def with_ratio(model: Model, *, factor: str, level: str, odds_ratio: float, log_error: float) -> Model:
    """The model with another odds ratio at one level of one factor."""
    changed = []
    for f in model.factors:
        if f.name != factor:
            changed.append(f)
            continue
        at = f.levels.index(level)
        changed.append(
            replace(
                f,
                odds_ratios=(*f.odds_ratios[:at], odds_ratio, *f.odds_ratios[at + 1 :]),
                log_errors=(*f.log_errors[:at], log_error, *f.log_errors[at + 1 :]),
            )
        )
    return replace(model, factors=tuple(changed))


def shifted(model: Model, *, rate_before: float, rate_after: float) -> Model:
    """The model moved in time: logit(rate after) - logit(rate before) on the intercept, case mix unchanged.

    From 1.92 to 1.01 % the shift is -0.652.
    """
    return replace(model, intercept=model.intercept + logit(rate_after) - logit(rate_before))


@lru_cache
def mean_over_mix(model: Model) -> float:
    """Mean probability over the model's own mix of eyes, factors taken as independent."""
    log_odds, _, weight = _combinations(model, {})
    return float(np.sum(weight * logistic(log_odds)))


@lru_cache
def with_mean(model: Model, rate: float) -> Model:
    """``model`` with its intercept solved so that its mean over the mix is ``rate`` [probability]."""
    log_odds, _, weight = _combinations(model, {})
    step, move = math.inf, 0.0
    while abs(step) > TOLERANCE_LOG_ODDS:
        step = logit(rate) - logit(float(np.sum(weight * logistic(log_odds + move))))
        move += step
    return replace(model, intercept=model.intercept + move)


def estimate(model: Model, eye: Mapping[str, str], *, level: float, own: Recalibration | None = None) -> Estimate:
    """Probability of capsule rupture or vitreous loss in one eye.

    logit p = intercept + sum ln OR; p = 1 / (1 + exp(-logit p)). Var(logit p) = sum SE^2 + SE(intercept)^2 + the
    surgeons' variance; low and high are the quantiles of the logit-normal, mixed over the unknown factors.

    Parameters: ``eye``: level of each known factor by name, a factor left out is averaged over the mix; ``level``
    [share of the distribution between low and high], ``own``: what the surgeon's own record makes of the log odds; its
    spread then stands in the place of that between surgeons. Result [probability]. Studied on phacoemulsification in the UK
    2001-06; above ``model.cap`` the probability is capped and ``outside`` is set.
    """
    return _estimated(model, tuple(sorted(eye.items())), level, own)


@lru_cache(maxsize=256)
def _estimated(model: Model, levels: tuple[tuple[str, str], ...], level: float, own: Recalibration | None) -> Estimate:
    """Worked out once for what it rests on: most of what moves in a plan is no factor of the model."""
    eye = dict(levels)
    log_odds, variance, weight = _combinations(model, eye)
    if own is not None:
        spread = np.array([own.spread(float(v)) for v in log_odds])
        variance = own.slope**2 * (variance - model.surgeon_sd**2) + spread**2
        log_odds = own.intercept + own.slope * log_odds
    raw = float(np.sum(weight * logistic(log_odds)))
    sd = np.sqrt(variance)
    below, above = central(level)
    low = logistic(_mixture_quantile(log_odds, sd, weight, below))
    high = logistic(_mixture_quantile(log_odds, sd, weight, above))
    capped = min(raw, model.cap)
    return Estimate(
        probability=capped,
        low=min(low, capped),
        high=max(high, capped),
        odds=odds(capped),
        composite_odds_ratio=odds(raw) / math.exp(model.intercept),
        uncapped_probability=raw,
        outside=raw > model.cap,
        contributions=tuple(_contribution(f, eye) for f in model.factors),
    )


def _contribution(factor: Factor, eye: Mapping[str, str]) -> Contribution:
    if factor.name not in eye:
        mean = sum(share * ratio for share, ratio in zip(factor.mix, factor.odds_ratios, strict=True))
        return Contribution(factor.name, "unknown", mean)
    at = factor.levels.index(eye[factor.name])
    return Contribution(factor.name, factor.levels[at], factor.odds_ratios[at])


def _combinations(
    model: Model, eye: Mapping[str, str]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Log odds, variance and weight of every combination of the unknown factors' levels."""
    log_odds = np.array([model.intercept])
    variance = np.array([model.intercept_error**2 + model.surgeon_sd**2])
    weight = np.array([1.0])
    for factor in model.factors:
        if factor.name in eye:
            chosen = [factor.levels.index(eye[factor.name])]
            shares = [1.0]
        else:
            chosen = [at for at, share in enumerate(factor.mix) if share > 0]
            shares = [factor.mix[at] for at in chosen]
        steps = np.log([factor.odds_ratios[at] for at in chosen])
        errors = np.array([factor.log_errors[at] for at in chosen]) ** 2
        log_odds = np.add.outer(log_odds, steps).ravel()
        variance = np.add.outer(variance, errors).ravel()
        weight = np.multiply.outer(weight, np.array(shares)).ravel()
    return log_odds, variance, weight


def _mixture_quantile(
    centre: NDArray[np.float64], sd: NDArray[np.float64], weight: NDArray[np.float64], probability: float
) -> float:
    """Quantile of a mixture of normals, by halving."""
    low = float(np.min(centre - TAIL_LIMIT_SD * sd))
    high = float(np.max(centre + TAIL_LIMIT_SD * sd))
    if not np.any(sd > 0) and centre.size == 1:
        return float(centre[0])
    safe = np.where(sd > 0, sd, TOLERANCE_LOG_ODDS)
    while high - low > TOLERANCE_LOG_ODDS:
        middle = 0.5 * (low + high)
        if float(np.sum(weight * normal_cdf((middle - centre) / safe))) < probability:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)

"""How well predicted probabilities agree with what happened.

References
----------
Brier GW. Mon Weather Rev 1950;78:1. Spiegelhalter DJ. Stat Med 1986;5:421. Van Calster B and others. BMC Med 2019;17:230
(intercept, slope and curve instead of a grouped test; curves need at least 200 events and 200 non-events).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]

ROUNDING = 1e-14
"""Relative change of the deviance at which a fit stops."""


class Calibration(NamedTuple):
    """Scores of a set of predictions. None where the set cannot say (no event, every case an event, too alike)."""

    events: int
    expected: float
    ratio: float
    """Observed over expected events."""
    brier: float
    scaled_brier: float | None
    spiegelhalter_z: float
    intercept: float | None
    """Calibration in the large: the shift of the log odds that makes expected equal observed."""
    slope: float | None
    slope_intercept: float | None


def calibration(*, predicted: ArrayLike, observed: ArrayLike) -> Calibration:
    """Brier score, observed over expected, intercept and slope of the log odds.

    ``predicted``: probabilities strictly between 0 and 1; ``observed``: 1 where it happened, else 0; one axis.
    """
    p, y = np.asarray(predicted, float), np.asarray(observed, float)
    share = float(y.mean())
    brier = float(np.mean((p - y) ** 2))
    mixed = 0 < share < 1
    fall = np.sum((1 - 2 * p) ** 2 * p * (1 - p))
    z = float(np.sum((y - p) * (1 - 2 * p)) / np.sqrt(fall)) if fall > 0 else 0.0
    intercept = shift_of_log_odds(predicted=p, observed=y) if mixed else None
    line = _slope(p, y) if mixed and np.ptp(p) > 0 else None
    return Calibration(
        events=int(y.sum()),
        expected=float(p.sum()),
        ratio=float(y.sum() / p.sum()),
        brier=brier,
        scaled_brier=1 - brier / (share * (1 - share)) if mixed else None,
        spiegelhalter_z=z,
        intercept=intercept,
        slope=line[1] if line else None,
        slope_intercept=line[0] if line else None,
    )


def shift_of_log_odds(*, predicted: Values, observed: Values) -> float:
    """The shift of all log odds at which the expected number of events equals the observed one.

    There must be an event and a case without one.
    """
    import statsmodels.api as sm

    logit = np.log(predicted / (1 - predicted))
    fitted = sm.GLM(observed, np.ones((observed.size, 1)), family=sm.families.Binomial(), offset=logit).fit(
        tol=ROUNDING
    )
    return float(fitted.params[0])


def _slope(predicted: Values, observed: Values) -> tuple[float, float] | None:
    """Intercept and slope of the outcome on the log odds; None where events and others are wholly apart."""
    import warnings

    import statsmodels.api as sm
    from statsmodels.tools.sm_exceptions import ConvergenceWarning, PerfectSeparationWarning

    logit = np.log(predicted / (1 - predicted))
    if (
        logit[observed > 0].min() >= logit[observed <= 0].max()
        or logit[observed > 0].max() <= logit[observed <= 0].min()
    ):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error", ConvergenceWarning)
        warnings.simplefilter("error", PerfectSeparationWarning)
        fitted = sm.GLM(observed, np.column_stack([np.ones(logit.size), logit]), family=sm.families.Binomial()).fit(
            tol=ROUNDING
        )
    return float(fitted.params[0]), float(fitted.params[1])


class Bins(NamedTuple):
    """Points of a calibration curve: groups of cases of like prediction."""

    predicted: Values
    observed: Values
    n: NDArray[np.int64]
    events: NDArray[np.int64]


def curve(*, predicted: ArrayLike, observed: ArrayLike, groups: int) -> Bins:
    """Mean prediction and share of events in ``groups`` of about equal size, from low to high prediction."""
    p, y = np.asarray(predicted, float), np.asarray(observed, float)
    order = np.argsort(p, kind="stable")
    parts = [part for part in np.array_split(order, min(groups, p.size)) if part.size]
    return Bins(
        np.array([p[part].mean() for part in parts]),
        np.array([y[part].mean() for part in parts]),
        np.array([part.size for part in parts]),
        np.array([int(y[part].sum()) for part in parts]),
    )


def interval_coverage(*, low: ArrayLike, high: ArrayLike, observed: ArrayLike) -> float:
    """Share of intervals that hold what came; ends count as inside."""
    x = np.asarray(observed, float)
    return float(np.mean((np.asarray(low, float) <= x) & (x <= np.asarray(high, float))))

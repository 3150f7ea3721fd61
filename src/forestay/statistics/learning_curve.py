"""A trainee's sums: when the record shows competence, and when it shows that the failure rate is not acceptable.

References
----------
Wald A. Sequential Analysis, 1947. Biau DJ, Porcher R. Stat Med 2010;29:1900 (sums for learning curves). Rogers CA and
others. J Thorac Cardiovasc Surg 2004;128:811.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forestay.statistics.cusum import reflected


class Sequential(NamedTuple):
    """Wald's sequential test between an acceptable and an unacceptable failure rate, as a sum in failures."""

    success_step: float
    """What each success takes off the sum; a failure adds 1 less this."""
    accept: float
    """The sum falls to minus this: the acceptable rate is shown."""
    reject: float
    """The sum rises to this: the unacceptable rate is shown."""
    clean_cases: int
    """Cases without a failure that show the acceptable rate."""


def sequential(*, acceptable: float, unacceptable: float, false_alarm: float, false_pass: float) -> Sequential:
    """Constants of the test. All are shares, 0 to 1; ``acceptable`` below ``unacceptable``.

    P = ln(p1/p0), Q = ln((1 − p0)/(1 − p1)), s = Q/(P + Q), h0 = ln((1 − α)/β)/(P + Q), h1 = ln((1 − β)/α)/(P + Q).

    >>> found = sequential(acceptable=0.05, unacceptable=0.10, false_alarm=0.1, false_pass=0.1)
    >>> round(found.success_step, 6), round(found.accept, 6), found.clean_cases
    (0.072358, 2.940554, 41)
    """
    rise = np.log(unacceptable / acceptable)
    fall = np.log((1 - acceptable) / (1 - unacceptable))
    step = fall / (rise + fall)
    accept = np.log((1 - false_alarm) / false_pass) / (rise + fall)
    reject = np.log((1 - false_pass) / false_alarm) / (rise + fall)
    return Sequential(float(step), float(accept), float(reject), int(np.ceil(accept / step)))


def sequential_path(observed: ArrayLike, *, test: Sequential) -> NDArray[np.float64]:
    """The running sum: failures less ``success_step`` for each case."""
    found: NDArray[np.float64] = np.cumsum(np.asarray(observed, float) - test.success_step)
    return found


class Competence(NamedTuple):
    """The sum that starts from "not yet competent" and rises with success; where it first reaches the limit."""

    path: NDArray[np.float64]
    reached: int | None
    """Case, counted from 0; None where it was not reached."""


def competence(observed: ArrayLike, *, acceptable: float, unacceptable: float, limit: float) -> Competence:
    """S = max(0, S + W): success adds ln((1 − p0)/(1 − p1)), failure ln(p0/p1) (a fall), p0 acceptable, p1 not.

    >>> found = competence([0, 1, 0], acceptable=0.05, unacceptable=0.10, limit=2)
    >>> found.path.round(6).tolist(), found.reached
    ([0.054067, 0.0, 0.054067], None)
    """
    failed = np.asarray(observed, float)
    success, failure = np.log((1 - acceptable) / (1 - unacceptable)), np.log(acceptable / unacceptable)
    path = reflected(np.where(failed > 0, failure, success))
    reached = np.flatnonzero(path >= limit)
    return Competence(path, int(reached[0]) if reached.size else None)

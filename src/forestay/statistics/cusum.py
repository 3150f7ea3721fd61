"""Risk-adjusted cumulative sums, the running balance beside them, and how long a chart runs between signals.

References
----------
Steiner SH and others. Biostatistics 2000;1:441 (risk-adjusted sums). Lovegrove J and others. Lancet 1997;350:1128 (the
running balance of expected less observed). Brook D, Evans DA. Biometrika 1972;59:539 (run length by a Markov chain).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

GRID_STATES = 800
"""States of the Markov chain between nothing and the limit; with 2,000 the answer grows by less than 0.5 %."""

Path = NDArray[np.float64]


class Charted(NamedTuple):
    """A path of the sum, and the cases (counted from 0) at which it rises to the limit or above it."""

    path: Path
    signals: NDArray[np.int64]


def score(*, expected: ArrayLike, observed: ArrayLike, odds_ratio: float) -> Path:
    """Log-likelihood score of each case: y ln R − ln(1 − p + R p).

    ``expected``: probability p before surgery [share, 0 to 1]; ``observed``: y, 1 where it happened, else 0;
    ``odds_ratio``: R, above 1 to look for worse than expected, below 1 for better.

    >>> [round(float(score(expected=0.0195, observed=y, odds_ratio=2)), 6) for y in (1, 0)]
    [0.673835, -0.019312]
    """
    p, y = np.asarray(expected, float), np.asarray(observed, float)
    found: Path = y * np.log(odds_ratio) - np.log1p((odds_ratio - 1) * p)
    return found


def risk_adjusted(*, expected: ArrayLike, observed: ArrayLike, odds_ratio: float, limit: float) -> Charted:
    """The sum S = max(0, S + score), case by case and never reset, and its upward crossings of ``limit``.

    Cases in their order; ``expected`` and ``observed`` as in :func:`score`, one axis, of one length; ``limit`` above 0.
    """
    steps = score(expected=expected, observed=observed, odds_ratio=odds_ratio)
    path = reflected(steps)
    above = path >= limit
    before = np.concatenate([[False], above[:-1]])
    return Charted(path, np.flatnonzero(above & ~before))


def reflected(steps: ArrayLike) -> Path:
    """max(0, S + step) along the last axis: the sum less its lowest value so far, in one pass.

    >>> reflected([0.5, -1, 0.25, 0.25]).tolist()
    [0.5, 0.0, 0.25, 0.5]
    """
    total = np.cumsum(np.asarray(steps, float), axis=-1)
    lowest = np.minimum(np.minimum.accumulate(total, axis=-1), 0)
    found: Path = total - lowest
    return found


def balance(*, expected: ArrayLike, observed: ArrayLike) -> Path:
    """Running sum of expected less observed [events]: falls where more happens than expected.

    >>> balance(expected=[0.02, 0.02, 0.05], observed=[0, 0, 1]).round(2).tolist()
    [0.02, 0.04, -0.91]
    """
    found: Path = np.cumsum(np.asarray(expected, float) - np.asarray(observed, float), axis=-1)
    return found


def run_length(
    *, expected: ArrayLike, odds_ratio: float, limit: float, true_odds_ratio: float, states: int = GRID_STATES
) -> float:
    """Average number of cases until a signal, by a Markov chain over the states of the sum.

    ``expected``: the risks of the cases that come, each as likely as the other (one's own case-mix) [share];
    ``odds_ratio``, ``limit``: settings of the chart; ``true_odds_ratio``: 1 for the false alarms of a practice as
    expected, ``odds_ratio`` for the delay until such a change is found; ``states``: fewer are faster and tell a shorter
    length, by 3 % at 200. Each step of the sum is shared between the two
    nearest states, so that the mean step is kept.

    >>> round(run_length(expected=0.0195, odds_ratio=2, limit=2.5, true_odds_ratio=1), -1)
    2020.0
    """
    p = np.atleast_1d(np.asarray(expected, float))
    true = true_odds_ratio * p / (1 - p + true_odds_ratio * p)
    chances = np.concatenate([true, 1 - true]) / p.size
    happened = np.concatenate([np.ones(p.size), np.zeros(p.size)])
    steps = score(expected=np.concatenate([p, p]), observed=happened, odds_ratio=odds_ratio)
    return _absorbed(steps, chances, limit, states)


def _absorbed(steps: Path, chances: Path, limit: float, states: int) -> float:
    from scipy.sparse import csc_array, eye_array
    from scipy.sparse.linalg import spsolve

    width = limit / states
    here = np.arange(states)
    rows, columns, weights = [], [], []
    for step, chance in zip(steps, chances, strict=True):
        to = np.maximum(here + step / width, 0)
        lower = np.floor(to).astype(int)
        upper_share = to - lower
        for target, share in ((lower, 1 - upper_share), (lower + 1, upper_share)):
            inside = (target < states) & (share > 0)
            rows.append(here[inside])
            columns.append(target[inside])
            weights.append(chance * share[inside])
    shape = (states, states)
    moves = csc_array((np.concatenate(weights), (np.concatenate(rows), np.concatenate(columns))), shape=shape)
    lengths = spsolve(csc_array(eye_array(states)) - moves, np.ones(states))
    return float(lengths[0])

"""How likely it is by chance alone: so many events, so many of one lot, so many at unequal risks.

References
----------
Fisher RA. Statistical Methods for Research Workers (hypergeometric tail); Wang YH. Stat Sin 1993;3:295 (the number of
successes in independent trials of unequal probability).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np


def at_least(events: int, *, n: int, rate: float) -> float:
    """P(at least ``events`` in ``n`` cases at ``rate`` [share])."""
    from scipy.stats import binom

    return float(binom.sf(events - 1, n, rate))


def shared(events: int, *, with_it: int, hit: int, total: int) -> float:
    """P(at least ``events`` of the ``hit`` cases are among the ``with_it`` of ``total``), if nothing joins them."""
    from scipy.stats import hypergeom

    return float(hypergeom.sf(events - 1, total, hit, with_it))


def unequal(events: int, p: Sequence[float]) -> float:
    """P(at least ``events`` happen) for independent cases with the probabilities ``p`` [shares].

    >>> round(unequal(1, [0.5, 0.5]), 6)
    0.75
    """
    chances = np.zeros(len(p) + 1)
    chances[0] = 1
    for probability in p:
        chances[1:] = chances[1:] * (1 - probability) + chances[:-1] * probability
        chances[0] *= 1 - probability
    return float(chances[events:].sum())

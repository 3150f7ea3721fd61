"""A probability in the words of everyday: ``1 in 7``, ``19 in 20``, ``under 1 in 50``."""

from __future__ import annotations

import math

from forestay.errors import InvalidInput
from forestay.text import tr

_ONE_IN = (3, 4, 5, 6, 7, 8, 9, 10, 12, 15, 20, 25, 30, 40, 50)
_FRACTIONS = sorted(
    {*((1, n) for n in _ONE_IN), *((n - 1, n) for n in _ONE_IN), (1, 2), (2, 5), (3, 5)}, key=lambda f: f[0] / f[1]
)
SMALLEST = 1 / 50
"""Below this, and above one minus this, the model cannot tell chances apart: ``under``, ``over``."""


def chance_words(probability: float) -> str:
    """The chance as a simple fraction: the nearest one on the scale of log odds.

    ``probability``: 0 to 1. Nothing is ever called impossible or certain: the ends read ``under 1 in 50`` and
    ``over 49 in 50``.

    >>> chance_words(1 / 7), chance_words(0.95), chance_words(0.004), chance_words(1.0)
    ('1 in 7', '19 in 20', 'under 1 in 50', 'over 49 in 50')
    """
    if not 0 <= probability <= 1:
        raise InvalidInput(
            tr("probability is {value}; allowed: 0 to 1.", value=probability),
            field="probability",
            value=probability,
            allowed="0 to 1",
        )
    if probability < SMALLEST:
        return tr("under 1 in 50")
    if probability > 1 - SMALLEST:
        return tr("over 49 in 50")
    wanted = math.log(probability / (1 - probability))
    k, n = min(_FRACTIONS, key=lambda f: abs(math.log(f[0] / (f[1] - f[0])) - wanted))
    return tr("{k} in {n}", k=k, n=n)

"""Reserve left: what a manoeuvre asks of the most stretched fibre, against what a zonule at the weak end of normal bears.

Comparative within one eye. An eye at the weak end of normal (``borne_share`` of healthy support at every hour) comes
through its hardest routine step: the stretch of its most stretched fibre there is what a fibre bears. Nothing here is a
probability or a tearing load; the share of a rupture stretch is a scenario and is labelled so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from forestay.mechanics.zonule import Floats


@dataclass(frozen=True)
class Reserve:
    """``left``: share of what is borne that is still free (0: all of it used; negative: short); ``borne`` and ``peak``
    [resting healthy stretch = 1]; ``share_of_limit``: the peak's stretch against a rupture stretch, a scenario."""

    left: Floats
    borne: float
    peak: Floats
    share_of_limit: Floats


def reserve(*, peak: ArrayLike, borne: float, prestretch_mm: float, limit_mm: float) -> Reserve:
    """Reserve left under one manoeuvre.

    Equation: ``left = 1 - peak / borne``. Parameters: ``peak`` stretch of the most stretched fibre, healthy resting
    stretch = 1 (infinite where nothing holds: none is left, ``left`` is minus infinity); ``borne`` what a fibre bears,
    in the same measure; ``prestretch_mm`` [mm] healthy resting stretch; ``limit_mm`` [mm] rupture stretch of the
    scenario. Result: :class:`Reserve`, shape of ``peak``.

    >>> found = reserve(peak=2.0, borne=2.5, prestretch_mm=0.2, limit_mm=4.0)
    >>> round(float(found.left), 3), round(float(found.share_of_limit), 3)
    (0.2, 0.1)
    """
    asked = np.asarray(peak, dtype=np.float64)
    return Reserve(
        left=np.asarray(1 - asked / borne, dtype=np.float64),
        borne=borne,
        peak=asked,
        share_of_limit=np.asarray(asked * prestretch_mm / limit_mm, dtype=np.float64),
    )

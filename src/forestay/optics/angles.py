"""Doubled angles of meridians, exact at the quarter turns and under the mirror between the eyes."""

from __future__ import annotations

import numpy as np

from forestay.optics.values import Number, choose


def cos_sin_deg(angle_deg: Number) -> tuple[Number, Number]:
    """Cosine and sine of an angle in degrees, folded to the first quadrant: -a gives the same pair, mirrored.

    >>> cosine, sine = cos_sin_deg(180.0)
    >>> float(cosine), float(sine)
    (-1.0, 0.0)
    """
    turn = np.mod(angle_deg, 360)
    lower = np.greater(turn, 180)
    half = choose(lower, 360 - turn, turn)
    left = np.greater(half, 90)
    quarter = choose(left, 180 - half, half)
    cosine, sine = np.sin(np.deg2rad(90 - quarter)), np.sin(np.deg2rad(quarter))
    return choose(left, -cosine, cosine), choose(lower, -sine, sine)


def meridian_deg(angle_deg: Number) -> Number:
    """A meridian brought into 0 < m <= 180 degrees.

    >>> float(meridian_deg(-10.0)), float(meridian_deg(0.0))
    (170.0, 180.0)
    """
    turned = np.mod(angle_deg, 180)
    return choose(np.equal(turned, 0), 180.0, turned)

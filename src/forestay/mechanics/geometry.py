"""Plane geometry that the mechanics share: the girth of an ellipse and the largest circle inside straight sides.

Everything takes a number or an array and gives the same shape back; draws stand on the last axis. A missing value
(NaN) stays missing.
"""

from __future__ import annotations

from itertools import combinations
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from forestay.errors import InvalidInput
from forestay.text import tr

Floats: TypeAlias = NDArray[np.float64]
Numbers: TypeAlias = float | Floats
"""One number, or an array of draws."""

MEAN_ITERATIONS = 60
"""Upper bound of steps of the arithmetic-geometric mean; it doubles its digits at each and stops when they meet."""
MEAN_TOLERANCE = 1e-15
"""Relative difference at which the two means have met."""
CONTACT_LIMIT_COUNT = 3
"""Sides that fix a circle in the plane."""
CHUNK_LIMIT_DRAWS = 2048
"""Draws worked on at a time, so that the triples of sides stay in fast memory."""
PARALLEL_TOLERANCE = 1e-12
"""Determinant below which three sides are taken to have no common circle."""


def plain(value: Any) -> Numbers:
    """A Python number for a single value, an array for draws."""
    array = np.asarray(value, dtype=np.float64)
    return float(array) if array.ndim == 0 else array


def require(*, holds: Any, field: str, value: Any, allowed: str) -> None:
    """Raise :class:`~forestay.errors.InvalidInput` naming ``field`` and its first value that fails; NaN passes."""
    values, good = np.broadcast_arrays(np.asarray(value, dtype=np.float64), np.asarray(holds, dtype=bool))
    bad = ~good & ~np.isnan(values)
    if not bad.any():
        return
    first = float(values[bad][0])
    message = tr("{field} is {value:g}; allowed: {words}.", field=field, value=first, words=allowed)
    raise InvalidInput(message, field=field, value=first, allowed=allowed)


def require_positive(**lengths: Any) -> None:
    """Each named length must be above zero."""
    for field, value in lengths.items():
        require(holds=np.asarray(value) > 0, field=field, value=value, allowed=tr("more than 0"))


def ellipse_perimeter_mm(*, diameter_mm: Numbers, thickness_mm: Numbers) -> Numbers:
    """Girth of a body of elliptical section: the exact perimeter of an ellipse.

    With half-axes a, b and the arithmetic-geometric mean M of a and b,
    P = (2 pi / M) (a^2/2 + b^2/2 - sum over n >= 1 of 2^(n-1) c_n^2), where c_n = (a_(n-1) - b_(n-1)) / 2.

    Parameters: ``diameter_mm`` full width [mm], ``thickness_mm`` full height [mm], both above 0; either may be the
    longer. Result: perimeter [mm], relative error below 1e-12. A value of 0 or less is refused.

    >>> round(float(ellipse_perimeter_mm(diameter_mm=7.13, thickness_mm=3.05)), 3)
    16.64

    Reference: Abramowitz & Stegun, Handbook of Mathematical Functions (1964), 17.6.3-17.6.4.
    """
    require_positive(diameter_mm=diameter_mm, thickness_mm=thickness_mm)
    wide, high = np.broadcast_arrays(
        np.asarray(diameter_mm, dtype=np.float64) / 2, np.asarray(thickness_mm, dtype=np.float64) / 2
    )
    a, b = np.maximum(wide, high), np.minimum(wide, high)
    total, weight = (a**2 + b**2) / 2, 1.0
    for _ in range(MEAN_ITERATIONS):
        half_difference = (a - b) / 2
        total = total - weight * half_difference**2
        a, b = (a + b) / 2, np.sqrt(a * b)
        weight *= 2
        if not np.any(np.abs(a - b) > MEAN_TOLERANCE * a):
            break
    return plain(2 * np.pi * total / a)


def largest_circle_radius_mm(*, normal_x: Floats, normal_y: Floats, offset_mm: Floats) -> Floats:
    """Radius of the largest circle inside straight sides, centred anywhere.

    A side is the line n . p = offset with outward unit normal n. The best centre is equally far from three sides: all
    triples are tried, and the clearance of each candidate from *all* sides is compared, so that nothing rests on a
    tolerance.

    Parameters: ``normal_x``, ``normal_y`` (m, n) [-], ``offset_mm`` (m, n) [mm]; a void side has normal (0, 0) and
    offset infinity. The sides must close. Result: radius (n,) [mm]; sides that do not close or fewer than three give
    minus infinity.

    >>> x, y = np.array([[0.0], [0.6], [-1.0]]), np.array([[-1.0], [0.8], [0.0]])
    >>> largest_circle_radius_mm(normal_x=x, normal_y=y, offset_mm=np.array([[0.0], [2.4], [0.0]])).round(12).tolist()
    [1.0]
    """
    draws = offset_mm.shape[-1]
    if draws > CHUNK_LIMIT_DRAWS:
        parts = [slice(start, start + CHUNK_LIMIT_DRAWS) for start in range(0, draws, CHUNK_LIMIT_DRAWS)]
        return np.concatenate(
            [
                largest_circle_radius_mm(normal_x=normal_x[:, p], normal_y=normal_y[:, p], offset_mm=offset_mm[:, p])
                for p in parts
            ]
        )
    triples = np.array(list(combinations(range(len(offset_mm)), CONTACT_LIMIT_COUNT)), dtype=np.intp)
    first, second, third = triples.reshape(-1, CONTACT_LIMIT_COUNT).T
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        ax, ay = normal_x[first] - normal_x[second], normal_y[first] - normal_y[second]
        bx, by = normal_x[first] - normal_x[third], normal_y[first] - normal_y[third]
        a, b = offset_mm[first] - offset_mm[second], offset_mm[first] - offset_mm[third]
        determinant = ax * by - ay * bx
        determinant = np.where(np.abs(determinant) > PARALLEL_TOLERANCE, determinant, np.nan)
        x, y = (a * by - b * ay) / determinant, (ax * b - bx * a) / determinant
        clearance = np.full_like(x, np.inf)
        for side_x, side_y, side in zip(normal_x, normal_y, offset_mm, strict=True):
            np.minimum(clearance, side - side_x * x - side_y * y, out=clearance)
    clearance[np.isnan(clearance)] = -np.inf
    radius: Floats = clearance.max(axis=0, initial=-np.inf)
    return radius

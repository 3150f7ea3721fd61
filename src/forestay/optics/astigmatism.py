"""Astigmatism of the cornea as a double-angle vector: change, incision, and the chance of a small residual.

A magnitude D [D] at the steep meridian s [degrees, 0-180, counter-clockwise from the examiner's right] is the vector

    x = D cos 2s,  y = D sin 2s,     D = hypot(x, y),  s = atan2(y, x) / 2

Changes add as vectors; the meridian of a change is the one that *steepened*. An incision at meridian a that flattens
by f adds f at a + 90. Inputs: any finite magnitude [D] and meridian [degrees]; a zero vector has no meridian (180 is
given).

References: Holladay et al., J Cataract Refract Surg 1998;24:57 and 2001;27:61; Koch et al., J Cataract Refract Surg
2021;47:100.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from forestay.optics.angles import cos_sin_deg, meridian_deg
from forestay.optics.values import Number, choose

BOUNDARY_STEPS = 12
"""Points on the circle for each unit of (radius + offset) / spread; the trapezoid rule converges exponentially."""

BOUNDARY_STEPS_LIMIT = 16384
"""Points on the circle at most; a spread smaller than this can resolve counts as no spread."""


@dataclass(frozen=True, slots=True)
class DoubleAngle:
    """An astigmatism as a vector [D] in the double-angle plane: ``x_d`` > 0 is steep along 0/180, < 0 along 90."""

    x_d: Number
    y_d: Number

    def __add__(self, other: DoubleAngle) -> DoubleAngle:
        return DoubleAngle(self.x_d + other.x_d, self.y_d + other.y_d)

    def __sub__(self, other: DoubleAngle) -> DoubleAngle:
        return DoubleAngle(self.x_d - other.x_d, self.y_d - other.y_d)

    @property
    def magnitude_d(self) -> Number:
        """Length of the vector [D]."""
        length: Number = np.hypot(self.x_d, self.y_d)
        return length

    @property
    def axis_deg(self) -> Number:
        """Steep meridian [degrees, 0 < m <= 180]."""
        return meridian_deg(0.5 * np.rad2deg(np.arctan2(self.y_d, self.x_d)))


def vector(*, magnitude_d: Number, axis_deg: Number) -> DoubleAngle:
    """The vector of ``magnitude_d`` [D] with the steep meridian at ``axis_deg`` [degrees].

    >>> v = vector(magnitude_d=1.5, axis_deg=90.0)
    >>> float(v.x_d), float(v.y_d)
    (-1.5, 0.0)
    """
    cosine, sine = cos_sin_deg(2 * axis_deg)
    return DoubleAngle(magnitude_d * cosine, magnitude_d * sine)


def from_vector(*, x_d: Number, y_d: Number) -> tuple[Number, Number]:
    """Magnitude [D] and steep meridian [degrees] of a double-angle vector [D].

    >>> magnitude, axis = from_vector(x_d=-1.5, y_d=0.0)
    >>> float(magnitude), float(axis)
    (1.5, 90.0)
    """
    found = DoubleAngle(x_d, y_d)
    return found.magnitude_d, found.axis_deg


def of_readings(*, k1_d: Number, k1_axis_deg: Number, k2_d: Number, k2_axis_deg: Number) -> DoubleAngle:
    """The vector of two keratometer readings [D] at their meridians [degrees]; which is named first does not matter.

    Each reading is laid along its own meridian, which is exact for perpendicular meridians and, where they are not
    quite perpendicular, takes the middle and shortens the magnitude by the cosine of the departure.

    >>> v = of_readings(k1_d=44.0, k1_axis_deg=90.0, k2_d=43.0, k2_axis_deg=180.0)
    >>> float(v.x_d), float(v.y_d)
    (-1.0, 0.0)
    """
    c1, s1 = cos_sin_deg(2 * k1_axis_deg)
    c2, s2 = cos_sin_deg(2 * k2_axis_deg)
    half = 0.5 * (k1_d - k2_d)
    return DoubleAngle(half * (c1 - c2), half * (s1 - s2))


def departure_deg(*, k1_axis_deg: float, k2_axis_deg: float) -> float:
    """By how many degrees two meridians miss being perpendicular, 0 to 90.

    >>> departure_deg(k1_axis_deg=95.0, k2_axis_deg=5.0), departure_deg(k1_axis_deg=10.0, k2_axis_deg=90.0)
    (0.0, 10.0)
    """
    apart = abs(k1_axis_deg - k2_axis_deg) % 180
    return abs(90 - apart)


def of_incision(*, flattening_d: Number, meridian_deg: Number) -> DoubleAngle:
    """What an incision at ``meridian_deg`` [degrees] adds that flattens its meridian by ``flattening_d`` [D].

    Negative flattening steepens the meridian (a tight suture).
    """
    across = vector(magnitude_d=1.0, axis_deg=meridian_deg)
    return DoubleAngle(-flattening_d * across.x_d, -flattening_d * across.y_d)


def after_incision(
    *, magnitude_d: Number, axis_deg: Number, flattening_d: Number, meridian_deg: Number
) -> tuple[Number, Number]:
    """Magnitude [D] and steep meridian [degrees] of the cornea after an incision.

    >>> magnitude, axis = after_incision(magnitude_d=1.0, axis_deg=90.0, flattening_d=0.7, meridian_deg=90.0)
    >>> round(float(magnitude), 4), float(axis)
    (0.3, 90.0)
    """
    before = vector(magnitude_d=magnitude_d, axis_deg=axis_deg)
    after = before + of_incision(flattening_d=flattening_d, meridian_deg=meridian_deg)
    return after.magnitude_d, after.axis_deg


def along_d(change: DoubleAngle, *, meridian_deg: Number) -> Number:
    """Part of a change along a meridian [D]: > 0 steepened it, < 0 flattened it."""
    cosine, sine = cos_sin_deg(2 * meridian_deg)
    return change.x_d * cosine + change.y_d * sine


def torque_d(change: DoubleAngle, *, meridian_deg: Number) -> Number:
    """Part of a change that turns the steep meridian [D]: > 0 counter-clockwise."""
    cosine, sine = cos_sin_deg(2 * meridian_deg)
    return change.y_d * cosine - change.x_d * sine


def break_even_deg(*, magnitude_d: Number, flattening_d: Number) -> Number:
    """Largest angle [degrees] between steep meridian and incision at which the incision still lessens the astigmatism.

    0.5 acos(f / 2D); 0 where f >= 2D, since then it never helps. Inputs [D], both >= 0.

    >>> round(float(break_even_deg(magnitude_d=1.0, flattening_d=1.11)), 2)
    28.14
    """
    some = np.greater(magnitude_d, 0)
    ratio = choose(some, 0.5 * flattening_d / choose(some, magnitude_d, 1.0), 1.0)
    angle: Number = 0.5 * np.rad2deg(np.arccos(np.clip(ratio, 0, 1)))
    return angle


def left_by_rotation(*, rotation_deg: Number) -> Number:
    """Residual cylinder, as a share of the lens cylinder, when a full correction turns by ``rotation_deg``: 2 |sin t|.

    >>> round(float(left_by_rotation(rotation_deg=30.0)), 12)
    1.0
    """
    _, sine = cos_sin_deg(rotation_deg)
    share: Number = 2 * np.abs(sine)
    return share


@dataclass(frozen=True, slots=True)
class PowerVector:
    """A refraction as mean sphere M and the two cross cylinders J0, J45 [D]; ``blur_d`` is its length."""

    m_d: Number
    j0_d: Number
    j45_d: Number

    @property
    def blur_d(self) -> Number:
        """sqrt(M^2 + J0^2 + J45^2) [D]."""
        length: Number = np.sqrt(self.m_d * self.m_d + self.j0_d * self.j0_d + self.j45_d * self.j45_d)
        return length

    def refraction(self) -> tuple[Number, Number, Number]:
        """Sphere [D], cylinder [D, minus] and axis [degrees, 0 < a <= 180; 180 for none]."""
        cylinder = -2 * np.hypot(self.j0_d, self.j45_d)
        axis = meridian_deg(0.5 * np.rad2deg(np.arctan2(self.j45_d, self.j0_d)))
        return self.m_d - 0.5 * cylinder, cylinder, axis


def power_vector(*, sphere_d: Number, cylinder_d: Number, axis_deg: Number) -> PowerVector:
    """The power vector of a spectacle refraction; a plus cylinder is the same lens written the other way.

    M = S + C / 2, J0 = -(C / 2) cos 2a, J45 = -(C / 2) sin 2a (Thibos, Horner 2001, doi
    10.1016/s0886-3350(00)00797-5).

    >>> round(float(power_vector(sphere_d=-2.0, cylinder_d=-1.5, axis_deg=20.0).blur_d), 5)
    2.85044
    """
    cosine, sine = cos_sin_deg(2 * axis_deg)
    half = 0.5 * cylinder_d
    return PowerVector(sphere_d + half, -half * cosine, -half * sine)


@dataclass(frozen=True, slots=True)
class Centroid:
    """Mean vector [D], mean of the magnitudes [D], and covariance of x and y [D2, n - 1; None for a single vector]."""

    mean: DoubleAngle
    mean_magnitude_d: float
    covariance: tuple[tuple[float, float], tuple[float, float]] | None


def centroid(vectors: DoubleAngle) -> Centroid:
    """Mean of vectors (arrays of one axis, at least one). The mean of magnitudes is larger: it holds the noise as well.

    >>> found = centroid(DoubleAngle(np.array([1.0, -1.0]), np.array([0.0, 0.0])))
    >>> float(found.mean.x_d), found.mean_magnitude_d, found.covariance
    (0.0, 1.0, ((2.0, 0.0), (0.0, 0.0)))
    """
    points = np.array([vectors.x_d, vectors.y_d], dtype=float)
    count = points.shape[-1]
    mean = points.mean(axis=-1)
    away = points - mean[:, np.newaxis]
    spread = away @ away.T / (count - 1) if count > 1 else None
    return Centroid(
        DoubleAngle(mean[0], mean[1]),
        float(np.hypot(*points).mean()),
        None if spread is None else (_pair(spread[0]), _pair(spread[1])),
    )


def _pair(row: NDArray[np.float64]) -> tuple[float, float]:
    return float(row[0]), float(row[1])


def probability_within(*, mean_d: Number, sd_d: float, limit_d: Number) -> Number:
    """Probability that the residual astigmatism is at most ``limit_d`` [D].

    The residual is a vector with mean length ``mean_d`` [D] and the spread ``sd_d`` [D, >= 0] in each component, so its
    square over sd^2 is non-central chi-square with two degrees of freedom. The integral over the disc is taken along
    its rim: with r^2 = t^2 + m^2 - 2 t m cos(phi),

        P = mean over phi of (1 - exp(-r^2 / 2 sd^2)) (t^2 - t m cos(phi)) / r^2

    >>> round(float(probability_within(mean_d=0.89, sd_d=0.45, limit_d=1.0)), 3)
    0.498
    """
    m, t = np.broadcast_arrays(np.asarray(mean_d, dtype=float), np.asarray(limit_d, dtype=float))
    reach = float(np.max(m + t, initial=0.0))
    if sd_d * BOUNDARY_STEPS_LIMIT <= reach * BOUNDARY_STEPS:
        return choose(np.less_equal(m, t), 1.0, 0.0)
    steps = BOUNDARY_STEPS * max(1, int(np.ceil(reach / sd_d)))
    cosine, _ = cos_sin_deg(360 * np.arange(steps) / steps)
    m, t = m[..., np.newaxis] / sd_d, t[..., np.newaxis] / sd_d
    square = np.maximum(t * t + m * m - 2 * t * m * cosine, 0)
    touching = square == 0
    weight = choose(touching, 0.5, -np.expm1(-0.5 * square) / choose(touching, 1.0, square))
    total: Number = np.mean(weight * (t * t - t * m * cosine), axis=-1)
    inside: Number = np.clip(total, 0, 1)
    return inside

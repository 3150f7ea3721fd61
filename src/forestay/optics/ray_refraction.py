"""Sphere, cylinder and axis from a power vector, at the cornea and in spectacles.

    power along a meridian t:  F(t) = M + J0 cos 2t + J45 sin 2t,  J = hypot(J0, J45)
    sphere M + J along the axis a = atan2(J45, J0) / 2, cylinder -2 J (minus form)

and back: M = S + C/2, J0 = -(C/2) cos 2a, J45 = -(C/2) sin 2a. Each principal meridian goes from the cornea to the
spectacle plane on its own, as a vergence. Powers [D], axes [degrees, 0 < a <= 180].

Reference: Thibos and Horner, J Cataract Refract Surg 2001;27:80.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forestay.optics import vergence
from forestay.optics.angles import cos_sin_deg, meridian_deg
from forestay.optics.values import Number, choose
from forestay.optics.vergence import VergenceConstants


@dataclass(frozen=True, slots=True)
class PowerVector:
    """Mean power M and the two astigmatic components J0 (against 90) and J45 [D]."""

    mean_d: Number
    j0_d: Number
    j45_d: Number

    def __add__(self, other: PowerVector) -> PowerVector:
        return PowerVector(self.mean_d + other.mean_d, self.j0_d + other.j0_d, self.j45_d + other.j45_d)

    def __sub__(self, other: PowerVector) -> PowerVector:
        return PowerVector(self.mean_d - other.mean_d, self.j0_d - other.j0_d, self.j45_d - other.j45_d)

    @property
    def half_d(self) -> Number:
        """J, half of the cylinder [D]."""
        length: Number = np.hypot(self.j0_d, self.j45_d)
        return length

    @property
    def sphere_d(self) -> Number:
        """Sphere of the minus form [D]."""
        return self.mean_d + self.half_d

    @property
    def cylinder_d(self) -> Number:
        """Cylinder of the minus form [D]: 0 or negative."""
        return -2 * self.half_d

    @property
    def axis_deg(self) -> Number:
        """Axis of the minus cylinder [degrees, 0 < a <= 180]; 180 where there is none."""
        half = 0.5 * np.rad2deg(np.arctan2(self.j45_d, self.j0_d))
        return choose(np.equal(self.half_d, 0), 180.0, meridian_deg(np.round(half, decimals=9)))

    @property
    def blur_d(self) -> Number:
        """Length of the whole vector [D]: the blur that it makes, as a sphere."""
        length: Number = np.hypot(self.mean_d, self.half_d)
        return length


def of_sphere_cylinder(*, sphere_d: Number, cylinder_d: Number, axis_deg: Number) -> PowerVector:
    """The power vector of a refraction; a cylinder of either sign.

    >>> found = of_sphere_cylinder(sphere_d=-2.0, cylinder_d=-1.5, axis_deg=20.0)
    >>> [round(float(v), 5) for v in (found.mean_d, found.j0_d, found.j45_d, found.blur_d)]
    [-2.75, 0.57453, 0.48209, 2.85044]
    """
    cosine, sine = cos_sin_deg(2 * axis_deg)
    half = -0.5 * cylinder_d
    return PowerVector(sphere_d - half, half * cosine, half * sine)


def in_spectacles(at_cornea: PowerVector, *, constants: VergenceConstants) -> PowerVector:
    """A refraction at the cornea as the spectacle lens that corrects it; NaN where none does."""
    strong = vergence.at_spectacle_d(corneal_d=at_cornea.sphere_d, constants=constants)
    weak = vergence.at_spectacle_d(corneal_d=at_cornea.mean_d - at_cornea.half_d, constants=constants)
    half = 0.5 * (strong - weak)
    some = np.not_equal(at_cornea.half_d, 0)
    scale = choose(some, half / choose(some, at_cornea.half_d, 1.0), 0.0)
    return PowerVector(0.5 * (strong + weak), scale * at_cornea.j0_d, scale * at_cornea.j45_d)

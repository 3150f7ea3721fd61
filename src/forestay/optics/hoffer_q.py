"""Hoffer Q, without limits on the computed chamber depth.

    l = L held within 18.5 to 31.0;  M = +1, G = 28.0 up to 23.0 mm, else M = -1, G = 23.5
    ACD = pACD + 0.3 (l - 23.5) + tan(K)^2 + 0.1 M (23.5 - l)^2 tan(0.1 (G - l)^2) - 0.99166   (angles in degrees)
    d = ACD + 0.05;  Lo = L;  Kc = K

Inputs [mm, D]: axial length 14 to 40, K 30 to 60. Outside 18.5 to 31.0 mm the lens position no longer moves with the
length (doubted). Some printings hold ACD within 2.5 to 6.5 mm; that is not done here.

References: Hoffer, J Cataract Refract Surg 1993;19:700-712; errata 1994;20:677 and 2007;33:2-3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.answer import Doubt
from forestay.optics.lens_constants import ConversionConstants, LensConstant, PersonalDepth, as_personal_depth
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.values import Number, choose
from forestay.optics.vergence import ThinLensEye
from forestay.text import tr

RADIANS = math.pi / 180


@dataclass(frozen=True, slots=True)
class HofferQConstants:
    """Coefficients of Hoffer Q; units as the suffixes."""

    PREFIX: ClassVar[str] = "lens_power.hoffer_q"
    shortest_mm: float
    longest_mm: float
    switch_mm: float
    short_centre_mm: float
    long_centre_mm: float
    reference_length_mm: float
    length_slope: float
    curve_per_mm: float
    tangent_deg_per_mm2: float
    offset_mm: float
    principal_plane_mm: float


def depth_beyond_constant_mm(*, axial_length_mm: Number, k_d: Number, constants: HofferQConstants) -> Number:
    """Chamber depth less the personal constant [mm]."""
    length = np.clip(axial_length_mm, constants.shortest_mm, constants.longest_mm)
    short = np.less_equal(length, constants.switch_mm)
    sign = choose(short, 1.0, -1.0)
    centre = choose(short, constants.short_centre_mm, constants.long_centre_mm)
    apart = constants.reference_length_mm - length
    inner_deg = constants.tangent_deg_per_mm2 * (centre - length) * (centre - length)
    tangent = np.tan(k_d * RADIANS)
    depth: Number = (
        -constants.length_slope * apart
        + tangent * tangent
        + constants.curve_per_mm * sign * apart * apart * np.tan(inner_deg * RADIANS)
        - constants.offset_mm
    )
    return depth


@dataclass(frozen=True, slots=True)
class HofferQ(LensModel):
    """Hoffer Q with its coefficients; the chamber depth before surgery is not used."""

    constants: HofferQConstants
    conversion: ConversionConstants

    def eye(self, measured: Measured, constant: LensConstant, /) -> ThinLensEye:
        """Thin-lens eye by Hoffer Q."""
        personal = as_personal_depth(constant, conversion=self.conversion).pacd_mm
        return ThinLensEye(
            corneal_power_d=measured.k_d,
            optical_length_mm=measured.axial_length_mm,
            lens_distance_mm=personal + self._beyond(measured) + self.constants.principal_plane_mm,
        )

    def constant_of(self, measured: Measured, lens_distance_mm: Number, /) -> PersonalDepth:
        """The personal depth that gives ``lens_distance_mm``."""
        return PersonalDepth(lens_distance_mm - self.constants.principal_plane_mm - self._beyond(measured))

    def remarks(self, measured: Measured, /) -> tuple[Doubt, ...]:
        """The length clamp, where in force."""
        low, high = self.constants.shortest_mm, self.constants.longest_mm
        if low <= measured.axial_length_mm <= high:
            return ()
        says = tr(
            "Hoffer Q holds the length within {low:g} to {high:g} mm for the lens position:"
            " it no longer follows the length here.",
            low=low,
            high=high,
        )
        return (Doubt("hoffer-q-length-held", says),)

    def _beyond(self, measured: Measured) -> Number:
        return depth_beyond_constant_mm(
            axial_length_mm=measured.axial_length_mm, k_d=measured.k_d, constants=self.constants
        )

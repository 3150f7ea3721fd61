"""Holladay 1: lens distance from the height of the cornea over the chamber, and a surgeon factor.

    Rag = max(R, 7.0);  AG = min(12.5 L / 23.45, 13.5);  aACD = 0.56 + Rag - sqrt(Rag^2 - AG^2 / 4)
    d = aACD + SF;  Lo = L + 0.2;  Kc = (1000 / 3) / R   (the real R, not Rag)

Inputs [mm, D]: axial length 14 to 40, K 30 to 60. Beyond 25.326 mm the chamber diameter is held at 13.5 mm and the lens
position no longer moves with length; steeper than 7.0 mm the radius is held in the chamber depth (both doubted).

Reference: Holladay et al., J Cataract Refract Surg 1988;14:17-24.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.answer import Doubt
from forestay.optics.cornea import KeratometryConstants, power_d, radius_mm
from forestay.optics.lens_constants import ConversionConstants, LensConstant, SurgeonFactor, as_surgeon_factor
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.values import Number
from forestay.optics.vergence import ThinLensEye
from forestay.text import tr


@dataclass(frozen=True, slots=True)
class Holladay1Constants:
    """Coefficients of Holladay 1; units as the suffixes."""

    PREFIX: ClassVar[str] = "lens_power.holladay_1"
    corneal_index: float
    smallest_radius_mm: float
    reference_diameter_mm: float
    reference_length_mm: float
    largest_diameter_mm: float
    corneal_thickness_mm: float
    retina_mm: float


def anatomic_depth_mm(*, axial_length_mm: Number, radius_mm: Number, constants: Holladay1Constants) -> Number:
    """Depth of the anatomic chamber [mm]. The radicand never falls below 7.0^2 - (13.5 / 2)^2 mm2."""
    radius = np.maximum(radius_mm, constants.smallest_radius_mm)
    diameter = np.minimum(
        constants.reference_diameter_mm * axial_length_mm / constants.reference_length_mm,
        constants.largest_diameter_mm,
    )
    depth: Number = constants.corneal_thickness_mm + radius - np.sqrt(radius * radius - 0.5 * diameter * 0.5 * diameter)
    return depth


@dataclass(frozen=True, slots=True)
class Holladay1(LensModel):
    """Holladay 1 with its coefficients; the chamber depth is not used."""

    constants: Holladay1Constants
    conversion: ConversionConstants
    keratometry: KeratometryConstants

    def eye(self, measured: Measured, constant: LensConstant, /) -> ThinLensEye:
        """Thin-lens eye by Holladay 1."""
        factor = as_surgeon_factor(constant, conversion=self.conversion).sf_mm
        return ThinLensEye(
            corneal_power_d=power_d(radius_mm=self._radius(measured), index=self.constants.corneal_index),
            optical_length_mm=measured.axial_length_mm + self.constants.retina_mm,
            lens_distance_mm=self._depth(measured) + factor,
        )

    def constant_of(self, measured: Measured, lens_distance_mm: Number, /) -> SurgeonFactor:
        """The surgeon factor that gives ``lens_distance_mm``."""
        return SurgeonFactor(lens_distance_mm - self._depth(measured))

    def remarks(self, measured: Measured, /) -> tuple[Doubt, ...]:
        """Clamps in force."""
        found = []
        constants = self.constants
        diameter = constants.reference_diameter_mm * measured.axial_length_mm / constants.reference_length_mm
        if diameter > constants.largest_diameter_mm:
            says = tr(
                "Holladay 1 holds its chamber diameter at {largest:g} mm in an eye this long:"
                " the lens position no longer follows the length.",
                largest=constants.largest_diameter_mm,
            )
            found.append(Doubt("holladay-1-length-held", says))
        if self._radius(measured) < constants.smallest_radius_mm:
            says = tr(
                "Holladay 1 holds its corneal radius at {smallest:g} mm in a cornea this steep:"
                " the lens position no longer follows it.",
                smallest=constants.smallest_radius_mm,
            )
            found.append(Doubt("holladay-1-radius-held", says))
        return tuple(found)

    def _radius(self, measured: Measured) -> Number:
        return radius_mm(k_d=measured.k_d, index=self.keratometry.index)

    def _depth(self, measured: Measured) -> Number:
        return anatomic_depth_mm(
            axial_length_mm=measured.axial_length_mm, radius_mm=self._radius(measured), constants=self.constants
        )

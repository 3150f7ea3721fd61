"""T2: SRK/T with the corneal height replaced by a regression on length and corneal power.

    H = -10.326 + 0.32630 L + 0.13533 K   (L uncorrected);  all else as SRK/T, same A constant

Inputs [mm, D]: axial length 14 to 40, K 30 to 60; no cusp. About 10 % more accurate than SRK/T where it was derived,
no better in 63 eyes longer than 25 mm.

References: Sheard, Smith, Cooke, J Cataract Refract Surg 2010;36:1829-1834; long eyes: doi 10.1186/s12886-019-1226-7.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from forestay.optics.cornea import KeratometryConstants, power_d, radius_mm
from forestay.optics.lens_constants import AConstant, ConversionConstants, LensConstant, a_from_depth, as_a, depth_mm
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.srk_t import SrkTConstants, optical_length_mm
from forestay.optics.values import Number
from forestay.optics.vergence import ThinLensEye


@dataclass(frozen=True, slots=True)
class T2Constants:
    """Coefficients of the corneal height; units as the suffixes."""

    PREFIX: ClassVar[str] = "lens_power.t2"
    height_offset_mm: float
    height_per_length: float
    height_per_k_mm_per_d: float


def corneal_height_mm(*, axial_length_mm: Number, k_d: Number, constants: T2Constants) -> Number:
    """Corneal height [mm] by regression.

    >>> constants = T2Constants(height_offset_mm=-10.326, height_per_length=0.3263, height_per_k_mm_per_d=0.13533)
    >>> round(corneal_height_mm(axial_length_mm=23.5, k_d=44.0, constants=constants), 4)
    3.2966
    """
    return (
        constants.height_offset_mm
        + constants.height_per_length * axial_length_mm
        + constants.height_per_k_mm_per_d * k_d
    )


@dataclass(frozen=True, slots=True)
class T2(LensModel):
    """T2 with its coefficients and those it shares with SRK/T; the chamber depth is not used."""

    constants: T2Constants
    shared: SrkTConstants
    conversion: ConversionConstants
    keratometry: KeratometryConstants

    def eye(self, measured: Measured, constant: LensConstant, /) -> ThinLensEye:
        """Thin-lens eye by T2."""
        radius = radius_mm(k_d=measured.k_d, index=self.keratometry.index)
        depth = depth_mm(a=as_a(constant, conversion=self.conversion).a, conversion=self.conversion)
        return ThinLensEye(
            corneal_power_d=power_d(radius_mm=radius, index=self.shared.corneal_index),
            optical_length_mm=optical_length_mm(axial_length_mm=measured.axial_length_mm, constants=self.shared),
            lens_distance_mm=self._height(measured) + depth - self.shared.natural_offset_mm,
        )

    def constant_of(self, measured: Measured, lens_distance_mm: Number, /) -> AConstant:
        """The A constant that gives ``lens_distance_mm``."""
        depth = lens_distance_mm - self._height(measured) + self.shared.natural_offset_mm
        return a_from_depth(depth_mm=depth, conversion=self.conversion)

    def _height(self, measured: Measured) -> Number:
        return corneal_height_mm(axial_length_mm=measured.axial_length_mm, k_d=measured.k_d, constants=self.constants)

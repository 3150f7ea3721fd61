"""SRK/T: lens distance from the height of the corneal dome and an A constant.

    R = 337.5 / K;  LCOR = L up to 24.2 mm, else -3.446 + 1.716 L - 0.0237 L^2
    Cw = -5.41 + 0.58412 LCOR + 0.098 K;  H = R - sqrt(R^2 - Cw^2 / 4)
    d = H + 0.62467 A - 68.747 - 3.336;  Lo = L + 0.65696 - 0.02029 L;  Kc = 333 / R

Inputs [mm, D]: axial length 14 to ``longest_mm`` (beyond: NaN, and :meth:`SrkT.refusal` says why), K 30 to 60. In long
eyes with steep corneas the radicand of H shrinks and turns negative (the cusp): it is then set to 0 and doubted.

References: Retzlaff, Sanders, Kraff, J Cataract Refract Surg 1990;16:333-340, erratum 1990;16:528; cusp: Haigis,
J Cataract Refract Surg 1993;19:442-446.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.answer import Doubt
from forestay.optics.cornea import KeratometryConstants, power_d, radius_mm
from forestay.optics.lens_constants import AConstant, ConversionConstants, LensConstant, a_from_depth, as_a, depth_mm
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.values import Number, choose
from forestay.optics.vergence import ThinLensEye
from forestay.text import tr


@dataclass(frozen=True, slots=True)
class SrkTConstants:
    """Coefficients of SRK/T; units as the suffixes."""

    PREFIX: ClassVar[str] = "lens_power.srk_t"
    corneal_index: float
    correction_from_mm: float
    correction_offset_mm: float
    correction_slope: float
    correction_curve_per_mm: float
    width_offset_mm: float
    width_per_length: float
    width_per_k_mm_per_d: float
    natural_offset_mm: float
    retina_offset_mm: float
    retina_per_length: float


@dataclass(frozen=True, slots=True)
class SrkTLimits:
    """Radicand below which the formula is doubted [mm2], and length beyond which it is refused [mm]."""

    PREFIX: ClassVar[str] = "lens_power.srk_t_limits"
    low_radicand_mm2: float
    longest_mm: float


def corrected_length_mm(*, axial_length_mm: Number, constants: SrkTConstants) -> Number:
    """Length [mm] that enters the corneal width: unchanged up to 24.2 mm, flattened beyond."""
    long = (
        constants.correction_offset_mm
        + constants.correction_slope * axial_length_mm
        + constants.correction_curve_per_mm * axial_length_mm * axial_length_mm
    )
    return choose(np.greater(axial_length_mm, constants.correction_from_mm), long, axial_length_mm)


def corneal_width_mm(*, axial_length_mm: Number, k_d: Number, constants: SrkTConstants) -> Number:
    """Computed width of the cornea [mm]."""
    corrected = corrected_length_mm(axial_length_mm=axial_length_mm, constants=constants)
    return constants.width_offset_mm + constants.width_per_length * corrected + constants.width_per_k_mm_per_d * k_d


def radicand_mm2(*, axial_length_mm: Number, k_d: Number, radius_mm: Number, constants: SrkTConstants) -> Number:
    """What stands under the root of the corneal height [mm2]; negative beyond the cusp."""
    half_width = 0.5 * corneal_width_mm(axial_length_mm=axial_length_mm, k_d=k_d, constants=constants)
    return radius_mm * radius_mm - half_width * half_width


def corneal_height_mm(*, axial_length_mm: Number, k_d: Number, radius_mm: Number, constants: SrkTConstants) -> Number:
    """Height of the corneal dome [mm]; the full radius beyond the cusp."""
    under = radicand_mm2(axial_length_mm=axial_length_mm, k_d=k_d, radius_mm=radius_mm, constants=constants)
    height: Number = radius_mm - np.sqrt(np.maximum(under, 0))
    return height


def optical_length_mm(*, axial_length_mm: Number, constants: SrkTConstants) -> Number:
    """Length to the receptors [mm]: axial length plus the computed thickness of the retina."""
    return axial_length_mm + constants.retina_offset_mm + constants.retina_per_length * axial_length_mm


@dataclass(frozen=True, slots=True)
class SrkT(LensModel):
    """SRK/T with its coefficients; the chamber depth is not used."""

    constants: SrkTConstants
    limits: SrkTLimits
    conversion: ConversionConstants
    keratometry: KeratometryConstants

    def eye(self, measured: Measured, constant: LensConstant, /) -> ThinLensEye:
        """Thin-lens eye by SRK/T."""
        depth = depth_mm(a=as_a(constant, conversion=self.conversion).a, conversion=self.conversion)
        return ThinLensEye(
            corneal_power_d=power_d(radius_mm=self._radius(measured), index=self.constants.corneal_index),
            optical_length_mm=optical_length_mm(axial_length_mm=measured.axial_length_mm, constants=self.constants),
            lens_distance_mm=self._height(measured) + depth - self.constants.natural_offset_mm,
        )

    def constant_of(self, measured: Measured, lens_distance_mm: Number, /) -> AConstant:
        """The A constant that gives ``lens_distance_mm``."""
        depth = lens_distance_mm - self._height(measured) + self.constants.natural_offset_mm
        return a_from_depth(depth_mm=depth, conversion=self.conversion)

    def refusal(self, measured: Measured, /) -> str | None:
        """Eyes longer than the length at which the corrected length turns back are refused."""
        if measured.axial_length_mm > self.limits.longest_mm:
            return tr("up to {longest:g} mm for SRK/T", longest=self.limits.longest_mm)
        return None

    def remarks(self, measured: Measured, /) -> tuple[Doubt, ...]:
        """A radicand at or near 0."""
        under = radicand_mm2(
            axial_length_mm=measured.axial_length_mm,
            k_d=measured.k_d,
            radius_mm=self._radius(measured),
            constants=self.constants,
        )
        if under <= 0:
            says = tr(
                "SRK/T has no corneal height for a long eye with so steep a cornea; it was held at the radius."
                " Use another formula."
            )
            return (Doubt("srk-t-cusp", says),)
        if under < self.limits.low_radicand_mm2:
            says = tr(
                "SRK/T places the lens too far back in a long eye with so steep a cornea; compare another formula."
            )
            return (Doubt("srk-t-near-cusp", says),)
        return ()

    def _radius(self, measured: Measured) -> Number:
        return radius_mm(k_d=measured.k_d, index=self.keratometry.index)

    def _height(self, measured: Measured) -> Number:
        height = corneal_height_mm(
            axial_length_mm=measured.axial_length_mm,
            k_d=measured.k_d,
            radius_mm=self._radius(measured),
            constants=self.constants,
        )
        return choose(np.greater(measured.axial_length_mm, self.limits.longest_mm), np.nan, height)

"""Haigis: lens distance as a plane over chamber depth and length.

    d = a0 + a1 ACD + a2 L;  Lo = L;  Kc = 331.5 / R

ACD is measured before surgery, from the corneal epithelium to the lens front [mm]. Inputs: axial length 14 to 40 mm,
K 30 to 60 D, chamber depth 0.8 to 6.5 mm. A loose, swollen or displaced lens falsifies the chamber depth and so the
answer. In shallow chambers the outcome was found hyperopic (137 eyes). Without a chamber depth there is no answer.

References: Haigis et al., Graefes Arch Clin Exp Ophthalmol 2000;238:765-773; shallow chambers: doi
10.3341/jkos.2011.52.2.175.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from forestay.answer import Doubt
from forestay.errors import MissingInput
from forestay.optics.cornea import KeratometryConstants, power_d, radius_mm
from forestay.optics.lens_constants import ConversionConstants, HaigisConstants, LensConstant, as_haigis
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.values import Number
from forestay.optics.vergence import ThinLensEye
from forestay.text import tr


@dataclass(frozen=True, slots=True)
class HaigisCoefficients:
    """The corneal index of the formula; a0, a1, a2 belong to the lens."""

    PREFIX: ClassVar[str] = "lens_power.haigis"
    corneal_index: float


def needed_depth(measured: Measured) -> Number:
    """The chamber depth [mm], or the one error that says that it is missing."""
    if measured.chamber_depth_mm is None:
        raise MissingInput(
            tr("chamber_depth_mm is missing; Haigis cannot be calculated without it."),
            field="chamber_depth_mm",
            allowed=tr("a depth in mm, from the corneal front to the lens front"),
        )
    return measured.chamber_depth_mm


@dataclass(frozen=True, slots=True)
class Haigis(LensModel):
    """Haigis with its corneal index."""

    constants: HaigisCoefficients
    conversion: ConversionConstants
    keratometry: KeratometryConstants

    def eye(self, measured: Measured, constant: LensConstant, /) -> ThinLensEye:
        """Thin-lens eye by Haigis."""
        own = as_haigis(constant, conversion=self.conversion)
        radius = radius_mm(k_d=measured.k_d, index=self.keratometry.index)
        return ThinLensEye(
            corneal_power_d=power_d(radius_mm=radius, index=self.constants.corneal_index),
            optical_length_mm=measured.axial_length_mm,
            lens_distance_mm=own.a0_mm + own.a1 * needed_depth(measured) + own.a2 * measured.axial_length_mm,
        )

    def constant_of(self, measured: Measured, lens_distance_mm: Number, /) -> HaigisConstants:
        """The a0 that gives ``lens_distance_mm`` with the standard a1 and a2."""
        a1, a2 = self.conversion.standard_a1, self.conversion.standard_a2
        return HaigisConstants(lens_distance_mm - a1 * needed_depth(measured) - a2 * measured.axial_length_mm, a1, a2)

    def remarks(self, _measured: Measured, /) -> tuple[Doubt, ...]:
        """The formula stands and falls with the chamber depth."""
        says = tr("Haigis trusts the chamber depth: a loose, swollen or displaced lens falsifies it.")
        return (Doubt("haigis-needs-true-depth", says),)

"""A toric lens: the cylinder that it needs in its own plane, and the meridian where it must lie.

    P(m) as the spherical power, for the flat and the steep meridian of the cornea;  cylinder = P(flat) - P(steep)

The ratio of lens to corneal cylinder depends on where the lens lies, so no fixed ratio is used. The back of the cornea
is either left out or counted by a regression on the front (not to be used on a measured total cornea):

    x' = 0.508 + 0.926 x,  y' = 0.009 + 0.932 y     (double angle, steep meridian, D)

References: regression: Abulafia, Koch et al., J Cataract Refract Surg 2016;42:663.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

from forestay.optics import vergence
from forestay.optics.astigmatism import DoubleAngle
from forestay.optics.values import Number
from forestay.optics.vergence import ThinLensEye, VergenceConstants


@dataclass(frozen=True, slots=True)
class PosteriorConstants:
    """Regression of the total on the anterior cornea: intercepts [D] and slopes."""

    PREFIX: ClassVar[str] = "toric.posterior"
    x_offset_d: float
    x_slope: float
    y_offset_d: float
    y_slope: float


def total_cornea(anterior: DoubleAngle, *, constants: PosteriorConstants) -> DoubleAngle:
    """Total corneal astigmatism [D] expected from that of the front."""
    return DoubleAngle(
        constants.x_offset_d + constants.x_slope * anterior.x_d,
        constants.y_offset_d + constants.y_slope * anterior.y_d,
    )


def lens_cylinder_d(
    *, eye: ThinLensEye, corneal_cylinder_d: Number, target_d: Number, constants: VergenceConstants
) -> Number:
    """Cylinder of the lens [D] that a corneal cylinder [D, in the power scale of ``eye``] needs; mean power unchanged.

    >>> constants = VergenceConstants(index=1.336, vertex_mm=12.0)
    >>> eye = ThinLensEye(corneal_power_d=44.0, optical_length_mm=23.5, lens_distance_mm=5.2)
    >>> round(lens_cylinder_d(eye=eye, corneal_cylinder_d=2.0, target_d=0.0, constants=constants), 4)
    2.9121
    """

    def power(corneal_power_d: Number) -> Number:
        meridian = replace(eye, corneal_power_d=corneal_power_d)
        return vergence.power_d(eye=meridian, target_d=target_d, constants=constants)

    half = 0.5 * corneal_cylinder_d
    return power(eye.corneal_power_d - half) - power(eye.corneal_power_d + half)


def left_d(
    *,
    eye: ThinLensEye,
    corneal_cylinder_d: Number,
    lens_cylinder: Number,
    target_d: Number,
    constants: VergenceConstants,
) -> Number:
    """Corneal cylinder [D] that a lens of ``lens_cylinder`` [D, its own plane] leaves; negative: it turns the axis.

    The lens lies on its meridian. Near linear in the cylinder, so the ratio is taken at the cornea's own cylinder.

    >>> constants = VergenceConstants(index=1.336, vertex_mm=12.0)
    >>> eye = ThinLensEye(corneal_power_d=44.0, optical_length_mm=23.5, lens_distance_mm=5.2)
    >>> given = {"eye": eye, "corneal_cylinder_d": 2.0, "target_d": 0.0, "constants": constants}
    >>> round(float(left_d(lens_cylinder=1.4560, **given)), 4)
    1.0
    """
    needed = lens_cylinder_d(eye=eye, corneal_cylinder_d=corneal_cylinder_d, target_d=target_d, constants=constants)
    return corneal_cylinder_d * (1 - lens_cylinder / needed)

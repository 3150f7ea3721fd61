"""SRK II, a regression of 1988: to read old notes by, never to choose a lens with.

    P = A1 - 2.5 L - 0.9 K,   A1 = A + 3 (L < 20), + 2 (20 to 21), + 1 (21 to 22), + 0 (22 to 24.5), - 0.5 (from 24.5)
    P(T) = P - C T,           C = 1.25 where P > 14, else 1.00;   so the refraction with a lens of power p is (P - p) / C

It jumps by 1 D of lens power at 20, 21 and 22 mm and by 0.5 D at 24.5 mm. Inputs: axial length 14 to 40 mm, mean K 30 to
60 D, A constant. A comparison of 1079 eyes left it out as clearly worse.

References: Sanders, Retzlaff, Kraff, J Cataract Refract Surg 1988;14:136 (recalled); doi 10.1016/j.jcrs.2016.06.029.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.optics.values import Number, choose


@dataclass(frozen=True, slots=True)
class Srk2Constants:
    """Slopes, the lengths at which the constant steps [mm] with what it steps to [D], and the refraction factor."""

    PREFIX: ClassVar[str] = "lens_power.srk_2"
    per_length_d_per_mm: float
    per_k: float
    steps_mm: tuple[float, ...]
    added_d: tuple[float, ...]
    high_factor: float
    low_factor: float
    high_above_d: float


def plano_power_d(*, axial_length_mm: Number, k_d: Number, a: Number, constants: Srk2Constants) -> Number:
    """Lens power for plano [D].

    >>> c = Srk2Constants(2.5, 0.9, (20.0, 21.0, 22.0, 24.5), (3.0, 2.0, 1.0, 0.0, -0.5), 1.25, 1.0, 14.0)
    >>> round(float(plano_power_d(axial_length_mm=23.5, k_d=44.0, a=118.4, constants=c)), 3)
    20.05
    """
    band = np.searchsorted(np.array(constants.steps_mm), axial_length_mm, side="right")
    stepped: Number = a + np.array(constants.added_d)[band]
    return stepped - constants.per_length_d_per_mm * axial_length_mm - constants.per_k * k_d


def factor(*, plano_d: Number, constants: Srk2Constants) -> Number:
    """Lens power that one dioptre of refraction takes [D per D]."""
    return choose(np.greater(plano_d, constants.high_above_d), constants.high_factor, constants.low_factor)


def power_d(*, plano_d: Number, target_d: Number, constants: Srk2Constants) -> Number:
    """Lens power [D] for a target refraction [D]."""
    return plano_d - factor(plano_d=plano_d, constants=constants) * target_d


def refraction_d(*, plano_d: Number, power_d: Number, constants: Srk2Constants) -> Number:
    """Refraction [D] with a lens of ``power_d`` [D]: the inverse of :func:`power_d`."""
    return (plano_d - power_d) / factor(plano_d=plano_d, constants=constants)

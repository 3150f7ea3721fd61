"""The thin-lens core shared by every power formula: cornea, one thin lens, retina.

With corneal power Kc, optical length Lo, lens distance d, index n and vertex distance V:

    power       P = 1000 n / (Lo - d) - n z / (n - d z),            z = Kc + T / (1 - V T)
    refraction  q = 1000 n / (Lo - d) - P,  z = n q / (n + d q),  R = z - Kc,  T = R / (1 + V R)

(d and V in metres inside the products.) Range: any eye whose retina lies behind the lens. Where the far point would
lie between spectacle and cornea no spectacle refraction exists and the answer is NaN.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from forestay.optics.values import Number, choose


@dataclass(frozen=True, slots=True)
class VergenceConstants:
    """Index of the humours, and vertex distance of the spectacle lens [mm]."""

    PREFIX: ClassVar[str] = "lens_power.vergence"
    index: float
    vertex_mm: float


@dataclass(frozen=True, slots=True)
class ThinLensEye:
    """What a formula makes of an eye: corneal power [D], optical length [mm], lens distance behind the cornea [mm]."""

    corneal_power_d: Number
    optical_length_mm: Number
    lens_distance_mm: Number

    def shifted(self, *, lens_shift_mm: Number) -> ThinLensEye:
        """The same eye with the lens farther back by ``lens_shift_mm`` [mm]; forward is negative."""
        return replace(self, lens_distance_mm=self.lens_distance_mm + lens_shift_mm)


def at_cornea_d(*, spectacle_d: Number, constants: VergenceConstants) -> Number:
    """Refraction at the cornea [D] of a spectacle refraction [D]: T / (1 - V T).

    >>> constants = VergenceConstants(index=1.336, vertex_mm=12.0)
    >>> round(at_cornea_d(spectacle_d=-10.0, constants=constants), 4)
    -8.9286
    """
    return spectacle_d / (1 - constants.vertex_mm * spectacle_d / 1000)


def at_spectacle_d(*, corneal_d: Number, constants: VergenceConstants) -> Number:
    """Refraction at the spectacle plane [D] of a refraction at the cornea [D]: R / (1 + V R).

    NaN where the far point lies between spectacle and cornea.

    >>> constants = VergenceConstants(index=1.336, vertex_mm=12.0)
    >>> round(float(at_spectacle_d(corneal_d=10.0, constants=constants)), 4)
    8.9286
    """
    divisor = 1 + constants.vertex_mm * corneal_d / 1000
    exists = np.greater(divisor, 0)
    return choose(exists, corneal_d / choose(exists, divisor, 1.0), np.nan)


def power_d(*, eye: ThinLensEye, target_d: Number, constants: VergenceConstants) -> Number:
    """Lens power [D] that gives the spectacle refraction ``target_d`` [D] in ``eye``.

    >>> constants = VergenceConstants(index=1.336, vertex_mm=12.0)
    >>> eye = ThinLensEye(corneal_power_d=43.0, optical_length_mm=23.5, lens_distance_mm=5.2)
    >>> round(power_d(eye=eye, target_d=0.0, constants=constants), 4)
    21.3622
    """
    d, n = eye.lens_distance_mm, constants.index
    z = eye.corneal_power_d + at_cornea_d(spectacle_d=target_d, constants=constants)
    return 1000 * n / (eye.optical_length_mm - d) - n * z / (n - d * z / 1000)


def refraction_d(*, eye: ThinLensEye, power_d: Number, constants: VergenceConstants) -> Number:
    """Spectacle refraction [D] with a lens of ``power_d`` [D] in ``eye``; 0 D is the eye without a lens.

    >>> constants = VergenceConstants(index=1.336, vertex_mm=12.0)
    >>> eye = ThinLensEye(corneal_power_d=43.45679, optical_length_mm=23.7, lens_distance_mm=5.2)
    >>> round(float(refraction_d(eye=eye, power_d=0.0, constants=constants)), 2)
    11.18
    """
    d, n = eye.lens_distance_mm, constants.index
    q = 1000 * n / (eye.optical_length_mm - d) - power_d
    z = n * q / (n + d * q / 1000)
    return at_spectacle_d(corneal_d=z - eye.corneal_power_d, constants=constants)


def lens_distance_mm(
    *,
    corneal_power_d: Number,
    optical_length_mm: Number,
    power_d: Number,
    refraction_d: Number,
    constants: VergenceConstants,
) -> Number:
    """Lens distance [mm] that explains an achieved refraction [D] with a lens of known power [D].

    Closed form: with s = 1000 n / z the image distance of the cornea, (Lo - d)(s - d) = 1000 n (s - Lo) / P, whose
    smaller root is taken. NaN where no distance explains the refraction; ill-conditioned for powers near 0.

    >>> constants = VergenceConstants(index=1.336, vertex_mm=12.0)
    >>> float(round(lens_distance_mm(corneal_power_d=43.45679, optical_length_mm=23.7, power_d=21.0,
    ...                              refraction_d=-0.5, constants=constants), 3))
    5.39
    """
    n = constants.index
    s = 1000 * n / (corneal_power_d + at_cornea_d(spectacle_d=refraction_d, constants=constants))
    middle, half = 0.5 * (optical_length_mm + s), 0.5 * (s - optical_length_mm)
    has_power = np.not_equal(power_d, 0)
    radicand = half * half + 2 * 1000 * n * half / choose(has_power, power_d, 1.0)
    solvable = has_power & np.greater_equal(radicand, 0)
    return choose(solvable, middle - np.sqrt(np.maximum(radicand, 0)), np.nan)


def optical_length_mm(
    *,
    corneal_power_d: Number,
    lens_distance_mm: Number,
    power_d: Number,
    target_d: Number,
    constants: VergenceConstants,
) -> Number:
    """Optical length [mm] of the eye in which ``power_d`` [D] at ``lens_distance_mm`` gives ``target_d`` [D].

    >>> constants = VergenceConstants(index=1.336, vertex_mm=12.0)
    >>> float(round(optical_length_mm(corneal_power_d=43.0, lens_distance_mm=5.2, power_d=21.3622, target_d=0.0,
    ...                               constants=constants), 3))
    23.5
    """
    n = constants.index
    z = corneal_power_d + at_cornea_d(spectacle_d=target_d, constants=constants)
    q = n * z / (n - lens_distance_mm * z / 1000) + power_d
    return lens_distance_mm + 1000 * n / q

"""How far the refraction may miss its target: the parts of the error, propagated through the formula itself.

    sd^2 = (s_L dR/dL)^2 + (s_K dR/dK)^2 + (s_d dR/dd)^2 + (s_P dR/dP)^2 + s_R^2

Derivatives are central differences of the whole formula (one-sided at an end of its range), so that the lens position
moves with length and cornea as the formula moves it. Inputs: standard deviations of length and lens distance [mm],
corneal power and lens power [D], and of the refraction itself [D]. Range: small errors around one eye.

Reference: parts as Norrby, J Cataract Refract Surg 2008;34:368.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import ClassVar, Literal, TypeAlias

import numpy as np

from forestay.optics import formulas
from forestay.optics.lens_constants import LensConstant
from forestay.optics.lens_model import LensModel
from forestay.optics.ultrasound import Contact, Immersion
from forestay.optics.values import Number, Read, choose
from forestay.optics.vergence import VergenceConstants

DIFFERENCE_STEPS = 0.001
"""Step of the central differences [mm and D]."""


LengthMethod: TypeAlias = Literal["optical", "ultrasound-immersion", "ultrasound-contact"]


@dataclass(frozen=True, slots=True)
class ErrorConstants:
    """Parts of the error by length method [mm, D], and spread of the true lens power by band of power [D]."""

    PREFIX: ClassVar[str] = "lens_error"
    optical_length_sd_mm: float
    optical_k_sd_d: float
    ultrasound_k_sd_d: float
    optical_distance_sd_mm: float
    ultrasound_distance_sd_mm: float
    weak_zonule_distance_sd_mm: float
    refraction_sd_d: float
    power_bands_d: tuple[float, ...]
    power_sd_d: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Spreads:
    """Standard deviations: length [mm], mean corneal power [D], lens distance [mm], lens power [D], refraction [D]."""

    length_mm: float
    k_d: float
    distance_mm: float
    power_d: float
    refraction_d: float


def power_sd_d(*, power_d: Number, constants: ErrorConstants) -> Number:
    """Spread of the true power [D] of a lens labelled ``power_d`` [D], from the tolerance of its band."""
    band = np.searchsorted(np.array(constants.power_bands_d), np.abs(power_d))
    spread: Number = np.array(constants.power_sd_d)[band]
    return spread


def spreads(
    *,
    method: LengthMethod,
    power_d: float,
    weak_zonule: bool,
    position_spread_mm: float,
    read: Read,
) -> Spreads:
    """The parts of the error for a way of measuring length, a lens of ``power_d`` [D], and a position of the lens.

    ``position_spread_mm`` is the spread that the position adds to that of a lens in the bag [mm].
    """
    errors = read(ErrorConstants)
    optical = method == "optical"
    if optical:
        length_sd = errors.optical_length_sd_mm
    else:
        length_sd = read(Contact).sd_mm if method == "ultrasound-contact" else read(Immersion).sd_mm
    in_bag = errors.optical_distance_sd_mm if optical else errors.ultrasound_distance_sd_mm
    if weak_zonule:
        in_bag = errors.weak_zonule_distance_sd_mm
    return Spreads(
        length_mm=length_sd,
        k_d=errors.optical_k_sd_d if optical else errors.ultrasound_k_sd_d,
        distance_mm=float(np.hypot(in_bag, position_spread_mm)),
        power_d=float(power_sd_d(power_d=power_d, constants=errors)),
        refraction_d=errors.refraction_sd_d,
    )


PARTS = ("length", "cornea", "lens place", "lens label")
"""The parts that act through the formula, in the order of :attr:`Spreads`; the refraction's own scatter comes on top."""


@dataclass(frozen=True, slots=True)
class Budget:
    """One standard deviation of the refraction [D] and what each part alone would make of it [D], with its slope."""

    sd_d: Number
    parts_d: Mapping[str, Number]
    slopes: Mapping[str, Number]

    def share(self, part: str) -> Number:
        """Share of the variance that a part carries; 0 where there is no spread at all."""
        total = np.multiply(self.sd_d, self.sd_d)
        some = np.greater(total, 0)
        return choose(some, np.multiply(self.parts_d[part], self.parts_d[part]) / choose(some, total, 1.0), 0.0)

    def without(self, part: str) -> Number:
        """One SD [D] if that part were known exactly: the most that measuring it again could gain."""
        left: Number = np.sqrt(np.maximum(np.subtract(np.square(self.sd_d), np.square(self.parts_d[part])), 0))
        return left


Remeasure: TypeAlias = Literal["length-by-immersion", "length-by-light", "cornea-again"]


def remeasured(known: Spreads, *, method: LengthMethod, read: Read) -> Mapping[Remeasure, Spreads]:
    """What measuring again would make of the spreads, by what is measured; empty where light has measured both.

    ``cornea-again``: several readings that agree, by an automatic keratometer.
    """
    errors = read(ErrorConstants)
    found: dict[Remeasure, Spreads] = {}
    if method == "ultrasound-contact":
        found["length-by-immersion"] = replace(known, length_mm=read(Immersion).sd_mm)
    if method != "optical":
        found["length-by-light"] = replace(known, length_mm=errors.optical_length_sd_mm)
        found["cornea-again"] = replace(known, k_d=errors.optical_k_sd_d)
    return found


def refraction_sd_d(
    *,
    model: LensModel,
    axial_length_mm: Number,
    k_d: Number,
    chamber_depth_mm: Number | None,
    constant: LensConstant,
    power_d: Number,
    lens_shift_mm: Number,
    spreads: Spreads,
    vergence_constants: VergenceConstants,
) -> Number:
    """One standard deviation of the refraction [D] around its prediction."""
    return budget(
        model=model,
        axial_length_mm=axial_length_mm,
        k_d=k_d,
        chamber_depth_mm=chamber_depth_mm,
        constant=constant,
        power_d=power_d,
        lens_shift_mm=lens_shift_mm,
        spreads=spreads,
        vergence_constants=vergence_constants,
    ).sd_d


def budget(
    *,
    model: LensModel,
    axial_length_mm: Number,
    k_d: Number,
    chamber_depth_mm: Number | None,
    constant: LensConstant,
    power_d: Number,
    lens_shift_mm: Number,
    spreads: Spreads,
    vergence_constants: VergenceConstants,
) -> Budget:
    """The error of the refraction [D] part by part; inputs as :func:`forestay.optics.formulas.refraction_d`."""

    def refraction(length_mm: float, k: float, distance_mm: float, power: float) -> Number:
        return formulas.refraction_d(
            model=model,
            axial_length_mm=axial_length_mm + length_mm,
            k_d=k_d + k,
            chamber_depth_mm=chamber_depth_mm,
            constant=constant,
            power_d=power_d + power,
            vergence_constants=vergence_constants,
            lens_shift_mm=lens_shift_mm + distance_mm,
        )

    here = refraction(0.0, 0.0, 0.0, 0.0)
    parts = (spreads.length_mm, spreads.k_d, spreads.distance_mm, spreads.power_d)
    total: Number = spreads.refraction_d * spreads.refraction_d
    found: dict[str, Number] = {}
    slopes: dict[str, Number] = {}
    for name, part, step in zip(PARTS, parts, DIFFERENCE_STEPS * np.eye(len(parts)), strict=True):
        slope = _slope(refraction(*-step), here, refraction(*step))
        slopes[name] = slope
        found[name] = part * np.abs(slope)
        total = total + part * part * slope * slope
    found["refraction"] = spreads.refraction_d
    sd: Number = np.sqrt(total)
    return Budget(sd, found, slopes)


def _slope(below: Number, here: Number, above: Number) -> Number:
    """Central difference; at an end of the formula's range, where one side does not exist, the difference to the other."""
    low, high = np.isfinite(below), np.isfinite(above)
    rise = np.where(high, above, here) - np.where(low, below, here)
    steps = np.where(low, 1.0, 0.0) + np.where(high, 1.0, 0.0)
    slope: Number = rise / (np.where(steps > 0, steps, np.nan) * DIFFERENCE_STEPS)
    return slope

"""Lens constants of the four kinds, and the published relations between them.

    depth = 0.62467 A - 68.747     personal depth = 0.58357 A - 63.896     surgeon factor = 0.5663 A - 65.60
    surgeon factor = 0.9704 personal depth - 3.595     a0 = depth - a1 3.37 - a2 23.39 (a1 0.4, a2 0.1)

(The numbers are the evidence's; engines receive them.) A converted constant is a start, not a personal constant.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias

import numpy as np

from forestay.optics.values import Number

Kind: TypeAlias = Literal["a", "sf", "pacd", "haigis"]


@dataclass(frozen=True, slots=True)
class ConversionConstants:
    """Slopes and intercepts of the relations [mm], and the average eye of the Haigis standard constants [mm]."""

    PREFIX: ClassVar[str] = "lens_power.conversion"
    depth_slope_mm: float
    depth_offset_mm: float
    pacd_slope_mm: float
    pacd_offset_mm: float
    sf_slope_mm: float
    sf_offset_mm: float
    sf_per_pacd: float
    sf_per_pacd_offset_mm: float
    standard_a1: float
    standard_a2: float
    mean_chamber_depth_mm: float
    mean_length_mm: float


@dataclass(frozen=True, slots=True)
class AConstant:
    """A constant, as SRK/T and T2 take it."""

    a: Number
    kind: ClassVar[Kind] = "a"


@dataclass(frozen=True, slots=True)
class SurgeonFactor:
    """Surgeon factor [mm], as Holladay 1 takes it."""

    sf_mm: Number
    kind: ClassVar[Kind] = "sf"


@dataclass(frozen=True, slots=True)
class PersonalDepth:
    """Personal chamber depth constant [mm], as Hoffer Q takes it."""

    pacd_mm: Number
    kind: ClassVar[Kind] = "pacd"


@dataclass(frozen=True, slots=True)
class HaigisConstants:
    """The three Haigis constants: a0 [mm], a1 and a2 [mm per mm]."""

    a0_mm: Number
    a1: float
    a2: float
    kind: ClassVar[Kind] = "haigis"


LensConstant: TypeAlias = AConstant | SurgeonFactor | PersonalDepth | HaigisConstants


def depth_mm(*, a: Number, conversion: ConversionConstants) -> Number:
    """Lens depth of the average eye [mm] that belongs to an A constant."""
    return conversion.depth_slope_mm * a + conversion.depth_offset_mm


def a_from_depth(*, depth_mm: Number, conversion: ConversionConstants) -> AConstant:
    """The A constant that belongs to a lens depth of the average eye [mm]."""
    return AConstant((depth_mm - conversion.depth_offset_mm) / conversion.depth_slope_mm)


def as_a(constant: LensConstant, *, conversion: ConversionConstants) -> AConstant:
    """Any constant as an A constant."""
    if isinstance(constant, AConstant):
        return constant
    if isinstance(constant, SurgeonFactor):
        return AConstant((constant.sf_mm - conversion.sf_offset_mm) / conversion.sf_slope_mm)
    if isinstance(constant, PersonalDepth):
        return AConstant((constant.pacd_mm - conversion.pacd_offset_mm) / conversion.pacd_slope_mm)
    mean_depth = (
        constant.a0_mm + constant.a1 * conversion.mean_chamber_depth_mm + constant.a2 * conversion.mean_length_mm
    )
    return a_from_depth(depth_mm=mean_depth, conversion=conversion)


def as_surgeon_factor(constant: LensConstant, *, conversion: ConversionConstants) -> SurgeonFactor:
    """Any constant as a surgeon factor; a personal depth by its own direct relation."""
    if isinstance(constant, SurgeonFactor):
        return constant
    if isinstance(constant, PersonalDepth):
        return SurgeonFactor(conversion.sf_per_pacd * constant.pacd_mm + conversion.sf_per_pacd_offset_mm)
    return SurgeonFactor(conversion.sf_slope_mm * as_a(constant, conversion=conversion).a + conversion.sf_offset_mm)


def as_personal_depth(constant: LensConstant, *, conversion: ConversionConstants) -> PersonalDepth:
    """Any constant as a personal chamber depth; a surgeon factor by its own direct relation."""
    if isinstance(constant, PersonalDepth):
        return constant
    if isinstance(constant, SurgeonFactor):
        return PersonalDepth((constant.sf_mm - conversion.sf_per_pacd_offset_mm) / conversion.sf_per_pacd)
    a = as_a(constant, conversion=conversion).a
    return PersonalDepth(conversion.pacd_slope_mm * a + conversion.pacd_offset_mm)


def as_haigis(constant: LensConstant, *, conversion: ConversionConstants) -> HaigisConstants:
    """Any constant as Haigis constants with the standard weights."""
    if isinstance(constant, HaigisConstants):
        return constant
    depth = depth_mm(a=as_a(constant, conversion=conversion).a, conversion=conversion)
    a1, a2 = conversion.standard_a1, conversion.standard_a2
    return HaigisConstants(
        depth - a1 * conversion.mean_chamber_depth_mm - a2 * conversion.mean_length_mm,
        a1,
        a2,
    )


_CONVERTERS: dict[Kind, Callable[..., LensConstant]] = {
    "a": as_a,
    "sf": as_surgeon_factor,
    "pacd": as_personal_depth,
    "haigis": as_haigis,
}


def convert(constant: LensConstant, *, to: Kind, conversion: ConversionConstants) -> LensConstant:
    """``constant`` as the kind ``to``; its own kind comes back unchanged."""
    return _CONVERTERS[to](constant, conversion=conversion)


def is_many(constant: LensConstant) -> bool:
    """Whether the constant is an array of one for each eye."""
    if isinstance(constant, AConstant):
        value = constant.a
    elif isinstance(constant, SurgeonFactor):
        value = constant.sf_mm
    else:
        value = constant.pacd_mm if isinstance(constant, PersonalDepth) else constant.a0_mm
    return isinstance(value, np.ndarray) and value.ndim > 0


def mean_constant(constants: Sequence[LensConstant]) -> LensConstant:
    """Mean of single constants of one kind (of Haigis constants: of a0, whose weights agree)."""
    first = constants[0]
    values = [_leading(constant) for constant in constants]
    mean = float(np.mean(values))
    if isinstance(first, AConstant):
        return AConstant(mean)
    if isinstance(first, SurgeonFactor):
        return SurgeonFactor(mean)
    if isinstance(first, PersonalDepth):
        return PersonalDepth(mean)
    return HaigisConstants(mean, first.a1, first.a2)


def _leading(constant: LensConstant) -> float:
    if isinstance(constant, AConstant):
        return float(constant.a)
    if isinstance(constant, SurgeonFactor):
        return float(constant.sf_mm)
    if isinstance(constant, PersonalDepth):
        return float(constant.pacd_mm)
    return float(constant.a0_mm)

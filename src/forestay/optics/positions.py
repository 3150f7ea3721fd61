"""The lens where it may have to go: each position as a shift of the lens distance from that in the bag.

Bag, sulcus, captured optic and scleral fixation are shifts in millimetres; a scleral lens lies the farther forward the
nearer the limbus it is fixed. Iris-claw and anterior-chamber lenses are given by their own A constants, whose depth less
that of the bag lens is the shift; a constant belongs to a way of measuring length. The power follows from the same
cornea, optical length and target (forward of the bag less power is needed where the power is positive). Without a lens
only the refraction is left, for spectacles or for a contact lens.

Range: scleral fixation 1.0 to 2.5 mm behind the limbus (beyond: doubted).

References: sulcus table of common practice, 0.5 mm; iris-claw constants doi 10.1186/s12886-017-0516-1; scleral fixation
doi 10.1186/s40662-023-00341-6.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias, get_args

from forestay.optics import vergence
from forestay.optics.lens_constants import ConversionConstants, LensConstant, as_a
from forestay.optics.values import Number, Read
from forestay.optics.vergence import ThinLensEye, VergenceConstants

Position: TypeAlias = Literal[
    "bag",
    "sulcus",
    "optic-capture",
    "scleral",
    "retropupillary-iris",
    "prepupillary-iris",
    "anterior-chamber",
    "aphakia",
]
ALL_POSITIONS: tuple[Position, ...] = get_args(Position)
POSITIONS: tuple[Position, ...] = tuple(p for p in ALL_POSITIONS if p != "prepupillary-iris")
"""The positions listed unless others are asked for: all but the rarest."""
ON_THE_ZONULE: tuple[Position, ...] = ("bag", "optic-capture", "sulcus")
"""Positions whose lens is held, wholly or in part, by capsule and zonule: a weak zonule spreads them."""


@dataclass(frozen=True)
class Shifted:
    """A position given by its shift from the bag [mm, forward negative] and the spread of that shift [mm]."""

    shift_mm: float
    spread_mm: float


@dataclass(frozen=True)
class OwnConstant:
    """A position whose lens has its own A constant, and the spread of its place [mm]."""

    a: float
    spread_mm: float


@dataclass(frozen=True)
class Sulcus(Shifted):
    """A three-piece lens in the ciliary sulcus."""

    PREFIX: ClassVar[str] = "lens_position.sulcus"


@dataclass(frozen=True)
class OpticCapture(Shifted):
    """Haptics in the sulcus, optic behind the anterior capsule."""

    PREFIX: ClassVar[str] = "lens_position.optic_capture"


@dataclass(frozen=True)
class Scleral(Shifted):
    """Haptics fixed in the sclera ``distance_mm`` behind the limbus; ``shift_per_mm`` for each mm farther back."""

    PREFIX: ClassVar[str] = "lens_position.scleral"
    distance_mm: float
    shift_per_mm: float
    studied_mm: tuple[float, float]

    def at(self, distance_mm: float) -> Shifted:
        """Where the lens lies when fixed at another distance behind the limbus [mm]."""
        return Shifted(self.shift_mm + self.shift_per_mm * (distance_mm - self.distance_mm), self.spread_mm)


@dataclass(frozen=True)
class Retropupillary(OwnConstant):
    """An iris-claw lens behind the pupil."""

    PREFIX: ClassVar[str] = "lens_position.retropupillary"


@dataclass(frozen=True)
class Prepupillary(OwnConstant):
    """An iris-claw lens in front of the pupil; ``a`` for optical lengths, ``ultrasound_a`` for ultrasound."""

    PREFIX: ClassVar[str] = "lens_position.prepupillary"
    ultrasound_a: float


@dataclass(frozen=True)
class AnteriorChamber(OwnConstant):
    """An angle-supported lens in front of the iris."""

    PREFIX: ClassVar[str] = "lens_position.anterior_chamber"


_KINDS: Mapping[Position, type[Shifted] | type[OwnConstant]] = {
    "sulcus": Sulcus,
    "optic-capture": OpticCapture,
    "scleral": Scleral,
    "retropupillary-iris": Retropupillary,
    "prepupillary-iris": Prepupillary,
    "anterior-chamber": AnteriorChamber,
}


def place(
    position: Position,
    *,
    bag_constant: LensConstant,
    read: Read,
    conversion: ConversionConstants,
    scleral_distance_mm: float | None = None,
    ultrasound: bool = False,
) -> Shifted:
    """Where a position lies relative to the bag. The bag itself, and no lens, have shift 0 and spread 0.

    ``bag_constant`` is the constant of the lens meant for the bag, of any kind; it matters only for positions whose
    lens has an A constant of its own. ``ultrasound``: that constant belongs to ultrasound lengths. Where no scleral
    distance [mm] is given the usual one is taken.
    """
    if position not in _KINDS:
        return Shifted(0.0, 0.0)
    found = read(_KINDS[position])
    if isinstance(found, Scleral) and scleral_distance_mm is not None:
        return found.at(scleral_distance_mm)
    if isinstance(found, Shifted):
        return found
    own = found.ultrasound_a if ultrasound and isinstance(found, Prepupillary) else found.a
    in_bag = float(as_a(bag_constant, conversion=conversion).a)
    return Shifted(conversion.depth_slope_mm * (own - in_bag), found.spread_mm)


def shifted_power_d(
    *,
    bag_power_d: Number,
    lens_distance_mm: Number,
    lens_shift_mm: Number,
    corneal_power_d: Number,
    target_d: Number,
    constants: VergenceConstants,
) -> Number:
    """Power [D] at another lens distance that gives what ``bag_power_d`` [D] gives at ``lens_distance_mm`` [mm].

    The optical length is that of the eye in which the bag lens gives ``target_d`` [D].

    >>> constants = VergenceConstants(index=1.336, vertex_mm=12.0)
    >>> round(float(shifted_power_d(bag_power_d=20.0, lens_distance_mm=5.2, lens_shift_mm=-0.5, corneal_power_d=43.12,
    ...                             target_d=0.0, constants=constants)), 2)
    19.11
    """
    length = vergence.optical_length_mm(
        corneal_power_d=corneal_power_d,
        lens_distance_mm=lens_distance_mm,
        power_d=bag_power_d,
        target_d=target_d,
        constants=constants,
    )
    eye = ThinLensEye(corneal_power_d, length, lens_distance_mm + lens_shift_mm)
    return vergence.power_d(eye=eye, target_d=target_d, constants=constants)

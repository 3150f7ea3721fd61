"""The registry of power formulas, and the two questions asked of each: which power, and which refraction.

A formula is chosen by name and recorded; nothing is inferred from which values happen to be there.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import ClassVar

from forestay.answer import Doubt
from forestay.errors import ForestayError, InvalidInput, MissingInput, NotFound
from forestay.optics import vergence
from forestay.optics.blocks import in_blocks
from forestay.optics.cornea import KeratometryConstants
from forestay.optics.haigis import Haigis, HaigisCoefficients
from forestay.optics.hoffer_q import HofferQ, HofferQConstants
from forestay.optics.holladay_1 import Holladay1, Holladay1Constants
from forestay.optics.lens_constants import AConstant, ConversionConstants, Kind, LensConstant, is_many
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.srk_t import SrkT, SrkTConstants, SrkTLimits
from forestay.optics.t2 import T2, T2Constants
from forestay.optics.values import Number, Read
from forestay.optics.vergence import VergenceConstants
from forestay.text import tr


@dataclass(frozen=True, slots=True)
class ChoiceConstants:
    """Which formula is usual at which length [mm]."""

    PREFIX: ClassVar[str] = "lens_power.choice"
    hoffer_q_below_mm: float
    holladay_1_from_mm: float
    srk_t_above_mm: float
    long_eye_mm: float


@dataclass(frozen=True, slots=True)
class Formula:
    """One row of the registry: how to build the model, its kind of constant, what it needs, where it was studied."""

    name: str
    build: Callable[[Read], LensModel]
    constant_kind: Kind
    needs_chamber_depth: bool
    limits: str
    reference: str
    adjusted_in_long_eyes: bool


FORMULAS: Mapping[str, Formula] = {
    f.name: f
    for f in (
        Formula(
            "SRK/T",
            lambda read: SrkT(
                read(SrkTConstants), read(SrkTLimits), read(ConversionConstants), read(KeratometryConstants)
            ),
            "a",
            needs_chamber_depth=False,
            limits="not in extremely long eyes; doubtful in long eyes with steep corneas",
            reference="Retzlaff, Sanders, Kraff 1990",
            adjusted_in_long_eyes=True,
        ),
        Formula(
            "Holladay 1",
            lambda read: Holladay1(read(Holladay1Constants), read(ConversionConstants), read(KeratometryConstants)),
            "sf",
            needs_chamber_depth=False,
            limits="lens position held in long eyes and in very steep corneas",
            reference="Holladay et al. 1988",
            adjusted_in_long_eyes=True,
        ),
        Formula(
            "Hoffer Q",
            lambda read: HofferQ(read(HofferQConstants), read(ConversionConstants)),
            "pacd",
            needs_chamber_depth=False,
            limits="lens position held in very short and very long eyes; chamber depth itself without limits",
            reference="Hoffer 1993",
            adjusted_in_long_eyes=True,
        ),
        Formula(
            "Haigis",
            lambda read: Haigis(read(HaigisCoefficients), read(ConversionConstants), read(KeratometryConstants)),
            "haigis",
            needs_chamber_depth=True,
            limits="needs a chamber depth that the lens has not falsified",
            reference="Haigis et al. 2000",
            adjusted_in_long_eyes=True,
        ),
        Formula(
            "T2",
            lambda read: T2(
                read(T2Constants), read(SrkTConstants), read(ConversionConstants), read(KeratometryConstants)
            ),
            "a",
            needs_chamber_depth=False,
            limits="no better than SRK/T in long eyes",
            reference="Sheard, Smith, Cooke 2010",
            adjusted_in_long_eyes=False,
        ),
    )
}


RULED = frozenset({"SRK/T", "Holladay 1", "Hoffer Q"})
"""The formulas that the guideline on length speaks of."""


def find(name: str) -> Formula:
    """The formula of that name; an unknown name is an error that lists the known ones."""
    if name not in FORMULAS:
        known = ", ".join(FORMULAS)
        raise NotFound(
            tr("There is no formula {name}; known: {known}.", name=name, known=known),
            field="formula",
            value=name,
            allowed=known,
        )
    return FORMULAS[name]


def model(name: str, read: Read) -> LensModel:
    """The formula ``name`` with its coefficients, ready for :func:`power_d` and :func:`refraction_d`."""
    return find(name).build(read)


def power_d(
    *,
    model: LensModel,
    axial_length_mm: Number,
    k_d: Number,
    chamber_depth_mm: Number | None,
    constant: LensConstant,
    target_d: Number,
    vergence_constants: VergenceConstants,
    lens_shift_mm: Number = 0.0,
) -> Number:
    """Lens power [D] for the spectacle refraction ``target_d`` [D].

    ``k_d`` is the mean corneal power [D, index 1.3375]; lengths [mm]; ``lens_shift_mm`` is added to the lens distance
    of the formula, 0 for the formula's own. Scalars or arrays that broadcast together, draws on the last axis.
    """

    def ask(length: Number, k: Number, depth: Number | None, target: Number, shift: Number) -> Number:
        eye = model.eye(Measured(length, k, depth), constant).shifted(lens_shift_mm=shift)
        return vergence.power_d(eye=eye, target_d=target, constants=vergence_constants)

    if is_many(constant):  # a constant for each eye goes with its eye: no blocks
        return ask(axial_length_mm, k_d, chamber_depth_mm, target_d, lens_shift_mm)
    return in_blocks(ask, length=axial_length_mm, k=k_d, depth=chamber_depth_mm, target=target_d, shift=lens_shift_mm)


def refraction_d(
    *,
    model: LensModel,
    axial_length_mm: Number,
    k_d: Number,
    chamber_depth_mm: Number | None,
    constant: LensConstant,
    power_d: Number,
    vergence_constants: VergenceConstants,
    lens_shift_mm: Number = 0.0,
) -> Number:
    """Spectacle refraction [D] with a lens of ``power_d`` [D]; inputs as :func:`power_d`, the inverse of it."""

    def ask(length: Number, k: Number, depth: Number | None, power: Number, shift: Number) -> Number:
        eye = model.eye(Measured(length, k, depth), constant).shifted(lens_shift_mm=shift)
        return vergence.refraction_d(eye=eye, power_d=power, constants=vergence_constants)

    if is_many(constant):  # a constant for each eye goes with its eye: no blocks
        return ask(axial_length_mm, k_d, chamber_depth_mm, power_d, lens_shift_mm)
    return in_blocks(ask, length=axial_length_mm, k=k_d, depth=chamber_depth_mm, power=power_d, shift=lens_shift_mm)


def explained_distance_mm(
    *,
    model: LensModel,
    measured: Measured,
    power_d: Number,
    refraction_d: Number,
    vergence_constants: VergenceConstants,
) -> Number:
    """Lens distance [mm] that explains an achieved refraction [D] with a lens of ``power_d`` [D]; else NaN."""
    eye = model.eye(measured, AConstant(0.0))  # cornea and optical length do not depend on the lens constant
    return vergence.lens_distance_mm(
        corneal_power_d=eye.corneal_power_d,
        optical_length_mm=eye.optical_length_mm,
        power_d=power_d,
        refraction_d=refraction_d,
        constants=vergence_constants,
    )


def refusal(
    name: str, *, model: LensModel, axial_length_mm: float, k_d: float, chamber_depth_mm: float | None
) -> ForestayError | None:
    """Why ``name`` cannot be used for this (single) eye, as an error ready to raise; None where it can."""
    measured = Measured(axial_length_mm, k_d, chamber_depth_mm)
    if find(name).needs_chamber_depth and measured.chamber_depth_mm is None:
        return MissingInput(
            tr("chamber_depth_mm is missing; {name} cannot be calculated without it.", name=name),
            field="chamber_depth_mm",
            allowed=tr("a depth in mm, from the corneal front to the lens front"),
        )
    allowed = model.refusal(measured)
    if allowed:
        return InvalidInput(
            tr(
                "axial_length_mm is {value:g}; allowed: {allowed}. Choose another formula.",
                value=axial_length_mm,
                allowed=allowed,
            ),
            field="axial_length_mm",
            value=axial_length_mm,
            allowed=allowed,
        )
    return None


@dataclass(frozen=True, slots=True)
class Usable:
    """Whether a formula can be used for given inputs, and if not, why not."""

    name: str
    usable: bool
    why_not: str
    usual_at_this_length: bool


def usable(*, read: Read, axial_length_mm: float, k_d: float, chamber_depth_mm: float | None) -> tuple[Usable, ...]:
    """Every formula of the registry with whether it can answer for these inputs, and whether it is usual there."""
    usual = usual_at(axial_length_mm=axial_length_mm, constants=read(ChoiceConstants))
    found = []
    for name in FORMULAS:
        wrong = refusal(
            name,
            model=model(name, read),
            axial_length_mm=axial_length_mm,
            k_d=k_d,
            chamber_depth_mm=chamber_depth_mm,
        )
        found.append(Usable(name, wrong is None, wrong.message if wrong else "", name in usual))
    return tuple(found)


def usual_at(*, axial_length_mm: float, constants: ChoiceConstants) -> tuple[str, ...]:
    """The formulas that the guideline names at this length; in the middle band the mean of all three."""
    if axial_length_mm < constants.hoffer_q_below_mm:
        return ("Hoffer Q",)
    if axial_length_mm <= constants.holladay_1_from_mm:
        return ("SRK/T", "Holladay 1", "Hoffer Q")
    if axial_length_mm <= constants.srk_t_above_mm:
        return ("Holladay 1",)
    return ("SRK/T",)


def remarks(name: str, *, model: LensModel, measured: Measured, constants: ChoiceConstants) -> tuple[Doubt, ...]:
    """What must be known of formula ``name`` in this (single) eye: its limits, and whether another is usual here."""
    length = float(measured.axial_length_mm)
    found = list(model.remarks(measured))
    usual = usual_at(axial_length_mm=length, constants=constants)
    if name in RULED and name not in usual:
        says = tr(
            "At {length:g} mm {usual} is usual rather than {name}.", length=length, usual=", ".join(usual), name=name
        )
        found.append(Doubt("formula-unusual-at-this-length", says))
    if length > constants.long_eye_mm and find(name).adjusted_in_long_eyes:
        says = tr(
            "Beyond {limit:g} mm many adjust the length before {name}; it was not adjusted,"
            " so expect a result on the hyperopic side.",
            limit=constants.long_eye_mm,
            name=name,
        )
        found.append(Doubt("long-eye-not-adjusted", says))
    return tuple(found)

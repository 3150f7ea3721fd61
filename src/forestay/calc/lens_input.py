"""What the calculations of lens power share: their input, the formula made ready, and powers that can be had."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Literal

import numpy as np
from pydantic import Field, model_validator

from forestay.answer import Doubt
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import ConstantMethod, LengthMethod
from forestay.optics import formulas, long_eye, vergence
from forestay.optics.cornea import KeratometryConstants
from forestay.optics.lens_constants import (
    AConstant,
    ConversionConstants,
    HaigisConstants,
    LensConstant,
    PersonalDepth,
    SurgeonFactor,
)
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.long_eye import Adjustment, LengthIs
from forestay.optics.vergence import ThinLensEye, VergenceConstants
from forestay.record import Record
from forestay.text import tr

FormulaName = Literal["SRK/T", "Holladay 1", "Hoffer Q", "Haigis", "T2"]
NEIGHBOURS = 2
"""Powers that can be had, listed on each side of the nearest one."""


class ConstantInput(Record):
    """The lens constant, of exactly one kind."""

    a: Annotated[float, within("a")] | None = None
    sf: Annotated[float, within("sf")] | None = None
    pacd: Annotated[float, within("pacd")] | None = None
    a0: Annotated[float, within("a0")] | None = None
    a1: Annotated[float, within("a1")] | None = None
    a2: Annotated[float, within("a2")] | None = None

    @model_validator(mode="after")
    def _one_kind(self) -> ConstantInput:
        given = {name for name in ("a", "sf", "pacd", "a0", "a1", "a2") if getattr(self, name) is not None}
        if given not in ({"a"}, {"sf"}, {"pacd"}, {"a0", "a1", "a2"}):
            raise ValueError(tr("exactly one of a; sf; pacd; a0 with a1 and a2"))
        return self

    def as_engine(self) -> LensConstant:
        """As the engines take it."""
        if self.a is not None:
            return AConstant(self.a)
        if self.sf is not None:
            return SurgeonFactor(self.sf)
        if self.pacd is not None:
            return PersonalDepth(self.pacd)
        if self.a0 is None or self.a1 is None or self.a2 is None:  # the validator lets no such constant pass
            raise InvalidInput(tr("The lens constant is incomplete."), field="constant")
        return HaigisConstants(self.a0, self.a1, self.a2)

    @classmethod
    def of_engine(cls, constant: LensConstant) -> ConstantInput:
        """As the contract names it."""
        if isinstance(constant, AConstant):
            return cls(a=float(constant.a))
        if isinstance(constant, SurgeonFactor):
            return cls(sf=float(constant.sf_mm))
        if isinstance(constant, PersonalDepth):
            return cls(pacd=float(constant.pacd_mm))
        return cls(a0=float(constant.a0_mm), a1=constant.a1, a2=constant.a2)


class EyeInput(Record):
    """What was measured of an eye."""

    axial_length_mm: Annotated[float, within("axial_length_mm")]
    k1_d: Annotated[float, within("k1_d")]
    k2_d: Annotated[float, within("k2_d")]
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None


class LensInput(EyeInput):
    """The eye, the formula and the lens constant."""

    formula: Annotated[FormulaName, Field(description="power formula, chosen by name")]
    constant: Annotated[ConstantInput, Field(description="lens constant: {a}, {sf}, {pacd} or {a0, a1, a2}")]
    keratometric_index: Annotated[float, within("keratometric_index")] | None = None
    axial_length_method: Annotated[LengthMethod | None, Field(description="how the length was measured")] = None
    constant_method: Annotated[
        ConstantMethod | None, Field(description="length method that the constant belongs to")
    ] = None
    length_is: Annotated[LengthIs | None, Field(description="what the given length is already")] = None
    compression_added: Annotated[
        bool | None, Field(description="whether the length of a contact probe has had its compression added back")
    ] = None
    length_adjustment: Annotated[
        Adjustment | None, Field(description="adjustment of a long eye's length, chosen by name and recorded")
    ] = None
    lens_thickness_mm: Annotated[float, within("lens_thickness_mm")] | None = None


class TargetInput(LensInput):
    """A lens to be chosen: the refraction aimed at and the step in which powers are made."""

    target_d: Annotated[float, within("target_d")] | None = None
    step_d: Annotated[float, within("step_d")] | None = None


def aim(target_d: float | None, step_d: float | None, use: Reader) -> tuple[float, float, list[Doubt]]:
    """Target and step [D], or their defaults as doubts."""
    doubts: list[Doubt] = []
    target, step = target_d, step_d
    if target is None:
        target = 0.0
        doubts.append(Doubt("target-assumed", tr("No target was given: {target:g} D.", target=target)))
    if step is None:
        step = use.number("lens_power.usual_step_d")
        doubts.append(Doubt("step-assumed", tr("No step of lens powers was given: {step:g} D.", step=step)))
    return target, step, doubts


class Choice(Record):
    """A power that can be had, and the refraction that it gives."""

    power_d: Annotated[float, Field(description="labelled power of the lens")]
    refraction_d: Annotated[float, Field(description="spherical equivalent at the spectacle plane, vertex 12 mm")]


Distance = Annotated[float, Field(description="cornea to lens, as the formula puts it")]
Choices = Annotated[tuple[Choice, ...], Field(description="powers that can be had, with the refraction of each")]
EXAMPLE = {
    "formula": "SRK/T",
    "axial_length_mm": 23.5,
    "k1_d": 43.5,
    "k2_d": 44.5,
    "chamber_depth_mm": 3.1,
    "constant": {"a": 118.4},
}
"""The eye of the examples."""


@dataclass(frozen=True)
class Ready:
    """A formula with its coefficients, an eye and a lens constant: ready to be asked."""

    name: str
    model: LensModel
    measured: Measured
    constant: LensConstant
    eye: ThinLensEye
    vergence: VergenceConstants
    conversion: ConversionConstants
    doubts: tuple[Doubt, ...]
    target_d: float = 0.0
    step_d: float = 0.0

    def aiming_at(self, target_d: float) -> Ready:
        """The same with another target [D]."""
        return replace(self, target_d=target_d)

    def power_d(self, *, lens_shift_mm: float = 0.0) -> float:
        """Power [D] for the target, the lens shifted from its place in the bag [mm]."""
        eye = self.eye.shifted(lens_shift_mm=lens_shift_mm)
        return float(vergence.power_d(eye=eye, target_d=self.target_d, constants=self.vergence))

    def refraction_d(self, *, power_d: float, lens_shift_mm: float = 0.0) -> float:
        """Refraction [D] with a lens of a power [D]; an impossible one is an error about ``power_d``."""
        eye = self.eye.shifted(lens_shift_mm=lens_shift_mm)
        found = float(vergence.refraction_d(eye=eye, power_d=power_d, constants=self.vergence))
        if not np.isfinite(found):
            raise InvalidInput(
                tr("power_d is {power:g}; no spectacle lens could correct this eye with it.", power=power_d),
                field="power_d",
                value=power_d,
                allowed=tr("a power nearer to what the eye needs"),
            )
        return found

    def choices(self, *, power_d: float, lens_shift_mm: float = 0.0) -> tuple[Choice, ...]:
        """Multiples of the step around ``power_d`` with the refraction that each gives."""
        nearest = round(power_d / self.step_d)
        powers = [round(self.step_d * k, 6) for k in range(nearest - NEIGHBOURS, nearest + NEIGHBOURS + 1)]
        return tuple(
            Choice(power_d=p, refraction_d=self.refraction_d(power_d=p, lens_shift_mm=lens_shift_mm)) for p in powers
        )


def mean_k(eye: EyeInput, *, index: float | None, use: Reader) -> tuple[float, list[Doubt]]:
    """Mean corneal power [D] under the common index, and what was assumed of the keratometer."""
    common = use.constants(KeratometryConstants).index
    mean = 0.5 * (eye.k1_d + eye.k2_d)
    if index is not None:
        return mean * (common - 1) / (index - 1), []
    says = tr("The corneal powers were taken as printed with the keratometric index {index:g}.", index=common)
    return mean, [Doubt("keratometric-index-assumed", says)]


def prepare(given: LensInput, use: Reader) -> Ready:
    """The formula ready for this eye, or the error that says why it cannot be used."""
    k_d, doubts = mean_k(given, index=given.keratometric_index, use=use)
    doubts += constant_doubts(given)
    model = formulas.model(given.formula, use.constants)
    wrong = formulas.refusal(
        given.formula,
        model=model,
        axial_length_mm=given.axial_length_mm,
        k_d=k_d,
        chamber_depth_mm=given.chamber_depth_mm,
    )
    if wrong:
        raise wrong
    length = long_eye.adjusted(
        given.length_adjustment or "none",
        formula=given.formula,
        axial_length_mm=given.axial_length_mm,
        lens_thickness_mm=given.lens_thickness_mm,
        length_is=given.length_is or "as-measured",
        read=use.constants,
    )
    doubts += length.doubts
    measured = Measured(length.axial_length_mm, k_d, given.chamber_depth_mm)
    constant = given.constant.as_engine()
    choice = use.constants(formulas.ChoiceConstants)
    told = formulas.remarks(
        given.formula,
        model=model,
        measured=Measured(given.axial_length_mm, k_d, given.chamber_depth_mm),
        constants=choice,
    )
    plain = length.adjustment == "none" and given.length_is in (None, "as-measured")
    doubts += [d for d in told if plain or d.code != "long-eye-not-adjusted"]
    doubts += _conversion(given.formula, constant)
    eye = model.eye(measured, constant)
    _inside(eye)
    return Ready(
        name=given.formula,
        model=model,
        measured=measured,
        constant=constant,
        eye=eye,
        vergence=use.constants(VergenceConstants),
        conversion=use.constants(ConversionConstants),
        doubts=tuple(doubts),
    )


def prepare_target(given: TargetInput, use: Reader) -> Ready:
    """As :func:`prepare`, with the target and the step of powers, or their defaults as doubts."""
    ready = prepare(given, use)
    target, step, doubts = aim(given.target_d, given.step_d, use)
    return replace(ready, target_d=target, step_d=step, doubts=(*ready.doubts, *doubts))


def constant_doubts(given: LensInput) -> list[Doubt]:
    """Constants of contact and optical lengths are kept apart; a constant of contact lengths holds the compression."""
    method, constant = given.axial_length_method, given.constant_method
    if constant == "ultrasound-contact" and given.compression_added:
        raise InvalidInput(
            tr(
                "constant_method is ultrasound-contact, but the length has had the compression added back: the constant"
                " holds it already, and it would count twice."
            ),
            field="constant_method",
            value=constant,
            allowed=tr(
                "optical or ultrasound-immersion with a corrected length; or the length as the probe printed it"
            ),
        )
    if method is None or constant is None or method == constant:
        return []
    if method == "ultrasound-contact" and given.compression_added and constant != "ultrasound":
        return []
    says = tr(
        "The lens constant belongs to {constant} lengths, the length was measured by {method}: the refraction is off by"
        " what the two lengths differ.",
        constant=tr(constant),
        method=tr(method),
    )
    return [Doubt("constant-of-another-method", says)]


def _conversion(name: str, constant: LensConstant) -> list[Doubt]:
    wanted = formulas.find(name).constant_kind
    if constant.kind == wanted:
        return []
    says = tr(
        "The lens constant was not given in the kind that {name} takes and was converted by published relations; it is"
        " a start, not an optimised constant.",
        name=name,
    )
    return [Doubt("constant-converted", says)]


def _inside(eye: ThinLensEye) -> None:
    if not 0 < float(eye.lens_distance_mm) < float(eye.optical_length_mm):
        raise InvalidInput(
            tr(
                "The lens constant puts the lens {distance:.1f} mm behind the cornea, outside the eye.",
                distance=float(eye.lens_distance_mm),
            ),
            field="constant",
            allowed=tr("a constant that puts the lens inside the eye"),
        )

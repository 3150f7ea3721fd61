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
from forestay.optics import formulas, vergence
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


class TargetInput(LensInput):
    """A lens to be chosen: the refraction aimed at and the step in which powers are made."""

    target_d: Annotated[float, within("target_d")] | None = None
    step_d: Annotated[float, within("step_d")] | None = None


class Choice(Record):
    """A power that can be had, and the refraction that it gives."""

    power_d: Annotated[float, Field(description="labelled power of the lens")]
    refraction_d: Annotated[float, Field(description="spherical equivalent at the spectacle plane, vertex 12 mm")]


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
    measured = Measured(given.axial_length_mm, k_d, given.chamber_depth_mm)
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
    constant = given.constant.as_engine()
    choice = use.constants(formulas.ChoiceConstants)
    doubts += formulas.remarks(given.formula, model=model, measured=measured, constants=choice)
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
    doubts = list(ready.doubts)
    target, step = given.target_d, given.step_d
    if target is None:
        target = 0.0
        doubts.append(Doubt("target-assumed", tr("No target was given: {target:g} D.", target=target)))
    if step is None:
        step = use.number("lens_power.usual_step_d")
        doubts.append(Doubt("step-assumed", tr("No step of lens powers was given: {step:g} D.", step=step)))
    return replace(ready, target_d=target, step_d=step, doubts=tuple(doubts))


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

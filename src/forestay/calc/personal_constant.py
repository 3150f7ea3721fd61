"""Calculation of a surgeon's own lens constant from operated eyes."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.lens_input import ConstantInput, EyeInput, FormulaName, mean_k
from forestay.errors import ForestayError, InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.optics import formulas, own_constant, vergence
from forestay.optics.lens_constants import ConversionConstants, LensConstant, as_a, mean_constant
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.vergence import VergenceConstants
from forestay.record import Record
from forestay.text import tr


class OperatedEye(EyeInput):
    """An eye before surgery, the lens put in, and the refraction afterwards."""

    power_d: Annotated[float, within("power_d")]
    refraction_d: Annotated[float, within("refraction_d")]


class PersonalConstantInput(Record):
    """Operated eyes with one model of lens, measured in one way."""

    formula: Annotated[FormulaName, Field(description="power formula, chosen by name")]
    cases: Annotated[
        tuple[OperatedEye, ...], Field(strict=False, min_length=1, description="operated eyes, one lens model")
    ]
    box_a: Annotated[float, within("a")] | None = None


class PersonalConstantOutput(Record):
    """The constant that these eyes ask for, and how well they would have been predicted with it."""

    constant: Annotated[dict[str, float], Field(description="lens constant: {a}, {sf}, {pacd} or {a0, a1, a2}")]
    n: Annotated[int, Field(description="number of eyes")]
    sd_d: Annotated[
        float | None, Field(description="standard deviation of the prediction error (n - 1); null for a single eye")
    ]
    within_half: Annotated[float, Field(description="share of eyes within 0.5 D of the prediction")]
    within_one: Annotated[float, Field(description="share of eyes within 1 D of the prediction")]
    a_to_plan_with: Annotated[
        float | None,
        Field(description="the box's A constant drawn towards these eyes; null without box_a or a spread of errors"),
    ]
    own_weight: Annotated[float | None, Field(description="weight of these eyes in it, 0 to 1; null likewise")]


@calculation(
    "personal-constant",
    summary="A surgeon's own lens constant, by back-calculation from operated eyes",
    formula="lens distance that explains each refraction, as a constant of the formula; the mean of all eyes",
    valid="one lens model and one way of measuring; eyes with lenses of low power say little",
    input=PersonalConstantInput,
    output=PersonalConstantOutput,
    example={
        "formula": "SRK/T",
        "cases": [
            {"axial_length_mm": 23.5, "k1_d": 44.0, "k2_d": 44.0, "power_d": 21.0, "refraction_d": -0.5},
            {"axial_length_mm": 22.6, "k1_d": 43.25, "k2_d": 44.25, "power_d": 23.5, "refraction_d": -0.25},
        ],
    },
)
def personal_constant_calculation(
    given: PersonalConstantInput, use: Reader
) -> tuple[PersonalConstantOutput, list[Doubt]]:
    """Mean of the constants that explain each eye, not drawn towards any prior."""
    model = formulas.model(given.formula, use.constants)
    optics = use.constants(VergenceConstants)
    doubts: list[Doubt] = []
    eyes, own = [], []
    for number, case in enumerate(given.cases):
        k_d, assumed = mean_k(case, index=None, use=use)
        doubts += assumed
        measured = Measured(case.axial_length_mm, k_d, case.chamber_depth_mm)
        wrong = formulas.refusal(
            given.formula,
            model=model,
            axial_length_mm=case.axial_length_mm,
            k_d=k_d,
            chamber_depth_mm=case.chamber_depth_mm,
        )
        if wrong:
            raise _of_case(wrong, number)
        eyes.append(measured)
        own.append(_explained(case, measured, number, model=model, optics=optics, use=use))
    constant = mean_constant(own)
    predicted = [
        vergence.refraction_d(eye=model.eye(eye, constant), power_d=case.power_d, constants=optics)
        for case, eye in zip(given.cases, eyes, strict=True)
    ]
    errors = np.array([case.refraction_d for case in given.cases]) - np.array(predicted)
    says = tr("This is the mean of {n} eyes, not drawn towards the constant on the box.", n=len(own))
    doubts.append(Doubt("constant-unshrunk", says))
    sd = float(errors.std(ddof=1)) if len(own) > 1 else None
    found = None
    if given.box_a is not None and sd:
        found = own_constant.drawn(
            box_a=given.box_a,
            own_a=float(as_a(constant, conversion=use.constants(ConversionConstants)).a),
            n=len(own),
            sd_d=sd,
            constants=use.constants(own_constant.BetweenSurgeons),
        )
    output = PersonalConstantOutput(
        constant=ConstantInput.of_engine(constant).model_dump(exclude_none=True),
        n=len(own),
        sd_d=sd,
        within_half=float(np.mean(np.abs(errors) <= 0.5)),
        within_one=float(np.mean(np.abs(errors) <= 1)),
        a_to_plan_with=found.a if found else None,
        own_weight=found.weight if found else None,
    )
    return output, doubts


def _explained(
    case: OperatedEye, measured: Measured, number: int, *, model: LensModel, optics: VergenceConstants, use: Reader
) -> LensConstant:
    """The constant that explains one eye; a lens that would have to lie nowhere sensible is an error about the eye."""
    distance = float(
        formulas.explained_distance_mm(
            model=model,
            measured=measured,
            power_d=case.power_d,
            refraction_d=case.refraction_d,
            vergence_constants=optics,
        )
    )
    low, high = use.numbers("lens_power.back_calculated_distance_mm")
    if not low <= distance <= high:
        field = f"cases.{number}.refraction_d"
        raise InvalidInput(
            tr(
                "{field} is {value:g}; no lens position from {low:g} to {high:g} mm explains it with {power:g} D.",
                field=field,
                value=case.refraction_d,
                low=low,
                high=high,
                power=case.power_d,
            ),
            field=field,
            value=case.refraction_d,
            allowed=tr("a refraction that a lens inside the eye can give"),
        )
    return model.constant_of(measured, distance)


def _of_case(wrong: ForestayError, number: int) -> ForestayError:
    field = f"cases.{number}.{wrong.field}"
    return type(wrong)(f"{field}: {wrong.message}", field=field, value=wrong.value, allowed=wrong.allowed)

"""Calculations of length for a lens power: adjusting a long eye, comparing two eyes, and the second eye after the first."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.lens_input import EyeInput, FormulaName, LensInput, TargetInput, mean_k, prepare_target
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.optics import formulas, long_eye, two_eyes
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.vergence import VergenceConstants
from forestay.record import Record
from forestay.text import tr


class LongEyeLengthInput(Record):
    """A length, what it is already, and the adjustment asked for by name."""

    formula: Annotated[FormulaName, Field(description="power formula that the length is for")]
    axial_length_mm: Annotated[float, within("axial_length_mm")]
    length_is: Annotated[long_eye.LengthIs, Field(description="what the given length is already")]
    adjustment: Annotated[long_eye.Adjustment, Field(description="adjustment, chosen by name")]
    lens_thickness_mm: Annotated[float, within("lens_thickness_mm")] | None = None


class LongEyeLengthOutput(Record):
    """The length to give to the formula."""

    axial_length_mm: Annotated[float, Field(description="length to give to the formula")]
    change_mm: Annotated[float, Field(description="what the adjustment added; negative took off")]
    adjustment: Annotated[str, Field(description="the adjustment made, for the record")]


@calculation(
    "long-eye-length",
    summary="Length of a long eye, adjusted for one formula by a named rule, never twice",
    formula="min(L, a L + b) above 25 mm by formula; or c + s L - t LT by segments",
    valid="long eyes without corneal surgery, optical lengths; coefficients recalled",
    input=LongEyeLengthInput,
    output=LongEyeLengthOutput,
    example={"formula": "Holladay 1", "axial_length_mm": 28.0, "length_is": "as-measured", "adjustment": "linear-2011"},
)
def long_eye_length_calculation(given: LongEyeLengthInput, use: Reader) -> tuple[LongEyeLengthOutput, list[Doubt]]:
    """One adjustment, or the error that says why it must not be made."""
    found = long_eye.adjusted(
        given.adjustment,
        formula=given.formula,
        axial_length_mm=given.axial_length_mm,
        lens_thickness_mm=given.lens_thickness_mm,
        length_is=given.length_is,
        read=use.constants,
    )
    length = float(found.axial_length_mm)
    output = LongEyeLengthOutput(
        axial_length_mm=length, change_mm=length - given.axial_length_mm, adjustment=found.adjustment
    )
    return output, list(found.doubts)


class TwoEyesInput(LensInput):
    """This eye, its fellow, and their refractions before any cataract, where known."""

    fellow: Annotated[EyeInput, Field(description="the other eye, measured in the same way")]
    old_refraction_d: Annotated[float, within("refraction_d")] | None = None
    fellow_old_refraction_d: Annotated[float, within("refraction_d")] | None = None


class TwoEyesOutput(Record):
    """Differences, this eye less its fellow, and whether they fit."""

    length_difference_mm: Annotated[float, Field(description="this eye less its fellow")]
    k_difference_d: Annotated[float, Field(description="mean corneal power, this eye less its fellow")]
    power_difference_d: Annotated[float, Field(description="lens power for plano, this eye less its fellow")]
    expected_refraction_difference_d: Annotated[
        float, Field(description="difference of refraction that length and cornea alone explain")
    ]
    misfit_d: Annotated[
        float | None, Field(description="difference of the old refractions less the expected one; null where unknown")
    ]
    level: Annotated[str, Field(description="fits, note or recheck")]
    why: Annotated[tuple[str, ...], Field(description="what does not fit")]


@calculation(
    "two-eyes",
    summary="Whether two eyes of one person fit one another and their refractions before the cataract",
    formula="with one lens in both eyes: R(L, K; P) - R(L', K'; P), against the difference of the old refractions",
    valid="both eyes measured in one way; a refraction from before the cataract made the eye myopic",
    input=TwoEyesInput,
    output=TwoEyesOutput,
    example={
        "formula": "SRK/T",
        "axial_length_mm": 24.1,
        "k1_d": 43.25,
        "k2_d": 44.5,
        "constant": {"a": 118.4},
        "fellow": {"axial_length_mm": 23.2, "k1_d": 43.5, "k2_d": 44.25},
        "old_refraction_d": 0.25,
        "fellow_old_refraction_d": 0.5,
    },
)
def two_eyes_calculation(given: TwoEyesInput, use: Reader) -> tuple[TwoEyesOutput, list[Doubt]]:
    """Lengths, corneas, powers and old refractions against one another."""
    model, eye, fellow, doubts = _pair(given, use)
    constants, optics = use.constants(two_eyes.TwoEyesConstants), use.constants(VergenceConstants)
    constant = given.constant.as_engine()

    def power(measured: Measured) -> float:
        return float(
            formulas.power_d(
                model=model,
                axial_length_mm=measured.axial_length_mm,
                k_d=measured.k_d,
                chamber_depth_mm=measured.chamber_depth_mm,
                constant=constant,
                target_d=0.0,
                vergence_constants=optics,
            )
        )

    expected = two_eyes.expected_difference_d(
        model=model, eye=eye, fellow=fellow, constant=constant, vergence_constants=optics
    )
    misfit = None
    if given.old_refraction_d is not None and given.fellow_old_refraction_d is not None:
        misfit = given.old_refraction_d - given.fellow_old_refraction_d - expected
    else:
        says = tr("The refractions before the cataract are not both given: length and cornea are compared alone.")
        doubts.append(Doubt("old-refraction-unknown", says))
    length_apart = float(eye.axial_length_mm) - float(fellow.axial_length_mm)
    k_apart = float(eye.k_d) - float(fellow.k_d)
    level, why = _level(length_apart, k_apart, misfit, constants, use)
    output = TwoEyesOutput(
        length_difference_mm=length_apart,
        k_difference_d=k_apart,
        power_difference_d=power(eye) - power(fellow),
        expected_refraction_difference_d=expected,
        misfit_d=misfit,
        level=level,
        why=why,
    )
    return output, doubts


def _level(
    length_mm: float, k_d: float, misfit_d: float | None, constants: two_eyes.TwoEyesConstants, use: Reader
) -> tuple[str, tuple[str, ...]]:
    """How far two eyes disagree. A difference of length that the old refractions explain is no more than a note."""
    note, recheck = (use.number(f"plausible.length_difference_{level}_mm") for level in ("note", "recheck"))
    most_k = use.number("plausible.k_difference_d")
    explained = misfit_d is not None and abs(misfit_d) <= constants.refraction_misfit_d
    found: list[tuple[str, str]] = []
    if abs(length_mm) > note:
        far = abs(length_mm) > recheck and not explained
        found.append(("recheck" if far else "note", tr("the lengths differ by {mm:.2f} mm", mm=abs(length_mm))))
    if abs(k_d) > most_k:
        found.append(("recheck", tr("the mean corneal powers differ by {d:.2f} D", d=abs(k_d))))
    if misfit_d is not None and not explained:
        says = tr("the old refractions differ by {d:.2f} D more than length and cornea explain", d=abs(misfit_d))
        found.append(("recheck", says))
    levels = {level for level, _ in found}
    level = "recheck" if "recheck" in levels else "note" if levels else "fits"
    return level, tuple(words for _, words in found)


class SecondEyeInput(TargetInput):
    """This eye, and its fellow that has had its operation."""

    fellow: Annotated[EyeInput, Field(description="the operated eye, as measured before its operation")]
    fellow_power_d: Annotated[float, within("power_d")]
    fellow_refraction_d: Annotated[float, within("refraction_d")]


class SecondEyeOutput(Record):
    """What the first eye says of the second."""

    first_error_d: Annotated[float, Field(description="refraction achieved in the first eye less its prediction")]
    carried_d: Annotated[float, Field(description="part carried over: added to the prediction of this eye")]
    power_d: Annotated[float, Field(description="power for the target by the formula alone")]
    power_after_first_eye_d: Annotated[float, Field(description="power for the target with that part counted")]


@calculation(
    "second-eye",
    summary="Power for the second eye with part of the first eye's error counted",
    formula="aim at target - share * (achieved - predicted) of the first eye; share 0.5 where that error is 0.5 D or more",
    valid="two eyes alike in length and cornea, one lens model and formula, first eye stable and in the bag",
    input=SecondEyeInput,
    output=SecondEyeOutput,
    example={
        "formula": "SRK/T",
        "axial_length_mm": 23.4,
        "k1_d": 43.25,
        "k2_d": 44.5,
        "constant": {"a": 118.4},
        "target_d": -0.25,
        "step_d": 0.5,
        "fellow": {"axial_length_mm": 23.2, "k1_d": 43.5, "k2_d": 44.25},
        "fellow_power_d": 20.5,
        "fellow_refraction_d": 0.75,
    },
)
def second_eye_calculation(given: SecondEyeInput, use: Reader) -> tuple[SecondEyeOutput, list[Doubt]]:
    """The first eye's error, what of it is carried over, and the power that follows."""
    ready = prepare_target(given, use)
    model, eye, fellow, _ = _pair(given, use)
    found = two_eyes.carried_over(
        model=model,
        eye=eye,
        fellow=fellow,
        constant=ready.constant,
        fellow_power_d=given.fellow_power_d,
        fellow_refraction_d=given.fellow_refraction_d,
        vergence_constants=ready.vergence,
        constants=use.constants(two_eyes.TwoEyesConstants),
    )
    power = ready.power_d()
    output = SecondEyeOutput(
        first_error_d=found.first_error_d,
        carried_d=found.carried_d,
        power_d=power,
        power_after_first_eye_d=ready.aiming_at(ready.target_d - found.carried_d).power_d(),
    )
    return output, [*ready.doubts, *found.doubts]


def _pair(given: TwoEyesInput | SecondEyeInput, use: Reader) -> tuple[LensModel, Measured, Measured, list[Doubt]]:
    """Model and both eyes; an eye that the formula cannot answer is an error about that eye."""
    model = formulas.model(given.formula, use.constants)
    measured = []
    doubts: list[Doubt] = []
    for where, eye in (("", given), ("fellow.", given.fellow)):
        k_d, told = mean_k(eye, index=given.keratometric_index, use=use)
        doubts += told
        wrong = formulas.refusal(
            given.formula,
            model=model,
            axial_length_mm=eye.axial_length_mm,
            k_d=k_d,
            chamber_depth_mm=eye.chamber_depth_mm,
        )
        if wrong:
            raise type(wrong)(wrong.message, field=f"{where}{wrong.field}", value=wrong.value, allowed=wrong.allowed)
        measured.append(Measured(eye.axial_length_mm, k_d, eye.chamber_depth_mm))
    return model, measured[0], measured[1], doubts


CALCULATIONS = (long_eye_length_calculation, two_eyes_calculation, second_eye_calculation)

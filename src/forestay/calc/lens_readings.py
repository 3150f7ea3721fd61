"""Calculations that compare: two readings of one eye's length, and an old note's regression with today's formulas."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import LengthMethod
from forestay.optics import srk_2, two_lengths
from forestay.optics.two_lengths import Reading
from forestay.record import Record
from forestay.text import tr


class LengthReading(Record):
    """One reading of the length."""

    axial_length_mm: Annotated[float, within("axial_length_mm")]
    method: Annotated[LengthMethod, Field(description="how it was taken; the velocity is right for the eye")]


class CompareLengthsInput(Record):
    """Two readings of one eye, each as displayed: no compression added back before."""

    first: Annotated[LengthReading, Field(description="one reading")]
    second: Annotated[LengthReading, Field(description="the other reading of the same eye")]
    dense_cataract: Annotated[
        bool | None, Field(description="the cataract is so dense that light may have measured something else")
    ] = None


class CompareLengthsOutput(Record):
    """Do they agree, and what do they say together. Differences are first less second."""

    difference_mm: Annotated[float, Field(description="first less second, as displayed")]
    expected_difference_mm: Annotated[float, Field(description="what the two ways of measuring alone explain")]
    misfit_mm: Annotated[float, Field(description="what is left")]
    spread_mm: Annotated[float, Field(description="one standard deviation of what may be left")]
    misfit_sd: Annotated[float, Field(description="what is left, in such standard deviations")]
    agreement: Annotated[
        Literal["agree", "note", "recheck"], Field(description="agree, agree barely, or measure both again")
    ]
    together_mm: Annotated[
        float | None, Field(description="both together on the scale of immersion; null where they disagree")
    ]
    together_sd_mm: Annotated[float | None, Field(description="one standard deviation of that; null likewise")]


@calculation(
    "compare-lengths",
    summary="Whether two readings of one eye's length, by light and by ultrasound, agree, and what they say together",
    formula="(L1 - L2) / sqrt(s1^2 + s2^2), contact readings with the mean compression added; mean by 1 / s^2",
    valid="adult eyes; instruments whose length by light is printed on the scale of immersion",
    input=CompareLengthsInput,
    output=CompareLengthsOutput,
    example={
        "first": {"axial_length_mm": 23.3, "method": "optical"},
        "second": {"axial_length_mm": 22.9, "method": "ultrasound-contact"},
    },
)
def compare_lengths_calculation(given: CompareLengthsInput, use: Reader) -> tuple[CompareLengthsOutput, list[Doubt]]:
    """Misfit, agreement, and the weighted mean where they agree."""
    first, second = (Reading(r.axial_length_mm, r.method) for r in (given.first, given.second))
    found = two_lengths.compared(first, second, read=use.constants)
    doubts = []
    methods = {given.first.method, given.second.method}
    if "optical" in methods and len(methods) > 1:
        doubts.append(_scale_doubt(use))
    if "optical" in methods and given.dense_cataract:
        says = tr(
            "Through a dense cataract light may return from the lens and not the retina: where the two disagree, believe"
            " the ultrasound by immersion, guided by a scan."
        )
        doubts.append(Doubt("light-through-dense-cataract", says))
    if given.first.method == given.second.method:
        says = tr("Both readings were taken in one way and share its error: together they are no surer than one.")
        doubts.append(Doubt("same-way-twice", says))
    output = CompareLengthsOutput(
        difference_mm=found.raw_mm,
        expected_difference_mm=found.expected_mm,
        misfit_mm=found.misfit_mm,
        spread_mm=found.spread_mm,
        misfit_sd=found.misfit_sd,
        agreement=found.agreement,
        together_mm=found.together_mm,
        together_sd_mm=found.together_sd_mm,
    )
    return output, doubts


def _scale_doubt(use: Reader) -> Doubt:
    immersion = use.number("two_lengths.light_minus_immersion_mm")
    contact = use.number("two_lengths.light_minus_contact_mm")
    says = tr(
        "Light is taken to be printed on the scale of immersion. One early instrument that was not read {immersion:.2f} mm"
        " longer than immersion and {contact:.2f} mm longer than contact in 196 eyes.",
        immersion=immersion,
        contact=contact,
    )
    return Doubt("light-on-the-scale-of-immersion", says)


class Srk2Input(Record):
    """The eye of an old note."""

    axial_length_mm: Annotated[float, within("axial_length_mm")]
    k1_d: Annotated[float, within("k1_d")]
    k2_d: Annotated[float, within("k2_d")]
    a: Annotated[float, within("a")]
    target_d: Annotated[float, within("target_d")]
    power_d: Annotated[float | None, within("power_d")] = None


class Srk2Output(Record):
    """What the regression says."""

    plano_power_d: Annotated[float, Field(description="lens power for plano")]
    power_d: Annotated[float, Field(description="lens power for the target")]
    refraction_d: Annotated[float | None, Field(description="refraction with the given lens; null where none is given")]


@calculation(
    "srk-2",
    summary="The regression SRK II of 1988, to read old notes by: not for choosing a lens",
    formula="P = A1 - 2.5 L - 0.9 K, A1 stepped by length; P(T) = P - C T, C 1.25 above 14 D, else 1",
    valid="historical; left out of later comparisons as clearly worse; it jumps at 20, 21, 22 and 24.5 mm",
    input=Srk2Input,
    output=Srk2Output,
    example={"axial_length_mm": 23.5, "k1_d": 43.5, "k2_d": 44.5, "a": 118.4, "target_d": -0.5, "power_d": 20.5},
)
def srk_2_calculation(given: Srk2Input, use: Reader) -> tuple[Srk2Output, list[Doubt]]:
    """The regression, with the doubt that it is history."""
    constants = use.constants(srk_2.Srk2Constants)
    plano = float(
        srk_2.plano_power_d(
            axial_length_mm=given.axial_length_mm, k_d=(given.k1_d + given.k2_d) / 2, a=given.a, constants=constants
        )
    )
    doubts = [Doubt("historical", tr("SRK II is kept to read old notes by. Choose the lens with lens-formulas."))]
    near = min(constants.steps_mm, key=lambda step: abs(step - given.axial_length_mm))
    if abs(near - given.axial_length_mm) < use.number("srk_2_jump.near_mm"):
        says = tr(
            "The regression jumps at {step:g} mm: a length a little off changes its power by up to a dioptre.",
            step=near,
        )
        doubts.append(Doubt("near-a-jump", says))
    left = None
    if given.power_d is not None:
        left = float(srk_2.refraction_d(plano_d=plano, power_d=given.power_d, constants=constants))
    output = Srk2Output(
        plano_power_d=plano,
        power_d=float(srk_2.power_d(plano_d=plano, target_d=given.target_d, constants=constants)),
        refraction_d=left,
    )
    return output, doubts


CALCULATIONS = (compare_lengths_calculation, srk_2_calculation)

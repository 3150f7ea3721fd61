"""Calculation of a toric lens."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.keratometry import Keratometry, vector_of
from forestay.calc.lens_input import TargetInput, prepare_target
from forestay.errors import MissingInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.frame import meridian_deg
from forestay.optics import toric
from forestay.optics.astigmatism import DoubleAngle, of_incision
from forestay.record import Record
from forestay.text import tr


class ToricInput(TargetInput):
    """The eye with the meridians of its readings, and the incision if it is to be counted."""

    k1_axis_deg: Annotated[float, within("k1_axis_deg")]
    k2_axis_deg: Annotated[float, within("k2_axis_deg")]
    induced_d: Annotated[float, within("induced_d")] | None = None
    incision_clock: Annotated[float, within("incision_clock")] | None = None
    posterior: Annotated[
        Literal["none", "regression"], Field(description="how the back of the cornea is counted; none if measured")
    ]


class ToricOutput(Record):
    """Cylinder of the lens, and where its least powerful meridian must lie."""

    lens_cylinder_d: Annotated[float, Field(description="cylinder of the lens, in its own plane")]
    corneal_cylinder_d: Annotated[
        float, Field(description="cylinder of the cornea after posterior surface and incision, in the readings' scale")
    ]
    axis_deg: Annotated[float, Field(description="steep meridian of that cornea: the marks of the lens lie along it")]
    power_d: Annotated[float, Field(description="mean power of the lens, for the target")]


EXAMPLE = {
    "formula": "Hoffer Q",
    "axial_length_mm": 23.5,
    "k1_d": 43.0,
    "k1_axis_deg": 180,
    "k2_d": 45.0,
    "k2_axis_deg": 90,
    "constant": {"a": 118.4},
    "target_d": 0.0,
    "induced_d": 0.3,
    "incision_clock": 9,
    "posterior": "regression",
}
"""An invented eye, steep at 90 degrees, cut at 9 o'clock."""


@calculation(
    "toric",
    summary="Cylinder and meridian of a toric lens, with the incision and the back of the cornea",
    formula="P(flat) - P(steep) by the chosen formula's lens position; vectors: cornea (+ posterior), then incision",
    valid="regular astigmatism, eyes without corneal surgery; lens in the bag",
    input=ToricInput,
    output=ToricOutput,
    example=EXAMPLE,
)
def toric_calculation(given: ToricInput, use: Reader) -> tuple[ToricOutput, list[Doubt]]:
    """Corneal vector, posterior cornea, incision; then the lens's meridional powers."""
    ready = prepare_target(given, use)
    cornea, doubts = cornea_of(given, use)
    cylinder = float(cornea.magnitude_d)
    scale = float(ready.eye.corneal_power_d) / (0.5 * (given.k1_d + given.k2_d))
    lens = toric.lens_cylinder_d(
        eye=ready.eye, corneal_cylinder_d=cylinder * scale, target_d=ready.target_d, constants=ready.vergence
    )
    output = ToricOutput(
        lens_cylinder_d=float(lens),
        corneal_cylinder_d=cylinder,
        axis_deg=float(cornea.axis_deg),
        power_d=ready.power_d(),
    )
    return output, [*ready.doubts, *doubts]


def cornea_of(given: ToricInput, use: Reader) -> tuple[DoubleAngle, list[Doubt]]:
    """The cornea's astigmatism with its back and the incision counted, and what to doubt of it."""
    readings = Keratometry(
        k1_d=given.k1_d, k1_axis_deg=given.k1_axis_deg, k2_d=given.k2_d, k2_axis_deg=given.k2_axis_deg
    )
    cornea, doubts = vector_of(readings, field="", use=use)
    if given.posterior == "regression":
        cornea = toric.total_cornea(cornea, constants=use.constants(toric.PosteriorConstants))
    incision, more = _incision(given)
    cornea = cornea + incision
    noise = use.number("astigmatism.reading_noise_d")
    if float(cornea.magnitude_d) < noise:
        says = tr(
            "A corneal cylinder under {noise:g} D can be noise of the keratometer; its meridian is unsure.",
            noise=noise,
        )
        more.append(Doubt("cylinder-within-noise", says))
    return cornea, [*doubts, *more]


def _incision(given: ToricInput) -> tuple[DoubleAngle, list[Doubt]]:
    if given.induced_d is None and given.incision_clock is None:
        says = tr("No incision was given: what it does to the cornea is not counted.")
        return DoubleAngle(0.0, 0.0), [Doubt("incision-not-counted", says)]
    for name, other in (("induced_d", "incision_clock"), ("incision_clock", "induced_d")):
        if getattr(given, name) is None:
            raise MissingInput(tr("{name} is missing; it is needed with {other}.", name=name, other=other), field=name)
    meridian = meridian_deg(given.incision_clock or 0.0)
    return of_incision(flattening_d=given.induced_d or 0.0, meridian_deg=meridian), []

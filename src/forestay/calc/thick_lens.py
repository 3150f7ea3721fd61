"""The calculation ``thick-lens-power``: a power by exact rays through a thick-lens eye, beside the thin-lens formulas."""

from __future__ import annotations

from typing import Annotated

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.lens_input import ConstantInput
from forestay.calc.ray_input import ThickEyeInput, inside, subject_of
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import bounds, within
from forestay.optics import formulas, ray_wave
from forestay.optics.lens_model import Measured
from forestay.optics.thick_power import Subject
from forestay.optics.vergence import VergenceConstants
from forestay.record import Record
from forestay.text import tr


class ThickLensPowerInput(ThickEyeInput):
    """The eye, the make of its lens, the refraction aimed at; with a lens constant the formulas answer beside it."""

    target_d: Annotated[float, within("target_d")] | None = None
    constant: Annotated[
        ConstantInput | None, Field(description="lens constant for the formulas: {a}, {sf}, {pacd} or {a0, a1, a2}")
    ] = None


class ThinAnswer(Record):
    """What one thin-lens formula says of the same eye."""

    formula: Annotated[str, Field(description="power formula")]
    power_d: Annotated[float, Field(description="its power for the target, unrounded")]
    difference_d: Annotated[float, Field(description="its power less that by rays")]
    refraction_d: Annotated[
        float | None, Field(description="refraction that the eye with rays has with the formula's power")
    ]


class ThickLensPowerOutput(Record):
    """Power by rays, where the lens lies, and how far the formulas are from it."""

    power_d: Annotated[float, Field(description="power for the target at best focus of the pupil, unrounded")]
    paraxial_power_d: Annotated[float, Field(description="power for the target by rays near the axis")]
    lens_front_mm: Annotated[float, Field(description="front of the cornea to front of the lens")]
    principal_distance_mm: Annotated[
        float,
        Field(description="front of the cornea to the middle of the principal planes: what a thin lens stands for"),
    ]
    centre_thickness_mm: Annotated[float, Field(description="thickness of the lens in its centre")]
    formulas: Annotated[tuple[ThinAnswer, ...], Field(description="the thin-lens formulas that answer for this eye")]
    model_spread_d: Annotated[
        float | None, Field(description="highest less lowest power of rays and formulas: the uncertainty of the model")
    ]


@calculation(
    "thick-lens-power",
    summary="Lens power by exact rays through cornea and thick lens, as a cross-check of the thin-lens formulas",
    formula="two-surface cornea, lens of given shape, lens centre = chamber depth + 0.385 x natural lens; secant on the "
    "refraction of rays sent out from the fovea",
    valid="eyes without corneal surgery; rests on a typical corneal back; not tuned to outcomes, so compare, do not choose by it",
    input=ThickLensPowerInput,
    output=ThickLensPowerOutput,
    example={
        "axial_length_mm": 23.5,
        "k1_d": 43.5,
        "k2_d": 44.5,
        "chamber_depth_mm": 3.1,
        "lens_thickness_mm": 4.5,
        "material": "acrylic",
        "pupil_mm": 3,
        "target_d": -0.5,
        "constant": {"a": 118.4},
    },
)
def thick_lens_power_calculation(given: ThickLensPowerInput, use: Reader) -> tuple[ThickLensPowerOutput, list[Doubt]]:
    """Power at best focus and near the axis, and the formulas' powers beside it."""
    ready = subject_of(given, None, use)
    subject, doubts = ready.subject, list(ready.doubts)
    target = given.target_d
    if target is None:
        target = 0.0
        doubts.append(Doubt("target-assumed", tr("No target was given: {target:g} D.", target=target)))
    start = sum(bounds("power_d")) / 2
    inside(subject, power_d=start)
    power = subject.power_d(target_d=target, start_d=start)
    near = subject.narrow(2 * ray_wave.PROBE_SMALLEST).power_d(target_d=target, start_d=start)
    if not (np.isfinite(power) and np.isfinite(near)):
        raise InvalidInput(
            tr("No lens gives this eye the target: rays of the pupil do not get through, or none would be sharp."),
            field="axial_length_mm",
            value=given.axial_length_mm,
            allowed=tr("an eye and a pupil through which rays get to the retina"),
        )
    inside(subject, power_d=power)
    thin, more = _formulas(given, subject, power, target, use)
    lens = subject.make.lens(power_d=power, humour_index=subject.eye.humour_index)
    front = float(subject.site.front_mm(lens, humour_index=subject.eye.humour_index))
    planes = sum(float(v) for v in lens.principal_planes_mm(humour_index=subject.eye.humour_index))
    every = [power, *(row.power_d for row in thin)]
    output = ThickLensPowerOutput(
        power_d=power,
        paraxial_power_d=near,
        lens_front_mm=front,
        principal_distance_mm=front + 0.5 * (planes + float(lens.thickness_mm)),
        centre_thickness_mm=float(lens.thickness_mm),
        formulas=thin,
        model_spread_d=max(every) - min(every) if thin else None,
    )
    return output, [*doubts, *more]


def _formulas(
    given: ThickLensPowerInput, subject: Subject, power: float, target: float, use: Reader
) -> tuple[tuple[ThinAnswer, ...], list[Doubt]]:
    if given.constant is None:
        says = tr("No lens constant was given: the thin-lens formulas are not compared.")
        return (), [Doubt("formulas-not-compared", says)]
    constant = given.constant.as_engine()
    k = 0.5 * (given.k1_d + given.k2_d)
    rows, silent = [], []
    for name in formulas.FORMULAS:
        model = formulas.model(name, use.constants)
        if formulas.refusal(
            name,
            model=model,
            axial_length_mm=given.axial_length_mm,
            k_d=k,
            chamber_depth_mm=given.chamber_depth_mm,
        ):
            silent.append(name)
            continue
        thin = model.eye(Measured(given.axial_length_mm, k, given.chamber_depth_mm), constant)
        if not 0 < float(thin.lens_distance_mm) < float(thin.optical_length_mm):
            silent.append(name)
            continue
        found = float(
            formulas.power_d(
                model=model,
                axial_length_mm=given.axial_length_mm,
                k_d=k,
                chamber_depth_mm=given.chamber_depth_mm,
                constant=constant,
                target_d=target,
                vergence_constants=use.constants(VergenceConstants),
            )
        )
        seen = float(subject.refracted(power_d=found).spectacle.mean_d)
        rows.append(
            ThinAnswer(
                formula=name,
                power_d=found,
                difference_d=found - power,
                refraction_d=seen if np.isfinite(seen) else None,
            )
        )
    doubts = []
    if silent:
        says = tr("Not compared, since they do not answer for this eye: {names}.", names=", ".join(silent))
        doubts.append(Doubt("formula-does-not-answer", says))
    if rows:
        low, high = (end(row.difference_d for row in rows) for end in (min, max))
        says = tr(
            "Formulas and rays differ by {low:+.2f} to {high:+.2f} D of lens power: count this as uncertainty of the"
            " model, beside that of the measurements.",
            low=low,
            high=high,
        )
        doubts.append(Doubt("model-uncertainty", says))
    return tuple(rows), doubts

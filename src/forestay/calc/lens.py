"""Calculations of the lens: its power, the refraction with it, and the power in each position it may have to take."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.lens_input import EXAMPLE, Choices, Distance, LensInput, TargetInput, prepare, prepare_target
from forestay.calc.lens_positions import LensPositionsInput, lens_positions_calculation
from forestay.calc.personal_constant import personal_constant_calculation
from forestay.evidence import Reader
from forestay.eye.quantity import bounds, within
from forestay.record import Record
from forestay.text import tr


class LensPowerOutput(Record):
    """Power for the target, where the formula puts the lens, and powers that can be had."""

    power_d: Annotated[float, Field(description="power for the target, unrounded")]
    lens_distance_mm: Distance
    choices: Choices


@calculation(
    "lens-power",
    summary="Power of the lens in the bag for a target refraction",
    formula="P = 1336 / (Lo - d) - 1336 z / (1336 - d z), z = Kc + T / (1 - 0.012 T); Kc, Lo, d by formula",
    valid="eyes without corneal surgery; each formula states its limits among the doubts",
    input=TargetInput,
    output=LensPowerOutput,
    example={**EXAMPLE, "target_d": -0.5, "step_d": 0.5},
)
def lens_power_calculation(given: TargetInput, use: Reader) -> tuple[LensPowerOutput, list[Doubt]]:
    """Unrounded power for the target, and what the nearest powers would give."""
    ready = prepare_target(given, use)
    power = ready.power_d()
    output = LensPowerOutput(
        power_d=power,
        lens_distance_mm=float(ready.eye.lens_distance_mm),
        choices=ready.choices(power_d=power),
    )
    return output, list(ready.doubts)


class LensRefractionInput(LensInput):
    """A lens of known power."""

    power_d: Annotated[float, within("power_d")]


class LensRefractionOutput(Record):
    """What the eye will need in spectacles."""

    refraction_d: Annotated[float, Field(description="spherical equivalent at the spectacle plane, vertex 12 mm")]
    lens_distance_mm: Distance


@calculation(
    "lens-refraction",
    summary="Spectacle refraction with a lens of known power in the bag",
    formula="q = 1336 / (Lo - d) - P; z = 1336 q / (1336 + d q); R = z - Kc; T = R / (1 + 0.012 R)",
    valid="eyes without corneal surgery; each formula states its limits among the doubts",
    input=LensRefractionInput,
    output=LensRefractionOutput,
    example={**EXAMPLE, "power_d": 21.0},
)
def lens_refraction_calculation(given: LensRefractionInput, use: Reader) -> tuple[LensRefractionOutput, list[Doubt]]:
    """Refraction at the spectacle plane, vertex 12 mm."""
    ready = prepare(given, use)
    refraction = ready.refraction_d(power_d=given.power_d)
    doubts = list(ready.doubts)
    low, high = bounds("refraction_d")
    if not low <= refraction <= high:
        says = tr(
            "A refraction of {refraction:+.1f} D is beyond any that is met; check power, length and corneal powers.",
            refraction=refraction,
        )
        doubts.append(Doubt("refraction-beyond-any-met", says))
    output = LensRefractionOutput(refraction_d=refraction, lens_distance_mm=float(ready.eye.lens_distance_mm))
    return output, doubts


CALCULATIONS = (
    lens_power_calculation,
    lens_refraction_calculation,
    lens_positions_calculation,
    personal_constant_calculation,
)
__all__ = [
    "CALCULATIONS",
    "LensPositionsInput",
    "lens_positions_calculation",
    "lens_power_calculation",
    "lens_refraction_calculation",
]

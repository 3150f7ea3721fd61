"""Calculations of the lens: its power, the refraction with it, and the power in each position it may have to take."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.lens_input import Choice, LensInput, Ready, TargetInput, prepare, prepare_target
from forestay.calc.personal_constant import personal_constant_calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import bounds, within
from forestay.eye.records import LengthMethod
from forestay.optics import error, positions
from forestay.optics.positions import POSITIONS, Position
from forestay.record import Record
from forestay.text import tr

EXAMPLE = {
    "formula": "SRK/T",
    "axial_length_mm": 23.5,
    "k1_d": 43.5,
    "k2_d": 44.5,
    "chamber_depth_mm": 3.1,
    "constant": {"a": 118.4},
}


Distance = Annotated[float, Field(description="cornea to lens, as the formula puts it")]
Choices = Annotated[tuple[Choice, ...], Field(description="powers that can be had, with the refraction of each")]


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


class LensPositionsInput(TargetInput):
    """The lens meant for the bag, and the positions asked for."""

    positions: Annotated[
        tuple[Position, ...] | None, Field(strict=False, description="positions asked for; absent: all of them")
    ] = None
    axial_length_method: Annotated[LengthMethod | None, Field(description="how the length was measured")] = None


class LensInPosition(Record):
    """Power in one position, with the error of its refraction and what to know of it."""

    position: Annotated[Position, Field(description="where the lens lies")]
    power_d: Annotated[float, Field(description="power for the target, unrounded; 0 without a lens")]
    choices: Choices
    sd_d: Annotated[float, Field(description="one standard deviation of the refraction around its prediction")]
    lens_distance_mm: Distance | None
    refraction_with_bag_power_d: Annotated[
        float | None, Field(description="refraction if the power for the bag were put here unchanged")
    ]
    note: Annotated[str, Field(description="what to know of this position")]


class LensPositionsOutput(Record):
    """One row for each position asked for."""

    positions: Annotated[tuple[LensInPosition, ...], Field(description="one row for each position asked for")]


@calculation(
    "lens-positions",
    summary="Power of the lens in each position that it may have to take, and the refraction without one",
    formula="as lens-power with d moved; lenses at the iris and in the angle by their own A constants",
    valid="backup positions rest on few series; sd_d is one standard deviation of the refraction",
    input=LensPositionsInput,
    output=LensPositionsOutput,
    example={**EXAMPLE, "positions": ["bag", "sulcus", "aphakia"], "axial_length_method": "ultrasound-immersion"},
)
def lens_positions_calculation(given: LensPositionsInput, use: Reader) -> tuple[LensPositionsOutput, list[Doubt]]:
    """The same eye, target and formula with the lens in each position."""
    ready = prepare_target(given, use)
    method, doubts = _method(given.axial_length_method)
    rows = tuple(_row(position, ready, method, use) for position in given.positions or POSITIONS)
    return LensPositionsOutput(positions=rows), [*ready.doubts, *doubts]


def _method(given: LengthMethod | None) -> tuple[LengthMethod, list[Doubt]]:
    if given is None:
        says = tr("How the length was measured was not given: its error was taken as that of ultrasound by immersion.")
        return "ultrasound-immersion", [Doubt("length-method-assumed", says)]
    if given == "ultrasound-contact":
        says = tr("The length is used as given; what a contact probe presses away must have been added back before.")
        return given, [Doubt("contact-length-as-given", says)]
    return given, []


def _row(position: Position, ready: Ready, method: LengthMethod, use: Reader) -> LensInPosition:
    bag_power = ready.power_d()
    place = positions.place(position, bag_constant=ready.constant, read=use.constants, conversion=ready.conversion)
    shift = place.shift_mm
    distance = float(ready.eye.lens_distance_mm) + shift
    if distance <= 0:
        raise InvalidInput(
            tr("In position {position} the lens would lie in front of the cornea of this eye.", position=position),
            field="positions",
            value=position,
            allowed=tr("positions inside the eye"),
        )
    without = position == "aphakia"
    power = 0.0 if without else ready.power_d(lens_shift_mm=shift)
    spreads = error.spreads(
        method=method,
        power_d=power,
        weak_zonule=False,
        position_spread_mm=place.spread_mm,
        read=use.constants,
    )
    if without:
        spreads = error.Spreads(spreads.length_mm, spreads.k_d, 0.0, 0.0, spreads.refraction_d)
        choices: tuple[Choice, ...] = (Choice(power_d=0.0, refraction_d=ready.refraction_d(power_d=0.0)),)
    else:
        choices = ready.choices(power_d=power, lens_shift_mm=shift)
    sd = error.refraction_sd_d(
        model=ready.model,
        axial_length_mm=ready.measured.axial_length_mm,
        k_d=ready.measured.k_d,
        chamber_depth_mm=ready.measured.chamber_depth_mm,
        constant=ready.constant,
        power_d=power,
        lens_shift_mm=shift,
        spreads=spreads,
        vergence_constants=ready.vergence,
    )
    return LensInPosition(
        position=position,
        power_d=power,
        choices=choices,
        sd_d=float(sd),
        lens_distance_mm=None if without else distance,
        refraction_with_bag_power_d=None if without else ready.refraction_d(power_d=bag_power, lens_shift_mm=shift),
        note=_note(position, use),
    )


def _note(position: Position, use: Reader) -> str:
    if position == "scleral":
        return tr(
            "Haptics fixed {distance:g} mm behind the limbus, opposite each other.",
            distance=use.number("lens_position.scleral.distance_mm"),
        )
    return {
        "bag": tr("Both haptics and the optic inside the capsule."),
        "sulcus": tr("Three-piece lens only; a one-piece acrylic lens must not lie in the sulcus."),
        "optic-capture": tr("Haptics in the sulcus, optic pressed behind the anterior capsule; power as in the bag."),
        "retropupillary-iris": tr("Iris-claw lens behind the pupil; its own constant decides."),
        "anterior-chamber": tr("Angle-supported lens, with an iridectomy; use the constant printed on its box."),
        "aphakia": tr("No lens: power 0 stands for none, and the refraction is what spectacles would have to correct."),
    }[position]


CALCULATIONS = (
    lens_power_calculation,
    lens_refraction_calculation,
    lens_positions_calculation,
    personal_constant_calculation,
)

"""Calculations of error: how far a refraction may miss, what to measure again, and the power for a region of targets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.lens_input import Ready, TargetInput, prepare_target
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import LengthMethod
from forestay.optics import chance, error, positions
from forestay.optics.error import Budget, Remeasure, Spreads
from forestay.optics.positions import Position, Shifted
from forestay.record import Record
from forestay.text import tr

HALF, ONE = 0.5, 1.0
"""Tolerances [D] that outcomes are counted by."""


class ErrorPart(Record):
    """One part of the error."""

    part: Annotated[str, Field(description="length, cornea, lens place, lens label or refraction")]
    sd_d: Annotated[float, Field(description="one standard deviation of the refraction from this part alone")]
    share: Annotated[float, Field(description="share of the variance")]


class RemeasureGain(Record):
    """What measuring again would gain."""

    measure: Annotated[Remeasure, Field(description="what to measure again")]
    sd_d: Annotated[float, Field(description="one standard deviation of the refraction afterwards")]
    within_half: Annotated[float, Field(description="chance of a refraction within 0.5 D of its prediction afterwards")]
    gain_half: Annotated[float, Field(description="gain of that chance")]


@dataclass(frozen=True)
class Case:
    """What the error of a lens in a place rests on, beside eye and formula."""

    method: LengthMethod
    position: Position
    place: Shifted
    weak_zonule: bool


def method_or_usual(given: LengthMethod | None) -> tuple[LengthMethod, list[Doubt]]:
    """The length method, or immersion with a doubt where it was not given."""
    if given is None:
        says = tr("How the length was measured was not given: its error was taken as that of ultrasound by immersion.")
        return "ultrasound-immersion", [Doubt("length-method-assumed", says)]
    if given == "ultrasound-contact":
        says = tr("The length is used as given; what a contact probe presses away must have been added back before.")
        return given, [Doubt("contact-length-as-given", says)]
    return given, []


def spreads_of(case: Case, *, power_d: float, use: Reader) -> Spreads:
    """The parts of the error in that place; without a lens neither place nor label matter."""
    found = error.spreads(
        method=case.method,
        power_d=power_d,
        weak_zonule=case.weak_zonule and case.position in positions.ON_THE_ZONULE,
        position_spread_mm=case.place.spread_mm,
        read=use.constants,
    )
    if case.position == "aphakia":
        return Spreads(found.length_mm, found.k_d, 0.0, 0.0, found.refraction_d)
    return found


def budget_of(ready: Ready, spreads: Spreads, *, power_d: float, shift_mm: float) -> Budget:
    """The error of the refraction with a lens of ``power_d``, part by part."""
    return error.budget(
        model=ready.model,
        axial_length_mm=ready.measured.axial_length_mm,
        k_d=ready.measured.k_d,
        chamber_depth_mm=ready.measured.chamber_depth_mm,
        constant=ready.constant,
        power_d=power_d,
        lens_shift_mm=shift_mm,
        spreads=spreads,
        vergence_constants=ready.vergence,
    )


def parts_of(budget: Budget) -> tuple[ErrorPart, ...]:
    """The parts, largest first."""
    parts = [
        ErrorPart(part=part, sd_d=float(budget.parts_d[part]), share=float(budget.share(part)))
        for part in budget.parts_d
    ]
    return tuple(sorted(parts, key=lambda p: -p.share))


def within_d(sd_d: float, tolerance_d: float) -> float:
    """Chance of a refraction within a tolerance [D] of its prediction."""
    return float(chance.within(mean_d=0.0, sd_d=sd_d, target_d=0.0, tolerance_d=tolerance_d))


def gains_of(ready: Ready, case: Case, spreads: Spreads, *, power_d: float, use: Reader) -> tuple[RemeasureGain, ...]:
    """What measuring again would gain, the most first; what gains nothing is left out."""
    now = within_d(float(budget_of(ready, spreads, power_d=power_d, shift_mm=case.place.shift_mm).sd_d), HALF)
    found = []
    for measure, better in error.remeasured(spreads, method=case.method, read=use.constants).items():
        sd = float(budget_of(ready, better, power_d=power_d, shift_mm=case.place.shift_mm).sd_d)
        half = within_d(sd, HALF)
        if half > now:
            found.append(RemeasureGain(measure=measure, sd_d=sd, within_half=half, gain_half=half - now))
    return tuple(sorted(found, key=lambda g: -g.gain_half))


def case_of(
    ready: Ready,
    position: Position,
    *,
    method: LengthMethod,
    weak_zonule: bool,
    use: Reader,
    scleral_distance_mm: float | None = None,
    ultrasound_constant: bool = False,
) -> Case:
    """The place of the lens in this eye; one in front of the cornea is an error about the position."""
    place = positions.place(
        position,
        bag_constant=ready.constant,
        read=use.constants,
        conversion=ready.conversion,
        scleral_distance_mm=scleral_distance_mm,
        ultrasound=ultrasound_constant,
    )
    if float(ready.eye.lens_distance_mm) + place.shift_mm <= 0:
        raise InvalidInput(
            tr("In position {position} the lens would lie in front of the cornea of this eye.", position=position),
            field="positions",
            value=position,
            allowed=tr("positions inside the eye"),
        )
    return Case(method, position, place, weak_zonule)


class RefractionErrorInput(TargetInput):
    """An eye, a lens and where it lies."""

    power_d: Annotated[float | None, within("power_d")] = None
    position: Annotated[Position, Field(description="where the lens lies")] = "bag"
    weak_zonule: Annotated[bool, Field(description="the zonule is weak: a lens held by it may lie farther off")] = False


class RefractionErrorOutput(Record):
    """The error, its parts, and what measuring again would gain."""

    power_d: Annotated[float, Field(description="the lens that the error is for")]
    refraction_d: Annotated[float, Field(description="refraction predicted with it")]
    sd_d: Annotated[float, Field(description="one standard deviation of the refraction around its prediction")]
    parts: Annotated[tuple[ErrorPart, ...], Field(description="what the error is made of, largest first")]
    within_half: Annotated[float, Field(description="chance of a refraction within 0.5 D of its prediction")]
    within_one: Annotated[float, Field(description="chance of a refraction within 1 D of its prediction")]
    remeasure: Annotated[
        tuple[RemeasureGain, ...], Field(description="what to measure again, the most useful first; empty if nothing")
    ]


@calculation(
    "refraction-error",
    summary="How far the refraction may miss, what of, and what to measure again to gain most",
    formula="sd^2 = sum of (spread of a part * slope of the whole formula)^2; chances from a normal error",
    valid="routine eyes for the parts; weak zonule and backup positions rest on few series",
    input=RefractionErrorInput,
    output=RefractionErrorOutput,
    example={
        "formula": "SRK/T",
        "axial_length_mm": 21.0,
        "k1_d": 43.5,
        "k2_d": 44.5,
        "constant": {"a": 118.4},
        "target_d": 0.0,
        "step_d": 0.5,
        "axial_length_method": "ultrasound-contact",
        "position": "sulcus",
    },
)
def refraction_error_calculation(given: RefractionErrorInput, use: Reader) -> tuple[RefractionErrorOutput, list[Doubt]]:
    """The parts of the error in one position."""
    ready = prepare_target(given, use)
    method, doubts = method_or_usual(given.axial_length_method)
    case = case_of(ready, given.position, method=method, weak_zonule=given.weak_zonule, use=use)
    shift = case.place.shift_mm
    if given.position == "aphakia":
        power = 0.0
    else:
        power = ready.power_d(lens_shift_mm=shift) if given.power_d is None else given.power_d
    spreads = spreads_of(case, power_d=power, use=use)
    budget = budget_of(ready, spreads, power_d=power, shift_mm=shift)
    sd = float(budget.sd_d)
    output = RefractionErrorOutput(
        power_d=power,
        refraction_d=ready.refraction_d(power_d=power, lens_shift_mm=shift),
        sd_d=sd,
        parts=parts_of(budget),
        within_half=within_d(sd, HALF),
        within_one=within_d(sd, ONE),
        remeasure=gains_of(ready, case, spreads, power_d=power, use=use),
    )
    return output, [*ready.doubts, *doubts]


class PowerForRegionInput(TargetInput):
    """An eye, and the refractions that the surgeon accepts."""

    accept_from_d: Annotated[float, within("accept_d")]
    accept_to_d: Annotated[float, within("accept_d")]
    refuse_above_d: Annotated[float | None, within("accept_d")] = None
    powers_d: Annotated[
        tuple[Annotated[float, within("power_d")], ...] | None,
        Field(strict=False, min_length=1, description="powers that can be had; absent: multiples of step_d"),
    ] = None
    position: Annotated[Position, Field(description="where the lens lies")] = "bag"
    weak_zonule: Annotated[bool, Field(description="the zonule is weak: a lens held by it may lie farther off")] = False


class PowerOffered(Record):
    """A power, the refraction that it gives, and where that may come to lie."""

    power_d: Annotated[float, Field(description="labelled power of the lens")]
    refraction_d: Annotated[float, Field(description="refraction predicted with it")]
    sd_d: Annotated[float, Field(description="one standard deviation of the refraction")]
    within: Annotated[float, Field(description="chance of a refraction that is accepted")]
    more_myopic: Annotated[float, Field(description="chance of a refraction more myopic than accepted")]
    more_hyperopic: Annotated[float, Field(description="chance of a refraction more hyperopic than accepted")]
    refused: Annotated[float, Field(description="chance of a refraction above refuse_above_d; 0 where none is given")]


class PowerForRegionOutput(Record):
    """The power most likely to be accepted, and the others."""

    power_d: Annotated[float, Field(description="power most likely to leave an accepted refraction")]
    powers: Annotated[tuple[PowerOffered, ...], Field(description="powers on offer, the most likely first")]


@calculation(
    "power-for-region",
    summary="Power most likely to leave a refraction that the surgeon accepts",
    formula="largest P(from <= R <= to) - P(R > refused), the refraction R normal around its prediction",
    valid="as refraction-error; the accepted region is the surgeon's own",
    input=PowerForRegionInput,
    output=PowerForRegionOutput,
    example={
        "formula": "SRK/T",
        "axial_length_mm": 23.5,
        "k1_d": 43.5,
        "k2_d": 44.5,
        "constant": {"a": 118.4},
        "step_d": 0.5,
        "accept_from_d": -1.0,
        "accept_to_d": 0.0,
        "refuse_above_d": 0.5,
        "axial_length_method": "ultrasound-contact",
    },
)
def power_for_region_calculation(given: PowerForRegionInput, use: Reader) -> tuple[PowerForRegionOutput, list[Doubt]]:
    """Chances of each power on offer."""
    region = chance.Region(given.accept_from_d, given.accept_to_d, given.refuse_above_d)
    aimed = given if given.target_d is not None else given.model_copy(update={"target_d": region.middle_d})
    ready = prepare_target(aimed, use)
    method, doubts = method_or_usual(given.axial_length_method)
    if given.position == "aphakia":
        raise InvalidInput(
            tr("position is aphakia; without a lens there is no power to choose."),
            field="position",
            value=given.position,
            allowed=tr("a position that holds a lens"),
        )
    case = case_of(ready, given.position, method=method, weak_zonule=given.weak_zonule, use=use)
    offered = offers_for(ready, case, region, powers_d=given.powers_d, use=use)
    output = PowerForRegionOutput(
        power_d=offered[0].power_d,
        powers=tuple(
            PowerOffered(
                power_d=o.power_d,
                refraction_d=o.refraction_d,
                sd_d=o.sd_d,
                within=float(o.chances.within),
                more_myopic=float(o.chances.below),
                more_hyperopic=float(o.chances.above),
                refused=float(o.chances.refused),
            )
            for o in offered
        ),
    )
    return output, [*ready.doubts, *doubts]


def offers_for(
    ready: Ready, case: Case, region: chance.Region, *, powers_d: tuple[float, ...] | None, use: Reader
) -> tuple[chance.Offered, ...]:
    """Powers with their chances of a refraction in the region, the most likely first."""
    shift = case.place.shift_mm

    def sd(power: float) -> float:
        spreads = spreads_of(case, power_d=power, use=use)
        return float(budget_of(ready, spreads, power_d=power, shift_mm=shift).sd_d)

    middle = ready.aiming_at(region.middle_d)
    near = middle.choices(power_d=middle.power_d(lens_shift_mm=shift), lens_shift_mm=shift)
    return chance.best_power(
        region,
        powers_d=powers_d or tuple(c.power_d for c in near),
        refraction_d=lambda power: ready.refraction_d(power_d=power, lens_shift_mm=shift),
        sd_d=sd,
    )


CALCULATIONS = (refraction_error_calculation, power_for_region_calculation)

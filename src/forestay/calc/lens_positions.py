"""Calculation of the lens in each position that it may have to take: power, error, kinds of lens, published outcomes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.lens_error import (
    HALF,
    ONE,
    ErrorPart,
    budget_of,
    case_of,
    method_or_usual,
    offers_for,
    parts_of,
    spreads_of,
    within_d,
)
from forestay.calc.lens_input import EXAMPLE, Choice, Choices, Distance, Ready, TargetInput, prepare_target
from forestay.errors import MissingInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import LengthMethod
from forestay.optics import lens_kinds, vergence
from forestay.optics.chance import Region
from forestay.optics.lens_kinds import KindPlaces
from forestay.optics.positions import POSITIONS, Position, Scleral
from forestay.record import Record
from forestay.text import tr

SERIES: Mapping[Position, tuple[str, ...]] = {
    "sulcus": ("lens_series.sulcus_unchanged",),
    "scleral": (
        "lens_series.scleral_flanged",
        "lens_series.scleral_t_haptic",
        "lens_series.scleral_large",
        "lens_series.scleral_trainees",
        "lens_series.scleral_sutured_1mm",
    ),
    "retropupillary-iris": ("lens_series.retropupillary",),
}
"""Rows of published outcomes by position: mean error of the prediction, with its spread."""


class LensPositionsInput(TargetInput):
    """The lens meant for the bag, and the positions asked for."""

    positions: Annotated[
        tuple[Position, ...] | None,
        Field(strict=False, description="positions asked for; absent: all but prepupillary-iris"),
    ] = None
    scleral_distance_mm: Annotated[float | None, within("scleral_distance_mm")] = None
    weak_zonule: Annotated[bool, Field(description="the zonule is weak: a lens held by it may lie farther off")] = False
    accept_from_d: Annotated[float | None, within("accept_d")] = None
    accept_to_d: Annotated[float | None, within("accept_d")] = None
    refuse_above_d: Annotated[float | None, within("accept_d")] = None


class NeverHere(Record):
    """A kind of lens that must not lie in a position."""

    kind: Annotated[str, Field(description="kind of lens")]
    why: Annotated[str, Field(description="why not")]


class PublishedOutcome(Record):
    """What a series found in this position."""

    what: Annotated[str, Field(description="lens and way of fixing it")]
    mean_d: Annotated[float, Field(description="mean of refraction less its prediction")]
    sd_d: Annotated[float | None, Field(description="its standard deviation, where published")]
    n: Annotated[int | None, Field(description="eyes")]


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
    parts: Annotated[tuple[ErrorPart, ...], Field(description="what the error is made of, largest first")]
    within_half: Annotated[float, Field(description="chance of a refraction within 0.5 D of its prediction")]
    within_one: Annotated[float, Field(description="chance of a refraction within 1 D of its prediction")]
    best_power_d: Annotated[
        float | None,
        Field(description="power to have: most likely in the accepted region, else nearest to the target; null: none"),
    ]
    in_region: Annotated[float | None, Field(description="its chance of an accepted refraction; null without a region")]
    contact_lens_d: Annotated[
        float | None, Field(description="without a lens: power of a contact lens instead of spectacles")
    ]
    kinds: Annotated[tuple[str, ...], Field(description="kinds of lens that may lie here")]
    never: Annotated[tuple[NeverHere, ...], Field(description="kinds of lens that must not lie here, with why")]
    published: Annotated[tuple[PublishedOutcome, ...], Field(description="outcomes of published series here")]


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
    method, doubts = method_or_usual(given.axial_length_method)
    region = _region(given)
    wanted = given.positions or POSITIONS
    if "scleral" in wanted:
        doubts += _scleral_doubts(given.scleral_distance_mm, use)
    rows = tuple(_row(position, ready, given, method=method, region=region, use=use) for position in wanted)
    return LensPositionsOutput(positions=rows), [*ready.doubts, *doubts]


def _region(given: LensPositionsInput) -> Region | None:
    ends = {"accept_from_d": given.accept_from_d, "accept_to_d": given.accept_to_d}
    missing = [name for name, value in ends.items() if value is None]
    if len(missing) == 1:
        (other,) = set(ends) - set(missing)
        raise MissingInput(
            tr("{name} is missing; it is needed with {other}.", name=missing[0], other=other), field=missing[0]
        )
    if missing:
        return None
    return Region(given.accept_from_d or 0.0, given.accept_to_d or 0.0, given.refuse_above_d)


def _scleral_doubts(distance_mm: float | None, use: Reader) -> list[Doubt]:
    if distance_mm is None:
        return []
    low, high = use.constants(Scleral).studied_mm
    if low <= distance_mm <= high:
        return []
    says = tr(
        "Scleral fixation was studied {low:g} to {high:g} mm behind the limbus; {distance:g} mm is outside that.",
        low=low,
        high=high,
        distance=distance_mm,
    )
    return [Doubt("outside-studied-range", says)]


def _row(
    position: Position,
    ready: Ready,
    given: LensPositionsInput,
    *,
    method: LengthMethod,
    region: Region | None,
    use: Reader,
) -> LensInPosition:
    case = case_of(
        ready,
        position,
        method=method,
        weak_zonule=given.weak_zonule,
        use=use,
        scleral_distance_mm=given.scleral_distance_mm,
        ultrasound_constant=(given.constant_method or "").startswith("ultrasound"),
    )
    shift, without = case.place.shift_mm, position == "aphakia"
    power = 0.0 if without else ready.power_d(lens_shift_mm=shift)
    if without:
        choices: tuple[Choice, ...] = (Choice(power_d=0.0, refraction_d=ready.refraction_d(power_d=0.0)),)
    else:
        choices = ready.choices(power_d=power, lens_shift_mm=shift)
    budget = budget_of(ready, spreads_of(case, power_d=power, use=use), power_d=power, shift_mm=shift)
    sd = float(budget.sd_d)
    best, in_region = None, None
    if not without:
        best = min(choices, key=lambda c: abs(c.refraction_d - ready.target_d)).power_d
        if region is not None:
            first = offers_for(ready, case, region, powers_d=None, use=use)[0]
            best, in_region = first.power_d, float(first.chances.within)
    left = choices[0].refraction_d
    kinds, never = _kinds(position, use)
    return LensInPosition(
        position=position,
        power_d=power,
        choices=choices,
        sd_d=sd,
        lens_distance_mm=None if without else float(ready.eye.lens_distance_mm) + shift,
        refraction_with_bag_power_d=None
        if without
        else ready.refraction_d(power_d=ready.power_d(), lens_shift_mm=shift),
        note=_note(position, given.scleral_distance_mm, use),
        parts=parts_of(budget),
        within_half=within_d(sd, HALF),
        within_one=within_d(sd, ONE),
        best_power_d=best,
        in_region=in_region,
        contact_lens_d=float(vergence.at_cornea_d(spectacle_d=left, constants=ready.vergence)) if without else None,
        published=_published(position, use),
        kinds=kinds,
        never=never,
    )


def _kinds(position: Position, use: Reader) -> tuple[tuple[str, ...], tuple[NeverHere, ...]]:
    if position == "aphakia":
        return (), ()
    may = lens_kinds.kinds_for(position, places=use.constants(KindPlaces))
    never = tuple(
        NeverHere(kind=kind, why=lens_kinds.why_not(kind, position))
        for kind in lens_kinds.LENS_KINDS
        if kind not in may
    )
    return may, never


def _published(position: Position, use: Reader) -> tuple[PublishedOutcome, ...]:
    found = []
    for key in SERIES.get(position, ()):
        row = use.row(key)
        found.append(PublishedOutcome(what=tr(row.meaning), mean_d=use.number(key), sd_d=row.sd, n=row.n))
    return tuple(found)


def _note(position: Position, scleral_distance_mm: float | None, use: Reader) -> str:
    if position == "scleral":
        usual = use.number("lens_position.scleral.distance_mm")
        return tr(
            "Haptics fixed {distance:g} mm behind the limbus, opposite each other.",
            distance=usual if scleral_distance_mm is None else scleral_distance_mm,
        )
    return {
        "bag": tr("Both haptics and the optic inside the capsule."),
        "sulcus": tr("Three-piece lens only; a one-piece acrylic lens must not lie in the sulcus."),
        "optic-capture": tr("Haptics in the sulcus, optic pressed behind the anterior capsule; power as in the bag."),
        "retropupillary-iris": tr("Iris-claw lens behind the pupil; its own constant decides."),
        "prepupillary-iris": tr("Iris-claw lens over the pupil; needs a deep chamber and a good cornea."),
        "anterior-chamber": tr("Angle-supported lens, with an iridectomy; use the constant printed on its box."),
        "aphakia": tr("No lens: power 0 stands for none, and the refraction is what spectacles would have to correct."),
    }[position]


CALCULATIONS = (lens_positions_calculation,)

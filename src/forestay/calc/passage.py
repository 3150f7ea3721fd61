"""Calculations of the nucleus's way through the opening: how it passes, what the rim bears, cuts, and the optic after."""

from __future__ import annotations

from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.passage_parts import (
    BAND_DRAWS,
    Scenario,
    Zonule,
    finite,
    nucleus_draws,
    paying_hours,
    prolapse_scenario,
    stretch_band,
)
from forestay.calc.passage_rim import cuts_calculation, overlap_calculation, strength_calculation
from forestay.calc.watch import watched
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.mechanics import passage
from forestay.mechanics.capsulorhexis import CapsulorhexisConstants
from forestay.mechanics.geometry import Floats
from forestay.mechanics.passage import PassageConstants
from forestay.mechanics.rim_strength import Continuity
from forestay.mechanics.wheel_path import room_needed_mm, wheel_path
from forestay.record import Record
from forestay.text import tr


class NucleusPassageInput(Record):
    """Nucleus, opening, room in front of it, and what is known of the zonule."""

    nucleus_diameter_mm: Annotated[float, within("nucleus_diameter_mm")]
    nucleus_diameter_sd_mm: Annotated[float, within("nucleus_diameter_sd_mm")] | None = None
    nucleus_thickness_mm: Annotated[float, within("nucleus_thickness_mm")]
    nucleus_thickness_sd_mm: Annotated[float, within("nucleus_thickness_sd_mm")] | None = None
    diameter_mm: Annotated[float, within("diameter_mm")]
    room_mm: Annotated[float, within("room_mm")] | None = None
    tolerated_stretch: Annotated[float, within("tolerated_stretch")] | None = None
    continuity: Annotated[Continuity, Field(description="whether the rim is whole")] | None = None
    zonule: Zonule | None = None
    age_years: Annotated[float, within("age_years")] | None = None


class Opening(Record):
    """A least opening with its interval; null where the chamber has no room for the nucleus."""

    median_mm: float | None = Field(description="median of the draws")
    low_mm: float | None = Field(description="5th percentile")
    high_mm: float | None = Field(description="95th percentile")


class NucleusPassageOutput(Record):
    """Which way the nucleus leaves, the least safe opening, the room it needs, and what the zonule pays."""

    way: Literal["flat", "tipped", "none"] = Field(
        description="which way this nucleus passes at the planned stretch; flat where it can"
    )
    probability: float = Field(description="share of the draws of nucleus and stretch that pass this opening")
    probability_room: float = Field(description="share of the draws for which the chamber is deep enough at all")
    probability_flat: float = Field(description="share of the draws that pass it lying flat")
    worst_girth_mm: float | None = Field(
        description="largest girth met on the best way of turning and lifting; null where the chamber is too shallow"
    )
    crossing_tilt_deg: float | None = Field(description="tilt at which the nucleus crosses the opening; 90 on its edge")
    stretch_best: float | None = Field(description="that girth over the girth of the opening")
    smallest: Opening = Field(description="least safe opening, the better of both ways")
    smallest_flat: Opening = Field(description="least safe opening for the flat way")
    smallest_tipped: Opening = Field(description="least safe opening for the tipped way")
    room_needed_mm: float | None = Field(
        description="room in front that lets the nucleus through this opening at the planned stretch; null: none does"
    )
    room_free_mm: float | None = Field(description="room in front in which it tips with no more than its least girth")
    stretch_low: float = Field(description="least stretch of the rim that is planned with")
    stretch_high: float = Field(description="most stretch of the rim that is planned with")
    zonule_stretch_ratio: float | None = Field(
        description="how far a flat push drags this zonule, over a healthy one in the same eye; null without the zonule, "
        "or where it gives before the rim lets the nucleus out"
    )
    zonule_pays: tuple[int, ...] | None = Field(
        default=None,
        description="clock hours whose fibres are stretched most as the push lifts the bag, on an equator that stays round; "
        "null without the zonule, or where the bag tips over",
    )
    zonule_pays_ratio: float | None = Field(
        default=None,
        description="their stretch over that of an even zonule with as much in all under the same push: at least this, "
        "since a soft equator lets a weak side rise further; null as zonule_pays",
    )
    scenario: Scenario = Field(description="push and drag of the flat way, resting on poorly known strength")


@calculation(
    "nucleus-passage",
    summary="Which way the nucleus leaves the bag, the least safe opening with its interval, and the room it needs",
    formula="flat D / s; tipped: least largest girth over all ways of turning and lifting, / (pi s); plus the clearance",
    valid="an ellipsoid through a round continuous opening, no friction; push and drag by a skin that wrinkles",
    input=NucleusPassageInput,
    output=NucleusPassageOutput,
    example={
        "nucleus_diameter_mm": 7.43,
        "nucleus_diameter_sd_mm": 0.7,
        "nucleus_thickness_mm": 3.28,
        "nucleus_thickness_sd_mm": 0.42,
        "diameter_mm": 5.5,
        "room_mm": 3.6,
        "zonule": [0.4, 0.4, 0.7, 0.9, 0.9, 0.9, 0.9, 0.9, 0.9, 0.9, 0.7, 0.4],
        "age_years": 74,
    },
)
def nucleus_passage_calculation(given: NucleusPassageInput, use: Reader) -> tuple[NucleusPassageOutput, list[Doubt]]:
    """The best way for this nucleus, and the least opening over draws of nucleus and tolerated stretch."""
    doubts: list[Doubt] = []
    constants = watched(use, PassageConstants)
    low, high = stretch_band(given.tolerated_stretch, given.zonule, use, doubts, given.continuity)
    room = given.room_mm if given.room_mm is not None else _enough_room(given, doubts)
    clearance = watched(use, CapsulorhexisConstants).clearance_mm
    wide, thick, share = nucleus_draws(given, doubts)
    drawn = passage.smallest_opening(
        nucleus_diameter_mm=wide,
        nucleus_thickness_mm=thick,
        tolerated_stretch=low + (high - low) * share,
        room_above_mm=np.full(BAND_DRAWS, room),
        clearance_mm=clearance,
        constants=constants,
    )
    planned = passage.smallest_opening(
        nucleus_diameter_mm=given.nucleus_diameter_mm,
        nucleus_thickness_mm=given.nucleus_thickness_mm,
        tolerated_stretch=low,
        room_above_mm=room,
        clearance_mm=clearance,
        constants=constants,
    )
    ways = passage.way_out(smallest=drawn, capsulorhexis_mm=given.diameter_mm)
    path = wheel_path(
        nucleus_diameter_mm=given.nucleus_diameter_mm,
        nucleus_thickness_mm=given.nucleus_thickness_mm,
        room_above_mm=room,
        room_below_mm=constants.room_below_mm,
    )
    worst = finite(path.worst_girth_mm)
    if worst is None:
        words = tr("There is no room for the whole nucleus: chamber or bag is shallower than the nucleus is thick.")
        doubts.append(Doubt("chamber-too-shallow", words))
    ratio, push_mn, scenario = prolapse_scenario(given, use, doubts)
    pays, pays_ratio = paying_hours(given, push_mn, use, doubts)
    usable = max(given.diameter_mm - clearance, 0) * np.pi * low
    output = NucleusPassageOutput(
        way=_way(str(passage.way_out(smallest=planned, capsulorhexis_mm=given.diameter_mm))),
        probability=float((ways != "none").mean()),
        probability_room=float(np.isfinite(drawn.either_mm).mean()),
        probability_flat=float((ways == "flat").mean()),
        worst_girth_mm=worst,
        crossing_tilt_deg=finite(path.crossing_tilt_deg),
        stretch_best=None if worst is None else worst / (np.pi * given.diameter_mm),
        smallest=_opening(drawn.either_mm),
        smallest_flat=_opening(drawn.flat_mm),
        smallest_tipped=_opening(drawn.tipped_mm),
        room_needed_mm=_room(given, usable, constants),
        room_free_mm=_room(given, None, constants),
        stretch_low=low,
        stretch_high=high,
        zonule_stretch_ratio=ratio,
        zonule_pays=pays,
        zonule_pays_ratio=pays_ratio,
        scenario=scenario,
    )
    return output, doubts


def _enough_room(given: NucleusPassageInput, doubts: list[Doubt]) -> float:
    words = tr("The room in front was not given: the nucleus is taken to have enough to tip.")
    doubts.append(Doubt("assumed-room", words))
    return given.nucleus_diameter_mm + given.nucleus_thickness_mm


def _way(word: str) -> Literal["flat", "tipped", "none"]:
    return "flat" if word == "flat" else "tipped" if word == "tipped" else "none"


def _opening(draws: Floats) -> Opening:
    low, middle, high = passage.interval(draws)
    return Opening(median_mm=finite(middle), low_mm=finite(low), high_mm=finite(high))


def _room(given: NucleusPassageInput, girth_mm: float | None, constants: PassageConstants) -> float | None:
    return finite(
        room_needed_mm(
            nucleus_diameter_mm=given.nucleus_diameter_mm,
            nucleus_thickness_mm=given.nucleus_thickness_mm,
            girth_mm=girth_mm,
            room_below_mm=constants.room_below_mm,
        )
    )


CALCULATIONS = (nucleus_passage_calculation, strength_calculation, cuts_calculation, overlap_calculation)

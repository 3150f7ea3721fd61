"""What a fibre bears: the bar that every load of a plan and of the search for support is compared with."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from forestay.calc.manoeuvres import table
from forestay.evidence import Reader
from forestay.frame import HOURS
from forestay.mechanics import bag as mechanics
from forestay.mechanics import manoeuvre
from forestay.mechanics.bag_model import Bag, BagConstants
from forestay.mechanics.manoeuvre import Manoeuvre
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.zonule import HOUR_COUNT, ZonuleParameters

ANSWER_STEPS = 72
"""Stations of the flexible bag: enough for an answer, half of what a picture takes."""


def borne_stretch(*, springs: ZonuleParameters, use: Reader) -> float:
    """Stretch of the most stretched fibre at the hardest manoeuvre in a zonule at the weak end of normal, resting = 1.

    Equation: the largest peak stretch of all manoeuvres of the table, with ``load.borne_share`` of healthy support at every
    hour, over the resting stretch. Such a zonule is even all round: where the tunnel lies changes nothing. ``springs``: one
    eye's, plain numbers.
    """
    return _borne(
        springs,
        use.number("load.borne_share"),
        use.number("load.puncture_travel_mm"),
        table(use),
        use.constants(BagConstants),
        use.constants(RingConstants),
    )


@lru_cache(maxsize=64)
def _borne(  # noqa: PLR0917 - what `borne_stretch` is asked, and its rows
    springs: ZonuleParameters,
    share: float,
    travel_mm: float,
    manoeuvres: tuple[Manoeuvre, ...],
    bag: BagConstants,
    rings: RingConstants,
) -> float:
    force = manoeuvre.puncture_force_mn(springs=springs, travel_mm=travel_mm)
    noon, across = float(HOURS[0]), HOUR_COUNT / 2
    peaks = []
    for one in manoeuvres:
        load, *_ = one.loads(force_mn=force, tunnel_clock=noon, work_clock=across)  # both senses of one are alike here
        sound = Bag((share,) * HOUR_COUNT, springs, one.stage, load=load)
        alone = _alone(replace(sound, load=None), bag, rings)
        found = mechanics.rest(bag=sound, constants=bag, ring_constants=rings, stations=ANSWER_STEPS, alone=alone)
        peaks.append(found.peak_stretch_mm)
    return max(peaks) / float(springs.prestretch_mm)


@lru_cache(maxsize=64)
def _alone(sound: Bag, bag: BagConstants, rings: RingConstants) -> mechanics.BagState:
    return mechanics.rest(bag=sound, constants=bag, ring_constants=rings, stations=ANSWER_STEPS)

"""Relaxing cuts in a rim that is too tight: how much they open, where they hurt least, and what they cost."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, permutations
from typing import ClassVar

import numpy as np

from forestay.frame import HOURS, hour_distance, mirror_by_hour, mirror_hour
from forestay.mechanics.geometry import Numbers, plain, require, require_positive
from forestay.text import tr

HOUR_COUNT = len(HOURS)
HALF_CLOCK_HOURS = HOUR_COUNT / 2
GRID_STEPS_PER_HOUR = 2
"""Places tried in one hour."""
PLACES_GRID = tuple(step / GRID_STEPS_PER_HOUR for step in range(1, HOUR_COUNT * GRID_STEPS_PER_HOUR + 1))
"""Clock hours tried."""
TIE_DECIMALS_ROUNDING = 9
"""Digits to which two places cost the same."""


@dataclass(frozen=True)
class RelaxingCutConstants:
    """``from_tunnel_hours`` [hours]: usual distance of the cuts from the tunnel's middle; ``reach_hours`` [hours] to
    each side over which the zonule behind a cut counts; ``least_apart_hours`` [hours] between two cuts;
    ``safe_rest_mm`` [mm] of front capsule to leave between the end of a cut and the equator."""

    PREFIX: ClassVar[str] = "relaxing_cuts"
    from_tunnel_hours: float
    reach_hours: float
    least_apart_hours: float
    safe_rest_mm: float


def gained_girth_mm(*, cuts: int, cut_mm: Numbers) -> Numbers:
    """How much longer the edge of the opening becomes with both lips of every cut: 2 n c, an upper bound.

    Each radial cut of length c adds its two lips to the edge. The whole gain needs lips that fold away freely.
    Parameters: ``cuts`` n, 0 or more; ``cut_mm`` c [mm] above 0. Result [mm].

    >>> float(gained_girth_mm(cuts=2, cut_mm=1.0))
    4.0
    """
    require(holds=cuts >= 0, field="cuts", value=cuts, allowed=tr("0 or more"))
    require_positive(cut_mm=cut_mm)
    return plain(2 * cuts * np.asarray(cut_mm, dtype=np.float64))


def longest_cut_mm(*, capsulorhexis_mm: Numbers, bag_diameter_mm: Numbers, constants: RelaxingCutConstants) -> Numbers:
    """Longest cut that still leaves front capsule before the equator: (bag - d) / 2 - rest, never below 0 [mm]."""
    require_positive(capsulorhexis_mm=capsulorhexis_mm, bag_diameter_mm=bag_diameter_mm)
    room = (np.asarray(bag_diameter_mm) - np.asarray(capsulorhexis_mm)) / 2 - constants.safe_rest_mm
    return plain(np.maximum(room, 0))


def cut_needed_mm(*, missing_girth_mm: Numbers, cuts: int) -> Numbers:
    """Length of each cut that opens the missing girth: m / (2 n) [mm], 0 where nothing is missing."""
    require(holds=cuts > 0, field="cuts", value=cuts, allowed=tr("1 or more"))
    return plain(np.maximum(missing_girth_mm, 0) / (2 * cuts))


def place_cuts(
    *, cuts: int, support: tuple[float, ...], tunnel_clock: float, constants: RelaxingCutConstants
) -> tuple[float, ...]:
    """Clock hours of the cuts: beside the tunnel, where the nucleus leaves, but off the weak zonule.

    A place costs the missing support behind it (mean over ``reach_hours`` to each side, 0 to 1) and its distance from
    where the cut would usually be (as share of half the clock). One cut usually faces the tunnel's middle; two stand
    ``from_tunnel_hours`` to each side of it; more are spread evenly from there. The cheapest set is taken whose
    places are ``least_apart_hours`` or more apart; ties go to the places farther from the tunnel.

    Parameters: ``cuts`` 1 or more; ``support`` (12,) 0 to 1 by clock hour 12, 1 .. 11; ``tunnel_clock``; ``constants``.
    Result: clock hours, increasing. Mirrors exactly.

    >>> c = RelaxingCutConstants(2.0, 1.0, 2.0, 1.0)
    >>> place_cuts(cuts=2, support=(1.0,) * 12, tunnel_clock=12, constants=c)
    (2.0, 10.0)
    """
    require(holds=cuts >= 1, field="cuts", value=cuts, allowed=tr("1 or more"))
    most = int(HOUR_COUNT // (2 * constants.least_apart_hours))
    require(holds=cuts <= most, field="cuts", value=cuts, allowed=tr("no more than {most}", most=most))
    image = (mirror_by_hour(support), mirror_hour(tunnel_clock))
    if image < (support, tunnel_clock):  # one of two mirror images is worked out, so that both agree exactly
        found = _choose(cuts, *image, constants)
        return tuple(sorted(mirror_hour(place) for place in found))
    return tuple(sorted(_choose(cuts, support, tunnel_clock, constants)))


def _usual_offsets(cuts: int, beside: float) -> list[float]:
    """Hours from the tunnel's middle, clockwise."""
    if cuts == 1:
        return [0.0]
    far = HOUR_COUNT - beside
    step = (far - beside) / (cuts - 1)
    return [beside + step * number for number in range(cuts)]


def _choose(
    cuts: int, support: tuple[float, ...], tunnel_clock: float, constants: RelaxingCutConstants
) -> tuple[float, ...]:
    """The cheapest set of places, each place paired with one of the usual ones."""
    usual = [(tunnel_clock + offset) % HOUR_COUNT for offset in _usual_offsets(cuts, constants.from_tunnel_hours)]
    weak = {place: 1 - behind(place, support, constants.reach_hours) for place in PLACES_GRID}
    away = {place: [hour_distance(place, hour) / HALF_CLOCK_HOURS for hour in usual] for place in PLACES_GRID}

    def price(places: tuple[float, ...]) -> tuple[float, float, float]:
        risk = sum(weak[place] for place in places)
        moved = min(
            sum(away[place][number] for place, number in zip(places, order, strict=True))
            for order in permutations(range(cuts))
        )
        return _told(risk + moved), _told(risk), -_told(sum(hour_distance(place, tunnel_clock) for place in places))

    apart = constants.least_apart_hours
    sets = combinations(PLACES_GRID, cuts)
    return min((s for s in sets if all(hour_distance(a, b) >= apart for a, b in combinations(s, 2))), key=price)


def _told(value: float) -> float:
    return round(value, TIE_DECIMALS_ROUNDING)


def behind(clock: float, support: tuple[float, ...], reach_hours: float) -> float:
    """Mean support from ``reach_hours`` before the place to ``reach_hours`` after it, straight between clock hours."""
    at = np.arange(-reach_hours * GRID_STEPS_PER_HOUR, reach_hours * GRID_STEPS_PER_HOUR + 1) / GRID_STEPS_PER_HOUR
    hours = np.mod(clock + at, HOUR_COUNT)
    around = np.append(np.asarray(support, dtype=np.float64), support[0])
    return float(np.interp(hours, np.arange(HOUR_COUNT + 1), around).mean())

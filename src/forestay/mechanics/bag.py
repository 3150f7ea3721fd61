"""The capsular bag on its zonule: where it goes, and which clock hours carry the load.

With the lens inside, the bag is a rigid disc (:mod:`forestay.mechanics.disc`). Empty, its equator is a flexible loop
(:mod:`forestay.mechanics.loop`; with a capsulorhexis two, :mod:`forestay.mechanics.rim`): it folds away from lost zonule and may slide off altogether. What is compared with a
healthy eye is safe; millimetres and millinewtons rest on poorly known stiffness.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from forestay.errors import InvalidInput
from forestay.frame import mirror_hour
from forestay.mechanics import disc, fast, loop
from forestay.mechanics.bag_chain import chain_of, fibre_mm, held_stations, sheets_of
from forestay.mechanics.bag_model import Bag, BagConstants, BagState, Load, State
from forestay.mechanics.loop_assembly import Assembly, Chain
from forestay.mechanics.rim import loops_of, pulls
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.two_loop import TwoLoopAssembly
from forestay.mechanics.zonule import HOUR_COUNT, Floats, directions
from forestay.text import tr

__all__ = ["Bag", "BagConstants", "BagState", "Load", "chain_of", "edge_stretch_mm", "rest"]

STATIONS = 144  # round the equator of an empty bag
SYMMETRIC_ROUNDING_MM = 1e-6  # sideways shift of a symmetric bag that is rounding


def rest(
    *,
    bag: Bag,
    constants: BagConstants,
    ring_constants: RingConstants,
    stations: int = STATIONS,
    alone: BagState | None = None,
) -> BagState:
    """Where the bag comes to rest, and what each clock hour then carries.

    Parameters: ``bag``; ``constants`` of the empty bag; ``ring_constants``; ``stations``, a multiple of 24, round the
    equator of an empty bag (144 answers to 0.05 % with a ring and 0.5 % without); ``alone``, the answer for the same bag
    without its load, where the caller has it: that saves a solve. Result: :class:`BagState`.

    The problem is worked out in one of its two mirror images, always the same, so that mirrored input gives the
    mirrored answer to the last bit.

    A bag is ``held`` when the solver found rest, what supports it pulls in all with at least the share ``slack_share``
    of what it would pull at rest in the middle (an instrument counted as one healthy clock hour), and, if empty, its
    equator still encloses ``collapse_area_share`` of its area. Otherwise an empty bag is ``collapsed`` and a bag with
    the lens in it ``unsupported``; where it is held when left alone and a turning load lets it find no rest, it is
    ``overloaded`` (how much of that load it bears: :func:`forestay.mechanics.limit_load.borne_share`). A bag that is not held when left alone is not held under a load either: a pull that
    only drags it along until fibres tighten is no support. Range: planar; displacement below the fibre length. Never
    raises for a bag that fails.
    """
    if stations % (2 * HOUR_COUNT):
        raise InvalidInput(
            tr("stations is {value}; allowed: a multiple of 24", value=stations),
            field="stations",
            value=stations,
            allowed="24 n",
        )
    if bag.load is not None:
        unloaded = alone or _alone(replace(bag, load=None), constants, ring_constants, stations)
        if unloaded.state != "held":
            return unloaded
    given = bag.rounded()
    other = given.mirrored()
    solver = _lens if bag.contents == "lens" else _empty
    other_key, given_key = other.key(), given.key()
    if other_key < given_key:
        return _seen_from_the_other_eye(solver(other, constants, ring_constants, stations), other)
    found = solver(given, constants, ring_constants, stations)
    if other_key == given_key and abs(found.x_mm) <= SYMMETRIC_ROUNDING_MM:
        return _averaged(found, _seen_from_the_other_eye(found, other))  # its own mirror image: so is the answer
    return found


@lru_cache(maxsize=256)
def _alone(bag: Bag, constants: BagConstants, ring_constants: RingConstants, stations: int) -> BagState:
    """A bag without its load: asked for again with every load."""
    return rest(bag=bag, constants=constants, ring_constants=ring_constants, stations=stations)


def _seen_from_the_other_eye(found: BagState, bag: Bag) -> BagState:
    """The answer of ``bag`` turned into that of its mirror image, instruments again in the order of clock hours."""
    order = sorted(range(len(bag.holds)), key=lambda i: mirror_hour(bag.holds[i].clock))
    return replace(found.mirrored(), hold_mn=tuple(found.hold_mn[i] for i in order))


def _averaged(one: BagState, other: BagState) -> BagState:
    """The mean of two answers that differ by rounding only."""

    def mean(a: tuple[float, ...], b: tuple[float, ...]) -> tuple[float, ...]:
        return tuple((x + y) * 0.5 for x, y in zip(a, b, strict=True))

    return replace(
        one,
        x_mm=0.0,
        load_mn=mean(one.load_mn, other.load_mn),
        stretch_mm=mean(one.stretch_mm, other.stretch_mm),
        hold_mn=mean(one.hold_mn, other.hold_mn),
        outline_mm=(one.outline_mm + other.outline_mm) * 0.5,
        margin_mm=None if one.margin_mm is None or other.margin_mm is None else (one.margin_mm + other.margin_mm) * 0.5,
    )


def _nothing(bag: Bag, stations: int) -> BagState:
    zeros = (0.0,) * HOUR_COUNT
    circle = float(bag.springs.bag_radius_mm) * loop.station_directions(stations)
    return BagState("unsupported", 0.0, 0.0, zeros, zeros, 0.0, (0.0,) * len(bag.holds), 1.0, circle, True, 0)


def _lens(bag: Bag, constants: BagConstants, ring_constants: RingConstants, stations: int) -> BagState:
    """The rigid disc; a ring changes nothing in it."""
    del constants, ring_constants
    if not any(bag.support) and not bag.holds:
        return _nothing(bag, stations)
    radius = float(bag.springs.bag_radius_mm)
    force_x, force_y, torque = bag.load_on_disc()
    found = disc.equilibrium(
        support=bag.support,
        load_x_mn=force_x,
        load_y_mn=force_y,
        torque_mn_mm=torque,
        parameters=bag.springs,
        holds=bag.holds,
        sheets=bag.sheets,
        bed_mn_per_mm=bag.bed_mn_per_mm,
    )
    x, y = float(found.x_mm), float(found.y_mm)
    outline = radius * loop.station_directions(stations) + np.array([[x], [y]])
    stretch = np.where(np.asarray(bag.support) > 0, found.stretch_mm, 0.0)
    return BagState(
        state=_word(str(found.state)),
        x_mm=x,
        y_mm=y,
        load_mn=tuple(float(v) for v in found.tension_mn),
        stretch_mm=tuple(float(v) for v in stretch),
        peak_stretch_mm=float(stretch.max()),
        hold_mn=tuple(float(v) for v in found.hold_tension_mn),
        area_share=1.0,
        outline_mm=outline,
        converged=bool(found.converged),
        iterations=int(found.iterations),
    )


def _word(state: str) -> State:
    return "held" if state == "held" else "overloaded" if state == "overloaded" else "unsupported"


def _empty(bag: Bag, constants: BagConstants, ring_constants: RingConstants, stations: int) -> BagState:
    """The flexible loop; with a capsulorhexis two of them."""
    if not any(bag.support) and not bag.holds:
        return _nothing(bag, stations)
    springs = bag.springs
    whole = float(springs.total_stiffness_mn_per_mm) * float(springs.prestretch_mm)
    if bag.rim is None:
        chain, circle = chain_of(bag=bag, constants=constants, ring_constants=ring_constants, stations=stations)
        found = fast.minimise(Assembly(chain), start_mm=circle, force_scale_mn=whole)
        tension, stretch, hold_mn = _pulls(chain, found.at_mm, bag)
        flap = None
    else:
        loops, shape = loops_of(bag=bag, constants=constants, ring_constants=ring_constants, stations=stations)
        found = fast.minimise(TwoLoopAssembly(loops), start_mm=shape, force_scale_mn=whole)
        tension, stretch, hold_mn = pulls(loops, found.at_mm, bag)
        flap = (1 - loops.flap_share) * found.at_mm[:2] + loops.flap_share * found.at_mm[2:]
    peak = max(float(stretch.max()), edge_stretch_mm(bag, found.at_mm[:2], flap, stations))
    at_rest = whole / HOUR_COUNT * (sum(bag.support) + len(bag.holds))
    area = found.area_mm2 / (0.5 * stations * float(np.sin(2 * np.pi / stations)) * float(springs.bag_radius_mm) ** 2)
    held = (
        found.converged
        and float(tension.sum()) + sum(hold_mn) >= springs.slack_share * at_rest
        and area >= constants.collapse_area_share
    )
    centre = found.centre_mm
    beyond = not found.converged and bag.load is not None and bag.load.turns
    return BagState(
        state="held" if held else "overloaded" if beyond else "collapsed",
        x_mm=float(centre[0]),
        y_mm=float(centre[1]),
        load_mn=_by_hour(tension),
        stretch_mm=tuple(v * HOUR_COUNT / stations for v in _by_hour(stretch)),
        peak_stretch_mm=peak,
        hold_mn=hold_mn,
        area_share=area,
        outline_mm=found.at_mm[:2],
        converged=found.converged,
        iterations=found.iterations,
        margin_mm=None if bag.rim is None else found.at_mm[2:],
        station_stretch_mm=float(stretch.max()),
    )


def _pulls(chain: Chain, at: Floats, bag: Bag) -> tuple[Floats, Floats, tuple[float, ...]]:
    """As :func:`forestay.mechanics.rim.pulls`, of one loop."""
    stations = chain.stations
    stretch = chain.springs.stretch(at)
    tension = stretch * chain.springs.stiffness_mn_per_mm
    own = stations * len(sheets_of(bag))
    hold_mn, first = [], own
    for hold in bag.holds:
        last = first + held_stations(hold, stations)
        hold_mn.append(float(tension[first:last].sum()))
        first = last
    there = np.where(chain.springs.stiffness_mn_per_mm[:own] > 0, stretch[:own], 0.0).reshape(-1, stations)
    return tension[:own].reshape(-1, stations).sum(axis=0), there.max(axis=0), tuple(hold_mn)


def _by_hour(values: Floats) -> tuple[float, ...]:
    """Sums of a value by clock hour; the stations of hour h are those within half an hour of it."""
    per_hour = values.size // HOUR_COUNT
    half = per_hour // 2
    from_twelve = np.concatenate([values[-half:], values[:-half]])
    return tuple(from_twelve.reshape(HOUR_COUNT, per_hour).sum(axis=1).tolist())


@lru_cache(maxsize=32)
def _borders(stations: int) -> tuple[NDArray[np.int64], Floats]:
    """The four stations round each border of two clock hours, two after it and two before, and outward there."""
    per_hour = stations // HOUR_COUNT
    right = (np.arange(HOUR_COUNT) * per_hour + per_hour // 2) % stations  # first station after the border
    around = np.stack([(right + step) % stations for step in (1, 0, -1, -2)])
    return around, np.stack(directions(np.arange(HOUR_COUNT) + 0.5))


def edge_stretch_mm(bag: Bag, at: Floats, flap: Floats | None, stations: int) -> float:
    """Largest stretch of a fibre at the borders of clock hours that have support: the edge of a gap lies there, between
    two stations, and the loop's place there is read off a cubic through four of them. ``flap``: where the anterior
    sheet pulls, if that is on the flap."""
    around, outward = _borders(stations)
    springs = bag.springs
    shares = bag.support
    beside = np.array([one > 0 or other > 0 for one, other in zip(shares, (*shares[1:], shares[0]), strict=True)])
    if not beside.any():
        return 0.0
    ring = float(springs.bag_radius_mm) + fibre_mm(bag)
    most = 0.0
    for sheet in sheets_of(bag):
        on_flap = flap is not None and sheet.side == "anterior"
        where = flap if flap is not None and on_flap else at
        first, second, third, fourth = where[:, around].swapaxes(0, 1)
        place = (9 * (second + third) - (first + fourth)) / (4 * 4)
        reach = place - (ring + (0.0 if on_flap else sheet.inset_mm)) * outward
        free = sheet.length_mm(fibre_mm(bag)) - float(springs.prestretch_mm)
        stretch = np.sqrt((reach * reach).sum(axis=0) + sheet.height_mm**2) - free
        most = max(most, float(stretch[beside].max()))
    return most

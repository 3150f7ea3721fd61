"""The capsular bag on its zonule: where it goes, and which clock hours carry the load.

With the lens inside, the bag is a rigid disc (:mod:`forestay.mechanics.disc`). Empty, its equator is a flexible loop
(:mod:`forestay.mechanics.loop`): it folds away from lost zonule and may slide off altogether. What is compared with a
healthy eye is safe; millimetres and millinewtons rest on poorly known stiffness.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from forestay.errors import InvalidInput
from forestay.frame import mirror_hour
from forestay.mechanics import disc, loop
from forestay.mechanics.bag_model import Bag, BagConstants, BagState, Load
from forestay.mechanics.loop_assembly import Assembly, Chain, Hoop, Springs, strain_at
from forestay.mechanics.ring_loop import (
    RingConstants,
    bending_stiffness_mn_mm2,
    closed_diameter_mm,
    layers,
    overlap_share,
)
from forestay.mechanics.zonule import HOUR_COUNT, Floats, Hold, direction, directions
from forestay.text import tr

__all__ = ["Bag", "BagConstants", "BagState", "Load", "chain_of", "rest"]

STATIONS = 144  # round the equator of an empty bag
SYMMETRIC_ROUNDING_MM = 1e-6  # sideways shift of a symmetric bag that is rounding


def rest(*, bag: Bag, constants: BagConstants, ring_constants: RingConstants, stations: int = STATIONS) -> BagState:
    """Where the bag comes to rest, and what each clock hour then carries.

    Parameters: ``bag``; ``constants`` of the empty bag; ``ring_constants``; ``stations``, a multiple of 24, round the
    equator of an empty bag (144 answers to 0.05 % with a ring and 0.5 % without). Result: :class:`BagState`.

    The problem is worked out in one of its two mirror images, always the same, so that mirrored input gives the
    mirrored answer to the last bit.

    A bag is ``held`` when the solver found rest, what supports it pulls in all with at least the share ``slack_share``
    of what it would pull at rest in the middle (an instrument counted as one healthy clock hour), and, if empty, its
    equator still encloses ``collapse_area_share`` of its area. Otherwise an empty bag is ``collapsed`` and a bag with
    the lens in it ``unsupported``. A bag that is not held when left alone is not held under a load either: a pull that
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
        alone = rest(bag=replace(bag, load=None), constants=constants, ring_constants=ring_constants, stations=stations)
        if alone.state != "held":
            return alone
    given = bag.rounded()
    other = given.mirrored()
    solver = _lens if bag.contents == "lens" else _empty
    if other.key() < given.key():
        return _seen_from_the_other_eye(solver(other, constants, ring_constants, stations), other)
    found = solver(given, constants, ring_constants, stations)
    if other.key() == given.key() and abs(found.x_mm) <= SYMMETRIC_ROUNDING_MM:
        return _averaged(found, _seen_from_the_other_eye(found, other))  # its own mirror image: so is the answer
    return found


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
    )


def chain_of(
    *, bag: Bag, constants: BagConstants, ring_constants: RingConstants, stations: int
) -> tuple[Chain, Floats]:
    """The empty bag as a chain of stations, and its resting circle (2, N) [mm].

    The equator's unstretched length follows from the healthy zonule: at rest the circle is in balance.
    """
    clock = loop.station_clocks(stations)
    outward = loop.station_directions(stations)
    springs = bag.springs
    radius = float(springs.bag_radius_mm)
    spacing = 2 * radius * float(np.sin(np.pi / stations))
    fibre_mn_per_mm = float(springs.total_stiffness_mn_per_mm) / stations
    rest_pull = fibre_mn_per_mm * float(springs.prestretch_mm) / (2 * float(np.sin(np.pi / stations)))
    share = rest_pull / constants.hoop_stiffness_mn
    width = HOUR_COUNT / stations
    covered, bending, free_turn = np.zeros(stations), np.zeros(stations), 0.0
    if bag.ring is not None:
        closed = closed_diameter_mm(free_diameter_mm=bag.ring.free_diameter_mm, constants=ring_constants)
        length_share = closed / (2 * radius)
        stiffness = bending_stiffness_mn_mm2(
            spring_mn_per_mm=bag.ring.spring_mn_per_mm, test_diameter_mm=ring_constants.test_diameter_mm
        )
        bending = (
            stiffness / spacing * layers(clock=clock, width_hours=width, ring=bag.ring, covered_share=length_share)
        )
        middles = clock + width * 0.5
        covered = np.minimum(layers(clock=middles, width_hours=width, ring=bag.ring, covered_share=length_share), 1.0)
        free_turn = -2 * spacing / bag.ring.free_diameter_mm
    hoop = Hoop(
        stiffness_mn=constants.hoop_stiffness_mn,
        toe_strain=constants.toe_strain,
        slack_share=constants.slack_resistance,
        rest_length_mm=spacing / (1 + strain_at(share, constants.toe_strain, constants.slack_resistance)),
        bilateral_length_mm=spacing / (1 + share),
        covered=covered,
    )
    force, torque = _load_on_stations(bag, constants, clock, width)
    chain = Chain(hoop, _springs(bag, clock, outward, width), bending, free_turn, force, torque)
    return chain, radius * outward


def _springs(bag: Bag, clock: Floats, outward: Floats, width: float) -> Springs:
    """The zonule's fibres, one a station, then those of each instrument over its arc."""
    stations = clock.size
    radius = float(bag.springs.bag_radius_mm)
    hours = np.mod(np.floor(clock + 0.5).astype(np.int64), HOUR_COUNT)
    station = [np.arange(stations)]
    stiffness = [np.asarray(bag.support)[hours] * float(bag.springs.total_stiffness_mn_per_mm) / stations]
    length = [np.full(stations, float(bag.springs.fibre_length_mm))]
    stretch = [np.full(stations, float(bag.springs.prestretch_mm))]
    for hold in bag.holds:
        arc = max(hold.arc_deg * (HOUR_COUNT / 360), width)
        part = overlap_share(clock=clock, width_hours=width, centre_clock=hold.clock, arc_hours=arc)
        where = np.flatnonzero(part)
        station.append(where)
        stiffness.append(hold.stiffness_mn_per_mm * part[where] / part.sum())
        length.append(np.full(where.size, hold.length_mm))
        stretch.append(np.full(where.size, hold.overpull_mm))
    at, lengths = np.concatenate(station), np.concatenate(length)
    return Springs(
        at, (radius + lengths) * outward[:, at], np.concatenate(stiffness), lengths - np.concatenate(stretch)
    )


def _pull(load: Load) -> tuple[float, float]:
    """Force of a load [mN], to the examiner's right and up."""
    x, y = direction(load.clock)
    if load.kind == "radial":
        signed = -load.force_mn if load.inward else load.force_mn
        return signed * x, signed * y
    signed = load.force_mn if load.clockwise else -load.force_mn
    return signed * y, -signed * x


def _load_on_stations(bag: Bag, constants: BagConstants, clock: Floats, width: float) -> tuple[Floats, float]:
    load = bag.load
    force = np.zeros((2, clock.size))
    if load is None:
        return force, 0.0
    if load.kind == "torque":
        turning = load.force_mn * float(bag.springs.bag_radius_mm)
        return force, -turning if load.clockwise else turning
    spread = max(constants.load_spread_hours, width)
    part = overlap_share(clock=clock, width_hours=width, centre_clock=load.clock, arc_hours=spread)
    return np.array(_pull(load))[:, None] * (part / part.sum()), 0.0


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
    force, torque = (0.0, 0.0), 0.0
    if bag.load is not None:
        arm = radius if bag.load.kind in ("tangential", "torque") else 0.0
        torque = (-1 if bag.load.clockwise else 1) * bag.load.force_mn * arm
        force = (0.0, 0.0) if bag.load.kind == "torque" else _pull(bag.load)
    found = disc.equilibrium(
        support=bag.support,
        load_x_mn=force[0],
        load_y_mn=force[1],
        torque_mn_mm=torque,
        parameters=bag.springs,
        holds=bag.holds,
    )
    x, y = float(found.x_mm), float(found.y_mm)
    outline = radius * loop.station_directions(stations) + np.array([[x], [y]])
    stretch = np.where(np.asarray(bag.support) > 0, found.stretch_mm, 0.0)
    return BagState(
        state="held" if found.state == "held" else "unsupported",
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


def _empty(bag: Bag, constants: BagConstants, ring_constants: RingConstants, stations: int) -> BagState:
    """The flexible loop."""
    if not any(bag.support) and not bag.holds:
        return _nothing(bag, stations)
    springs = bag.springs
    chain, circle = chain_of(bag=bag, constants=constants, ring_constants=ring_constants, stations=stations)
    whole = float(springs.total_stiffness_mn_per_mm) * float(springs.prestretch_mm)
    found = loop.solve(chain, start_mm=circle, force_scale_mn=whole)
    stretch = Assembly(chain).spring_stretch(found.at_mm)
    tension = stretch * chain.springs.stiffness_mn_per_mm
    own = np.where(chain.springs.stiffness_mn_per_mm[:stations] > 0, stretch[:stations], 0.0)
    hold_mn, first = [], stations
    for hold in bag.holds:
        last = first + _hold_stations(hold, stations)
        hold_mn.append(float(tension[first:last].sum()))
        first = last
    peak = max(float(own.max()), _edge_stretch(bag, found.at_mm, stations))
    at_rest = whole / HOUR_COUNT * (sum(bag.support) + len(bag.holds))
    area = found.area_mm2 / (0.5 * stations * float(np.sin(2 * np.pi / stations)) * float(springs.bag_radius_mm) ** 2)
    held = (
        found.converged
        and float(tension.sum()) >= springs.slack_share * at_rest
        and area >= constants.collapse_area_share
    )
    centre = found.centre_mm
    return BagState(
        state="held" if held else "collapsed",
        x_mm=float(centre[0]),
        y_mm=float(centre[1]),
        load_mn=_by_hour(tension[:stations]),
        stretch_mm=tuple(v * HOUR_COUNT / stations for v in _by_hour(own)),
        peak_stretch_mm=peak,
        hold_mn=tuple(hold_mn),
        area_share=area,
        outline_mm=found.at_mm,
        converged=found.converged,
        iterations=found.iterations,
    )


def _hold_stations(hold: Hold, stations: int) -> int:
    clock, width = loop.station_clocks(stations), HOUR_COUNT / stations
    arc = max(hold.arc_deg * (HOUR_COUNT / 360), width)
    share = overlap_share(clock=clock, width_hours=width, centre_clock=hold.clock, arc_hours=arc)
    return int(np.count_nonzero(share))


def _by_hour(values: Floats) -> tuple[float, ...]:
    """Sums of a value by clock hour; the stations of hour h are those within half an hour of it."""
    per_hour = values.size // HOUR_COUNT
    return tuple(float(v) for v in np.roll(values, per_hour // 2).reshape(HOUR_COUNT, per_hour).sum(axis=1))


def _edge_stretch(bag: Bag, at: Floats, stations: int) -> float:
    """Largest stretch of a fibre at the borders of clock hours that have support: the edge of a gap lies there, between
    two stations, and the loop's place there is read off a cubic through four of them."""
    per_hour = stations // HOUR_COUNT
    right = (np.arange(HOUR_COUNT) * per_hour + per_hour // 2) % stations  # first station after the border
    near, far = at[:, right] + at[:, right - 1], at[:, (right + 1) % stations] + at[:, right - 2]
    place = (9 * near - far) / (4 * 4)
    springs = bag.springs
    outward = np.stack(directions(np.arange(HOUR_COUNT) + 0.5))
    reach = place - (float(springs.bag_radius_mm) + float(springs.fibre_length_mm)) * outward
    free = float(springs.fibre_length_mm) - float(springs.prestretch_mm)
    stretch = np.sqrt((reach * reach).sum(axis=0)) - free
    support = np.asarray(bag.support)
    beside = (support > 0) | (np.roll(support, -1) > 0)
    return float(np.max(np.where(beside, stretch, 0.0), initial=0.0))

"""The empty bag as stations: from its record to the chain (or the two loops) that the solver takes."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np

from forestay.mechanics import loop
from forestay.mechanics.bag_model import Bag, BagConstants, Load
from forestay.mechanics.fibres import AT_EQUATOR, Sheet, hours_of, rest_share
from forestay.mechanics.loop_assembly import Chain, Hoop, Springs, strain_at
from forestay.mechanics.ring_loop import (
    Ring,
    RingConstants,
    bending_stiffness_mn_mm2,
    closed_diameter_mm,
    layers,
    overlap_share,
)
from forestay.mechanics.zonule import HOUR_COUNT, Floats, Hold

NO_SPRINGS = Springs(np.zeros(0, dtype=np.int64), np.zeros((2, 0)), np.zeros(0), np.zeros(0), np.zeros(0))
"""Nothing that pulls."""


def chain_of(
    *, bag: Bag, constants: BagConstants, ring_constants: RingConstants, stations: int
) -> tuple[Chain, Floats]:
    """The empty bag as a chain of stations, and its resting circle (2, N) [mm].

    The equator's unstretched length follows from the healthy zonule: at rest the circle is in balance.
    """
    chain, circle = _unloaded(replace(bag, load=None), constants, ring_constants, stations)
    if bag.load is None:
        return chain, circle
    force, torque = load_on_stations(bag, constants, loop.station_clocks(stations))
    return replace(chain, force_mn=force, torque_mn_mm=torque), circle


@lru_cache(maxsize=64)
def _unloaded(bag: Bag, constants: BagConstants, ring_constants: RingConstants, stations: int) -> tuple[Chain, Floats]:
    """The chain of a bag that nothing pulls: made once for all its loads, and not to be written into."""
    outward = loop.station_directions(stations)
    pull = sum(rest_share(s, fibre_mm(bag)) * s.share for s in sheets_of(bag))
    return equator(bag, constants, ring_constants, sheets_of(bag), pull_share=pull, stations=stations), (
        float(bag.springs.bag_radius_mm) * outward
    )


def equator(
    bag: Bag,
    constants: BagConstants,
    ring_constants: RingConstants,
    sheets: tuple[Sheet, ...],
    *,
    pull_share: float,
    stations: int,
) -> Chain:
    """The equator with its ``sheets``, ring, holds, load and bed. ``pull_share``: part of the zonule's resting pull
    that the hoop's own tension balances."""
    clock, outward = loop.station_clocks(stations), loop.station_directions(stations)
    radius = float(bag.springs.bag_radius_mm)
    spacing = 2 * radius * float(np.sin(np.pi / stations))
    share = _hoop_pull_mn(bag, stations) * pull_share / constants.hoop_stiffness_mn
    covered, bending, free_turn = np.zeros(stations), np.zeros(stations), 0.0
    if bag.ring is not None:
        covered, bending = _sleeve(bag.ring, ring_constants, radius, stations)
        free_turn = -2 * spacing / bag.ring.free_diameter_mm
    elif bag.equator_bending_mn_mm2:
        bending = np.full(stations, bag.equator_bending_mn_mm2 / spacing)
        free_turn = -spacing / radius
    hoop = Hoop(
        stiffness_mn=constants.hoop_stiffness_mn,
        toe_strain=constants.toe_strain,
        slack_share=constants.slack_resistance,
        rest_length_mm=spacing / (1 + strain_at(share, constants.toe_strain, constants.slack_resistance)),
        bilateral_length_mm=spacing / (1 + share),
        covered=covered,
    )
    holds = tuple(h for h in bag.holds if bag.rim is None or h.at == "equator")
    springs = joined([*zonule(bag, sheets, clock, outward), held_by(holds, clock, outward, radius)])
    acts = bag.load is not None and (bag.rim is None or bag.load.at == "equator")
    force, torque = load_on_stations(bag, constants, clock) if acts else (np.zeros((2, stations)), 0.0)
    return Chain(hoop, springs, bending, free_turn, force, torque, bag.bed_mn_per_mm, radius * outward)


@lru_cache(maxsize=64)
def _sleeve(ring: Ring, ring_constants: RingConstants, radius_mm: float, stations: int) -> tuple[Floats, Floats]:
    """Share of each segment that a ring covers, and its bending stiffness over the spacing [mN mm] at each station."""
    clock, width = loop.station_clocks(stations), HOUR_COUNT / stations
    spacing = 2 * radius_mm * float(np.sin(np.pi / stations))
    closed = closed_diameter_mm(free_diameter_mm=ring.free_diameter_mm, constants=ring_constants)
    length_share = closed / (2 * radius_mm)
    stiffness = bending_stiffness_mn_mm2(
        spring_mn_per_mm=ring.spring_mn_per_mm, test_diameter_mm=ring_constants.test_diameter_mm
    )
    at_stations = layers(clock=clock, width_hours=width, ring=ring, covered_share=length_share)
    at_segments = layers(clock=clock + width * 0.5, width_hours=width, ring=ring, covered_share=length_share)
    return loop.kept(np.minimum(at_segments, 1.0)), loop.kept(stiffness / spacing * at_stations)


def margin(bag: Bag, constants: BagConstants, *, radius_mm: float, pull_share: float, stations: int) -> Chain:
    """The margin of the capsulorhexis as a chain, with the holds and the load that act on it."""
    if bag.rim is None:
        raise ValueError("a bag without a capsulorhexis has no margin")
    clock, outward = loop.station_clocks(stations), loop.station_directions(stations)
    stiffness = bag.rim.constants.margin_stiffness_mn
    spacing = 2 * radius_mm * float(np.sin(np.pi / stations))
    share = _hoop_pull_mn(bag, stations) * pull_share / stiffness
    rest = spacing / (1 + strain_at(share, constants.toe_strain, 0.0))
    hoop = Hoop(stiffness, constants.toe_strain, 0.0, rest, spacing, np.zeros(stations))
    springs = held_by(tuple(h for h in bag.holds if h.at == "rim"), clock, outward, radius_mm)
    acts = bag.load is not None and bag.load.at == "rim"
    force, torque = load_on_stations(bag, constants, clock) if acts else (np.zeros((2, stations)), 0.0)
    return Chain(hoop, springs, np.zeros(stations), 0.0, force, torque)


def sheets_of(bag: Bag) -> tuple[Sheet, ...]:
    """The bag's sheets of fibres; without any, all of it at the equator."""
    return bag.sheets or AT_EQUATOR


def fibre_mm(bag: Bag) -> float:
    """Equator to ciliary ring at rest [mm]."""
    return float(bag.springs.fibre_length_mm)


def _hoop_pull_mn(bag: Bag, stations: int) -> float:
    """Tension of a hoop [mN] that balances the whole resting pull of a healthy zonule."""
    springs = bag.springs
    fibre_mn_per_mm = float(springs.total_stiffness_mn_per_mm) / stations
    return fibre_mn_per_mm * float(springs.prestretch_mm) / (2 * float(np.sin(np.pi / stations)))


def zonule(bag: Bag, sheets: tuple[Sheet, ...], clock: Floats, outward: Floats) -> list[Springs]:
    """The fibres of each sheet, one a station, that pull at the equator's stations (the point of attachment moves with
    the station beside it)."""
    stations = clock.size
    springs = bag.springs
    base = np.asarray(bag.support)[hours_of(clock)] * float(springs.total_stiffness_mn_per_mm) / stations
    fibre, ring = fibre_mm(bag), float(springs.bag_radius_mm) + fibre_mm(bag)
    return [
        Springs(
            np.arange(stations),
            (ring + sheet.inset_mm) * outward,
            base * sheet.share,
            np.full(stations, sheet.length_mm(fibre) - float(springs.prestretch_mm)),
            np.full(stations, sheet.height_mm),
        )
        for sheet in sheets
    ]


def held_by(holds: tuple[Hold, ...], clock: Floats, outward: Floats, radius_mm: float) -> Springs:
    """The springs of each instrument over its arc, in the order of ``holds``."""
    if not holds:
        return NO_SPRINGS
    width = HOUR_COUNT / clock.size
    station, stiffness, length, stretch = [], [], [], []
    for hold in holds:
        arc = max(hold.arc_deg * (HOUR_COUNT / 360), width)
        part = overlap_share(clock=clock, width_hours=width, centre_clock=hold.clock, arc_hours=arc)
        where = np.flatnonzero(part)
        station.append(where)
        stiffness.append(hold.stiffness_mn_per_mm * part[where] / part.sum())
        length.append(np.full(where.size, hold.length_mm))
        stretch.append(np.full(where.size, hold.overpull_mm))
    none = np.zeros(0)
    at = np.concatenate([np.zeros(0, dtype=np.int64), *station])
    lengths = np.concatenate([none, *length])
    return Springs(
        at,
        (radius_mm + lengths) * outward[:, at],
        np.concatenate([none, *stiffness]),
        lengths - np.concatenate([none, *stretch]),
        np.zeros(at.size),
    )


def held_stations(hold: Hold, stations: int) -> int:
    """Over how many stations an instrument's hold is spread."""
    clock, width = loop.station_clocks(stations), HOUR_COUNT / stations
    arc = max(hold.arc_deg * (HOUR_COUNT / 360), width)
    share = overlap_share(clock=clock, width_hours=width, centre_clock=hold.clock, arc_hours=arc)
    return int(np.count_nonzero(share))


def joined(parts: list[Springs]) -> Springs:
    """Several sets of springs as one, in order."""
    parts = [part for part in parts if part.station.size] or parts[:1]
    if len(parts) == 1:
        return parts[0]
    return Springs(
        np.concatenate([p.station for p in parts]),
        np.concatenate([p.anchor_mm for p in parts], axis=1),
        np.concatenate([p.stiffness_mn_per_mm for p in parts]),
        np.concatenate([p.free_length_mm for p in parts]),
        np.concatenate([np.broadcast_to(p.height_mm, p.station.shape) for p in parts]),
    )


def pull(load: Load) -> tuple[float, float]:
    """Force of a load [mN], to the examiner's right and up."""
    return load.pull_mn()


def load_on_stations(bag: Bag, constants: BagConstants, clock: Floats) -> tuple[Floats, float]:
    """Forces (2, N) [mN] and turning moment [mN mm] of the bag's load."""
    load, width = bag.load, HOUR_COUNT / clock.size
    force = np.zeros((2, clock.size))
    if load is None:
        return force, 0.0
    if load.kind == "torque":
        turning = load.force_mn * float(bag.springs.bag_radius_mm)
        return force, -turning if load.clockwise else turning
    spread = max(constants.load_spread_hours, width)
    part = overlap_share(clock=clock, width_hours=width, centre_clock=load.clock, arc_hours=spread)
    return np.array(load.pull_mn())[:, None] * (part / part.sum()), 0.0

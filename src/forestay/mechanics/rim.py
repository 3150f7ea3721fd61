"""The empty bag with its capsulorhexis: hooks and pulls act on the margin, through the give of rim, flap and bag."""

from __future__ import annotations

import numpy as np

from forestay.mechanics import loop
from forestay.mechanics.bag_chain import equator, fibre_mm, held_stations, margin, sheets_of, zonule
from forestay.mechanics.bag_model import Bag, BagConstants
from forestay.mechanics.fibres import rest_share
from forestay.mechanics.loop_assembly import Springs
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.two_loop import Flap, TwoLoopAssembly, TwoLoops
from forestay.mechanics.zonule import Floats

LEAST_FLAP_GRID = 0.01  # the narrowest flap, as a share of the bag's radius: a wider opening is taken as this one


def loops_of(
    *, bag: Bag, constants: BagConstants, ring_constants: RingConstants, stations: int
) -> tuple[TwoLoops, Floats]:
    """The empty bag as two loops, and its resting shape (4, N) [mm].

    At rest the flap is neither stretched nor slack; the equator's hoop balances the fibres that pull at it, the
    margin's hoop its part of those on the flap. Range: a capsulorhexis inside the bag.
    """
    if bag.rim is None:
        raise ValueError("a bag without a capsulorhexis is one loop")
    radius, fibre = float(bag.springs.bag_radius_mm), fibre_mm(bag)
    inner = min(bag.rim.radius_mm, radius * (1 - LEAST_FLAP_GRID))
    sheets = sheets_of(bag)
    front = tuple(s for s in sheets if s.side == "anterior")
    behind = tuple(s for s in sheets if s.side != "anterior")
    flap_share = min(max((s.inset_mm for s in front), default=0.0) / (radius - inner), 1.0)
    at_front = sum(rest_share(s, fibre) * s.share for s in front)
    outer_share = sum(rest_share(s, fibre) * s.share for s in behind) + (1 - flap_share) * at_front
    outer = equator(bag, constants, ring_constants, behind, pull_share=outer_share, stations=stations)
    rim = margin(bag, constants, radius_mm=inner, pull_share=flap_share * at_front, stations=stations)
    outward = loop.station_directions(stations)
    loops = TwoLoops(outer, rim, _flap(bag, constants, inner, stations), _on_flap(bag, radius, stations), flap_share)
    return loops, np.concatenate([radius * outward, inner * outward])


def _flap(bag: Bag, constants: BagConstants, inner_mm: float, stations: int) -> Flap:
    if bag.rim is None:
        raise ValueError("a bag without a capsulorhexis has no flap")
    radius = float(bag.springs.bag_radius_mm)
    width = np.pi * (radius + inner_mm) / stations
    turn = 2 * np.pi / stations
    diagonal = float(np.sqrt(radius**2 + inner_mm**2 - 2 * radius * inner_mm * np.cos(turn)))
    straight = bag.rim.constants.flap_stiffness_mn_per_mm * width
    outward, tie = loop.station_directions(stations), bag.rim.constants.tie_share
    spacing = 2 * inner_mm * float(np.sin(np.pi / stations))
    slanting = straight * bag.rim.constants.diagonal_share
    return Flap(
        stiffness_mn=np.array([[straight], [slanting], [slanting]]),
        rest_length_mm=np.array([[radius - inner_mm], [diagonal], [diagonal]]),
        toe_strain=constants.toe_strain,
        tie_mn_per_mm=tie * straight / (radius - inner_mm),
        margin_tie_mn_per_mm=tie * bag.rim.constants.margin_stiffness_mn / spacing,
        tied_mm=np.stack([(inner_mm - radius) * outward, inner_mm * (np.roll(outward, -1, axis=-1) - outward)]),
    )


def _on_flap(bag: Bag, radius_mm: float, stations: int) -> Springs:
    """The anterior sheet's fibres: from a point of the flap to the ciliary ring."""
    front = tuple(s for s in sheets_of(bag) if s.side == "anterior")
    if not front:
        none = np.zeros(0)
        return Springs(np.zeros(0, dtype=np.int64), np.zeros((2, 0)), none, none, none)
    clock, outward = loop.station_clocks(stations), loop.station_directions(stations)
    made = zonule(bag, front, clock, outward)[0]
    ring = radius_mm + fibre_mm(bag)
    return Springs(made.station, ring * outward, made.stiffness_mn_per_mm, made.free_length_mm, made.height_mm)


def pulls(loops: TwoLoops, at: Floats, bag: Bag) -> tuple[Floats, Floats, tuple[float, ...]]:
    """Pull of the zonule at each station (N,) [mN], the largest stretch of its fibres there (N,) [mm; 0 without
    support], and the pull of each instrument in the order of ``bag.holds``."""
    assembly, count = TwoLoopAssembly(loops), loops.stations
    outer, front = assembly.equator_stretch(at), assembly.flap_stretch(at)
    springs = loops.equator.springs
    own = count * sum(s.side != "anterior" for s in sheets_of(bag))
    tension = (outer * springs.stiffness_mn_per_mm)[:own].reshape(-1, count).sum(axis=0)
    stretches = [np.where(springs.stiffness_mn_per_mm[:own] > 0, outer[:own], 0.0).reshape(-1, count)]
    if front.size:
        tension = tension + front * loops.on_flap.stiffness_mn_per_mm
        stretches.append(np.where(loops.on_flap.stiffness_mn_per_mm > 0, front, 0.0)[None])
    held = {"equator": outer[own:] * springs.stiffness_mn_per_mm[own:]}
    held["rim"] = assembly.margin_stretch(at) * loops.margin.springs.stiffness_mn_per_mm
    first = dict.fromkeys(held, 0)
    hold_mn = []
    for hold in bag.holds:
        last = first[hold.at] + held_stations(hold, count)
        hold_mn.append(float(held[hold.at][first[hold.at] : last].sum()))
        first[hold.at] = last
    return tension, np.concatenate(stretches).max(axis=0), tuple(hold_mn)

"""Open rings and pieces of ring in a bag on its zonule: what they touch, where the bag goes, who carries the load.

The ring lies free in the bag: it pushes where it touches (its ends and a part of its arc), stands off elsewhere, and
friction decides whether it turns. The bag is the flexible equator of :mod:`forestay.mechanics.bag`, or, with the lens
in it, the same equator made rigid.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from forestay.frame import mirror_hour
from forestay.mechanics import bag as bag_engine
from forestay.mechanics import loop
from forestay.mechanics.bag_chain import chain_of, held_stations, sheets_of
from forestay.mechanics.bag_model import Bag, BagConstants, BagState
from forestay.mechanics.loop_assembly import Assembly, Chain
from forestay.mechanics.open_ring import Arc, assembled
from forestay.mechanics.open_ring_model import OpenRingConstants, OpenRingState, Peak, Piece, PieceState, RingState
from forestay.mechanics.open_ring_solver import JointState, Pin, Problem, solve
from forestay.mechanics.ring_loop import RingConstants, bending_stiffness_mn_mm2
from forestay.mechanics.zonule import HOUR_COUNT, Floats, direction

STATIONS = 144  # round the equator
POINT_STEPS = 97  # points of a whole ring where it can touch
KNOT_STEPS = 25  # knots of its curvature
LEAST_KNOT_STEPS = 9  # of a short piece
RIGID_LIMIT = 1e6  # stiffness of a bag with the lens in it: along [mN] and in bending [mN mm2]
LAID_TOLERANCE_MM = 3e-3  # from the wall, where a ring is first laid; further off it has left the wall
SYMMETRIC_ROUNDING_MM = 1e-5  # sideways shift of a symmetric bag that is rounding


@dataclass(frozen=True)
class Setting:
    """What an answer rests on beside bag and ring: constants, ``friction`` coefficient [-] of ring on capsule, and
    ``stations`` round the equator, a multiple of 24."""

    bag: BagConstants
    rings: RingConstants
    opened: OpenRingConstants
    friction: float
    stations: int = STATIONS


def rest(
    *, bag: Bag, pieces: tuple[Piece, ...], setting: Setting, then: Callable[[Settled, Setting], Settled] | None = None
) -> OpenRingState:
    """Where bag and rings come to rest when the rings are let go where they are laid.

    Parameters: ``bag`` (its own ``ring`` and ``rim`` are not used), ``pieces``, ``setting``, ``then`` what is done next
    (sutures are tied: :func:`forestay.mechanics.open_ring_tie.tied`). Result:
    :class:`OpenRingState`, pieces in the order given. Worked out in one of the two mirror images, always the same, so
    that mirrored input gives the mirrored answer to the last bit. Range: planar; pieces pass one another freely where
    they overlap; friction up to about 0.5. Never raises for a bag or a ring that fails: see ``state``.
    """
    after = then or _as_it_lies
    given = replace(bag, ring=None, rim=None).rounded()
    laid = [piece.rounded() for piece in pieces]
    order = sorted(range(len(laid)), key=lambda i: laid[i].key())
    turned = [piece.mirrored() for piece in laid]
    other_order = sorted(range(len(laid)), key=lambda i: turned[i].key())
    key = _key(given, [laid[i] for i in order])
    other_key = _key(given.mirrored(), [turned[i] for i in other_order])
    if other_key < key:
        found = after(
            settle(given.mirrored(), tuple(turned[i] for i in other_order), setting), setting
        ).answer.mirrored()
        back = [_sutures_back(piece, other_order[i], laid, turned) for i, piece in enumerate(found.pieces)]
        found, order = replace(found, pieces=tuple(back)), other_order
    else:
        found = after(settle(given, tuple(laid[i] for i in order), setting), setting).answer
        if other_key == key and abs(found.bag.x_mm) <= SYMMETRIC_ROUNDING_MM:
            found = replace(found, bag=even(found.bag))
    return replace(found, pieces=tuple(found.pieces[order.index(i)] for i in range(len(found.pieces))))


def _as_it_lies(found: Settled, setting: Setting) -> Settled:
    del setting
    return found


def _sutures_back(state: PieceState, which: int, laid: list[Piece], turned: list[Piece]) -> PieceState:
    """The pulls of a mirrored piece's sutures in the order of the clock hours given."""
    places = turned[which].sutured_clocks
    pulls = tuple(state.suture_mn[places.index(mirror_hour(clock))] for clock in laid[which].sutured_clocks)
    return replace(state, suture_mn=pulls)


def _key(bag: Bag, pieces: list[Piece]) -> tuple[object, ...]:
    return (bag.key(), tuple(piece.key() for piece in pieces))


def even(state: BagState) -> BagState:
    """The mean of an answer and its mirror image, which differ by rounding only."""
    other = state.mirrored()

    def mean(a: tuple[float, ...], b: tuple[float, ...]) -> tuple[float, ...]:
        return tuple((x + y) * 0.5 for x, y in zip(a, b, strict=True))

    return replace(
        state,
        x_mm=0.0,
        load_mn=mean(state.load_mn, other.load_mn),
        stretch_mm=mean(state.stretch_mm, other.stretch_mm),
        outline_mm=(state.outline_mm + other.outline_mm) * 0.5,
    )


def bag_chain(bag: Bag, setting: Setting) -> tuple[Chain, Floats]:
    """The bag's equator without a ring, rigid where the lens is in it, and its resting circle (2, N) [mm]."""
    stations = setting.stations
    chain, circle = chain_of(bag=bag, constants=setting.bag, ring_constants=setting.rings, stations=stations)
    if bag.contents == "empty":
        return chain, circle
    spacing = 2 * float(bag.springs.bag_radius_mm) * float(np.sin(np.pi / stations))
    firm = replace(chain.hoop, stiffness_mn=RIGID_LIMIT, covered=np.ones(stations), bilateral_length_mm=spacing)
    bending = np.full(stations, RIGID_LIMIT / spacing)
    return replace(chain, hoop=firm, bending_mn_mm=bending, free_turn_rad=-2 * np.pi / stations), circle


def arc_of(piece: Piece, setting: Setting, base_share: float = 0.5) -> Arc:
    """The elastic arc of a piece; ``base_share`` along it is the point that carries it."""
    share = min(1.0, piece.length_mm / (np.pi * piece.free_diameter_mm)) * min(1.0, setting.stations / STATIONS + 0.25)
    halves = max(round(share * KNOT_STEPS), LEAST_KNOT_STEPS) // 2
    knots = 2 * halves + 1
    points = (knots - 1) * ((POINT_STEPS - 1) // (KNOT_STEPS - 1)) + 1
    bending = bending_stiffness_mn_mm2(
        spring_mn_per_mm=piece.spring_mn_per_mm, test_diameter_mm=setting.rings.test_diameter_mm
    )
    base = round(base_share * (points - 1))
    return Arc(piece.length_mm, piece.free_diameter_mm, bending, points, knots, base)


@dataclass(frozen=True)
class Settled:
    """Rest of bag and ``pieces`` in one of the two mirror images. ``bag`` as it was worked out (a wall that would wrinkle
    bends less easily); ``problem`` and ``found`` of the solver, None where nothing holds the bag."""

    bag: Bag
    pieces: tuple[Piece, ...]
    answer: OpenRingState
    problem: Problem | None
    found: JointState | None


def settle(bag: Bag, pieces: tuple[Piece, ...], setting: Setting) -> Settled:
    """The answer in the image given. Where friction pushes slack capsule together the wall can wrinkle from station to
    station without end: it is then worked out again with a wall that bends a little less easily."""
    found = _try(bag, pieces, setting)
    for times in (1, 4):
        if found.answer.bag.converged or bag.contents != "empty":
            break
        bending = max(bag.equator_bending_mn_mm2, times * setting.opened.wall_bending_mn_mm2)
        found = _try(replace(bag, equator_bending_mn_mm2=bending), pieces, setting)
        found = replace(found, answer=replace(found.answer, smoothed=True))
    return found


def _try(bag: Bag, pieces: tuple[Piece, ...], setting: Setting) -> Settled:
    sutures = any(piece.sutured_clocks for piece in pieces)
    if not any(bag.support) and not bag.holds and not sutures:
        nothing = bag_engine.rest(
            bag=replace(bag, load=None),
            constants=setting.bag,
            ring_constants=setting.rings,
            stations=setting.stations,
        )
        radius = float(bag.springs.bag_radius_mm)
        return Settled(bag, pieces, OpenRingState("unsupported", nothing, (), radius, 0.0, 0.0), None, None)
    problem, circle, unknowns, first = _problem(bag, pieces, setting)
    found = solve(problem, wall_mm=circle, unknowns=unknowns, first_push_mn=first)
    return Settled(bag, pieces, answer_of(bag, pieces, setting, problem, found), problem, found)


def _problem(
    bag: Bag, pieces: tuple[Piece, ...], setting: Setting
) -> tuple[Problem, Floats, tuple[Floats, ...], tuple[Floats, ...]]:
    """Bag and pieces as the solver takes them, and where it begins: the resting circle, the pieces laid on it, and what
    each point pushes at first."""
    chain, circle = bag_chain(bag, setting)
    radius = float(bag.springs.bag_radius_mm)
    arcs = tuple(arc_of(piece, setting) for piece in pieces)
    unknowns, first = [], []
    for piece, arc in zip(pieces, arcs, strict=True):
        x, y = direction(piece.middle_clock)
        unknowns.append(
            assembled(arc).laid(
                centre_mm=(0.0, 0.0), radius_mm=radius - LAID_TOLERANCE_MM, middle_rad=float(np.arctan2(y, x))
            )
        )
        first.append(np.full(arc.points, _even_push(arc, radius) / arc.points))
    pins = sutures_of(bag, pieces, setting)
    whole = float(bag.springs.total_stiffness_mn_per_mm) * float(bag.springs.prestretch_mm)
    problem = Problem(chain, arcs, pins, (), setting.friction, False, whole)
    return problem, circle, tuple(unknowns), tuple(first)


def _even_push(arc: Arc, radius: float) -> float:
    """A first guess of the sum of an arc's push [mN], for friction: that of a ring bent to the bag's radius."""
    bent = max(1 / radius - 2 / arc.free_diameter_mm, 0.0)
    return arc.bending_mn_mm2 * bent * arc.length_mm / (radius * radius * 2)


def sutures_of(bag: Bag, pieces: tuple[Piece, ...], setting: Setting) -> tuple[Pin, ...]:
    """The sutures of the pieces, piece by piece: just tight with the bag in the middle, less what each is drawn."""
    stiff, fibre = setting.opened.suture_stiffness_mn_per_mm, float(bag.springs.fibre_length_mm)
    pins: list[Pin] = []
    for row, piece in enumerate(pieces):
        arc = arc_of(piece, setting)
        length = max(fibre - piece.drawn_mm, 0.0)
        pins += [Pin(row, *_eyelet(arc, piece, clock, bag), stiff, length) for clock in piece.sutured_clocks]
    return tuple(pins)


def _eyelet(arc: Arc, piece: Piece, clock: float, bag: Bag) -> tuple[int, Floats]:
    """A suture from the point of the piece that lies at ``clock`` straight outwards to the sclera: the point's index and
    the anchor [mm]."""
    radius, fibre = float(bag.springs.bag_radius_mm), float(bag.springs.fibre_length_mm)
    half = HOUR_COUNT * 0.5
    ahead = (clock - piece.middle_clock + half) % HOUR_COUNT - half
    along = 0.5 * piece.length_mm + ahead * (np.pi / half) * radius
    point = round(min(max(along / piece.length_mm, 0.0), 1.0) * (arc.points - 1))
    return point, (radius + fibre) * np.array(direction(clock))


@dataclass(frozen=True)
class _Carried:
    """What the springs of the bag do at a rest: ``tension_mn`` of each; ``there_mm`` (stations,) stretch of the fibres that
    count; the longest ``peak_mm``; ``area_share`` of the circle; whether that is enough to be ``held``."""

    tension_mn: Floats
    there_mm: Floats
    peak_mm: float
    area_share: float
    held: bool


def _carried(bag: Bag, constants: BagConstants, chain: Chain, found: loop.LoopState, extra_mn: float) -> _Carried:
    stations, springs = chain.stations, bag.springs
    whole = float(springs.total_stiffness_mn_per_mm) * float(springs.prestretch_mm)
    stretch = Assembly(chain).spring_stretch(found.at_mm)
    tension = stretch * chain.springs.stiffness_mn_per_mm
    own = stations * len(sheets_of(bag))
    there = np.where(chain.springs.stiffness_mn_per_mm[:own] > 0, stretch[:own], 0.0).reshape(-1, stations).max(axis=0)
    at_rest = whole / HOUR_COUNT * (sum(bag.support) + len(bag.holds))
    circle = 0.5 * stations * float(np.sin(2 * np.pi / stations)) * float(springs.bag_radius_mm) ** 2
    area = found.area_mm2 / circle
    held = float(tension.sum()) + extra_mn >= springs.slack_share * at_rest and area >= constants.collapse_area_share
    peak = float(there.max())
    if bag.contents == "empty":
        peak = max(peak, bag_engine.edge_stretch_mm(bag, found.at_mm, None, stations))
    return _Carried(tension, there, peak, area, held)


def bag_state(bag: Bag, constants: BagConstants, chain: Chain, found: loop.LoopState, extra_mn: float) -> BagState:
    """The bag's own answer at the rest ``found``; ``extra_mn`` is what sutures on a ring pull, counted as support."""
    stations = chain.stations
    carried = _carried(bag, constants, chain, found, extra_mn)
    own = stations * len(sheets_of(bag))
    counts = np.cumsum([own, *(held_stations(hold, stations) for hold in bag.holds)])
    centre = found.centre_mm
    per_hour = stations // HOUR_COUNT
    by_hour = _by_hour(np.stack([_fibres_mn(bag, carried), carried.there_mm / per_hour]))
    return BagState(
        state="held" if carried.held else _failed(bag),
        x_mm=float(centre[0]),
        y_mm=float(centre[1]),
        load_mn=tuple(float(v) for v in by_hour[0]),
        stretch_mm=tuple(float(v) for v in by_hour[1]),
        peak_stretch_mm=carried.peak_mm,
        hold_mn=tuple(float(carried.tension_mn[a:b].sum()) for a, b in pairwise(counts)),
        area_share=carried.area_share,
        outline_mm=found.at_mm,
        converged=found.converged,
        iterations=found.iterations,
    )


def _failed(bag: Bag) -> Literal["collapsed", "unsupported"]:
    return "collapsed" if bag.contents == "empty" else "unsupported"


def answer_of(
    bag: Bag, pieces: tuple[Piece, ...], setting: Setting, problem: Problem, found: JointState
) -> OpenRingState:
    """The solver's rest in the words and numbers of an answer."""
    state = bag_state(bag, setting.bag, problem.chain, found.bag, sum(found.pin_mn))
    radius = float(bag.springs.bag_radius_mm)
    pulls = iter(found.pin_mn)
    told = tuple(
        piece_state(piece, found, row, radius, tuple(next(pulls) for _ in piece.sutured_clocks))
        for row, piece in enumerate(pieces)
    )
    word = _word(bag, setting, found, [p.turned_deg for p in told], held=state.state == "held")
    reach = found.bag.at_mm - found.bag.centre_mm[:, None]
    return OpenRingState(
        word, state, told, float(np.hypot(*reach).max()), balance_mn(problem, found), found.energy_mn_mm
    )


def peak_of(bag: Bag, pieces: tuple[Piece, ...], setting: Setting, problem: Problem, found: JointState) -> Peak:
    """State, ``peak_stretch_mm`` and the largest load of :func:`answer_of`, without the rest of it."""
    carried = _carried(bag, setting.bag, problem.chain, found.bag, sum(found.pin_mn))
    turned = [_turned_deg(piece, found, row) for row, piece in enumerate(pieces)]
    state = _word(bag, setting, found, turned, held=carried.held)
    return Peak(state, carried.peak_mm, float(_by_hour(_fibres_mn(bag, carried)).max()))


def _fibres_mn(bag: Bag, carried: _Carried) -> Floats:
    """Tension of the zonule at each station, all sheets of fibres together [mN]."""
    stations = carried.there_mm.size
    own = stations * len(sheets_of(bag))
    return np.asarray(carried.tension_mn[:own].reshape(-1, stations).sum(axis=0), dtype=np.float64)


def _by_hour(values: Floats) -> Floats:
    """Sums of stations (..., N) over the twelve hours (..., 12)."""
    per_hour = values.shape[-1] // HOUR_COUNT
    rolled = np.roll(values, per_hour // 2, axis=-1)
    return np.asarray(rolled.reshape(*values.shape[:-1], HOUR_COUNT, per_hour).sum(axis=-1), dtype=np.float64)


def _word(bag: Bag, setting: Setting, found: JointState, turned_deg: Sequence[float], *, held: bool) -> RingState:
    """The state of rings and bag, from whether the bag alone is held."""
    outside = max((-float(gap.min()) for gap in found.gap_mm), default=0.0)
    if not found.bag.converged or outside > setting.opened.outside_mm:
        return "escaped"
    if not held:
        return _failed(bag)
    return "slid" if max(map(abs, turned_deg), default=0.0) > setting.opened.slid_deg else "held"


def balance_mn(problem: Problem, found: JointState) -> float:
    """Size of the sum of all forces on the bag [mN], worked out from the parts: fibres and instruments, loads, and the
    rings' push with friction. 0 at rest."""
    chain, at = problem.chain, found.bag.at_mm
    reach = chain.springs.anchor_mm - at[:, chain.springs.station]
    length = chain.springs.lengths(reach)
    pull = chain.springs.stiffness_mn_per_mm * np.maximum(length - chain.springs.free_length_mm, 0.0) / length
    total = (pull * reach).sum(axis=1) + chain.force_mn.sum(axis=1)
    total = total - chain.bed_mn_per_mm * (at - chain.bed_at_mm).mean(axis=1)
    for vector in found.push_vector_mn:
        total = total + vector.sum(axis=1)
    return float(np.hypot(*total))


def piece_state(piece: Piece, found: JointState, row: int, radius: float, pulls: tuple[float, ...]) -> PieceState:
    """What one piece does at the rest ``found``."""
    points, pushed, gap = found.points_mm[row], found.push_mn[row], found.gap_mm[row]
    along = np.rad2deg(np.linspace(0.0, piece.length_mm, gap.size) / radius)
    from_centre = points - found.bag.centre_mm[:, None]
    covered = np.unwrap(np.arctan2(from_centre[0], from_centre[1]))
    swept = float(np.rad2deg(covered[-1] - covered[0]))
    return PieceState(
        outline_mm=points,
        push_mn=pushed,
        gap_mm=gap,
        end_push_mn=(_end_push(pushed, along), _end_push(pushed[::-1], along)),
        touch_deg=(_next_touch(gap, along), _next_touch(gap[::-1], along)),
        turned_deg=_turned_deg(piece, found, row),
        opening_deg=360 - swept,
        suture_mn=pulls,
    )


def _turned_deg(piece: Piece, found: JointState, row: int) -> float:
    """How far the middle of a piece has turned from where it was laid [degrees, clockwise]."""
    points = found.points_mm[row]
    x, y = points[:, points.shape[1] // 2] - found.bag.centre_mm
    laid = math.radians(piece.middle_clock * (360 / HOUR_COUNT))
    return math.degrees(math.remainder(math.atan2(x, y) - laid, math.tau))


def _end_push(pushed: Floats, along: Floats) -> float:
    """Push of the first end [mN]: of its point and those beside it that touch without a break, up to half a clock
    hour."""
    touching = np.logical_and.accumulate(pushed > 0) & (along <= 180 / HOUR_COUNT)
    return float(pushed[touching].sum())


def _next_touch(gap: Floats, along: Floats) -> float | None:
    """Angle from the first end at which the arc reaches the wall again, beyond the end's own touch (half a clock hour);
    None where it never leaves the wall or never comes back."""
    away = np.flatnonzero((gap > LAID_TOLERANCE_MM) & (along > 180 / HOUR_COUNT))
    if not away.size:
        return None
    back = np.flatnonzero(gap[away[0] :] <= 0)
    if not back.size:
        return None
    there = away[0] + back[0]
    part = gap[there - 1] / (gap[there - 1] - gap[there])
    return float(along[there - 1] + part * (along[there] - along[there - 1]))

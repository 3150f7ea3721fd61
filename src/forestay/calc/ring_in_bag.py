"""The calculations of an open tension ring in the bag: where it rests, where its gap is best, how it is threaded in."""

from __future__ import annotations

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.bag_records import SUTURES, KnotResult, Sutures
from forestay.calc.core import calculation
from forestay.calc.ring_parts import (
    CLOCK_NONE,
    Band,
    Clock,
    Eye,
    EyeInput,
    PieceContact,
    RingInput,
    SegmentInput,
    band,
    contact,
    direction_of,
    eye_of,
    whole,
)
from forestay.calc.ring_threading import ring_threading
from forestay.errors import MissingInput
from forestay.evidence import Reader
from forestay.frame import HOURS, hour_distance, wrap_hour
from forestay.mechanics import bag as bag_engine
from forestay.mechanics.bag_model import Bag
from forestay.mechanics.open_ring_model import OpenRingState, Piece, RingState, segment
from forestay.mechanics.zonule import ZonuleParameters
from forestay.record import Record
from forestay.text import tr

LIVE_STATIONS = 72  # round the equator of one answer
RANK_STATIONS = 48  # where many positions are compared
TOLD_APART_MM = 1e-3  # displacements that differ by less are the same
STATE = (
    "held; slid: at rest, but turned out of its place; escaped: a ring left the wall or finds no rest on it; collapsed: "
    "the bag folded or came off; unsupported: nothing holds it"
)


class RingInBagInput(EyeInput):
    """A bag with an open ring, with sutured ring segments, or with both."""

    ring: RingInput | None = Field(default=None, description="an open tension ring; its gap_clock is needed here")
    sutured_clocks: tuple[Clock, ...] = Field(
        default=(), strict=False, max_length=2, description="clock hours where the ring is sutured to the sclera"
    )
    segments: tuple[SegmentInput, ...] = Field(
        default=(), strict=False, max_length=4, description="ring segments, each sutured in its middle"
    )
    sutures: Sutures | None = Field(default=None, description=SUTURES)


class Side(Record):
    """The same at another reading of the zonule's stiffness."""

    state: RingState = Field(description=STATE)
    displacement_mm: float | None = Field(description="how far the bag's centre moves")
    peak_load: float | None = Field(description="largest load of a clock hour; healthy resting load = 1")


class RingInBagResult(Record):
    """Loads are compared with the resting load of one healthy clock hour at the same age (1)."""

    state: RingState = Field(description=STATE)
    displacement_mm: float | None = Field(description="how far the bag's centre moves")
    displacement_clock: float | None = Field(description="towards which clock hour; null where it does not move")
    without_ring_mm: float | None = Field(description="how far it moves without any ring; null where it does not hold")
    load_by_clock_hour: tuple[float, ...] | None = Field(description="12, 1, 2 ... 11; healthy resting load = 1")
    peak_load: float | None = Field(description="the largest of load_by_clock_hour")
    pieces: tuple[PieceContact, ...] | None = Field(description="what the ring and each segment touch")
    furthest_wall_mm: float | None = Field(description="from the bag's centre to its furthest wall")
    knot: KnotResult | None = Field(
        description="how its sutures are tied; null without any, where they are just tight or pull against one another"
    )
    over_friction: Band | None = Field(description="range over low and high friction; null where one does not hold")
    stiffer_zonule: Side = Field(description="the same with the zonule at its stiffer reading: a scenario")


@calculation(
    "ring-in-bag",
    summary="An open tension ring or sutured segments in the bag: what they touch, where the bag goes, who carries load",
    formula="Least energy of an elastic arc (free diameter, real gap) in one-sided contact with friction inside the "
    "bag's equator, which hangs on tension-only zonular fibres",
    valid="Planar, at rest after the ring was let go; the ends pass one another freely. Compares within one eye; "
    "millimetres and millinewtons are a scenario",
    input=RingInBagInput,
    output=RingInBagResult,
    example={
        "bag_diameter_mm": 10.4,
        "zonule": [0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0],
        "age_years": 71,
        "ring": {"free_diameter_mm": 13.0, "closed_diameter_mm": 11.0, "spring_mn_per_mm": 1.2, "gap_clock": 12},
    },
)
def ring_in_bag(given: RingInBagInput, use: Reader) -> tuple[RingInBagResult, list[Doubt]]:
    """See :func:`forestay.mechanics.open_ring_bag.rest`."""
    if given.ring is None and not given.segments:
        raise MissingInput(tr("Neither ring nor segments is given: one of them is needed."), field="ring")
    if given.ring is not None and given.ring.gap_clock is None:
        raise MissingInput(
            tr("ring.gap_clock is needed: where the ring's ends lie matters here."), field="ring.gap_clock"
        )
    if given.ring is None and given.sutured_clocks:
        raise MissingInput(tr("sutured_clocks is given without a ring."), field="ring")
    eye = eye_of(given, use)
    pieces: tuple[Piece, ...] = ()
    if given.ring is not None:
        pieces = (
            whole(given.ring, eye.rings, gap_clock=given.ring.gap_clock or CLOCK_NONE, sutured=given.sutured_clocks),
        )
    pieces += tuple(
        segment(
            arc_deg=one.arc_deg,
            clock=one.clock,
            free_diameter_mm=eye.opened.segment_free_diameter_mm,
            spring_mn_per_mm=eye.opened.segment_spring_mn_per_mm,
        )
        for one in given.segments
    )
    tie = given.sutures != "just-tight"
    found = eye.rest(pieces, stiff=False, friction=eye.friction, stations=LIVE_STATIONS, tie=tie)
    stiff = eye.rest(pieces, stiff=True, friction=eye.friction, stations=LIVE_STATIONS, tie=tie)
    ends = [
        eye.rest(pieces, stiff=False, friction=share, stations=RANK_STATIONS, tie=tie)
        for share in (eye.opened.friction_low, eye.opened.friction_high)
    ]
    alone = bag_engine.rest(
        bag=Bag(support=given.zonule, springs=eye.low, contents=eye.contents),
        constants=eye.bag,
        ring_constants=eye.rings,
        stations=LIVE_STATIONS,
    )
    resting = float(eye.low.resting_load_mn)
    rests = found.state in ("held", "slid")
    loads = tuple(load / resting for load in found.bag.load_mn)
    result = RingInBagResult(
        state=found.state,
        displacement_mm=found.bag.displacement_mm if rests else None,
        displacement_clock=direction_of(found.bag) if rests else None,
        without_ring_mm=alone.displacement_mm if alone.state == "held" else None,
        load_by_clock_hour=loads if rests else None,
        peak_load=max(loads) if rests else None,
        pieces=tuple(contact(piece) for piece in found.pieces) if rests else None,
        furthest_wall_mm=found.peak_radius_mm if rests else None,
        knot=KnotResult.of(found.knot),
        over_friction=band([found, *ends], resting),
        stiffer_zonule=_side(stiff, eye.high),
    )
    return result, eye.doubts + _state_doubts(found, stiff, eye)


def _side(found: OpenRingState, springs: ZonuleParameters) -> Side:
    rests = found.state in ("held", "slid")
    return Side(
        state=found.state,
        displacement_mm=found.bag.displacement_mm if rests else None,
        peak_load=max(found.bag.load_mn) / float(springs.resting_load_mn) if rests else None,
    )


def _state_doubts(found: OpenRingState, stiff: OpenRingState, eye: Eye) -> list[Doubt]:
    doubts = []
    if found.state == "escaped":
        message = tr("The ring finds no rest on the wall of this bag: no position or load can be given.")
        doubts.append(Doubt("ring-escaped", message))
    if found.smoothed and found.state in ("held", "slid"):
        message = tr("Rest was found only with a slightly stiffer wall of the bag: the numbers err by some percent.")
        doubts.append(Doubt("wall-stiffened", message))
    if found.state == "slid":
        message = tr("The ring turns out of its place in this bag: its gap will not stay where it was put.")
        doubts.append(Doubt("ring-slid", message))
    if found.state in ("collapsed", "unsupported"):
        message = tr(
            "What is left of the zonule does not hold this bag, ring or not: no position or load can be given."
        )
        doubts.append(Doubt("collapsed", message))
    if found.state != stiff.state:
        message = tr(
            "With the zonule at its stiffer reading the state is {high}, not {low}: which one holds is not known.",
            high=tr(stiff.state),
            low=tr(found.state),
        )
        doubts.append(Doubt("state-depends-on-stiffness", message))
    if found.state in ("held", "slid") and found.bag.displacement_mm > float(eye.low.fibre_length_mm):
        message = tr(
            "The bag moves by more than {limit:g} mm, outside the range of this model: it only says that it is far.",
            limit=float(eye.low.fibre_length_mm),
        )
        doubts.append(Doubt("outside-model-range", message))
    return doubts


class RingGapInput(EyeInput):
    """A bag and a ring whose gap may lie anywhere: ``ring.gap_clock`` is not used."""

    ring: RingInput = Field(description="an open tension ring")


class GapRow(Record):
    """One position of the gap."""

    gap_clock: int = Field(description="clock hour of the ring's ends")
    holds: bool = Field(description="whether ring and bag hold in every case tried")
    displacement_mm: tuple[float, float] | None = Field(
        description="lowest and highest displacement of the bag's centre over friction and stiffness of the zonule"
    )
    peak_load: tuple[float, float] | None = Field(
        description="lowest and highest peak load of a clock hour over the same; healthy resting load = 1"
    )
    furthest_wall_mm: tuple[float, float] | None = Field(
        description="lowest and highest distance from the bag's centre to its furthest wall, where an end pushes it out"
    )


class RingGapResult(Record):
    """Positions of the gap, best centring first (mean of its lowest and highest displacement)."""

    rows: tuple[GapRow, ...] = Field(description="one for each clock hour, best centring first")
    best_clock: int | None = Field(
        description="the first row's clock hour, if it centres better than every other in every case tried; else null"
    )
    best_clocks: tuple[int, ...] = Field(
        description="clock hours that cannot be told from the best: the first row does not beat them in every case"
    )
    separated: bool = Field(description="whether the first row beats at least one other in every case tried")


@calculation(
    "ring-gap",
    summary="Where the gap of an open tension ring is best, with the range over what is not known",
    formula="The contact model of ring-in-bag with the gap at each clock hour, at low and high friction and both "
    "readings of the zonule's stiffness",
    valid="As ring-in-bag. A position is called better only where it is so in all four cases",
    input=RingGapInput,
    output=RingGapResult,
    example={
        "bag_diameter_mm": 10.4,
        "zonule": [0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0],
        "age_years": 71,
        "ring": {"free_diameter_mm": 13.0, "closed_diameter_mm": 11.0, "spring_mn_per_mm": 1.2},
    },
)
def ring_gap(given: RingGapInput, use: Reader) -> tuple[RingGapResult, list[Doubt]]:
    """Every position of the gap, compared case by case."""
    eye = eye_of(given, use)
    cases = [(stiff, share) for stiff in (False, True) for share in (eye.opened.friction_low, eye.opened.friction_high)]
    found: dict[int, list[OpenRingState]] = {}
    for hour in HOURS:
        piece = whole(given.ring, eye.rings, gap_clock=float(hour), sutured=())
        found[hour] = [eye.rest((piece,), stiff=s, friction=f, stations=RANK_STATIONS) for s, f in cases]
    resting = [float((eye.high if stiff else eye.low).resting_load_mn) for stiff, _ in cases]
    rows = []
    for hour, states in found.items():
        holds = all(state.state == "held" for state in states)
        moved = [state.bag.displacement_mm for state in states]
        peaks = [max(state.bag.load_mn) / unit for state, unit in zip(states, resting, strict=True)]
        walls = [state.peak_radius_mm for state in states]
        rows.append(
            GapRow(
                gap_clock=hour,
                holds=holds,
                displacement_mm=(min(moved), max(moved)) if holds else None,
                peak_load=(min(peaks), max(peaks)) if holds else None,
                furthest_wall_mm=(min(walls), max(walls)) if holds else None,
            )
        )
    rows.sort(key=_gap_order)
    first = rows[0]
    best = tuple(row.gap_clock for row in rows if not _beats(found[first.gap_clock], row, found))
    if not first.holds:
        best = ()
    separated = first.holds and len(best) < len(rows)
    if not separated:
        message = tr("No position of the gap is better than any other in every case tried: take none as advised.")
        eye.doubts.append(Doubt("ring-gap-not-separated", message))
    elif len(best) > 1:
        message = tr("Several positions of the gap cannot be told apart: see best_clocks.")
        eye.doubts.append(Doubt("ring-gap-several", message))
    message = tr(
        "The ring's ends push hardest where they lie: centring is ranked here, not what an end does to a wall without "
        "zonule behind it."
    )
    eye.doubts.append(Doubt("ring-ends-push", message))
    result = RingGapResult(
        rows=tuple(rows),
        best_clock=best[0] if separated and len(best) == 1 else None,
        best_clocks=best,
        separated=separated,
    )
    return result, eye.doubts


def _gap_order(row: GapRow) -> tuple[bool, float, float, float]:
    """Best centring first; equal ones (mirror images) by distance from 12, then the lower hour."""
    middle = round(sum(row.displacement_mm or (0.0, 0.0)), 6)
    return (not row.holds, middle, hour_distance(row.gap_clock, 12), wrap_hour(row.gap_clock))


def _beats(first: list[OpenRingState], row: GapRow, found: dict[int, list[OpenRingState]]) -> bool:
    """Whether the first position centres better than that of ``row`` in every case, by more than rounding."""
    if not row.holds:
        return True
    pairs = zip(first, found[row.gap_clock], strict=True)
    return all(a.bag.displacement_mm < b.bag.displacement_mm - TOLD_APART_MM for a, b in pairs)


CALCULATIONS = (ring_in_bag, ring_gap, ring_threading)

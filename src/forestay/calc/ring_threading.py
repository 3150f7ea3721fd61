"""The calculation ``ring-threading``: where a tension ring enters the bag, which way it runs, and what that loads."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.ring_parts import Clock, EyeInput, RingInput, eye_of, whole
from forestay.evidence import Reader
from forestay.frame import HOURS
from forestay.mechanics import ring_path
from forestay.mechanics.bag_model import Bag
from forestay.record import Record

LIVE_STATIONS = 72  # round the equator where one entry is asked for
SEARCH_STATIONS = 48  # where every entry is tried
NOT_ABSOLUTE = "mN; rests on the ring's stiffness and this model"


class ThreadingInput(EyeInput):
    """How a ring is threaded in. Without ``entry_clock`` every clock hour is tried, in both senses."""

    ring: RingInput = Field(description="an open tension ring; its gap_clock is not used")
    entry_clock: Clock | None = Field(default=None, description="clock hour where the leading end enters the bag")
    sense: Literal["clockwise", "counter-clockwise"] | None = Field(
        default=None, description="in which sense it runs, as the examiner sees the eye; without it, both are tried"
    )


class StageResult(Record):
    """One moment of threading."""

    inside: float = Field(description="share of the ring's length that is in the bag")
    state: Literal["held", "slack", "no-rest"] = Field(
        description="held; slack: the zonule's pull is all but gone or the bag folds; no-rest: no rest was found"
    )
    lead_clock: float = Field(description="clock hour of the leading end")
    peak_load: float = Field(description="largest load of a clock hour; healthy resting load = 1")
    peak_clock: int = Field(description="its clock hour")
    displacement_mm: float = Field(description="how far the bag's centre moves")
    lead_push_mn: float = Field(description="push of the leading end on the wall, " + NOT_ABSOLUTE)
    feed_mn: float = Field(description="what the hand bears, " + NOT_ABSOLUTE)


class EntryRow(Record):
    """One entry in one sense."""

    entry_clock: float = Field(description="clock hour where the leading end enters")
    sense: Literal["clockwise", "counter-clockwise"] = Field(description="in which sense it runs")
    holds: bool = Field(description="whether the bag holds at every stage")
    peak_load: float = Field(description="largest load of a clock hour on the way; healthy resting load = 1")
    displacement_mm: float = Field(description="largest displacement of the bag on the way")
    gap_clock: float = Field(description="where the ring's ends come to lie")


class ThreadingResult(Record):
    """Entries from the gentlest on, and the stages of the first."""

    entries: tuple[EntryRow, ...] = Field(description="gentlest first: by peak load, then by displacement")
    stages: tuple[StageResult, ...] = Field(description="the moments of threading of the first entry")


@calculation(
    "ring-threading",
    summary="Which clock hour a tension ring enters first, in which sense it runs, and what each moment loads",
    formula="Stages of slow threading: the part of the ring inside is an elastic arc held at the edge of the opening, "
    "pressing and sliding on the wall of the bag",
    valid="Planar, slow, no turning back; the hand that feeds does not yield. Ranks entries within one eye; loads are "
    "a scenario",
    input=ThreadingInput,
    output=ThreadingResult,
    example={
        "bag_diameter_mm": 10.4,
        "zonule": [0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 1, 0],
        "age_years": 71,
        "ring": {"free_diameter_mm": 13.0, "closed_diameter_mm": 11.0, "spring_mn_per_mm": 1.2},
        "entry_clock": 6,
        "sense": "clockwise",
    },
)
def ring_threading(given: ThreadingInput, use: Reader) -> tuple[ThreadingResult, list[Doubt]]:
    """See :mod:`forestay.mechanics.ring_path`."""
    eye = eye_of(given, use)
    senses: tuple[ring_path.Sense, ...] = ("clockwise", "counter-clockwise")
    if given.sense is not None:
        senses = (given.sense,)
    clocks = HOURS if given.entry_clock is None else (given.entry_clock,)
    many = len(clocks) > 1
    ring = whole(given.ring, eye.rings, gap_clock=float(HOURS[0]), sutured=())
    bag = Bag(support=given.zonule, springs=eye.low, contents=eye.contents)
    paths = ring_path.every_entry(
        bag=bag,
        ring=ring,
        entry_clocks=tuple(float(c) for c in clocks),
        senses=senses,
        setting=eye.setting(friction=eye.friction, stations=SEARCH_STATIONS if many else LIVE_STATIONS),
        stages=ring_path.SEARCH_STAGE_STEPS if many else ring_path.STAGE_STEPS,
    )
    resting = float(eye.low.resting_load_mn)
    entries = tuple(
        EntryRow(
            entry_clock=path.entry_clock,
            sense=path.sense,
            holds=path.held,
            peak_load=max(path.worst.bag.load_mn) / resting,
            displacement_mm=path.furthest_mm,
            gap_clock=path.gap_clock,
        )
        for path in paths
    )
    return ThreadingResult(entries=entries, stages=tuple(_stage(s, resting) for s in paths[0].stages)), eye.doubts


def _stage(stage: ring_path.Stage, resting: float) -> StageResult:
    loads = stage.bag.load_mn
    return StageResult(
        inside=stage.inside,
        state=stage.state,
        lead_clock=stage.lead_clock,
        peak_load=max(loads) / resting,
        peak_clock=HOURS[loads.index(max(loads))],
        displacement_mm=stage.bag.displacement_mm,
        lead_push_mn=stage.lead_push_mn,
        feed_mn=stage.feed_mn,
    )

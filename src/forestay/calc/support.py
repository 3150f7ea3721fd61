"""The calculation ``support-search``: which support, where, and before which step."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.bag_holds import HoldConstants
from forestay.calc.bag_records import KnotResult
from forestay.calc.borne import borne_stretch
from forestay.calc.core import calculation
from forestay.calc.support_barred import BARRED, MOST_BARRED, WHAT, BarredInput, barred_arcs
from forestay.calc.support_steps import Site, steps_of
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.frame import wrap_hour
from forestay.mechanics import support_search, zonule
from forestay.mechanics.bag_model import BagConstants, Load
from forestay.mechanics.open_ring_model import OpenRingConstants, RingState
from forestay.mechanics.ports_model import PortConstants
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.support_search_bag import BagStep, Kit, bag_solver
from forestay.mechanics.support_search_hooks import gap_of
from forestay.mechanics.support_search_model import KINDS, Question, Row, Solve, Support, SupportConstants
from forestay.mechanics.zonule import HOUR_COUNT, Hold, ZonuleConstants, ZonuleParameters
from forestay.record import Record
from forestay.text import tr

Kind = Literal["none", "hooks", "ring", "ring-and-hooks", "segment", "sutured-ring"]


class PlannedSupport(Record):
    """What is planned: ranked beside the others, and marked."""

    ring: bool = Field(default=False, description="a tension ring, its ends at ring_gap_clock")
    hooks: tuple[Annotated[float, within("clock")], ...] = Field(
        default=(), strict=False, description="clock hours of capsule hooks"
    )


class SupportInput(Record):
    """One eye, and what is possible."""

    bag_diameter_mm: Annotated[float, within("bag_diameter_mm")]
    zonule: tuple[Annotated[float, within("share")], ...] = Field(
        strict=False,
        min_length=12,
        max_length=12,
        description="share of healthy support by clock hour: 12, 1, 2 ... 11",
    )
    age_years: Annotated[float, within("age_years")] | None = None
    tunnel_clock: Annotated[float, within("clock")]
    whole_nucleus_by_hand: bool = Field(description="whether a whole nucleus is delivered by hand")
    relaxing_cuts: bool = Field(default=False, description="whether the capsulorhexis has relaxing cuts")
    kinds: tuple[Kind, ...] = Field(default=KINDS, strict=False, description="kinds of support at hand")
    ring_gap_clock: Annotated[float, within("gap_clock")] | None = Field(
        default=None,
        description="where the ends of a ring are laid; without it across from the middle of the weak hours, at 12 where "
        "they have none. A sutured ring has them across from its suture",
    )
    barred: tuple[BarredInput, ...] = Field(default=(), strict=False, max_length=MOST_BARRED, description=BARRED)
    nucleus_share: Annotated[float, within("load_share")] | None = Field(
        default=None,
        description="push that brings the whole nucleus through its opening, as a share of the first puncture; without it "
        "that of the table of manoeuvres",
    )
    planned: PlannedSupport | None = Field(default=None, description="what is planned, to be ranked too")


class StepPull(Record):
    """One way in which a step pulls at the bag."""

    kind: Literal["radial", "tangential", "torque"] = Field(description="across the bag, along its rim, or a turn")
    from_clock: float | None = Field(description="clock hour it pulls from; null for a turn")
    to_clock: float | None = Field(description="clock hour it pulls to; along the rim the same; null for a turn")


class StepOutcome(Record):
    """One step with this support."""

    step: str = Field(description="name of the step")
    held: bool = Field(description="whether the bag is held")
    peak_load: float | None = Field(description="largest load of a clock hour; healthy resting load = 1")
    reserve: float | None = Field(description="share of what the most stretched fibre bears that is left")
    ring: RingState | None = Field(
        description="what became of the ring that is in the empty bag, as in ring-in-bag; null without one"
    )
    pulls: tuple[StepPull, ...] = Field(description="which way the step pulls; of several the worst counts")


class Blocked(Record):
    """A planned hook that stands where none can be put in."""

    clock: float = Field(description="its clock hour")
    what: str = Field(description="what lies there")


class Unplaced(Record):
    """A number of capsule hooks that would serve and finds no place."""

    hooks: int = Field(description="how many")
    in_the_way: tuple[str, ...] = Field(description="what lies where they would serve")


class SupportRow(Record):
    """One support in its best moment."""

    kind: Kind = Field(description="what is put in")
    hooks: tuple[float, ...] = Field(description="clock hours of capsule hooks")
    segments: tuple[float, ...] = Field(description="clock hours of sutured segments")
    fixed_at: float | None = Field(description="clock hour at which a ring is sutured")
    ring_gap_clock: float | None = Field(description="clock hour of the ring's ends; null without a ring")
    before_step: str | None = Field(description="before which step it is put in; null for no support")
    ring_before_step: str | None = Field(
        description="before which step its ring, or what is sutured beside hooks, is put in"
    )
    ring_timing: Literal["now", "later", "not"] = Field(
        description="now: before the nucleus is out; later: after; not: no ring"
    )
    held: bool = Field(description="whether the bag is held at every step")
    displacement_mm: float | None = Field(description="how far off centre the bag is left, hooks out")
    reserve: float | None = Field(
        description="least reserve of all steps; below 0 a fibre is asked for more than it bears"
    )
    worst_step: str | None = Field(description="step at which the reserve is least")
    peak_load: float | None = Field(description="load of the most loaded clock hour at the last step")
    knot: KnotResult | None = Field(description="how its sutures are tied in the empty bag; null without any")
    best: bool = Field(description="nothing else is as good in all three and better in one")
    planned: bool = Field(description="whether it is what is planned")
    blocked: tuple[Blocked, ...] = Field(description="hooks of what is planned that stand in a barred arc")
    by_step: tuple[StepOutcome, ...] = Field(description="every step, and what is left")
    reasons: tuple[str, ...] = Field(description="what can be said of it")


class Excluded(Record):
    """A kind that is out of question."""

    kind: Kind = Field(description="what")
    why: str = Field(description="why")


class SupportOutput(Record):
    """Supports in order, best first."""

    rows: tuple[SupportRow, ...] = Field(description="best first")
    excluded: tuple[Excluded, ...] = Field(description="kinds that are out of question")
    unplaced: tuple[Unplaced, ...] = Field(description="numbers of capsule hooks for which there is no free place")


@calculation(
    "support-search",
    summary="Which support for a weak zonule, where and before which step: by centring, reserve and the neighbours' load",
    formula="every kind at its places and moments through the bag model; order: held, nothing overloaded, how many rows "
    "beat it, sum of its places in the three measures; a ring in the empty bag is open: as ring-in-bag; what is sutured "
    "is tied where the bag is centred; hooks are out in the end",
    valid="compares within one eye; with the lens in the bag a ring changes nothing; the loads of the steps are shares of the first puncture, mostly assumed",
    input=SupportInput,
    output=SupportOutput,
    example={
        "bag_diameter_mm": 10.4,
        "zonule": [1, 1, 1, 1, 0.8, 0, 0, 0, 0.8, 1, 1, 1],
        "age_years": 71,
        "tunnel_clock": 12,
        "whole_nucleus_by_hand": True,
    },
)
def support_search_calculation(given: SupportInput, use: Reader) -> tuple[SupportOutput, list[Doubt]]:
    """The search with the planar bag."""
    solve, steps, doubts = solver_of(given, use)
    question = Question(
        zonule=given.zonule,
        steps=tuple(step.step for step in steps),
        tunnel_clock=given.tunnel_clock,
        whole_nucleus_by_hand=given.whole_nucleus_by_hand,
        relaxing_cuts=given.relaxing_cuts,
        kinds=given.kinds,
        ring_gap_clock=given.ring_gap_clock,
        planned=_planned(given, use),
        barred=barred_arcs(given.barred, use),
        hook_shift_hours=use.constants(PortConstants).capsule_shift_hours if given.barred else 0.0,
    )
    found = support_search.search(question=question, solve=solve, constants=use.constants(SupportConstants))
    if not any(row.held for row in found.rows):
        words = tr("No support tried here holds the bag at every step.")
        doubts.append(Doubt("nothing-holds", words))
    output = SupportOutput(
        rows=tuple(_row(row, steps) for row in found.rows),
        excluded=tuple(Excluded(kind=kind, why=why) for kind, why in found.excluded),
        unplaced=tuple(
            Unplaced(hooks=one.hooks, in_the_way=tuple(tr(WHAT[what]) for what in one.in_the_way))
            for one in found.unplaced
        ),
    )
    return output, doubts


def solver_of(given: SupportInput, use: Reader) -> tuple[Solve, tuple[BagStep, ...], list[Doubt]]:
    """What a support in place at a step does in this eye, the steps in order, and what was taken for granted."""
    doubts: list[Doubt] = []
    constants = use.constants(ZonuleConstants)
    age = constants.usual_age_years if given.age_years is None else given.age_years
    if given.age_years is None:
        doubts.append(Doubt("age-assumed", tr("Age is not given: the zonule of {age:g} years is taken.", age=age)))
    doubts += zonule.age_doubts(age_years=age, constants=constants)
    springs = zonule.parameters(bag_diameter_mm=given.bag_diameter_mm, age_years=age, constants=constants)
    site = Site(springs, given.tunnel_clock, given.zonule, given.whole_nucleus_by_hand, given.nucleus_share)
    steps = steps_of(site, use)
    common = {
        "springs": springs,
        "kit": _kit(springs, use),
        "constants": use.constants(BagConstants),
        "ring_constants": use.constants(RingConstants),
    }
    borne = borne_stretch(springs=springs, use=use)
    solve = bag_solver(zonule=given.zonule, borne_stretch=borne, steps=steps, **common)  # type: ignore[arg-type]
    return solve, steps, doubts


def _planned(given: SupportInput, use: Reader) -> Support | None:
    """What is planned as the search knows it."""
    if given.planned is None:
        return None
    kinds: dict[tuple[bool, bool], Kind] = {
        (False, False): "none",
        (False, True): "hooks",
        (True, False): "ring",
        (True, True): "ring-and-hooks",
    }
    hooks, ring = given.planned.hooks, given.planned.ring
    ends = given.ring_gap_clock if ring else None
    if ring and ends is None:
        weak_share = use.constants(SupportConstants).weak_share
        ends = support_search.ring_gap_clock(gap_of(zonule=given.zonule, weak_share=weak_share))
    return Support(kinds[ring, bool(hooks)], hooks=hooks, gap_clock=ends).on_grid()


def _kit(springs: ZonuleParameters, use: Reader) -> Kit:
    held, length = use.constants(HoldConstants), float(springs.fibre_length_mm)
    ring = Ring(use.number("ring.free_diameter_mm"), use.number("load.ring_spring_mn_per_mm"), None)
    return Kit(
        hook=Hold(12.0, held.hook_stiffness_mn_per_mm, length, held.hook_overpull_mm, 0.0),
        segment=Hold(12.0, held.segment_stiffness_mn_per_mm, length, 0.0, held.segment_arc_deg),
        suture=Hold(12.0, held.segment_stiffness_mn_per_mm, length, 0.0, 0.0),
        ring=ring,
        opened=use.constants(OpenRingConstants),
    )


def _pulls(step: BagStep) -> tuple[StepPull, ...]:
    """The pulls of a step; the two senses of one that is free are one."""
    return tuple(dict.fromkeys(_pull(load) for load in step.loads))


def _pull(load: Load) -> StepPull:
    if load.kind == "torque":
        return StepPull(kind=load.kind, from_clock=None, to_clock=None)
    if load.kind == "tangential":
        return StepPull(kind=load.kind, from_clock=load.clock, to_clock=load.clock)
    across = wrap_hour(load.clock + HOUR_COUNT / 2)
    ends = (load.clock, across) if load.inward else (across, load.clock)
    return StepPull(kind=load.kind, from_clock=ends[0], to_clock=ends[1])


def _row(row: Row, steps: tuple[BagStep, ...]) -> SupportRow:
    return SupportRow(
        kind=row.support.kind,
        hooks=row.support.hooks,
        segments=row.support.segments,
        fixed_at=row.support.fixed_at,
        ring_gap_clock=row.support.gap_clock,
        before_step=row.before_step,
        ring_before_step=row.ring_before_step,
        ring_timing=row.ring_timing,
        held=row.held,
        displacement_mm=row.displacement_mm,
        reserve=row.reserve,
        peak_load=row.peak_load,
        knot=KnotResult.of(row.by_step[-1].knot),
        best=row.best,
        worst_step=row.worst_step,
        planned=row.planned,
        blocked=tuple(Blocked(clock=clock, what=tr(WHAT[what])) for clock, what in row.blocked),
        by_step=tuple(
            StepOutcome(
                step=step.key,
                held=one.held,
                peak_load=one.peak_load if one.held else None,
                reserve=one.reserve if one.held else None,
                ring=one.ring,
                pulls=_pulls(step),
            )
            for step, one in zip(steps, row.by_step, strict=True)
        ),
        reasons=row.reasons,
    )

"""The calculation ``supports-left``: once the nucleus is out, what each support that can still go in gains."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.support import Kind, SupportInput, solver_of
from forestay.calc.support_barred import BARRED, MOST_BARRED, BarredInput, barred_arcs
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.frame import wrap_hour
from forestay.mechanics.ports_model import PortConstants
from forestay.mechanics.support_search import ring_gap_clock, sutured_ring
from forestay.mechanics.support_search_hooks import gap_of, hook_layouts
from forestay.mechanics.support_search_model import RINGS, Support, SupportConstants, gain_rank
from forestay.mechanics.zonule import HOUR_COUNT
from forestay.record import Record
from forestay.text import tr

HARDEST = "lens-in"
"""The step that is judged: of those with an empty bag it leaves the fibres least."""


class SupportsLeftInput(Record):
    """The empty bag of one eye, and what is at hand."""

    bag_diameter_mm: Annotated[float, within("bag_diameter_mm")]
    zonule: tuple[Annotated[float, within("share")], ...] = Field(
        strict=False,
        min_length=12,
        max_length=12,
        description="share of healthy support by clock hour: 12, 1, 2 ... 11",
    )
    age_years: Annotated[float, within("age_years")] | None = None
    tunnel_clock: Annotated[float, within("clock")]
    whole_nucleus_by_hand: bool = Field(default=False, description="whether a whole nucleus was delivered by hand")
    relaxing_cuts: bool = Field(default=False, description="whether the capsulorhexis has relaxing cuts")
    kinds: tuple[Kind, ...] = Field(
        default=("hooks", "ring", "ring-and-hooks", "segment", "sutured-ring"),
        strict=False,
        description="kinds of support at hand",
    )
    ring_gap_clock: Annotated[float, within("gap_clock")] | None = Field(
        default=None, description="where the ends of a ring are laid, as in support-search"
    )
    barred: tuple[BarredInput, ...] = Field(default=(), strict=False, max_length=MOST_BARRED, description=BARRED)


class SupportLeft(Record):
    """One support in the empty bag."""

    kind: Kind = Field(description="what is put in")
    hooks: tuple[float, ...] = Field(description="clock hours of capsule hooks")
    segments: tuple[float, ...] = Field(description="clock hours of sutured segments")
    fixed_at: float | None = Field(description="clock hour at which a ring is sutured")
    ring_gap_clock: float | None = Field(description="clock hour of the ring's ends; null without a ring")
    held: bool = Field(description="whether the bag is held as the lens goes in")
    reserve: float | None = Field(
        description="share of what the most stretched fibre bears that is left; null: not held"
    )
    gain: float = Field(description="reserve gained over no support; over nothing where that does not hold the bag")


class SupportsLeftOutput(Record):
    """Supports by what they gain."""

    bare: float | None = Field(description="reserve without support; null where the bag is not held")
    rows: tuple[SupportLeft, ...] = Field(description="best first")


@calculation(
    "supports-left",
    summary="Once the nucleus is out: what each support that can still go in gains as the lens goes in",
    formula="each kind at the gap through the bag model with the load of the lens: reserve with it - reserve without",
    valid="compares within one eye, rings as the open ones that they are; the load of the step is a share of the first puncture, assumed",
    input=SupportsLeftInput,
    output=SupportsLeftOutput,
    example={
        "bag_diameter_mm": 10.4,
        "zonule": [1, 1, 1, 1, 0.8, 0, 0, 0, 0.8, 1, 1, 1],
        "age_years": 71,
        "tunnel_clock": 12,
    },
)
def supports_left(given: SupportsLeftInput, use: Reader) -> tuple[SupportsLeftOutput, list[Doubt]]:
    """The supports with the planar bag, empty."""
    question = SupportInput(**given.model_dump())
    solve, _, doubts = solver_of(question, use)
    nothing = solve(Support("none"), HARDEST)
    bare = nothing.reserve if nothing.held else None
    rows = []
    for support in _candidates(given, use):
        found = solve(support, HARDEST)
        reserve = found.reserve if found.held else None
        rows.append(
            SupportLeft(
                kind=support.kind,
                hooks=support.hooks,
                segments=support.segments,
                fixed_at=support.fixed_at,
                ring_gap_clock=support.gap_clock,
                held=found.held,
                reserve=reserve,
                gain=(reserve or 0.0) - (bare or 0.0) if found.held else 0.0,
            )
        )
    if rows and not any(row.held for row in rows):
        doubts.append(Doubt("nothing-holds", tr("No support tried here holds the bag as the lens goes in.")))
    return SupportsLeftOutput(bare=bare, rows=tuple(sorted(rows, key=lambda r: gain_rank(r.gain)))), doubts


def _candidates(given: SupportsLeftInput, use: Reader) -> list[Support]:
    """Each kind at hand, at the middle of the gap; hooks in the wider spread across it, where they can be had."""
    constants = use.constants(SupportConstants)
    gap = gap_of(zonule=given.zonule, weak_share=constants.weak_share)
    middle = (
        gap.centre if gap is not None and gap.hours < HOUR_COUNT else wrap_hour(given.tunnel_clock + HOUR_COUNT / 2)
    )
    layouts = hook_layouts(
        gap=gap,
        count=int(constants.left_hooks),
        tunnel_clock=given.tunnel_clock,
        spacing_hours=constants.hook_spacing_hours,
        barred=barred_arcs(given.barred, use),
        shift_hours=use.constants(PortConstants).capsule_shift_hours,
    ).placed
    hooks = layouts[-1] if layouts else ()
    ends = ring_gap_clock(gap) if given.ring_gap_clock is None else given.ring_gap_clock
    tried = [
        Support("hooks", hooks=hooks),
        Support("ring", gap_clock=ends),
        Support("ring-and-hooks", hooks=hooks, gap_clock=ends),
        Support("segment", segments=(middle,)),
        sutured_ring(middle),
    ]
    return [
        s
        for s in tried
        if s.kind in given.kinds
        and (s.hooks or "hooks" not in s.kind)
        and not (s.kind in RINGS and given.relaxing_cuts)
    ]


CALCULATIONS = (supports_left,)

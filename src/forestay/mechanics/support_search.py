"""Which support for a weak zonule, where, and before which step: a small search that shows what each choice costs.

A ring centres the bag and loads the neighbours of a gap; hooks unload them and are taken out again: there is no one
best. Every kind of support that can be had is tried at its places and moments with a mechanical model that the caller
gives, and all are shown in one table by three measures: how far off centre the bag is left, how much of what the
fibres bear is left at the worst step, and how much the most loaded clock hour carries at the last step.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from forestay.frame import HOURS, wrap_hour
from forestay.mechanics.geometry import require
from forestay.mechanics.support_search_hooks import Gap, Layouts, gap_of, hook_layouts, in_the_way, quarter
from forestay.mechanics.support_search_model import (
    KINDS,
    RINGS,
    Found,
    Kind,
    Outcome,
    Question,
    RingTiming,
    Row,
    Solve,
    Support,
    SupportConstants,
    Unplaced,
)
from forestay.mechanics.support_search_rank import VALUE_ROUNDING, rank
from forestay.mechanics.support_search_words import explained
from forestay.mechanics.zonule import HOUR_COUNT
from forestay.text import tr

EASE_TOLERANCE = 1e-6
"""Gain in reserve below which an earlier moment is not worth it."""


def search(*, question: Question, solve: Solve, constants: SupportConstants) -> Found:
    """Supports in order, best first.

    Parameters: ``question``; ``solve`` says what a support in place at a step does (see
    :class:`~forestay.mechanics.support_search_model.Outcome`); ``constants``. Result: :class:`Found`.

    Each support stands at the moment that leaves most reserve at the worst step; of equals at the latest; never before
    the capsulorhexis is there. A ring is put in after a whole nucleus has been delivered by hand, unless the bag gives
    way before, hooks or not (the hooks of a ring with hooks bridge the time); with relaxing cuts it is out of question.
    Hooks stand where their stabs can be had: out of what is ``barred``, moved by no more than the question allows; numbers
    of them that find no place are told. A ring's ends lie where the question says, else as :func:`ring_gap_clock`; those of
    a sutured ring across from its suture.
    Order: rows that hold; of those, rows that ask no fibre for more than it bears; then by how many rows are as good in
    all three measures and better in one, by the sum of their places in the three, and by how little is left in the eye. An eye and its mirror image answer alike to the
    last digit if ``solve`` does.
    """
    require(
        holds=len(question.zonule) == HOUR_COUNT,
        field="zonule",
        value=len(question.zonule),
        allowed=tr("12 shares, one for each clock hour"),
    )
    require(holds=len(question.steps) > 0, field="steps", value=len(question.steps), allowed=tr("at least one"))
    given = question.on_grid()
    other = given.mirrored()
    if other.order() < given.order():
        return _search(other, lambda support, step: solve(support.mirrored(), step), constants).mirrored()
    return _search(given, solve, constants)


@dataclass
class _Model:
    """The caller's model, asked once for each support and step."""

    solve: Solve
    known: dict[tuple[Support, str], Outcome] = field(default_factory=dict)

    def __call__(self, support: Support, step: str) -> Outcome:
        if (support, step) not in self.known:
            self.known[support, step] = self.solve(support, step)
        return self.known[support, step]


def _search(question: Question, solve: Solve, constants: SupportConstants) -> Found:
    model = _Model(solve)
    excluded = _excluded(question)
    barred = {kind for kind, _ in excluded}
    layouts = {n: _layouts(question, n, constants) for n in range(1, int(constants.most_hooks) + 1)}
    supports = [s for s in _candidates(question, model, constants, layouts) if s.kind not in barred]
    yields = _gives_way(question, model, supports)
    rows = [
        replace(
            _row(one, question, model, yields),
            planned=one == question.planned,
            blocked=tuple((clock, what) for clock in one.hooks for what in in_the_way(clock, question.barred)),
        )
        for one in supports
    ]
    ranked = rank(rows)
    told = tuple(explained(row, ranked, yields, question) for row in ranked)
    missing = layouts.items() if "hooks" in question.kinds else ()
    unplaced = tuple(Unplaced(n, one.in_the_way) for n, one in missing if not one.placed and one.in_the_way)
    return Found(told, excluded, len(model.known), unplaced)


def _excluded(question: Question) -> tuple[tuple[Kind, str], ...]:
    found: list[tuple[Kind, str]] = []
    for kind in KINDS:
        if kind == "none":
            continue
        if kind not in question.kinds:
            found.append((kind, tr("not at hand")))
        elif kind in RINGS and question.relaxing_cuts:
            found.append((kind, tr("relaxing cuts of the capsulorhexis rule out a ring: it would tear them outwards")))
        elif kind in RINGS and not any(step.empty for step in question.steps):
            found.append((kind, tr("no step with an empty bag was asked about")))
    return tuple(found)


def ring_gap_clock(gap: Gap | None) -> float:
    """Where the ends of a ring are laid: across from the middle of the gap in the zonule, at 12 where it has none.

    Across, the ends push where fibres are left to bear it, and the arc spans the gap.

    >>> ring_gap_clock(Gap(5.0, 3)), ring_gap_clock(None)
    (11.0, 12.0)
    """
    if gap is None or gap.hours >= HOUR_COUNT:
        return float(HOURS[0])
    return _across(gap.centre)


def sutured_ring(fixed_at: float) -> Support:
    """A ring sutured at ``fixed_at`` [clock hours], in the middle of its arc: its ends lie across from there."""
    return Support("sutured-ring", fixed_at=fixed_at, gap_clock=_across(fixed_at))


def _across(clock: float) -> float:
    return quarter(clock + HOUR_COUNT / 2)


def _candidates(
    question: Question, model: _Model, constants: SupportConstants, layouts: Mapping[int, Layouts]
) -> list[Support]:
    """Nothing; for every number of hooks the layout that serves best while the lens is in; rings; segments; a ring, and
    what is sutured, with hooks until then: those that are planned, if they can be had, else those that serve best."""
    gap = gap_of(zonule=question.zonule, weak_share=constants.weak_share)
    centre = wrap_hour(question.tunnel_clock + HOUR_COUNT / 2) if gap is None or gap.hours >= HOUR_COUNT else gap.centre
    ends = ring_gap_clock(gap) if question.ring_gap_clock is None else question.ring_gap_clock
    screen = _before_emptied(question) or [question.steps[-1].key]
    by_count = []
    for one in layouts.values():
        tried = [Support("hooks", hooks=clocks) for clocks in one.placed]
        if tried:
            by_count.append(max(tried, key=lambda s: _screened(s, screen, model)))
    found = [Support("none"), *by_count, Support("ring", gap_clock=ends)]
    if by_count:
        helped = _planned_hooks(question) or max(by_count, key=lambda s: (*_screened(s, screen, model), -len(s.hooks)))
        found.append(Support("ring-and-hooks", hooks=helped.hooks, gap_clock=ends))
    found.append(Support("segment", segments=(quarter(centre),)))
    if gap is not None and HOUR_COUNT / 2 < gap.hours < HOUR_COUNT:
        off = gap.hours / 4
        pair = tuple(sorted(quarter(centre + side * off) for side in (-1, 1)))
        found.append(Support("segment", segments=pair))
    fixed = sutured_ring(quarter(centre))
    hooked = by_count and gap is not None and "hooks" in question.kinds and _emptied(question) < len(question.steps)
    if hooked:
        found += [replace(one, hooks=helped.hooks) for one in (found[-1], fixed)]
    else:
        found.append(fixed)
    return found if question.planned is None or question.planned in found else [*found, question.planned]


def _planned_hooks(question: Question) -> Support | None:
    """The planned hooks alone, where there are any and nothing is in their way."""
    hooks = () if question.planned is None else question.planned.hooks
    met = any(in_the_way(clock, question.barred) for clock in hooks)
    return Support("hooks", hooks=hooks) if hooks and not met else None


def _layouts(question: Question, count: int, constants: SupportConstants) -> Layouts:
    return hook_layouts(
        gap=gap_of(zonule=question.zonule, weak_share=constants.weak_share),
        count=count,
        tunnel_clock=question.tunnel_clock,
        spacing_hours=constants.hook_spacing_hours,
        barred=question.barred,
        shift_hours=question.hook_shift_hours,
    )


def _screened(support: Support, steps: Iterable[str], model: _Model) -> tuple[bool, float]:
    outcomes = [model(support, step) for step in steps]
    return all(o.held for o in outcomes), round(min(o.reserve if o.held else -1.0 for o in outcomes), VALUE_ROUNDING)


def _before_emptied(question: Question) -> list[str]:
    """Steps with the capsule open and the lens still in the bag."""
    return [step.key for step in question.steps if step.open and not step.empty]


def _gives_way(question: Question, model: _Model, supports: list[Support]) -> bool:
    """Whether the bag is not held at a step before it is empty, with nothing and with every arrangement of hooks."""
    before = _before_emptied(question)
    ways = [s for s in supports if s.kind in ("none", "hooks")]
    return bool(before) and not any(all(model(s, step).held for step in before) for s in ways)


def _row(support: Support, question: Question, model: _Model, yields: bool) -> Row:
    """The support at its best moment."""
    steps, nothing = question.steps, Support("none")
    if support.kind == "none":
        bare = tuple(model(nothing, step.key) for step in steps)
        return _measured(support, (None, None), "not", bare, question)
    moments = _moments(support, question, yields)
    bridged = support.hooks_alone() if support.bridged else nothing

    def at(start: int, ring: int) -> tuple[Outcome, ...]:
        parts = (nothing if i < start else bridged if i < ring else support for i in range(len(steps)))
        there = (part.left() if step.left else part for part, step in zip(parts, steps, strict=True))
        return tuple(model(part, step.key) for part, step in zip(there, steps, strict=True))

    opened = _opened(question)
    tried = [at(*moment) for moment in moments]
    scores = [_score(outcomes[opened:]) for outcomes in tried]
    most, least = max(scores)
    latest = max(i for i, (held, left) in enumerate(scores) if held == most and left >= least - EASE_TOLERANCE)
    start, ring = moments[latest]
    if not support.ring:
        stays = steps[ring].key if support.bridged else None
        return _measured(support, (steps[start].key, stays), "not", tried[latest], question)
    timing: RingTiming = "now" if ring < _emptied(question) else "later"
    return _measured(support, (steps[start].key, steps[ring].key), timing, tried[latest], question)


def _moments(support: Support, question: Question, yields: bool) -> list[tuple[int, int]]:
    """When it may go in, and what stays of it: steps by number, the latest last. Hooks bridge the time until a ring or
    a sutured support goes in; what is sutured beside hooks is so in the empty bag."""
    opened, emptied = _opened(question), _emptied(question)
    count = sum(not step.left for step in question.steps)
    if support.ring and question.whole_nucleus_by_hand and yields:
        return [(opened, opened)]
    starts = range(opened, count)
    waits = question.whole_nucleus_by_hand
    if support.bridged:
        later = [(start, max(start, emptied)) for start in starts]
        at_once = support.kind == "ring-and-hooks" and not waits
        return sorted({*later, *([(start, start) for start in starts] if at_once else [])})
    if not support.ring:
        return [(start, start) for start in starts]
    return [(start, start) for start in starts if not waits or start >= emptied]


def _emptied(question: Question) -> int:
    """The first step with an empty bag."""
    return next((i for i, step in enumerate(question.steps) if step.empty), len(question.steps))


def _opened(question: Question) -> int:
    """The first step with the capsule open; of what comes before, no support changes anything."""
    return next((i for i, step in enumerate(question.steps) if step.open), len(question.steps) - 1)


def _score(outcomes: tuple[Outcome, ...]) -> tuple[int, float]:
    """How many steps hold, and the least reserve of those."""
    held = [o.reserve for o in outcomes if o.held]
    return len(held), min(held, default=0.0)


def _measured(
    support: Support,
    before: tuple[str | None, str | None],
    timing: RingTiming,
    outcomes: tuple[Outcome, ...],
    question: Question,
) -> Row:
    steps, opened = question.steps, _opened(question)
    held = all(o.held for o in outcomes)
    last = next(o for o, step in zip(reversed(outcomes), reversed(steps), strict=True) if not step.left)
    worst = min(range(opened, len(outcomes)), key=lambda i: outcomes[i].reserve)
    return Row(
        support=support,
        before_step=before[0],
        ring_before_step=before[1],
        ring_timing=timing,
        held=held,
        displacement_mm=outcomes[-1].displacement_mm if held else None,
        reserve=outcomes[worst].reserve if held else None,
        peak_load=last.peak_load if held else None,
        by_step=outcomes,
        best=False,
        reasons=(),
        worst_step=steps[worst].key if held else None,
    )

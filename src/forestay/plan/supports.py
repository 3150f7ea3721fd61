"""Which support a weak zonule gets, where and before which step: the search, for the option that was chosen.

Compared by centring, by reserve and by the neighbour's load, all shown; it ranks within this eye and predicts nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from forestay.calc.support import (
    Kind,
    PlannedSupport,
    StepPull,
    SupportInput,
    SupportOutput,
    SupportRow,
    support_search_calculation,
)
from forestay.calc.support_left import SupportLeft, SupportsLeftInput, SupportsLeftOutput, supports_left
from forestay.evidence import EvidenceSet
from forestay.plan.barred import barred
from forestay.plan.margins_zonule import nucleus_share
from forestay.plan.measures import SCLERAL, ring_gap_clock
from forestay.plan.mirror import Frame
from forestay.plan.model import RingRest, SupportRank
from forestay.plan.offers import Offer
from forestay.plan.said import rest_words
from forestay.plan.setting import Setting
from forestay.plan.words_clock import clock_text, hours_text
from forestay.plan.zonule_loads import Loads
from forestay.text import mark, once_per_language, tr

SMALL = (*SCLERAL, "phacoemulsification")
SHOWN_LIMIT = 6
"""Supports that are listed, and what is planned wherever it stands; the calculation gives them all."""
STEPS = {
    "hydrodissection": mark("hydrodissection"),
    "rotation": mark("rotation"),
    "pole-lift": mark("pole lift"),
    "whole-nucleus": mark("whole nucleus"),
    "cortex": mark("cortex"),
    "lens-in": mark("lens in"),
    "left": mark("afterwards, at rest"),
}
"""Steps with an open capsule as the search names them, in words."""
NEEDS: dict[Kind, tuple[str, ...]] = {
    "none": (),
    "hooks": ("capsule-hooks",),
    "ring": ("tension-ring",),
    "ring-and-hooks": ("tension-ring", "capsule-hooks"),
    "segment": ("ring-segment",),
    "sutured-ring": ("ring-segment",),
}
"""What the theatre must have for each kind."""


def supports_of(offer: Offer, frame: Frame) -> tuple[SupportRank, ...]:
    """Supports for this eye, best first; none where the zonule is not treated as weak or the bag is not kept."""
    setting = offer.setting
    if not setting.weak or offer.technique not in SMALL:
        return ()
    found = _search(_question(offer), setting.use.evidence)
    used = setting.use.evidence.reader()
    for key in ("load.borne_share", "load.puncture_travel_mm", "zonule.prestretch_mm"):
        used.row(key)
    setting.use.merge(used)
    prestretch = used.number("zonule.prestretch_mm")
    shown = [(i, row) for i, row in enumerate(found.rows) if i < SHOWN_LIMIT or row.planned]
    ranked = (_rank(i + 1, _timed(row, offer), found, frame, prestretch) for i, row in shown)
    return tuple(replace(row, reasons=(*row.reasons, *_of_teaching(row.kind, setting))) for row in ranked)


def _of_teaching(kind: str, setting: Setting) -> tuple[str, ...]:
    """What is usual at a gap this wide, beside what the model ranks by."""
    gap, plain = setting.gap_hours, setting.use.number("act.ring_plain_hours")
    if kind in ("segment", "sutured-ring") and 0 < gap <= plain:
        return (
            tr("up to {hours:g} lost clock hours a plain ring is usual, without a suture that may break", hours=plain),
        )
    if kind in ("ring", "ring-and-hooks") and gap > plain:
        return (tr("beyond {hours:g} lost clock hours a plain ring is not expected to centre the bag", hours=plain),)
    return ()


def _timed(row: SupportRow, offer: Offer) -> SupportRow:
    """What is planned, with its ring at the planned moment: with the lens in the bag it changes nothing in the model."""
    if not row.planned or offer.measures.ring != "before-nucleus":
        return row
    return row.model_copy(update={"ring_timing": "now"})


def ring_rest_of(loads: Loads | None, frame: Frame) -> RingRest | None:
    """How the empty bag lies with the planned ring, in the eye's own clock hours; None without a ring."""
    found = loads.ring_rest if loads is not None else None
    if found is None:
        return None
    towards = None if found.towards_clock is None else frame.hour(found.towards_clock)
    words = rest_words(found.state, found.off_centre, towards)
    return RingRest(found.state, found.off_centre, towards, found.peak, words)


SAME_ROUNDING = 6  # decimals to which two pairs of hours count as equally weak


def wider_gap(support: Sequence[float], tunnel_clock: float) -> tuple[float, ...]:
    """Support by clock hour with the gap one clock hour wider at each end; without a gap, with the weakest two lost.

    Where several pairs are equally weak, the one nearest to the side away from the tunnel is taken.

    >>> wider_gap((0.9,) * 4 + (0.0, 0.0) + (0.9,) * 6, 12)[2:8]
    (0.9, 0.0, 0.0, 0.0, 0.0, 0.9)
    >>> wider_gap((0.6,) * 12, 12)[4:8]
    (0.6, 0.0, 0.0, 0.6)
    """
    gone = [share <= 0 for share in support]
    count = len(support)
    if any(gone):
        lost = {j % count for i in range(count) if gone[i] for j in (i - 1, i, i + 1)}
    else:
        away = tunnel_clock + count / 2

        def order(i: int) -> tuple[float, float]:
            beyond = abs((i + 1 / 2 - away + count / 2) % count - count / 2)
            return round(support[i] + support[(i + 1) % count], SAME_ROUNDING), beyond

        first = min(range(count), key=order)
        lost = {first, (first + 1) % count}
    return tuple(0.0 if i in lost else float(share) for i, share in enumerate(support))


def left_after(offer: Offer, support: Sequence[float], *, bare: bool = False) -> SupportsLeftOutput:
    """What each support at hand gains once the nucleus is out, with that support by clock hour; ``bare``: none tried."""
    setting = offer.setting
    kinds = () if bare else tuple(kind for kind in _kinds(setting) if kind != "none")
    asked = SupportsLeftInput(
        bag_diameter_mm=setting.estimates.bag_diameter.centre,
        zonule=tuple(float(v) for v in support),
        age_years=setting.case.person.age_years,
        tunnel_clock=offer.measures.tunnel_clock,
        whole_nucleus_by_hand=offer.technique in SCLERAL,
        relaxing_cuts=offer.measures.relaxing_cuts > 0,
        kinds=kinds,
        ring_gap_clock=offer.setting.decisions.ring_gap_clock,
        barred=barred(offer) if kinds else (),
    )
    return _left(asked, setting.use.evidence)


@once_per_language
def _left(question: SupportsLeftInput, evidence: EvidenceSet) -> SupportsLeftOutput:
    found, _ = supports_left.function(question, evidence.reader())
    return found


def left_label(row: SupportLeft, frame: Frame) -> str:
    """A support of the empty bag in words, in the eye's own clock hours."""
    parts = []
    if row.kind in ("ring", "ring-and-hooks") and row.ring_gap_clock is not None:
        parts.append(tr("a tension ring, its opening at {hours}", hours=hours_text((frame.hour(row.ring_gap_clock),))))
    if row.kind == "sutured-ring" and row.fixed_at is not None:
        parts.append(tr("a ring sutured at {hours}", hours=hours_text((frame.hour(row.fixed_at),))))
    if row.hooks:
        parts.append(tr("capsule hooks at {hours}", hours=hours_text(frame.hours(row.hooks))))
    if row.segments:
        parts.append(tr("sutured segment at {hours}", hours=hours_text(frame.hours(row.segments))))
    return ", ".join(parts)


def _question(offer: Offer) -> SupportInput:
    setting, estimates = offer.setting, offer.setting.estimates
    return SupportInput(
        bag_diameter_mm=estimates.bag_diameter.centre,
        zonule=tuple(float(v) for v in estimates.support_mean),
        age_years=setting.case.person.age_years,
        tunnel_clock=offer.measures.tunnel_clock,
        whole_nucleus_by_hand=offer.technique in SCLERAL,
        relaxing_cuts=offer.measures.relaxing_cuts > 0,
        kinds=_kinds(setting),
        ring_gap_clock=_ends(offer),
        barred=barred(offer),
        nucleus_share=nucleus_share(offer) if offer.technique in SCLERAL else None,
        planned=PlannedSupport(ring=offer.measures.ring != "none", hooks=offer.measures.capsule_hook_clocks),
    )


def _ends(offer: Offer) -> float | None:
    """Where the ends of a ring are planned to lie, or would be if one were planned."""
    planned = offer.measures.ring_gap_clock
    return ring_gap_clock(offer.setting, "after-nucleus") if planned is None else planned


def _kinds(setting: Setting) -> tuple[Kind, ...]:
    return tuple(kind for kind, needs in NEEDS.items() if not any(setting.lacks_kit(item) for item in needs))


@once_per_language
def _search(question: SupportInput, evidence: EvidenceSet) -> SupportOutput:
    found, _ = support_search_calculation.function(question, evidence.reader())
    return found


def _rank(rank: int, row: SupportRow, found: SupportOutput, frame: Frame, prestretch_mm: float) -> SupportRank:
    hooks, segments = frame.hours(row.hooks), frame.hours(row.segments)
    ends = None if row.ring_gap_clock is None else frame.hour(row.ring_gap_clock)
    return SupportRank(
        rank=rank,
        label=_label(row, hooks, segments, (ends, None if row.fixed_at is None else frame.hour(row.fixed_at))),
        kind=row.kind,
        hooks=hooks,
        segments=segments,
        ring_timing=row.ring_timing,
        ring_gap_clock=ends,
        before_step=row.before_step,
        held=row.held,
        off_centre=None if row.displacement_mm is None else row.displacement_mm / prestretch_mm,
        reserve=row.reserve,
        worst_step=_worst_step(row, frame),
        peak_load=row.peak_load,
        best=row.best,
        planned=row.planned,
        reasons=(*row.reasons, *_of_planned(row, found, frame)),
    )


def _worst_step(row: SupportRow, frame: Frame) -> str:
    """The step with the least reserve and which way it pulls: ``lens in, from 12 to 6``."""
    if row.worst_step not in STEPS:
        return ""
    step, pulls = tr(STEPS[row.worst_step]), _pulls_at(row)
    if not pulls:
        return step
    pull, *others = pulls
    if pull.from_clock is None or pull.to_clock is None:
        return step
    if pull.kind == "tangential":
        at = frame.hours(tuple(p.from_clock for p in (pull, *others) if p.from_clock is not None))
        return tr("{step}, along the rim at {hours}", step=step, hours=hours_text(at))
    ends = (frame.hour(clock) for clock in (pull.from_clock, pull.to_clock))
    start, end = (clock_text(hour) for hour in ends)
    return tr("{step}, from {start} to {end}", step=step, start=start, end=end)


def _pulls_at(row: SupportRow) -> tuple[StepPull, ...]:
    return next(one.pulls for one in row.by_step if one.step == row.worst_step)


def _of_planned(row: SupportRow, found: SupportOutput, frame: Frame) -> tuple[str, ...]:
    """Where hooks of the plan stand in the way, and which numbers of hooks find no place here."""
    if not row.planned:
        return ()
    met = (
        tr("its hook at {hours} meets {what}", hours=hours_text((frame.hour(one.clock),)), what=one.what)
        for one in row.blocked
    )
    unplaced = (
        tr("for {n} capsule hooks there is no free place: {what}", n=one.hooks, what=", ".join(one.in_the_way))
        for one in found.unplaced
    )
    return (*met, *unplaced)


def _label(
    row: SupportRow,
    hooks: tuple[float, ...],
    segments: tuple[float, ...],
    ring_at: tuple[float | None, float | None],
) -> str:
    """The support in words: ``ring after the nucleus, its opening at 12, capsule hooks at 3 and 9``; ``ring_at``: where
    the ring opens and where it is sutured."""
    ends, fixed = ring_at
    moment = {"now": tr("before the nucleus is out"), "later": tr("after the nucleus"), "not": ""}[row.ring_timing]
    ring = tr("sutured ring") if row.kind == "sutured-ring" else tr("ring")
    parts = [tr("{ring} {moment}", ring=ring, moment=moment)] if moment else []
    if fixed is not None:
        parts.append(tr("its eyelet at {hours}", hours=hours_text((fixed,))))
    if ends is not None:
        parts.append(tr("its opening at {hours}", hours=hours_text((ends,))))
    if hooks:
        parts.append(tr("capsule hooks at {hours}", hours=hours_text(hooks)))
    if segments:
        parts.append(tr("sutured segment at {hours}", hours=hours_text(segments)))
    return ", ".join(parts) or tr("no support")

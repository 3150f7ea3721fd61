"""What a sign at a step would change: the estimate of the zonule under the finding, and what was tried against it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from forestay.calc.manoeuvres import table
from forestay.eye.records import CaseFile
from forestay.eye.validation import validate
from forestay.mechanics import manoeuvre
from forestay.mechanics.support_search_model import gain_rank
from forestay.plan.cue_margins import tried
from forestay.plan.draws import Draws
from forestay.plan.estimates import estimate
from forestay.plan.margins_zonule import nucleus_share
from forestay.plan.measures import hooks_all_round
from forestay.plan.mirror import Frame, to_frame
from forestay.plan.model_risk import FindingChange
from forestay.plan.model_steps import Cue, Remedy, Shift, Step
from forestay.plan.offers import Change, Offer
from forestay.plan.words_clock import hours_text
from forestay.plan.zonule_loads import BEFORE_HOOKS, TECHNIQUES, lens_peaks, lent_by_hooks, springs
from forestay.text import tr

BEFORE_EDGE = ("dye", "puncture")
"""Steps at which the capsule is still whole: a hook on its rim comes later."""
FEW = Draws(2)
"""Only centres are asked here."""
SAME_TOLERANCE = 0.05
"""A shift of support smaller than this many clock hours is not told, nor a gain smaller than this many resting loads."""


def with_findings(
    steps: Sequence[Step],
    changes: Sequence[FindingChange],
    offer: Offer | None,
    case: CaseFile,
    frame: Frame,
) -> tuple[Step, ...]:
    """The steps; each cue that names a finding or a margin also says what it would change and what helps, best first."""
    by_key = {c.key: c for c in changes}
    known: dict[str, tuple[Remedy, ...]] = {}
    rows = []
    for step in steps:
        cues = []
        for cue in step.cues:
            change = by_key.get(cue.finding or "")
            if change is None:
                cues.append(_with_margin(cue, offer, frame) if cue.margin and offer else cue)
                continue
            if change.key not in known:
                known[change.key] = remedies(offer, case, change) if offer else ()
            shifts, found = _shifts(change), known[change.key]
            means, then = cue.plain
            if shifts:
                moved = tr("; ").join(s.says for s in shifts)
                if "surgery.lens_travel_mm" in change.facts:
                    moved = tr("at {mm:.1f} mm {moved}", mm=change.facts["surgery.lens_travel_mm"], moved=moved)
                means = tr("{means}; {moved}", means=means, moved=moved)
            if found:
                tried_words = ", ".join(r.says for r in found)
                then = (
                    tr("{then}; worked out, once there is an edge: {found}", then=then, found=tried_words)
                    if step.key in BEFORE_EDGE
                    else tr("{then}; worked out: {found}", then=then, found=tried_words)
                )
            cues.append(replace(cue, means=means, then=then, shifts=shifts, remedies=found, judged_by=_judged(found)))
        rows.append(replace(step, cues=tuple(cues)))
    return tuple(rows)


def _with_margin(cue: Cue, offer: Offer, frame: Frame) -> Cue:
    """The cue with how it moves its margin and what helps, by the margin gained."""
    found = tried(cue.margin or "", offer, frame)
    means, then = cue.plain
    moved = [s.says for s in found.shifts] + ([found.says] if found.says else [])
    if moved:
        means = tr("{means}; {moved}", means=means, moved="; ".join(moved))
    if found.remedies:
        then = tr("{then}; worked out: {found}", then=then, found=", ".join(r.says for r in found.remedies))
    judged = found.judged_by if found.remedies else None
    return replace(cue, means=means, then=then, shifts=found.shifts, remedies=found.remedies, judged_by=judged)


def _judged(found: Sequence[Remedy]) -> str | None:
    return tr("what the most stretched fibre is asked for, nucleus still in") if found else None


def _shifts(change: FindingChange) -> tuple[Shift, ...]:
    """Before and after, where the finding moves them."""
    rows = []
    if abs(change.hours_after - change.hours_before) >= SAME_TOLERANCE:
        unit = tr("healthy clock hours")
        says = tr("support {a:.1f} to {b:.1f} of 12 healthy clock hours", a=change.hours_before, b=change.hours_after)
        rows.append(Shift(tr("zonular support"), change.hours_before, change.hours_after, unit, says))
    for label, a, b in (
        (tr("weak"), change.weak_before, change.weak_after),
        (tr("very weak or worse"), change.marked_before, change.marked_after),
    ):
        if round(100 * a) != round(100 * b):
            says = tr("{label} {a:.0f} to {b:.0f} %", label=label, a=100 * a, b=100 * b)
            rows.append(Shift(label, a, b, "", says))
    return tuple(rows)


def remedies(offer: Offer, case: CaseFile, change: FindingChange) -> tuple[Remedy, ...]:
    """Supports tried under the finding, by how much less the most stretched fibre is asked for; best first.

    Only what can go in while the nucleus is still in the bag, on the rigid disc; it ranks within this eye.
    """
    if offer.technique not in TECHNIQUES["rotation"]:
        return ()
    data = case.model_dump(mode="python", exclude_none=True)
    for path, value in change.facts.items():
        section, key = path.split(".")
        data.setdefault(section, {})[key] = value
    turned, _, frame = to_frame(validate(CaseFile, data), offer.setting.decisions)
    use = offer.setting.use
    setting = replace(offer.setting, case=turned, estimates=estimate(turned, FEW, use))
    under = replace(offer, setting=setting)
    worst = _worst(under, _changes(under))
    unit = tr("x healthy resting load")
    rows = []
    for found, asked in zip(_changes(under), worst[1:], strict=True):
        gain = worst[0] - asked
        if gain > SAME_TOLERANCE and np.isfinite(gain):
            at = frame.hours(found.offer.measures.capsule_hook_clocks)
            words = tr("{what} at {hours}", what=found.words, hours=hours_text(at))
            here = None if turned.theatre.has is None else not setting.lacks_kit("capsule-hooks")
            says = tr("{words} (the fibre most pulled carries {gain:.1f} healthy loads less)", words=words, gain=gain)
            rows.append(Remedy(words, gain, unit, here, says))
    return tuple(sorted(rows, key=lambda r: gain_rank(r.gain)))


def _changes(offer: Offer) -> list[Change]:
    """Capsule hooks that are not planned yet, where there are any."""
    m = offer.measures
    if offer.setting.lacks_kit("capsule-hooks"):
        return []
    clocks = hooks_all_round(offer.technique, m.tunnel_clock, m.hook_clocks)
    if len(clocks) <= len(m.capsule_hook_clocks):
        return []
    return [Change(tr("{n} capsule hooks", n=len(clocks)), offer.with_measures(capsule_hook_clocks=clocks))]


def _worst(offer: Offer, changes: Sequence[Change]) -> list[float]:
    """The most stretched fibre at the hardest step with the nucleus in: as planned, then with each change."""
    use, e = offer.setting.use, offer.setting.estimates
    share, hook_share = nucleus_share(offer), use.number("load.hook_share")
    columns = [
        np.minimum(e.support_mean + lent_by_hooks(o.measures.capsule_hook_clocks, hook_share), 1.0)
        for o in (offer, *(c.offer for c in changes))
    ]
    steps = [
        m if share is None or m.key != "whole-nucleus" else replace(m, share=share)
        for m in table(use)
        if offer.technique in TECHNIQUES[m.key] and m.stage != "empty" and m.key not in BEFORE_HOOKS
    ]
    parameters = springs(bag_diameter_mm=e.bag_diameter.centre, age_years=offer.setting.case.person.age_years, use=use)
    force = manoeuvre.puncture_force_mn(springs=parameters, travel_mm=use.number("load.puncture_travel_mm"))
    peaks = lens_peaks(
        np.stack(columns, axis=1), steps, parameters=parameters, force_mn=force, tunnel_at=offer.measures.tunnel_clock,
        worked_at=manoeuvre.weakest_hour(
            support=tuple(float(v) for v in e.support_mean), tunnel_clock=offer.measures.tunnel_clock
        ),
    )  # fmt: skip
    return [float(v) for v in peaks.max(axis=0)]

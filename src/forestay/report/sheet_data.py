"""What the printed sheet says, as plain JSON: every word is ready here, the template only sets it."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from forestay.draw.above import describe_above, draw_above
from forestay.draw.above_legend import key_samples
from forestay.draw.palette import PAPER
from forestay.draw.rope import draw_rope, interval_words, rope_scales, rope_sentence, state_words
from forestay.plan.model import Conflict, Cue, Margin, Plan, Step
from forestay.report import words as say
from forestay.text import language, tr

CONFLICT_STOPS = {
    "one-piece-and-sulcus": "one-piece-soft-lens-in-sulcus",
    "low-count-and-anterior-chamber-lens": "anterior-chamber-lens",
    "sulfonamide-and-acetazolamide": "acetazolamide-sulfonamide",
}
"""Conflicts that a stop says in full, with the stop."""


def sheet(plan: Plan, *, label: str, invented: bool, made_at: datetime) -> dict[str, Any]:
    """Everything on the two pages."""
    own = say.own_doubts(plan)
    return {
        "language": language(),
        "title": tr("Plan for {label}, {side}", label=label, side=say.plan_side(plan).lower()),
        "side": say.plan_side(plan),
        "case": label,
        "invented": tr("invented scenario") if invented else "",
        "about": say.about_words(plan),
        "made": tr("made {moment}", moment=say.moment_words(made_at)),
        "version": say.version_words(plan),
        "caution": plan.caution,
        "decision": plan.decision.sentence,
        "first": [{"do": f.do, "why": f.why} for f in plan.decision.first],
        "choice": say.choice_words(plan),
        "pictures": _pictures(plan),
        "margins": _margins(plan),
        "unassessed": [say.unassessed_words(u) for u in plan.unassessed],
        "steps": [_step(s) for s in plan.steps],
        "fallbacks": [{"event": say.capital(f.event), "signs": f.signs, "do": list(f.do)} for f in plan.fallbacks],
        "conflicts": [
            {"between": tr(" or ").join(c.between), "settled": c.settled, "why": c.why, "stopped": _stopped(c, plan)}
            for c in plan.conflicts
        ],
        "stops": [{"must_not": say.capital(s.must_not), "why": s.why} for s in plan.stops],
        "lens": _lens(plan),
        "kit": [{"item": k.item, "why": k.why, "state": say.missing_words(k)} for k in say.kit_items(plan)],
        "doses": [
            {"drug": d.drug, "purpose": d.purpose, "preparation": d.preparation, "dose": d.dose, "caution": d.caution}
            for d in plan.doses
        ],
        "after": _after(plan),
        "risks": say.risk_words(plan),
        "consent": list(plan.consent),
        "doubts": [*(say.check_words(c) for c in plan.checks if c.level != "note"), *(d.message for d in own)],
        "general_doubts": len(plan.doubts) - len(own),
        "deciding_doubts": sum(len(g.doubts) for g in plan.doubt_groups if g.key == "decides"),
        "labels": _labels(),
    }


def _stopped(conflict: Conflict, plan: Plan) -> bool:
    """Whether the stops on the back say the same, so that a full front may leave it to them."""
    return CONFLICT_STOPS.get(conflict.key, "") in {s.key for s in plan.stops}


def _pictures(plan: Plan) -> dict[str, Any]:
    if plan.drawing is None or plan.measures is None:
        return {}
    return {
        "above": draw_above(plan.drawing, plan.measures, handles=False, palette=PAPER, with_key=False),
        "key": [
            {"mark": mark.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1), "says": says}
            for mark, says in key_samples(plan.drawing, plan.measures, palette=PAPER)
        ],
        "above_says": describe_above(plan.drawing, plan.measures),
    }


def _margins(plan: Plan) -> dict[str, list[dict[str, str]]]:
    scales = rope_scales(plan.margins)
    groups: dict[str, list[dict[str, str]]] = {"main": [], "zonule": []}
    for margin in plan.margins:
        groups[margin.group].append(_margin(margin, scales[margin.unit, margin.scale]))
    return groups


def _margin(margin: Margin, scale: float) -> dict[str, str]:
    return {
        "step": margin.step + say.weak_mark(margin),
        "says": margin.says,
        "state": state_words(margin),
        "interval": interval_words(margin),
        "chance": say.margin_chance(margin),
        "widen": say.widen_words(margin),
        "rope": draw_rope(margin, palette=PAPER, scale_mm=scale),
        "sentence": rope_sentence(margin),
    }


def _step(step: Step) -> dict[str, Any]:
    over = tr(" Take over: {when}", when=step.take_over) if step.take_over else ""
    return {
        "name": step.name,
        "do": step.do + over,
        "cues": [_cue(c) for c in step.cues],
    }


def _cue(cue: Cue) -> dict[str, str]:
    """A cue on paper: of what was tried against it only the best; the page of the case lists the rest."""
    means, then = cue.plain if cue.plain != ("", "") else (cue.means, cue.then)
    if cue.remedies:
        then = tr("{then}; best worked out: {best}", then=then, best=cue.remedies[0].says)
    return {"see": cue.see, "means": means, "then": then}


def _lens(plan: Plan) -> dict[str, Any]:
    lens = plan.lens
    rows = [
        {
            "label": p.label,
            "power": say.power_words(p.power_d),
            "choices": say.boxed_choices(p, lens.target_d),
            "spread": f"± {p.sd_d:.2f}" if p.sd_d is not None and p.power_d is not None else "",
            "note": p.note if p.allowed else "",
            "allowed": p.allowed,
        }
        for p in lens.positions
    ]
    return {
        "basis": say.lens_basis(lens),
        "rows": rows,
        "says": [*lens.learnt, *([str(lens.displaced["says"])] if lens.displaced else [])],
        "cornea": plan.astigmatism.says,
        "astigmatism": "; ".join(part.rstrip(".") for part in _cornea(plan) if part),
    }


def _cornea(plan: Plan) -> tuple[str, ...]:
    a = plan.astigmatism
    return a.says, a.place_says, plan.drawing.seat_says if plan.drawing else "", a.own_says, a.toric_says


def _after(plan: Plan) -> dict[str, Any]:
    return {
        "visits": [{"when": v.when, "check": v.check, "act_on": v.act_on} for v in plan.after.visits],
        "pressure": plan.after.pressure_check,
        "warnings": list(plan.after.warnings),
    }


def _labels() -> dict[str, str]:
    """Headings and fixed words. ``{n}``, ``{x}`` and ``{y}`` are filled by the template."""
    return {
        "patient": tr("patient label"),
        "checked": tr("side, lens and consent read aloud by"),
        "at": tr("at"),
        "front": tr("Plan"),
        "back": tr("Fallbacks"),
        "page": tr("page {x} of {y}", x="{x}", y="{y}"),
        "first": tr("First"),
        "margins": tr("Margins"),
        "short": tr("short"),
        "enough": tr("just enough"),
        "room": tr("room"),
        "chance": tr("chance"),
        "weak": tr("° rests on weak evidence"),
        "zonule": tr("Zonule, against a healthy eye"),
        "ranks": tr("ranks options, says nothing about percentages"),
        "unassessed": tr("Not assessed"),
        "steps": tr("Steps"),
        "see": tr("if"),
        "fallbacks": tr("If this happens"),
        "stops": tr("Must not be done in this eye"),
        "conflicts": tr("One or the other"),
        "lens": tr("Lens by position"),
        "position": tr("position"),
        "exact": tr("exact D"),
        "to_choose": tr("nearest D, leaves"),
        "not_here": tr("not here"),
        "kit": tr("On the trolley"),
        "missing": tr("Missing"),
        "doses": tr("Doses"),
        "after": tr("After"),
        "pressure": tr("Pressure"),
        "warn": tr("Tell the patient"),
        "consent": tr("Before consent"),
        "consent_elsewhere": tr(
            "{n} points to settle before consent, {m} warnings for the patient: consent sheet, page of this case",
            n="{n}",
            m="{m}",
        ),
        "act_on": tr("act on"),
        "doubts": tr("Doubts and checks"),
        "astigmatism": tr("Cornea"),
        "no_picture": tr("No drawing: no operation is planned here."),
        "more": tr("+ {n} more, on the page of this case and in the exported plan", n="{n}"),
        "risk": tr("Risk"),
        "more_risks": tr("{n} more risks on the page of this case.", n="{n}"),
        "general_doubts": tr(
            "{n} doubts about the evidence itself, {k} of them behind what is short or decides here: page of this case, "
            "exported plan",
            n="{n}",
            k="{k}",
        ),
        "all_doubts": tr("{n} doubts and checks: page of this case, exported plan", n="{n}"),
        "more_signs": tr("+ {n} more", n="{n}"),
        "signs_elsewhere": tr("{n} more signs to watch for stand on the page of this case", n="{n}"),
        "longer": tr("Shortened to fit: the whole plan is on the page of this case and in the exported plan."),
    }

"""From a case and its plan to the views of theatre."""

from __future__ import annotations

from uuid import uuid4

from markupsafe import Markup

from forestay.case.bodies import UNITS
from forestay.draw.above import draw_above
from forestay.draw.palette import SCREEN
from forestay.plan.compare import Changes
from forestay.plan.model import Cue, Plan, Step
from forestay.plan.theatre import FindingRule, check_groups, finding_rules, rule_for_cue
from forestay.services.cases import KeptCase
from forestay.services.theatre import OTHER_MODEL, Stand, planned_power, ticked_checks
from forestay.text import tr
from forestay.web.views.case import ChangeRow, ChangesView
from forestay.web.views.case_build import band, case_label
from forestay.web.views.shell import shell
from forestay.web.views.theatre import (
    CheckGroupRow,
    CheckRow,
    ChecksView,
    CueButton,
    FoundPanel,
    LensCheckView,
    StepLink,
    TheatreView,
)

KEYS = 9
"""Findings that a digit key presses."""


def theatre_view(
    opened: KeptCase,
    plan: Plan,
    at: Stand,
    *,
    wall: bool,
    found: str = "",
    changes: Changes | None = None,
    above: str | None = None,
) -> TheatreView:
    """One step. ``found`` is what was just kept; ``changes`` what it changed in the plan; ``above`` the drawing of this
    plan, where it was made already."""
    here = f"/cases/{opened.case_id}/theatre"
    step, steps = at.step, plan.steps
    cues = tuple(_cue(i, cue) for i, cue in enumerate(step.cues, start=1)) if step else ()
    following = steps[at.index + 1] if at.index + 1 < len(steps) else None
    before = steps[at.index - 1] if at.index else None
    return TheatreView(
        shell=shell(tr("Theatre · {case}", case=case_label(opened.case_id))),
        case_id=opened.case_id,
        band=band(opened),
        wall=wall,
        step_key=step.key if step else "",
        step=step.name if step else tr("No steps: the plan does not operate here."),
        place=tr("step {n} of {all}", n=at.index + 1, all=len(steps)) if step else "",
        do=_do(step) if step else plan.decision.sentence,
        who=" · ".join(part for part in (step.who, ", ".join(step.kit)) if part) if step else "",
        cues=cues,
        always=tuple(_always(i, rule) for i, rule in enumerate((r for r in finding_rules() if r.always), start=1)),
        next_step=following.name if following else "",
        back=f"{here}?step={before.key}" if before else "",
        steps=tuple(_link(here, s, at) for s in steps),
        last=str(at.last) if at.last else None,
        done=bool(step and step.key in at.done),
        found=_found(found, plan, step),
        changes=ChangesView(changes.line, tuple(ChangeRow(c.words, c.why) for c in changes.items)) if changes else None,
        above=Markup(drawn(plan) if above is None else above) or None,  # noqa: S704 - our own
        started=at.entered.isoformat() if at.entered else "",
        started_words=_since(at),
        stops=tuple(stop.must_not for stop in plan.stops),
        head=opened.head,
        key=str(uuid4()),
        caution=plan.caution,
    )


def _since(at: Stand) -> str:
    """Since when the case is under way, and when its first step was done."""
    if at.entered is None:
        return ""
    began = at.entered.astimezone().strftime("%H:%M")
    if at.started is None:
        return tr("in theatre since {time}", time=began)
    first = at.started.astimezone().strftime("%H:%M")
    return tr("in theatre since {time}, first step done at {first}", time=began, first=first)


def drawn(plan: Plan) -> str:
    """The eye from above; empty where there is no drawing."""
    if plan.drawing is None or plan.measures is None:
        return ""
    return draw_above(plan.drawing, plan.measures, handles=False, palette=SCREEN, with_key=False)


def _link(here: str, step: Step, at: Stand) -> StepLink:
    return StepLink(
        step.name,
        f"{here}?step={step.key}",
        step.key in at.done,
        bool(at.step and step.key == at.step.key),
    )


def _do(step: Step) -> str:
    """What to do, and what ends a trainee's turn at this step, as agreed."""
    return tr("{do} Take over: {when}.", do=step.do, when=step.take_over) if step.take_over else step.do


def _cue(number: int, cue: Cue) -> CueButton:
    rule = rule_for_cue(cue.see)
    ask, unit = asked(rule)
    return CueButton(number if number <= KEYS else 0, f"cue {cue.see}", cue.see, cue.means, cue.then, ask, unit)


def _always(number: int, rule: FindingRule) -> CueButton:
    ask, unit = asked(rule)
    del number
    return CueButton(0, f"rule {rule.key}", tr(rule.say), "", "", ask, unit)


def asked(rule: FindingRule | None) -> tuple[str, str]:
    """What a finding asks for, and in which unit."""
    if rule is None or rule.ask is None:
        return "", ""
    if rule.ask == "signs.dialysis_clock_hours":
        return tr("clock hours, as in 4-6"), tr("o'clock")
    unit = next((unit for ending, unit in UNITS.items() if rule.ask.endswith(ending)), "")
    return tr("measured"), unit


def _found(name: str, plan: Plan, step: Step | None) -> FoundPanel | None:
    """What to do now: the cue's own words, then the ladder of the plan that answers it."""
    kind, _, what = name.partition(" ")
    if kind == "cue":
        cue = next((c for s in plan.steps for c in s.cues if c.see == what), None)
        rule = rule_for_cue(what)
    else:
        cue, rule = None, next((r for r in finding_rules() if r.key == what), None)
    if cue is None and rule is None:
        return None
    del step
    ladder = next((f for f in plan.fallbacks if rule is not None and rule.ladder and f.key == rule.ladder), None)
    do = ((cue.then,) if cue else ()) + (ladder.do if ladder else ())
    see = cue.see if cue else tr(rule.say) if rule else ""
    means = cue.means if cue else (ladder.signs if ladder else "")
    stays = (
        tr(rule.stays) if rule and rule.stays else tr("No figure of the plan rests on it; the words of the step lead.")
    )
    return FoundPanel(see, means, do, stays, _powers(plan, rule.positions if rule else ()))


def _powers(plan: Plan, positions: tuple[str, ...]) -> str:
    """The plan's powers for these places, so that nobody has to look for them then."""
    found = [one for one in (planned_power(plan, position) for position in positions) if one is not None]
    told = ", ".join(tr("{place} {power:+.2f} D", place=place.label, power=power) for place, power in found)
    return tr("Powers of this plan, if a lens goes in: {list}.", list=told) if told else ""


def checks_view(opened: KeptCase, plan: Plan) -> ChecksView:
    """The checks, each with the time at which it was ticked."""
    kept = ticked_checks(opened)
    groups = tuple(
        CheckGroupRow(
            tr(group.name),
            tuple(
                CheckRow(name := f"{group.key} {item.key}", tr(item.text), kept[name][0] if name in kept else "")
                for item in group.items
            ),
            group.sources,
        )
        for group in check_groups()
    )
    first = next((step.do for step in plan.steps if step.key == "time-out"), plan.decision.sentence)
    return ChecksView(
        shell=shell(tr("Checks · {case}", case=case_label(opened.case_id))),
        case_id=opened.case_id,
        band=band(opened),
        groups=groups,
        aloud=first,
        stops=tuple(stop.must_not for stop in plan.stops),
        head=opened.head,
        key=str(uuid4()),
        caution=plan.caution,
    )


def lens_check_view(
    opened: KeptCase,
    plan: Plan,
    *,
    form: dict[str, str],
    lines: tuple[tuple[bool, str], ...] = (),
    fits: bool = False,
    failure: str = "",
) -> LensCheckView:
    """The form that compares the box in hand, with its answer."""
    positions = []
    for p in plan.lens.positions:
        planned = planned_power(plan, p.position)
        words = tr("{label}: {power:+.2f} D planned", label=p.label, power=planned[1]) if planned else p.label
        positions.append((p.position, words))
    named = dict.fromkeys(p.box.lens for p in plan.lens.positions if p.box is not None and p.box_is_near)
    models = tuple((name, name) for name in named)
    usual = plan.measures.lens_position if plan.measures else ""
    verdict = (tr("It matches.") if fits else tr("It does not match. Do not open the box.")) if lines else ""
    return LensCheckView(
        shell=shell(tr("Lens in hand · {case}", case=case_label(opened.case_id))),
        case_id=opened.case_id,
        band=band(opened),
        positions=tuple(positions),
        position=form.get("position", usual),
        models=(*models, (OTHER_MODEL, tr("another model"))) if models else (),
        model=form.get("model", ""),
        power=form.get("power", ""),
        side=form.get("side", ""),
        code=form.get("code", ""),
        lines=lines,
        verdict=verdict,
        fits=fits,
        failure=failure,
        head=opened.head,
        key=form.get("key") or str(uuid4()),
        caution=plan.caution,
    )

"""What changed between two plans of one eye, and why: one plain line, and the whole list in order of weight.

Pure and without a rule of its own: it reads what both plans say and names what was moved. What is done at once comes first,
then a margin that turned from room to short or back, the decision, the technique, what must not be done, the margins that
moved, devices, kit, steps, risks and follow-up.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum, auto
from typing import Any

from forestay.plan.events import urgent
from forestay.plan.model import Margin, Measures, Plan
from forestay.plan.said import Cause, causes, hours_of, ring_words
from forestay.plan.words import TECHNIQUES
from forestay.text import tr

SAME_TOLERANCE = 5e-4
"""Two margins that differ by less than this, in their unit, are the same."""
WRITTEN_TOLERANCE = 0.05
"""A number under this is nothing when written with one decimal."""
TOLD_STEPS = 4
"""How much the line names; the list has it all."""


class Weight(IntEnum):
    """What matters more comes first."""

    NOW = auto()
    TURNED = auto()
    DECISION = auto()
    TECHNIQUE = auto()
    STOP = auto()
    MOVED = auto()
    MEASURE = auto()
    KIT = auto()
    STEP = auto()
    RISK = auto()
    AFTER = auto()


@dataclass(frozen=True)
class Change:
    """One thing that changed. ``by`` is the change of a margin in its unit; ``key`` names what changed."""

    weight: Weight
    key: str
    words: str
    why: str
    by: float | None = None


@dataclass(frozen=True)
class Changes:
    """All that changed: one line, and the list, what matters most first. ``line`` is empty where nothing was moved."""

    line: str
    items: tuple[Change, ...]
    causes: tuple[str, ...]


def compare(before: Plan, after: Plan) -> Changes:
    """What ``after`` says otherwise than ``before``, each with the control or finding that moved it.

    Both plans are of one eye. What a plan gives only when it is whole (options beside the first, ranked supports,
    intervals of loads that only rank) takes no part.
    """
    moved = causes(before, after)
    found = [*_margins(before, after, moved), *_choice(before, after, moved), *_measures(before, after, moved)]
    found += _ring_rest(before, after, moved)
    found += [*_stops(before, after, moved), *_kit(before, after, moved), *_steps(before, after, moved)]
    found += [*_risks(before, after, moved), *_after(before, after, moved)]
    items = tuple(sorted(found, key=lambda c: (c.weight, -_size(c, before))))
    line = _line(moved, items, before, after) if moved or items else ""
    return Changes(line, items, tuple(c.words for c in moved))


def _size(change: Change, before: Plan) -> float:
    """How far a margin moved, in widths of its interval: lengths, cells and dioptres become comparable."""
    if change.by is None:
        return 0.0
    margin = next((m for m in before.margins if m.key == change.key), None)
    width = margin.high - margin.low if margin is not None else 0.0
    return abs(change.by) / width if width > SAME_TOLERANCE else abs(change.by)


def _why(moved: Sequence[Cause], rests_on: Sequence[str] = ()) -> str:
    """The causes that something rests on; all of them where none is named."""
    named = [c for c in moved if any(c.touches(path) for path in rests_on)]
    return tr("; ").join(c.words for c in named or moved)


def _margins(before: Plan, after: Plan, moved: Sequence[Cause]) -> Iterator[Change]:
    earlier = {m.key: m for m in before.margins}
    for margin in after.margins:
        was = earlier.pop(margin.key, None)
        why = _why(moved, margin.rests_on)
        if was is None:
            yield Change(Weight.MOVED, margin.key, tr("{step}: new", step=_step(margin)), why)
            continue
        by = margin.margin - was.margin
        if abs(by) < SAME_TOLERANCE:
            continue
        turned = (margin.margin < 0) != (was.margin < 0)
        words = _turned_words(margin) if turned else _moved_words(margin, by)
        yield Change(Weight.TURNED if turned else Weight.MOVED, margin.key, words, why, by)
    for gone in earlier.values():
        yield Change(Weight.MOVED, gone.key, tr("{step}: no longer asked", step=_step(gone)), _why(moved))


def _step(margin: Margin) -> str:
    known = {
        "pupil": tr("the pupil"),
        "capsulorhexis": tr("the nucleus"),
        "chamber": tr("the chamber"),
        "tunnel": tr("the tunnel"),
        "cornea": tr("the cornea"),
        "refraction": tr("the refraction"),
        "lens-support": tr("the lens"),
    }
    if margin.group == "zonule":
        return tr("the zonule at {step}", step=margin.step)
    return known.get(margin.key, margin.step.lower())


def _amount(value: float, unit: str) -> str:
    if unit == "mm":
        return tr("{mm:.1f} mm", mm=value) if value >= WRITTEN_TOLERANCE else tr("under 0.1 mm")
    if unit == "D":
        return tr("{d:.2f} D", d=value)
    return tr("{value:,.0f} {unit}", value=value, unit=unit)


def _turned_words(margin: Margin) -> str:
    step, short = _step(margin), margin.margin < 0
    if margin.scale == "comparative":
        return tr("{step} is now short", step=step) if short else tr("{step} now has room", step=step)
    amount = _amount(abs(margin.margin), margin.unit)
    if short:
        return tr("{step} is now short by {amount}", step=step, amount=amount)
    return tr("{step} now has {amount} of room", step=step, amount=amount)


def _moved_words(margin: Margin, by: float) -> str:
    step, more = _step(margin), by > 0
    if margin.scale == "comparative":
        return tr("{step} has more room", step=step) if more else tr("{step} has less room", step=step)
    amount = _amount(abs(by), margin.unit)
    still = tr(", still short") if margin.margin < 0 else ""
    if more:
        return tr("{step} has {amount} more{still}", step=step, amount=amount, still=still)
    return tr("{step} {amount} less{still}", step=step, amount=amount, still=still)


def _choice(before: Plan, after: Plan, moved: Sequence[Cause]) -> Iterator[Change]:
    why = _why(moved)
    if before.decision.decision != after.decision.decision:
        yield Change(Weight.DECISION, "decision", tr("now: {decision}", decision=after.decision.sentence), why)
    if before.chosen.technique != after.chosen.technique:
        words = tr("{after} instead of {before}", after=_technique(after), before=_technique(before))
        yield Change(Weight.TECHNIQUE, "technique", words, why)


def _technique(plan: Plan) -> str:
    name = plan.chosen.technique
    return tr(TECHNIQUES[name]) if name in TECHNIQUES else name.replace("-", " ")


def _measures(before: Plan, after: Plan, moved: Sequence[Cause]) -> Iterator[Change]:
    """What is planned otherwise and was not itself moved: it follows from what was."""
    one, two = before.measures, after.measures
    if one is None or two is None:
        return
    own = {c.name for c in moved}
    for name, words in _planned(one, two):
        if name not in own:
            yield Change(Weight.MEASURE, name, words, _why(moved))


def _planned(one: Measures, two: Measures) -> Iterator[tuple[str, str]]:
    if one.ring != two.ring:
        yield "ring", tr("{after} instead of {before}", after=ring_words(two.ring), before=ring_words(one.ring))
    if one.capsule_hook_clocks != two.capsule_hook_clocks:
        if two.capsule_hook_clocks:
            yield "capsule_hooks", tr("capsule hooks at {hours}", hours=hours_of(two.capsule_hook_clocks))
        else:
            yield "capsule_hooks", tr("no capsule hooks")
    if one.pupil_hooks != two.pupil_hooks:
        yield "pupil_hooks", tr("{after} iris hooks instead of {before}", after=two.pupil_hooks, before=one.pupil_hooks)
    if one.capsulorhexis_mm != two.capsulorhexis_mm and one.capsulorhexis_mm and two.capsulorhexis_mm:
        yield (
            "capsulorhexis_mm",
            tr(
                "opening {after:g} mm instead of {before:g}",
                after=two.capsulorhexis_mm,
                before=one.capsulorhexis_mm,
            ),
        )
    if one.tunnel_clock != two.tunnel_clock:
        yield "tunnel_clock", tr("tunnel at {after}", after=hours_of((two.tunnel_clock,)))
    if one.tunnel_outer_mm != two.tunnel_outer_mm:
        yield "tunnel_chord_mm", tr("tunnel {after:.1f} mm", after=two.tunnel_outer_mm)
    if one.lens_position != two.lens_position:
        if two.lens_position == "aphakia":
            yield "lens_position", tr("no lens for now")
        else:
            yield "lens_position", tr("lens in the {where}", where=two.lens_position.replace("-", " "))
    if one.anaesthetic != two.anaesthetic and two.anaesthetic:
        yield "anaesthetic", tr("anaesthesia: {name}", name=two.anaesthetic)


def _ring_rest(before: Plan, after: Plan, moved: Sequence[Cause]) -> Iterator[Change]:
    """How the bag lies with its ring in, where a ring is planned before and after."""
    one, two = before.ring_rest, after.ring_rest
    if one is None or two is None or one.words == two.words:
        return
    words = two.words
    if one.off_centre is not None and two.off_centre is not None:
        by = two.off_centre - one.off_centre
        if by > WRITTEN_TOLERANCE:
            words = tr("{words}: further than before", words=two.words)
        elif by < -WRITTEN_TOLERANCE:
            words = tr("{words}: nearer the middle than before", words=two.words)
        else:
            words = tr("{words}: as far as before, another way", words=two.words)
    yield Change(Weight.MOVED, "ring-rest", words, _why(moved, ("measure.ring", "signs")))


def _stops(before: Plan, after: Plan, moved: Sequence[Cause]) -> Iterator[Change]:
    old, new = ({s.key: s.must_not for s in plan.stops} for plan in (before, after))
    for key in (*new, *(k for k in old if k not in new)):
        if key not in old:
            yield Change(Weight.STOP, key, tr("must not: {what}", what=new[key]), _why(moved))
        elif key not in new:
            yield Change(Weight.STOP, key, tr("no longer barred: {what}", what=old[key]), _why(moved))


def _kit(before: Plan, after: Plan, moved: Sequence[Cause]) -> Iterator[Change]:
    old, new = ([item.item for item in plan.kit["items"]] for plan in (before, after))
    for item in new:
        if item not in old:
            yield Change(Weight.KIT, item, tr("have ready: {item}", item=item), _why(moved))
    for item in old:
        if item not in new:
            yield Change(Weight.KIT, item, tr("not needed: {item}", item=item), _why(moved))


def _told(step: Any) -> tuple[Any, ...]:
    """What a step tells to do, without what was worked out for its findings: a look leaves that out."""
    return step.do, tuple((cue.see, cue.plain) for cue in step.cues)


def _steps(before: Plan, after: Plan, moved: Sequence[Cause]) -> Iterator[Change]:
    old: Mapping[str, Any] = {s.key: s for s in before.steps}
    new: Mapping[str, Any] = {s.key: s for s in after.steps}
    for key, step in new.items():
        if key not in old and key in urgent():
            yield Change(Weight.NOW, key, tr("now “{step}”", step=step.name), _why(moved))
        elif key not in old:
            yield Change(Weight.STEP, key, tr("new step: {name}", name=step.name), _why(moved))
        elif _told(step) != _told(old[key]):
            yield Change(Weight.STEP, key, tr("step {name} reads otherwise", name=step.name), _why(moved))
    for key, step in old.items():
        if key not in new:
            yield Change(Weight.STEP, key, tr("step left out: {name}", name=step.name), _why(moved))


def _risks(before: Plan, after: Plan, moved: Sequence[Cause]) -> Iterator[Change]:
    """Risks that something that happened in the operation brings or ends; a chance that only moves is read on the page."""
    if before.happened == after.happened or before.chosen.technique != after.chosen.technique:
        return
    old, new = (
        {r.name: r for o in p.options if o.technique == p.chosen.technique for r in o.risks} for p in (before, after)
    )
    for name, risk in new.items():
        if name not in old:
            words = tr("from now on: {label} {p:.1%}", label=risk.label, p=risk.probability)
            yield Change(Weight.RISK, name, words, _why(moved))
    for name, risk in old.items():
        if name not in new and risk.of_this_eye:
            yield Change(
                Weight.RISK, name, tr("{label}: no longer a chance, it has come", label=risk.label), _why(moved)
            )


def _after(before: Plan, after: Plan, moved: Sequence[Cause]) -> Iterator[Change]:
    """Visits, the pressure check and what the patient is told."""
    for visit in after.after.visits:
        if visit not in before.after.visits:
            words = tr("visit {when}: {check}", when=visit.when, check=visit.check)
            yield Change(Weight.AFTER, f"{visit.when}: {visit.check}", words, _why(moved))
    for visit in before.after.visits:
        if visit not in after.after.visits:
            words = tr("no longer: visit {when}, {check}", when=visit.when, check=visit.check)
            yield Change(Weight.AFTER, f"{visit.when}: {visit.check}", words, _why(moved))
    if before.after.pressure_check != after.after.pressure_check:
        yield Change(Weight.AFTER, "pressure", tr("pressure: {when}", when=after.after.pressure_check), _why(moved))
    for warning in after.after.warnings:
        if warning not in before.after.warnings:
            yield Change(Weight.AFTER, warning, tr("tell the patient: {what}", what=warning), _why(moved))


def _line(moved: Sequence[Cause], items: Sequence[Change], before: Plan, after: Plan) -> str:
    """``Opening 5.2 to 5.8 mm: the nucleus has 0.6 mm more, the pupil 0.6 mm less; ring after the nucleus stays.``"""
    head = ", ".join(c.words for c in moved)
    effects = _effects(items, after)
    follows = [
        i.words for i in items if i.weight == Weight.MEASURE and i.key in ("ring", "capsule_hooks", "lens_position")
    ]
    if not effects:
        effects = [tr("no margin moves")]
    parts = [", ".join(effects), *follows]
    stays = _stays({c.name for c in moved} | {i.key for i in items}, before, after)
    said = tr("; ").join([*parts, *stays])
    text = tr("{head}: {said}.", head=head, said=said) if head else tr("{said}.", said=said)
    return text[:1].upper() + text[1:]


def _effects(items: Sequence[Change], after: Plan) -> list[str]:
    """The decision, the technique and what was barred, then the margins; loads that only rank in one phrase."""
    group = {m.key: m.group for m in after.margins}
    refused = after.decision.decision in ("refer", "do-not-operate")  # then the technique says nothing more
    weighty = {Weight.NOW, Weight.DECISION, Weight.STOP} | (set() if refused else {Weight.TECHNIQUE})
    head = [_short(i, after) for i in items if i.weight in weighty]
    margins = [i for i in items if i.weight in (Weight.TURNED, Weight.MOVED)]
    main = [i.words for i in margins if group.get(i.key, "main") == "main"]
    turned = [i.words for i in margins if group.get(i.key) == "zonule" and i.weight == Weight.TURNED]
    rest = [i for i in margins if group.get(i.key) == "zonule" and i.weight == Weight.MOVED and i.by is not None]
    told = [*head, *main, *turned]
    if rest and not turned:
        told.append(_zonule(rest))
    if len(told) > TOLD_STEPS:
        told[TOLD_STEPS:] = [tr("and {n} more", n=len(told) - TOLD_STEPS)]
    return told


def _short(item: Change, after: Plan) -> str:
    """An item for the line: of a decision only its verdict, which the page's first line goes on to explain."""
    if item.weight != Weight.DECISION:
        return item.words
    verdict = re.split(r"[.,;:]", after.decision.sentence, maxsplit=1)[0]
    return tr("the decision is now: {verdict}", verdict=verdict.lower())


def _zonule(items: Sequence[Change]) -> str:
    more = sum((i.by or 0.0) > 0 for i in items)
    if len(items) == 1:
        return tr("the zonule has more room at one step") if more else tr("the zonule has less room at one step")
    if more == len(items):
        return tr("the zonule has more room at {n} steps", n=more)
    if more == 0:
        return tr("the zonule has less room at {n} steps", n=len(items))
    return tr("the zonule has more room at {more} of {n} steps, less at the others", more=more, n=len(items))


def _stays(changed: set[str], before: Plan, after: Plan) -> list[str]:
    """What a reader may fear has changed with it and has not: the ring where one is planned, else the technique."""
    if "technique" in changed or "decision" in changed or after.measures is None or before.measures is None:
        return []
    if after.measures.ring != "none" and "ring" not in changed:
        return [tr("{ring} stays", ring=ring_words(after.measures.ring))]
    return [tr("{technique} stays", technique=_technique(after).lower())]

"""The first text of an operation note, in the order of the trade, from the facts alone: nothing is made up between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from forestay.case.bodies import Decided, Done, Happened
from forestay.case.fold import Entry, entries
from forestay.case.vocabulary import things
from forestay.case.words import NOTE, say
from forestay.plan.followup import signs
from forestay.plan.model import Plan
from forestay.review.outcome import LOT, SIZES, STEP_OF_LENS, TRAY
from forestay.services.cases import KeptCase
from forestay.services.keptplan import last_decided, last_done, plan_before, steps_done
from forestay.services.operated import CHECK
from forestay.text import tr


def draft(opened: KeptCase, plan: Plan) -> str:
    """Eye and day, what was planned, what was done with its times, lens, events, differences from the plan.

    What visits found later is no part of it. The plan compared with is the last one kept before the first step, else
    the one of today, which is said.
    """
    standing = [e for e in entries(opened.facts) if e.stands]
    done = steps_done(standing)
    names = {step.key: step.name for step in plan.steps}
    before = plan_before(standing, plan)
    told = before.told
    lines = [*_head(opened, done, told, plan), *_course(standing, done, names), *_lens(done, standing, told)]
    events = [_event(e, names) for e in standing if _in_theatre(e)]
    lines += [tr("Events:"), *events] if events else [tr("No event was recorded.")]
    if done:
        differs = list(_differences(done, standing, told, names))
        against = (
            tr("the plan kept before the first step")
            if before.kept
            else tr("the plan as it is today; none was kept before")
        )
        lines.append(tr("Different from {plan}:", plan=against) if differs else tr("As in {plan}.", plan=against))
        lines += differs
    return "\n".join(lines)


def _head(opened: KeptCase, done: Sequence[Entry], told: Mapping[str, Any], plan: Plan) -> Iterator[str]:
    yield {"left": tr("Left eye."), "right": tr("Right eye.")}[opened.situation.case.eye.side]
    if done:
        by = [e.body.by for e in done if isinstance(e.body, Done)]
        day = done[0].fact.header.happened_at.astimezone().strftime("%Y-%m-%d")
        yield tr("Operated on {day} by {who}.", day=day, who=", ".join(dict.fromkeys(by)))
    planned = (told.get("chosen") or {}).get("technique", plan.chosen.technique)
    label = next((o.label for o in plan.options if o.technique == planned), things().get(planned, planned))
    yield tr("Operation planned: {technique}.", technique=label)


def _course(standing: Sequence[Entry], done: Sequence[Entry], names: Mapping[str, str]) -> Iterator[str]:
    checks = sum(1 for e in standing if isinstance(e.body, Done) and e.body.step.startswith(CHECK))
    if checks:
        yield tr("Checks ticked: {n}.", n=checks)
    for e in standing:
        body = e.body
        if isinstance(body, Done) and not body.step.startswith(CHECK):
            yield _timed(e, say(body.model_copy(update={"step": names.get(body.step, body.step)})))
        elif isinstance(body, Decided) and not body.subject.startswith(NOTE) and done and e.index > done[0].index:
            yield _timed(e, tr("decided: {what}", what=say(body)))


def _timed(entry: Entry, told: str) -> str:
    clock = entry.fact.header.happened_at.astimezone().strftime("%H:%M")
    return f"{clock} {told[:1].upper()}{told[1:]}."


def _in_theatre(entry: Entry) -> bool:
    """Whether this is an event of the operation, not something that a visit found."""
    visits = {rule.say for rule in signs().values()}
    return isinstance(entry.body, Happened) and entry.body.note not in visits


def _event(entry: Entry, names: Mapping[str, str]) -> str:
    body = entry.body
    if isinstance(body, Happened):
        body = body.model_copy(update={"step": names.get(body.step or "", body.step)})
    return _timed(entry, say(body))


def _lens(done: Sequence[Entry], standing: Sequence[Entry], told: Mapping[str, Any]) -> Iterator[str]:
    """Model, power, lot and place; what was not kept is left to be filled in, and said."""
    lens = last_done(done, STEP_OF_LENS)
    if lens is None:
        return
    models = [d for d in lens.devices if not d.startswith((LOT, TRAY))]
    power = lens.sizes.get("lens_power_d")
    lots = [d.removeprefix(LOT) for d in lens.devices if d.startswith(LOT)]
    place = last_decided(standing, "lens_position")
    yield tr(
        "Lens: {model}; {power}; {lot}; {place}.",
        model=models[0] if models else tr("model not recorded"),
        power=tr("power not recorded") if power is None else tr("{power:+.2f} D", power=power),
        lot=tr("lot {lot}", lot=lots[0]) if lots else tr("lot not recorded"),
        place=tr("in place: {place}", place=_place(told, place)) if place else tr("place not recorded"),
    )


def _place(told: Mapping[str, Any], position: str) -> str:
    listed = (told.get("lens") or {}).get("positions", ())
    return next((str(p["label"]) for p in listed if p["position"] == position), position)


def _differences(
    done: Sequence[Entry], standing: Sequence[Entry], told: Mapping[str, Any], names: Mapping[str, str]
) -> Iterator[str]:
    measures = told.get("measures") or {}
    planned = (told.get("chosen") or {}).get("technique")
    technique = last_decided(standing, "technique_done") or last_decided(standing, "technique") or planned
    if technique != planned:
        words = things()
        yield tr(
            "Technique: {did}, planned {planned}.",
            did=words.get(str(technique), str(technique)),
            planned=words.get(str(planned), str(planned)),
        )
    yield from _sizes(done, measures)
    place = last_decided(standing, "lens_position")
    if place and place != measures.get("lens_position"):
        was = str(measures.get("lens_position") or tr("none"))
        yield tr("Lens placed: {did}, planned {planned}.", did=_place(told, place), planned=_place(told, was))
    kept = {e.body.step for e in done if isinstance(e.body, Done)}
    missing = [names.get(s["key"], s["key"]) for s in told.get("steps", ()) if s["key"] not in kept]
    if missing:
        yield tr("Steps of the plan that were not recorded: {steps}.", steps=", ".join(missing))


def _sizes(done: Sequence[Entry], measures: Mapping[str, Any]) -> Iterator[str]:
    for size, measure in SIZES.items():
        did = [e.body.sizes[size] for e in done if isinstance(e.body, Done) and size in e.body.sizes]
        planned = measures.get(measure)
        if did and planned is not None and did[-1] != planned:
            yield tr(
                "{what}: {did}, planned {planned}.",
                what=_name(size),
                did=_size(size, did[-1]),
                planned=_size(size, planned),
            )


def _name(size: str) -> str:
    return {
        "capsulorhexis_mm": tr("Capsulorhexis"),
        "tunnel_outer_mm": tr("Tunnel outside"),
        "tunnel_inner_mm": tr("Tunnel inside"),
        "tunnel_clock": tr("Tunnel at"),
        "hooks_count": tr("Pupil hooks"),
    }[size]


def _size(size: str, value: float) -> str:
    if size.endswith("_mm"):
        return tr("{v:g} mm", v=value)
    return tr("{v:g} o'clock", v=value) if size.endswith("_clock") else f"{value:g}"

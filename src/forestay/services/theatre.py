"""Theatre: where the operation stands, what a tap keeps, the checks, and the lens in hand against the plan."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid5

from forestay.case.bodies import Body, Done, Found, Happened, planned
from forestay.case.fact import content
from forestay.case.fold import entries
from forestay.errors import InvalidInput
from forestay.exchange.device_code import DeviceCode, read_code
from forestay.eye.validation import validate
from forestay.plan.events import at_once
from forestay.plan.lens_model import LensBox
from forestay.plan.model import LensPosition, Plan, Step, as_dict
from forestay.plan.theatre import FindingRule, check_groups, finding_rules, rule_for_cue
from forestay.services.cases import KeptCase
from forestay.services.operated import CHECK, LENS_CHECK
from forestay.text import tr

LENS_STEP = "lens"
SAME_POWER_D = 1e-6
TOGETHER = ("happened", "found")
"""Kinds of facts that one finding keeps."""
OTHER_MODEL = "other"
"""What is said of a box that names none of the planned models."""


@dataclass(frozen=True)
class Stand:
    """Where the operation stands."""

    step: Step | None
    """The step shown; None where the plan has no steps."""
    index: int
    done: tuple[str, ...]
    started: datetime | None
    """When the first step was kept as done."""
    last: UUID | None
    """The last fact of this operation that can be taken back."""
    entered: datetime | None = None
    """When the case began: the first check that was ticked, or the first step, whichever came first."""


def stand(opened: KeptCase, plan: Plan, wanted: str = "") -> Stand:
    """Where the operation stands: the step ``wanted``, else the first that is not done."""
    done = opened.situation.progress.done
    keys = [step.key for step in plan.steps]
    if wanted in keys:
        index = keys.index(wanted)
    else:
        index = next((i for i, key in enumerate(keys) if key not in done), max(0, len(keys) - 1))
    every = [e for e in entries(opened.facts) if e.stands and isinstance(e.body, Done | Happened)]
    standing = [e for e in every if not _is_check(e.body)]
    began = [e.fact.header.happened_at for e in every if isinstance(e.body, Done)]
    first = next((e.fact.header.happened_at for e in standing if isinstance(e.body, Done)), None)
    return Stand(
        step=plan.steps[index] if plan.steps else None,
        index=index,
        done=done,
        started=first,
        last=standing[-1].fact.header.id if standing else None,
        entered=min(began, default=None),
    )


def next_after(opened: KeptCase, plan: Plan, found: str) -> str:
    """The step that a finding asks for at once, where it is not done yet; empty where it asks for none."""
    kind, _, what = found.partition(" ")
    if not what:
        return ""
    rule = rule_for_cue(what) if kind == "cue" else next((r for r in finding_rules() if r.key == what), None)
    wanted = at_once(rule.event) if rule is not None else ()
    done = opened.situation.progress.done
    return next((s.key for s in plan.steps if s.key in wanted and s.key not in done), "")


def _is_check(body: Body) -> bool:
    return isinstance(body, Done) and body.step.startswith((CHECK, LENS_CHECK))


def plan_as_it_stood(opened: KeptCase, plan: Plan, *, key: UUID) -> dict[UUID, Body]:
    """The plan before the first step, byte for byte, so that it can be scored later; nothing once a step is done."""
    if any(isinstance(e.body, Done) and e.stands and not _is_check(e.body) for e in entries(opened.facts)):
        return {}
    told = json.dumps(as_dict(plan), ensure_ascii=False, sort_keys=True).encode()
    made_by = plan.version
    body = planned(
        told,
        engine_version=made_by["engine"],
        evidence_digest=digest_of(made_by["evidence"]),
        practice_digest=digest_of(made_by["practice"]),
        context_digest=digest_of(made_by["context"]),
    )
    return {uuid5(key, "planned"): body}


def digest_of(name: str) -> str:
    """A digest as it is; a practice that only has a word for a name is named by the digest of the word."""
    return name if re.fullmatch("[0-9a-f]{64}", name) else hashlib.sha256(name.encode()).hexdigest()


def done(opened: KeptCase, step: str, by: str, *, key: UUID) -> dict[UUID, Body]:
    """A step carried out. The lens that goes in is the one that was compared last: its power and label go with it."""
    body: dict[str, Any] = {"step": step, "by": by}
    if step == LENS_STEP:
        box = next(
            (
                e.body
                for e in reversed(entries(opened.facts))
                if e.stands and isinstance(e.body, Done) and e.body.step == LENS_CHECK
            ),
            None,
        )
        if box is not None:
            body |= {"sizes": {"lens_power_d": box.sizes["box_power_d"]}, "devices": box.devices}
    return {key: validate(Done, body)}


def found(
    rule: FindingRule | None, see: str, step: str, answer: Any, known: Mapping[str, Any], *, key: UUID
) -> dict[UUID, Body]:
    """What a finding keeps: an event with what was seen, and the fields that it sets. What is known to be worse stays."""
    event = rule.event if rule is not None else "other"
    bodies: dict[UUID, Body] = {}
    hours = answer if rule is not None and rule.ask == "signs.dialysis_clock_hours" and answer else ()
    values = {} if rule is None else {path: v for path, v in rule.sets.items() if not _worse(path, known.get(path))}
    if rule is not None and rule.ask and answer is not None:
        values[rule.ask] = answer
    if event is not None:
        told: dict[str, Any] = {"event": event, "step": step, "clock_hours": list(hours)}
        if rule is None or see != rule.say:
            told["note"] = see
        bodies[uuid5(key, "happened")] = validate(Happened, told)
    if values:
        bodies[uuid5(key, "found")] = validate(Found, {"values": values})
    elif event is None:
        bodies[uuid5(key, "happened")] = validate(Happened, {"event": "other", "step": step, "note": see})
    return bodies


def same(kept: Mapping[UUID, Body], told: Mapping[UUID, Body]) -> bool:
    """Whether what is kept is the finding that is told again. A field may be missing: it was known to be worse by then."""
    for mark, body in kept.items():
        other = told.get(mark)
        if isinstance(body, Found) and isinstance(other, Found):
            if not body.values.items() <= other.values.items():
                return False
        elif body != other:
            return False
    return bool(kept)


def marks(key: UUID) -> tuple[UUID, ...]:
    """The identities under which a finding of this key is kept."""
    return uuid5(key, "happened"), uuid5(key, "found")


def of_one_press(opened: KeptCase, fact_id: UUID) -> tuple[UUID, ...]:
    """The fact, and what the same press kept with it: an event and the fields that the finding set were accepted at one
    moment, from one device, one after the other."""
    named = next((fact for fact in opened.facts if fact.header.id == fact_id), None)
    if named is None or named.header.kind not in TOGETHER:
        return (fact_id,)
    mine = named.header
    beside = [
        fact.header.id
        for fact in opened.facts
        if fact.header.kind in TOGETHER
        and fact.header.kind != mine.kind
        and (fact.header.author, fact.header.device, fact.header.received_at)
        == (mine.author, mine.device, mine.received_at)
        and abs((fact.header.server_sequence or 0) - (mine.server_sequence or 0)) == 1
    ]
    return fact_id, *beside


def _worse(path: str, known: Any) -> bool:
    return path == "signs.phacodonesis" and known == "at-rest"


def checks(ticked: list[str], *, key: UUID, by: str) -> dict[UUID, Body]:
    """The checks that were ticked, one fact each; an unknown one is refused."""
    known = {f"{group.key} {item.key}" for group in check_groups() for item in group.items}
    wrong = next((name for name in ticked if name not in known), None)
    if wrong is not None:
        raise InvalidInput(tr("There is no check {name}.", name=wrong[:40]), field="check", value=wrong[:40])
    return {uuid5(key, name): validate(Done, {"step": CHECK + name, "by": by}) for name in ticked}


def ticked_checks(opened: KeptCase) -> dict[str, tuple[str, UUID]]:
    """The checks that are kept: name to time and fact."""
    kept = {}
    for entry in entries(opened.facts):
        body = content(entry.fact)
        if entry.stands and isinstance(body, Done) and body.step.startswith(CHECK):
            clock = entry.fact.header.happened_at.astimezone().strftime("%H:%M")
            kept[body.step.removeprefix(CHECK)] = (clock, entry.fact.header.id)
    return kept


@dataclass(frozen=True)
class LensAnswer:
    """The box in hand against the plan: each line says match or not, plainly."""

    fits: bool
    lines: tuple[tuple[bool, str], ...]
    code: DeviceCode | None


def planned_power(plan: Plan, position: str) -> tuple[LensPosition, float] | None:
    """The position and the power planned for it; None where no power was worked out.

    The power of the box on the practice's shelf where one is planned, else the one in stock steps that the plan puts first.
    """
    found = next((p for p in plan.lens.positions if p.position == position and p.choices), None)
    if found is None:
        return None
    if found.box is not None and found.box_is_near:
        return found, found.box.power_d
    if found.best_power_d is not None:
        return found, found.best_power_d
    best = min(found.choices, key=lambda c: abs(c["refraction_d"] - plan.lens.target_d))
    return found, best["power_d"]


def planned_box(plan: Plan, position: str) -> LensBox | None:
    """The box of the practice's shelf that is planned for the position; None without a shelf."""
    return next((p.box for p in plan.lens.positions if p.position == position and p.box_is_near), None)


def _model_line(box: LensBox, model: str, scanned: DeviceCode | None) -> tuple[bool, str]:
    """Whether the box in hand is of the planned model: by its article number where the shelf names it, and by its name."""
    if model not in (box.lens, OTHER_MODEL):
        allowed = f"{box.lens}, {OTHER_MODEL}"
        raise InvalidInput(
            tr("Say which model the box names; planned is {lens}.", lens=box.lens),
            field="model",
            value=model[:60],
            allowed=allowed,
        )
    if model == OTHER_MODEL:
        return False, tr("Model: another than {lens}, which is planned.", lens=box.lens)
    if scanned is not None and scanned.gtin and box.articles and scanned.gtin not in box.articles:
        return False, tr(
            "Model: article {article} on the box is none of {lens}, which is planned.",
            article=scanned.gtin,
            lens=box.lens,
        )
    return True, tr("Model: {lens}, as planned.", lens=box.lens)


def compare_lens(
    plan: Plan, *, side: str, position: str, box_power_d: float, model: str, code: str, today: date, case_side: str
) -> LensAnswer:
    """Side, model, power and expiry of the box in hand against the plan. ``model``: as read from the box."""
    scanned = read_code(code) if code.strip() else None
    lines: list[tuple[bool, str]] = []
    same = side == case_side
    lines.append((same, tr("Side: {said} said, {case} in this case.", said=tr(side), case=tr(case_side))))
    planned = planned_power(plan, position)
    box = planned_box(plan, position)
    if box is not None:
        lines.append(_model_line(box, model, scanned))
    if planned is None:
        lines.append((False, tr("Power: the plan has none for this position; compare with the original measurement.")))
    else:
        fits = abs(planned[1] - box_power_d) < SAME_POWER_D
        lines.append(
            (
                fits,
                tr(
                    "Power: {box:+.2f} D on the box, {plan:+.2f} D planned for {position}.",
                    box=box_power_d,
                    plan=planned[1],
                    position=planned[0].label,
                ),
            )
        )
    if scanned is not None and scanned.expires is not None:
        good = scanned.expires >= today
        lines.append((good, tr("Expiry: {date}.", date=scanned.expires.isoformat())))
    return LensAnswer(all(ok for ok, _ in lines), tuple(lines), scanned)


def lens_compared(
    box_power_d: float, code: DeviceCode | None, *, model: str = "", by: str, key: UUID
) -> dict[UUID, Body]:
    """The fact that the box in hand was compared and fits; its model, where that was said, stands first."""
    devices = [model] if model else []
    if code is not None:
        named = [("article", code.gtin), ("serial", code.serial), ("lot", code.lot)]
        devices += [f"{name} {value}" for name, value in named if value]
    body = {"step": LENS_CHECK, "by": by, "sizes": {"box_power_d": box_power_d}, "devices": devices}
    return {key: validate(Done, body)}

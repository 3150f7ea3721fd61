"""A kept case gone through again with questions, and an invented one to try it on."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

from forestay.case.bodies import BODIES, Done, planned
from forestay.case.case_file import parse_case
from forestay.case.fact import Fact, new_fact
from forestay.case.fold import fold
from forestay.case.from_file import facts_from_case
from forestay.demo import OPERATED, demo_bytes, operated_bytes
from forestay.evidence import default_evidence
from forestay.eye.validation import validate
from forestay.plan.model import as_dict
from forestay.review.again import Again, Planning
from forestay.review.again import again as go_through
from forestay.services.cases import INVENTED
from forestay.services.planner import Planner
from forestay.services.planning import Desk
from forestay.services.theatre import digest_of
from forestay.text import tr

STARTED = datetime.fromisoformat("2025-03-03T08:00:00+00:00")
"""When the invented operation took place; it has no other meaning."""


def again(desk: Desk, case_id: str) -> Again:
    """The kept case with its questions."""
    return go_through(
        case_id, desk.open(case_id).facts, lambda situation: desk.plan(situation, {}), default_evidence().reader()
    )


def invented(planning: Planning | None = None) -> Again:
    """The invented operation with its questions; nothing of it is kept."""
    made = planning or (lambda situation: Planner().look(situation, {}))
    return go_through(OPERATED, invented_facts(made), made, default_evidence().reader())


def invented_facts(planning: Planning) -> list[Fact]:
    """The facts of the invented operation, with the plan kept before its first step."""
    facts = facts_from_case(
        parse_case(demo_bytes(OPERATED)), case_id=OPERATED, author=INVENTED, device="desk", happened_at=STARTED
    )
    for body, minutes in _script():
        if isinstance(body, Done) and not any(f.header.kind == "planned" for f in facts):
            plan = planning(fold(facts))
            kept = planned(
                json.dumps(as_dict(plan), ensure_ascii=False, sort_keys=True).encode(),
                engine_version=plan.version["engine"],
                evidence_digest=digest_of(plan.version["evidence"]),
                practice_digest=digest_of(plan.version["practice"]),
                context_digest=digest_of(plan.version["context"]),
            )
            facts.append(_fact(kept, minutes, len(facts)))
        facts.append(_fact(body, minutes, len(facts)))
    return facts


def _script() -> Iterator[tuple[Any, int]]:
    from tomllib import loads

    for raw in loads(operated_bytes().decode())["fact"]:
        minutes, kind = raw.pop("minutes"), raw.pop("kind")
        yield validate(BODIES[kind], raw), minutes


def _fact(body: Any, minutes: int, before: int) -> Fact:
    return new_fact(
        body,
        case=OPERATED,
        author=INVENTED,
        device="desk",
        device_sequence=before + 1,
        happened_at=STARTED + timedelta(minutes=minutes),
    )


def lines(found: Again, *, upto: int, answered: bool) -> list[str]:
    """The case as plain text up to question ``upto``: earlier answers shown, that one's only where ``answered``."""
    said = [tr("Case {case}, {side} eye.", case=found.case_id, side=tr(found.side))]
    if found.invented:
        said.append(tr("Invented: nobody has this eye."))
    for question in found.questions[:upto]:
        said += ["", tr("{number}. {when}", number=question.number, when=question.when)]
        said += [f"   {line}" for line in question.known]
        said += ["", f"   ? {question.asks}"]
        if question.number < upto or answered:
            said += answer_lines(question.told, question.done, reckoned=question.reckoned)
    if upto >= len(found.questions) and answered:
        said += ["", tr("How it ended"), *(f"   {line}" for line in found.ending)]
        said += [f"   {ending_says(found)}"]
    return said


def answer_lines(told: tuple[str, ...], done: tuple[str, ...], *, reckoned: bool) -> list[str]:
    """What was told and what was done, as plain text."""
    head = (
        tr("The plan, reckoned again from what was known then, as none was kept:")
        if reckoned
        else tr("The plan had said:")
    )
    said = ["", f"   {head}", *(f"     {line}" for line in told)]
    if not told:
        said.append("     " + tr("nothing for this."))
    return [*said, "   " + tr("What was done and came:"), *(f"     {line}" for line in done)]


def ending_says(found: Again) -> str:
    """What one eye can show."""
    if not found.ending:
        return tr("No plan was kept before the first step, so there is nothing to score.")
    return tr("One eye proves no prediction right or wrong; the review counts over many.")

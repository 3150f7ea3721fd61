"""The operation note: drafted from the facts, edited, signed, locked; what comes later is an addition.

Its text is kept as a decision of the surgeon on the subject "operation note". A signature names the head of the chain as
it was; after it the text stands, and only additions are taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from forestay.case.bodies import Body, Decided, Done, Happened, Signed
from forestay.case.fold import Entry, entries
from forestay.case.words import NOTE, say
from forestay.errors import ConflictingFact, InvalidInput
from forestay.eye.validation import validate
from forestay.plan.model import Plan
from forestay.services.cases import KeptCase
from forestay.services.theatre import CHECK
from forestay.text import tr

LONGEST = 20_000


@dataclass(frozen=True)
class Addition:
    """What was added after the signature."""

    text: str
    at: datetime
    by: str


@dataclass(frozen=True)
class NoteState:
    """The note as it is kept."""

    text: str | None
    """The text; None where only a draft can be made."""
    kept_at: datetime | None
    signed_at: datetime | None
    signed_by: str
    head: str
    """The head of the chain that was signed."""
    additions: tuple[Addition, ...]


def note_state(opened: KeptCase) -> NoteState:
    """The last text, its signature, and what was added."""
    standing = [e for e in entries(opened.facts) if e.stands]
    texts = [e for e in standing if isinstance(e.body, Decided) and e.body.subject == NOTE]
    kept = texts[-1] if texts else None
    signs = [e for e in standing if isinstance(e.body, Signed) and kept is not None and e.index > kept.index]
    signed = signs[0] if signs else None
    additions = tuple(
        Addition(str(e.body.choice), e.fact.header.happened_at, e.fact.header.author)
        for e in standing
        if isinstance(e.body, Decided) and e.body.subject.startswith(f"{NOTE}, addition")
    )
    return NoteState(
        text=str(kept.body.choice) if kept is not None and isinstance(kept.body, Decided) else None,
        kept_at=kept.fact.header.happened_at if kept else None,
        signed_at=signed.fact.header.happened_at if signed else None,
        signed_by=signed.fact.header.author if signed else "",
        head=signed.body.head if signed is not None and isinstance(signed.body, Signed) else "",
        additions=additions,
    )


def draft(opened: KeptCase, plan: Plan) -> str:
    """A note in sentences, from the facts alone: what was done, what happened, in the order in which it was kept."""
    side = {"left": tr("Left eye."), "right": tr("Right eye.")}[opened.situation.case.eye.side]
    lines = [side, tr("Operation planned: {technique}.", technique=_technique(plan))]
    standing = [e for e in entries(opened.facts) if e.stands]
    names = {step.key: step.name for step in plan.steps}
    checks = sum(1 for e in standing if isinstance(e.body, Done) and e.body.step.startswith(CHECK))
    if checks:
        lines.append(tr("Checks ticked: {n}.", n=checks))
    lines += [line for e in standing if (line := _line(e, names))]
    if not any(isinstance(e.body, Happened) for e in standing):
        lines.append(tr("No event was recorded."))
    return "\n".join(lines)


def _technique(plan: Plan) -> str:
    return next((o.label for o in plan.options if o.technique == plan.chosen.technique), plan.chosen.technique)


def _line(entry: Entry, names: dict[str, str]) -> str:
    body, clock = entry.body, entry.fact.header.happened_at.astimezone().strftime("%H:%M")
    if isinstance(body, Done) and not body.step.startswith(CHECK):
        told = say(body.model_copy(update={"step": names.get(body.step, body.step)}))
        return f"{clock} {told[:1].upper()}{told[1:]}."
    if isinstance(body, Happened):
        told = say(body.model_copy(update={"step": names.get(body.step or "", body.step)}))
        return f"{clock} {told[:1].upper()}{told[1:]}."
    if isinstance(body, Decided) and not body.subject.startswith(NOTE):
        return tr("{clock} Decided: {what}.", clock=clock, what=say(body))
    return ""


def keep_text(opened: KeptCase, text: str, *, key: UUID) -> dict[UUID, Body]:
    """The text as edited. A signed note takes no other text."""
    if note_state(opened).signed_at is not None:
        raise ConflictingFact(
            tr("The note is signed and stands as it is; add to it instead."), field="text", allowed=tr("an addition")
        )
    return {key: _text(NOTE, text)}


def add_text(opened: KeptCase, text: str, *, key: UUID) -> dict[UUID, Body]:
    """An addition to a signed note."""
    state = note_state(opened)
    if state.signed_at is None:
        raise ConflictingFact(tr("The note is not signed yet; edit it."), field="text", allowed=tr("the note itself"))
    return {key: _text(f"{NOTE}, addition {len(state.additions) + 1}", text)}


def _text(subject: str, text: str) -> Decided:
    plain = text.replace("\r\n", "\n").strip()
    if not plain or len(plain) > LONGEST:
        words = tr("1 to {longest} letters", longest=LONGEST)
        raise InvalidInput(tr("The note is empty or too long."), field="text", allowed=words)
    reason = tr("written by the surgeon")
    return validate(Decided, {"subject": subject, "choice": plain, "reason": reason})


def signature(opened: KeptCase, head: str, *, key: UUID) -> dict[UUID, Body]:
    """A signature under the note as it is kept; ``head`` is the head of the chain now."""
    state = note_state(opened)
    if state.text is None:
        raise InvalidInput(
            tr("There is no note to sign; keep its text first."), field="note", allowed=tr("a kept text")
        )
    if state.signed_at is not None:
        raise ConflictingFact(tr("The note is signed already."), field="note", allowed=tr("an addition"))
    return {key: validate(Signed, {"head": head})}

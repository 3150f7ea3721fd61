"""The operation note: edited, signed, locked; what comes later is an addition. ``notedraft`` makes its first text.

Its text is kept as a decision of the surgeon on the subject "operation note". A signature names the head of the chain as
its author saw it; from then on the text that stood there stands for good: no later text, and nobody who takes a fact
back, opens the note again. Only additions are taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from forestay.case.bodies import Body, Decided, Signed
from forestay.case.fold import Entry, entries
from forestay.case.words import NOTE
from forestay.errors import ConflictingFact, InvalidInput
from forestay.eye.validation import validate
from forestay.services.cases import KeptCase
from forestay.text import tr

LONGEST = 20_000
ADDITION = f"{NOTE}, addition"


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
    kept_by: str
    sequence: int
    """The place of the text in the record; 0 without one."""
    signed_at: datetime | None
    signed_by: str
    head: str
    """The head of the chain that was signed."""
    signature: UUID | None
    """The fact of the signature."""
    taken_back: bool
    """Whether somebody took the signature back; the text stays locked."""
    past: int
    """How many other texts were kept past the signature; they are no part of the note."""
    additions: tuple[Addition, ...]


def note_state(opened: KeptCase) -> NoteState:
    """The text that counts, its signature, and what was added."""
    listed = entries(opened.facts)
    texts = [e for e in listed if isinstance(e.body, Decided) and e.body.subject == NOTE]
    signed, kept = _signed(listed, texts)
    if signed is None:
        kept = next((e for e in reversed(texts) if e.stands), None)
    body = signed.body if signed is not None else None
    return NoteState(
        text=str(kept.body.choice) if kept is not None and isinstance(kept.body, Decided) else None,
        kept_at=kept.fact.header.happened_at if kept else None,
        kept_by=kept.fact.header.author if kept else "",
        sequence=_place(kept) if kept else 0,
        signed_at=signed.fact.header.happened_at if signed else None,
        signed_by=signed.fact.header.author if signed else "",
        head=body.head if isinstance(body, Signed) else "",
        signature=signed.fact.header.id if signed else None,
        taken_back=signed is not None and not signed.stands,
        past=sum(1 for e in texts if signed is not None and e.index > signed.index),
        additions=tuple(
            Addition(str(e.body.choice), e.fact.header.happened_at, e.fact.header.author)
            for e in listed
            if e.stands and isinstance(e.body, Decided) and e.body.subject.startswith(ADDITION)
        ),
    )


def _place(entry: Entry) -> int:
    return entry.fact.header.server_sequence or 0


def _signed(listed: Sequence[Entry], texts: Sequence[Entry]) -> tuple[Entry | None, Entry | None]:
    """The first signature whose author had a text before him, and the last text that stood there then."""
    at = {e.fact.header.id: e.index for e in listed}
    for entry in listed:
        if not isinstance(entry.body, Signed):
            continue
        seen = [
            t
            for t in texts
            if 0 < _place(t) <= entry.fact.header.based_on and not (t.undone_by and at[t.undone_by] < entry.index)
        ]
        if seen:
            return entry, seen[-1]
    return None, None


def keep_text(opened: KeptCase, text: str, *, key: UUID, based_on: int | None = None) -> dict[UUID, Body]:
    """The text as edited; nothing where it stands there already.

    A signed note takes no other text, and a text that somebody else kept meanwhile is not written over unseen.
    """
    state, told = note_state(opened), _text(NOTE, text)
    if state.text == told.choice:
        return {}
    if state.signed_at is not None:
        raise ConflictingFact(
            tr("The note is signed and stands as it is; add to it instead."), field="text", allowed=tr("an addition")
        )
    _unchanged(state, based_on)
    return {key: told}


def _unchanged(state: NoteState, based_on: int | None) -> None:
    if based_on is not None and state.sequence > based_on:
        raise ConflictingFact(
            tr("{who} kept another text meanwhile; read both, then keep yours again.", who=state.kept_by),
            field="text",
            allowed=tr("a text made in knowledge of the kept one"),
        )


def add_text(opened: KeptCase, text: str, *, key: UUID) -> dict[UUID, Body]:
    """An addition to a signed note; nothing where this very addition is kept already."""
    state = note_state(opened)
    if state.signed_at is None:
        raise ConflictingFact(tr("The note is not signed yet; edit it."), field="text", allowed=tr("the note itself"))
    if any(fact.header.id == key for fact in opened.facts):
        return {}
    return {key: _text(f"{ADDITION} {len(state.additions) + 1}", text)}


def _text(subject: str, text: str) -> Decided:
    plain = text.replace("\r\n", "\n").strip()
    if not plain or len(plain) > LONGEST:
        words = tr("1 to {longest} letters", longest=LONGEST)
        raise InvalidInput(tr("The note is empty or too long."), field="text", allowed=words)
    reason = tr("written by the surgeon")
    return validate(Decided, {"subject": subject, "choice": plain, "reason": reason})


def signature(opened: KeptCase, head: str, *, key: UUID, based_on: int | None = None) -> dict[UUID, Body]:
    """A signature under the note as it is kept; ``head`` is the head of the chain as its author saw it.

    Nothing where this very signature is kept already.
    """
    state = note_state(opened)
    if state.signature == key:
        return {}
    if state.text is None:
        raise InvalidInput(
            tr("There is no note to sign; keep its text first."), field="note", allowed=tr("a kept text")
        )
    if state.signed_at is not None:
        raise ConflictingFact(tr("The note is signed already."), field="note", allowed=tr("an addition"))
    _unchanged(state, based_on)
    return {key: validate(Signed, {"head": head})}

"""Facts to a situation: a pure function of the facts alone.

Order: the server's sequence, then one's own pending facts by the device's sequence; clocks order the display only.
A withdrawal takes an earlier fact back (also an earlier withdrawal). A correction stands in the place of the fact that
it corrects. Where two facts give one field different values and neither was made in knowledge of the other, both are
kept: the later in fold order is used, and the situation carries the disagreement until a decision on that field, made
in knowledge of both, settles it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any
from uuid import UUID

from forestay.case.bodies import Body, Decided, Done, Found, Happened, Measured, Withdrawn
from forestay.case.fact import Fact, canonical_header, content
from forestay.case.fields import is_field, nested, shown, slot
from forestay.errors import ConflictingFact
from forestay.eye.records import CaseFile
from forestay.eye.situation import Decisions, Disagreement, Progress, Settled, Situation
from forestay.eye.validation import validate
from forestay.text import tr

SERVER_KEYS = ("received_at", "server_sequence")
"""Keys of a header that are given on acceptance."""


def same_content(one: Fact, other: Fact) -> bool:
    """Whether two facts say the same, whatever was added on acceptance."""
    blank = dict.fromkeys(SERVER_KEYS)
    headers = [canonical_header(fact.header.model_copy(update=blank)) for fact in (one, other)]
    return one.body == other.body and headers[0] == headers[1]


def in_fold_order(facts: Iterable[Fact]) -> list[Fact]:
    """Each fact once, accepted ones by server sequence, then pending ones by device sequence."""
    found: dict[UUID, Fact] = {}
    for fact in facts:
        known = found.get(fact.header.id)
        if known is not None and not same_content(known, fact):
            raise conflict(fact)
        if known is None or known.header.server_sequence is None:
            found[fact.header.id] = fact
    return sorted(found.values(), key=_rank)


def conflict(fact: Fact) -> ConflictingFact:
    """The error for a fact whose identity is already taken by other content."""
    return ConflictingFact(
        tr("Fact {id} is already kept with other content; a new fact needs an id of its own.", id=fact.header.id),
        field="id",
        value=str(fact.header.id),
    )


def _rank(fact: Fact) -> tuple[Any, ...]:
    header = fact.header
    if header.server_sequence is not None:
        return (0, header.server_sequence, "", str(header.id))
    return (1, header.device_sequence, header.device, str(header.id))


@dataclass(frozen=True, slots=True)
class Entry:
    """A fact in its place: read, ranked, and whether it stands or was taken back or replaced."""

    fact: Fact
    body: Body
    index: int
    place: int
    stands: bool
    undone_by: UUID | None


def entries(facts: Iterable[Fact]) -> list[Entry]:
    """All facts in fold order, each with its place and whether it stands.

    Only an earlier fact can be taken back or corrected, so reading from the last to the first settles everything once.
    """
    ordered = in_fold_order(facts)
    index = {fact.header.id: i for i, fact in enumerate(ordered)}
    bodies = [content(fact) for fact in ordered]
    undone: dict[UUID, UUID] = {}
    for i in range(len(ordered) - 1, -1, -1):
        header, body = ordered[i].header, bodies[i]
        if header.id in undone:
            continue
        for target in (header.corrects, body.fact if isinstance(body, Withdrawn) else None):
            if target is not None and index.get(target, i) < i:
                undone.setdefault(target, header.id)
    places: list[int] = []
    for i, fact in enumerate(ordered):
        corrected = index.get(fact.header.corrects, i) if fact.header.corrects else i
        places.append(places[corrected] if corrected < i else i)
    return [
        Entry(fact, body, i, places[i], fact.header.id not in undone, undone.get(fact.header.id))
        for i, (fact, body) in enumerate(zip(ordered, bodies, strict=True))
    ]


@dataclass(frozen=True, slots=True)
class Claim:
    """One fact's word on one field."""

    entry: Entry
    path: str
    value: Any

    @property
    def settles(self) -> bool:
        return isinstance(self.entry.body, Decided)


def fold(facts: Iterable[Fact]) -> Situation:
    """The situation that these facts give. The person's age and the side of the eye must be among them."""
    standing = sorted((e for e in entries(facts) if e.stands), key=lambda e: (e.place, e.index))
    claims = _claims(standing)
    last = [said[-1] for said in claims.values()]
    values = {claim.path: claim.value for claim in last if is_field(claim.path)}
    decisions = {claim.path: claim.value for claim in last if claim.path in Decisions.model_fields}
    return Situation(
        case=validate(CaseFile, nested(values)),
        decisions=validate(Decisions, decisions),
        settled=tuple(_settled(claim.path, claim.entry.body) for said in claims.values() for claim in _decision(said)),
        progress=_progress(standing),
        disagreements=tuple(d for said in claims.values() for d in _disagreement(said)),
    )


def claims_by_slot(facts: Iterable[Fact]) -> dict[str, list[Claim]]:
    """For each field and decision, what the standing facts say of it, in fold order; the last is what counts."""
    return _claims(sorted((e for e in entries(facts) if e.stands), key=lambda e: (e.place, e.index)))


def _claims(standing: Iterable[Entry]) -> dict[str, list[Claim]]:
    claims: dict[str, list[Claim]] = {}
    for entry in standing:
        for path, value in _claimed(entry.body):
            claims.setdefault(slot(path), []).append(Claim(entry, path, value))
    return claims


def _claimed(body: Body) -> list[tuple[str, Any]]:
    if isinstance(body, Measured | Found):
        return list(body.values.items())
    return [(body.subject, body.choice)] if isinstance(body, Decided) else []


def _decision(said: Sequence[Claim]) -> list[Claim]:
    return [claim for claim in said if claim.settles][-1:]


def _settled(path: str, body: Body) -> Settled:
    if not isinstance(body, Decided):
        raise TypeError("only a decision settles")
    return Settled(
        subject=body.subject, choice=shown(path, body.choice), reason=body.reason, turned_down=body.turned_down
    )


def _progress(standing: Sequence[Entry]) -> Progress:
    done = [e.body.step for e in standing if isinstance(e.body, Done)]
    happened = [str(e.body.event) for e in standing if isinstance(e.body, Happened)]
    return Progress(done=tuple(dict.fromkeys(done)), happened=tuple(dict.fromkeys(happened)))


def knows(later: Fact, earlier: Fact) -> bool:
    """Whether ``later`` was made in knowledge of ``earlier``: seen on the server, made on one device, or named."""
    a, b = earlier.header, later.header
    if a.server_sequence is not None and b.based_on >= a.server_sequence:
        return True
    return (a.device == b.device and a.device_sequence < b.device_sequence) or b.corrects == a.id


def disputed(said: Sequence[Claim]) -> list[Claim]:
    """The facts in dispute about one field, in fold order, or nothing."""
    found: set[int] = set()
    for (i, one), (j, other) in combinations(enumerate(said), 2):
        if (one.path, one.value) != (other.path, other.value) and not _resolved(one, other, said):
            found |= {i, j}
    return [said[i] for i in sorted(found)]


def _disagreement(said: Sequence[Claim]) -> list[Disagreement]:
    words = dict.fromkeys(shown(claim.path, claim.value) for claim in disputed(said))
    if not words:
        return []
    return [Disagreement(field=said[-1].path, values=tuple(words))]


def _resolved(one: Claim, other: Claim, said: Sequence[Claim]) -> bool:
    first, second = one.entry.fact, other.entry.fact
    if knows(first, second) or knows(second, first):
        return True
    return any(c.settles and knows(c.entry.fact, first) and knows(c.entry.fact, second) for c in said)

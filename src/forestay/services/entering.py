"""Facts as a device sends them: its own identities, its own order, acknowledged once they are on disk."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from forestay.case.bodies import Kind
from forestay.case.chain import Link
from forestay.case.fact import Fact, Header
from forestay.case.fold import fold
from forestay.errors import ForestayError, InvalidInput, NotFound
from forestay.eye.validation import validate
from forestay.record import Record
from forestay.store.interface import FactStore
from forestay.text import tr

MOST_AT_ONCE = 500
LOOKED_THROUGH = 1000
"""Facts of a case up to which it is looked through for disputes after each fact."""
SERVER_KEYS = ("received_at", "server_sequence")


class SentFact(Record):
    """A fact on its way: the header, and the exact text of the body."""

    header: dict[str, Any]
    body: str


class Sent(Record):
    """What a device sends: facts of one case, in its own order."""

    facts: list[SentFact]


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """A fact that is on disk."""

    id: str
    server_sequence: int
    received_at: str


Check = Callable[[Kind, str, str], None]
"""Raises where this kind of fact may not come from this author on this device."""


def enter(store: FactStore, case_id: str, sent: Any, *, check: Check | None = None) -> list[Acknowledged]:
    """Keep the facts, all or none; a repeat is acknowledged as before. ``check`` is asked for each."""
    arriving = validate(Sent, sent).facts
    if not 1 <= len(arriving) <= MOST_AT_ONCE:
        allowed = tr("1 to {most} facts", most=MOST_AT_ONCE)
        raise InvalidInput(
            tr("{count} facts were sent; allowed: {allowed}.", count=len(arriving), allowed=allowed),
            field="facts",
            value=len(arriving),
            allowed=allowed,
        )
    facts = [_fact(one) for one in arriving]
    for fact in facts:
        if check is not None:
            check(fact.header.kind, fact.header.author, fact.header.device)
    return [_told(fact.header) for fact in store.append(case_id, facts)]


def _fact(sent: SentFact) -> Fact:
    given = {name: value for name, value in sent.header.items() if name not in SERVER_KEYS}
    try:
        return Fact(validate(Header, given), sent.body.encode())
    except UnicodeEncodeError:
        raise InvalidInput(tr("The body is no text that can be kept."), field="body") from None


def _told(header: Header) -> Acknowledged:
    if header.received_at is None or header.server_sequence is None:
        raise TypeError("an accepted fact has its sequence and time")
    return Acknowledged(str(header.id), header.server_sequence, header.received_at.isoformat())


def after(store: FactStore, case_id: str, sequence: int) -> list[dict[str, Any]]:
    """The facts of a case after ``sequence``, as they were accepted; an erased one has no body."""
    last = store.standing(case_id, (), "").sequence
    if not 0 <= sequence <= last:
        raise NotFound(
            tr("Case {case} has {last} facts.", case=case_id, last=last),
            field="after",
            value=sequence,
            allowed=tr("0 to {last}", last=last),
        )
    return [_line(link) for link in store.links_at(case_id, range(sequence + 1, last + 1))]


def _line(link: Link) -> dict[str, Any]:
    body = None if link.body is None else link.body.decode()
    return {"header": link.header.as_dict(), "body": body, "chain": link.chain.hex()}


def by_others(store: FactStore, case_id: str, after: int, head: int, *, author: str, device: str) -> int:
    """How many of the facts after ``after`` up to ``head`` came from another author or another device."""
    links = store.links_at(case_id, range(after + 1, head + 1))
    return sum((link.header.author, link.header.device) != (author, device) for link in links)


def disagreements(
    store: FactStore, case_id: str, sent: Any, kept: list[Acknowledged]
) -> tuple[int, list[dict[str, Any]]]:
    """The end of the case, and what is in dispute, where others kept something that these facts had not seen.

    The facts are kept already: nothing here refuses them any more. A case that lacks what every case needs has no dispute
    yet, and one of very many facts is not looked through for each of them.
    """
    facts = validate(Sent, sent).facts
    head = store.head(case_id)
    if head > LOOKED_THROUGH:
        return head, []
    seen = min(int(one.header.get("based_on", 0)) for one in facts)
    devices = {one.header.get("device") for one in facts}
    between = store.links_at(case_id, range(seen + 1, min(one.server_sequence for one in kept)))
    if all(link.header.device in devices for link in between):
        return head, []
    try:
        found = fold(store.facts(case_id)).disagreements
    except ForestayError:
        return head, []
    return head, [{"field": one.field, "values": list(one.values)} for one in found]

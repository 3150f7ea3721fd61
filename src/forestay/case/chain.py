"""The chain of a case: each accepted fact is tied to all before it, so that nothing can be changed in silence.

    leaf = SHA-256(salt ‖ body bytes)
    chain = SHA-256(chain of the fact before ‖ canonical header ‖ leaf), from 32 zero bytes

A person's data are erased by deleting body and salt; the leaf stays, and the chain still verifies. The salt keeps a
short body from being guessed from its leaf. A chain shows what was changed inside it; that its end was cut off shows
only against a head that was kept elsewhere. The hash is SHA-256 (FIPS 180-4).
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal
from uuid import UUID

from forestay.case.bodies import Withdrawn
from forestay.case.fact import Fact, Header, canonical_header, content
from forestay.case.fold import conflict, in_fold_order, same_content
from forestay.errors import BrokenChain, ConflictingFact, InvalidInput, NotFound
from forestay.text import tr

START = bytes(32)
"""What stands before the first fact."""
SALT_BYTES = 32

Fault = Literal["changed", "dropped", "reordered", "cut off"]


@dataclass(frozen=True, slots=True)
class Link:
    """An accepted fact in the chain. ``body`` and ``salt`` are None where they were erased."""

    header: Header
    leaf: bytes
    chain: bytes
    body: bytes | None
    salt: bytes | None

    @property
    def fact(self) -> Fact | None:
        """The fact, or None where it was erased."""
        return None if self.body is None else Fact(self.header, self.body)

    @property
    def sequence(self) -> int:
        """The server sequence, which an accepted fact always has."""
        return self.header.server_sequence or 0


@dataclass(frozen=True, slots=True)
class Break:
    """The first place where a chain does not hold."""

    position: int
    """Counted from 1."""
    fact_id: str | None
    fault: Fault
    says: str

    def error(self) -> BrokenChain:
        """The same as an error."""
        return BrokenChain(self.says, field="chain", value=self.position)


def leaf_hash(salt: bytes, body: bytes) -> bytes:
    """SHA-256(salt ‖ body bytes); the salt has a fixed length, so that the two cannot run into each other."""
    if len(salt) != SALT_BYTES:
        raise ValueError(f"a salt has {SALT_BYTES} bytes")
    return hashlib.sha256(salt + body).digest()


def chain_hash(previous: bytes, header: Header, leaf: bytes) -> bytes:
    """SHA-256(previous ‖ canonical header ‖ leaf)."""
    return hashlib.sha256(previous + canonical_header(header) + leaf).digest()


def head(links: Sequence[Link]) -> bytes:
    """The hash that stands for the whole case so far."""
    return links[-1].chain if links else START


def facts_of(links: Iterable[Link]) -> list[Fact]:
    """The facts of a chain, without those that were erased."""
    return [fact for link in links if (fact := link.fact) is not None]


def erase(link: Link) -> Link:
    """The same link without body and salt."""
    return Link(link.header, link.leaf, link.chain, None, None)


@dataclass(frozen=True, slots=True)
class Tail:
    """The end of a chain: as much of it as must be known to add to it."""

    sequence: int
    chain: bytes
    known: Mapping[UUID, Link]
    """Those of the facts that the arriving ones name (:func:`named_by`)."""


def named_by(arriving: Iterable[Fact]) -> set[UUID]:
    """The facts that these name: themselves, what they correct and what they take back."""
    named: set[UUID] = set()
    for fact in arriving:
        named.add(fact.header.id)
        if fact.header.corrects is not None:
            named.add(fact.header.corrects)
        if fact.header.kind == Withdrawn.KIND:
            body = content(fact)
            named |= {body.fact} if isinstance(body, Withdrawn) else set()
    return named


def accept(
    case: str, arriving: Iterable[Fact], known: Sequence[Link], *, received_at: datetime, salt: Callable[[int], bytes]
) -> list[Link]:
    """The new links that ``arriving``, in fold order, add to ``known``; a fact that is already there adds nothing.

    Each body is read before it is accepted. ``salt`` makes that many random bytes. A fact of another case, an identity
    with other content, a correction or withdrawal of an unknown fact, and a fact that claims to have seen what is not
    there yet are refused, and then nothing of the batch is accepted.
    """
    tail = Tail(len(known), head(known), {link.header.id: link for link in known})
    return extend(case, arriving, tail, received_at=received_at, salt=salt)


def extend(
    case: str, arriving: Iterable[Fact], tail: Tail, *, received_at: datetime, salt: Callable[[int], bytes]
) -> list[Link]:
    """The same as :func:`accept`, from the end of the chain alone."""
    by_id = dict(tail.known)
    added: list[Link] = []
    previous, sequence = tail.chain, tail.sequence
    for fact in in_fold_order(arriving):
        there = by_id.get(fact.header.id)
        if there is not None:
            _same_or_conflict(there, fact)
            continue
        _check_arrival(case, fact, by_id, last_sequence=tail.sequence)
        sequence += 1
        header = fact.header.model_copy(update={"received_at": received_at, "server_sequence": sequence})
        own_salt = salt(SALT_BYTES)
        leaf = leaf_hash(own_salt, fact.body)
        previous = chain_hash(previous, header, leaf)
        link = Link(header, leaf, previous, fact.body, own_salt)
        by_id[header.id] = link
        added.append(link)
    return added


def _same_or_conflict(there: Link, fact: Fact) -> None:
    known = there.fact or Fact(there.header, fact.body)
    if not same_content(known, fact):
        raise conflict(fact)


def _check_arrival(case: str, fact: Fact, known: Mapping[UUID, Link], *, last_sequence: int) -> None:
    header = fact.header
    if header.case != case:
        raise InvalidInput(
            tr("Fact {id} belongs to case {other}, not to {case}.", id=header.id, other=header.case, case=case),
            field="case",
            value=header.case,
            allowed=case,
        )
    if header.based_on > last_sequence:
        raise InvalidInput(
            tr(
                "Fact {id} claims to have seen fact {seen}; the case has {last}.",
                id=header.id,
                seen=header.based_on,
                last=last_sequence,
            ),
            field="based_on",
            value=header.based_on,
            allowed=tr("0 to {last}", last=last_sequence),
        )
    body = content(fact)
    for target in (header.corrects, body.fact if isinstance(body, Withdrawn) else None):
        if target is not None and target not in known:
            raise NotFound(
                tr("Fact {id} changes fact {target}, which this case does not have.", id=header.id, target=target),
                field="corrects" if target == header.corrects else "fact",
                value=str(target),
            )


def continuation(known: Sequence[Link], arriving: Sequence[Link]) -> list[Link]:
    """The links that a copy of the same case adds to ``known``, exactly as they were accepted elsewhere.

    Empty where every fact is here already. A copy that has another history is refused: it cannot be joined on.
    """
    here = {link.header.id: link for link in known}
    for link in arriving:
        there, fact = here.get(link.header.id), link.fact
        if there is not None and fact is not None:
            _same_or_conflict(there, fact)
    if all(link.header.id in here for link in arriving):
        return []
    if any(one.chain != other.chain for one, other in zip(known, arriving, strict=False)):
        raise ConflictingFact(
            tr(
                "Case {case} has another history here than in this file; the two cannot be joined.",
                case=arriving[0].header.case,
            ),
            field="case",
            value=arriving[0].header.case,
        )
    return list(arriving[len(known) :])


def verify(links: Sequence[Link], *, head_kept: bytes | None = None) -> Break | None:
    """The first fact that was changed, dropped or put elsewhere, or None where the chain holds.

    ``head_kept`` is the head as somebody kept it apart: with it a cut-off end shows too.
    """
    later = {link.sequence for link in links}
    previous = START
    for position, link in enumerate(links, start=1):
        if link.sequence != position:
            fault: Fault = "dropped" if link.sequence > position and position not in later else "reordered"
            return _break(position, link, fault)
        if (link.body is None) != (link.salt is None) or not _leaf_holds(link):
            return _break(position, link, "changed")
        previous = chain_hash(previous, link.header, link.leaf)
        if previous != link.chain:
            return _break(position, link, "changed")
    if head_kept is not None and previous != head_kept:
        return _break(len(links) + 1, None, "cut off")
    return None


def _leaf_holds(link: Link) -> bool:
    if link.body is None or link.salt is None:
        return True
    return len(link.salt) == SALT_BYTES and leaf_hash(link.salt, link.body) == link.leaf


def _break(position: int, link: Link | None, fault: Fault) -> Break:
    fact_id = str(link.header.id) if link is not None else None
    says = {
        "changed": tr("Fact {position} ({id}) was changed after it was accepted.", position=position, id=fact_id),
        "dropped": tr("Fact {position} is missing; {id} stands in its place.", position=position, id=fact_id),
        "reordered": tr(
            "Fact {id} stands at place {position}, where it does not belong.", position=position, id=fact_id
        ),
        "cut off": tr(
            "The record ends before fact {position}, or its head belongs to another record.", position=position
        ),
    }
    return Break(position, fact_id, fault, says[fault])

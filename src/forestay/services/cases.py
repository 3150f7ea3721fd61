"""What may be done with kept cases: open the store, import, decide, take back, read, export. Every face calls these."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any
from uuid import UUID, uuid5

from forestay.case.bodies import Body, Decided, Found, Withdrawn
from forestay.case.case_file import decode, parse_case
from forestay.case.chain import Link, facts_of
from forestay.case.fact import Fact, content, new_fact
from forestay.case.fields import shown
from forestay.case.fold import Claim, conflict, fold
from forestay.case.from_file import DEVICE, facts_from_case
from forestay.case.lines import looks_like_facts
from forestay.case.replay import ThreadEntry, thread
from forestay.errors import ConflictingFact, ForestayError, MissingInput, NotFound
from forestay.exchange.dicom_file import looks_like_dicom
from forestay.exchange.fhir_in import looks_like_fhir
from forestay.exchange.jsonlines import Imported, count, export_facts, import_facts
from forestay.eye.situation import Situation
from forestay.eye.validation import validate
from forestay.services.entered import entered_at
from forestay.store.interface import FactStore, Identity
from forestay.store.location import as_url, default_url
from forestay.text import language, tr

TABLES = (".csv", ".tsv", ".xlsx", ".parquet")
READ_KEPT = 32
"""How many cases stay read as they last were: a case that is looked at is asked for again with each move of a control."""
INVENTED = "invented"
"""Author of the facts of an invented case; a face marks such a case wherever it is shown."""


@dataclass(frozen=True, slots=True)
class Who:
    """Who says something, and from where: pseudonyms, never names."""

    author: str
    device: str


@dataclass(frozen=True, slots=True)
class KeptCase:
    """A case as it is kept: its facts, what they amount to, how they read."""

    case_id: str
    facts: tuple[Fact, ...]
    situation: Situation
    thread: tuple[ThreadEntry, ...]
    head: int
    """The last server sequence: what a new fact is based on by whoever sees this."""
    last_kept: datetime | None
    invented: bool
    identity: Identity | None = None
    """Whom the case is about, for whoever may know it."""


def open_store(url: str | None = None) -> FactStore:
    """The store at ``url`` (an address or a path), or the user's own one."""
    from forestay.store.sql import SqlFactStore

    return SqlFactStore(as_url(url) if url else default_url())


def import_case(
    store: FactStore,
    data: bytes,
    *,
    name: str = "",
    case_id: str | None = None,
    side: str | None = None,
    author: str = DEVICE,
    happened_at: datetime | None = None,
    apart: timedelta = timedelta(0),
) -> Imported:
    """Keep what a file holds: exported facts as they are, a case file as facts, DICOM objects, a FHIR bundle.

    A repeat changes nothing. ``side`` says which eye of the objects a new case is about.

    The case is called ``case_id``, else after the file's ``name``. A case file that differs from the one which a case
    was opened with is refused: what changed since is a new fact.
    """
    if name.lower().endswith(TABLES):
        raise MissingInput(
            tr("{name} is a table; say with a mapping which column is which field.", name=name),
            field="mapping",
            allowed=tr("a mapping, as the page on exchange describes it"),
        )
    if looks_like_dicom(data):
        from forestay.services.measurements import import_objects

        return import_objects(store, data, name=name, case_id=case_id or _case_id(name), side=side)
    text = decode(data, name or tr("the case file"))
    if looks_like_fhir(text):
        from forestay.services.bundles import import_bundle

        called = case_id or _case_id(name)
        return import_bundle(store, data, name=name or tr("the file"), case_id=called, side=side)
    if looks_like_facts(text):
        return import_facts(store, data)
    case = parse_case(data, name)
    called = case_id or _case_id(name)
    made = facts_from_case(case, case_id=called, author=author, happened_at=happened_at, apart=apart)
    before = count(store, called)
    if before:
        _same_file(called, made, store.links(called))
        return Imported(called, 0, before)
    return Imported(called, len(store.append(called, made)), len(made))


def _same_file(case_id: str, made: list[Fact], kept: list[Link]) -> None:
    opened_with = {link.header.id: link.body for link in kept if link.header.device == DEVICE}
    if {fact.header.id: fact.body for fact in made} != opened_with:
        raise ConflictingFact(
            tr(
                "Case {case} is already kept, opened with another file; import under another name, or add facts to it.",
                case=case_id,
            ),
            field="case",
            value=case_id,
        )


def _case_id(name: str) -> str:
    stem = re.sub(r"\.[A-Za-z0-9]{1,8}$", "", name.replace("\\", "/").rpartition("/")[2])
    words = re.sub(r"[^A-Za-z0-9._-]+", "-", stem).strip("._-")
    return words[:64] or "case"


def record(
    store: FactStore,
    case_id: str,
    bodies: Mapping[UUID, Body],
    *,
    who: Who,
    based_on: int | None = None,
    corrects: UUID | None = None,
    happened_at: datetime | None = None,
) -> list[Fact]:
    """Append facts by their identities. A repeat with the same identities and bodies changes nothing.

    ``based_on`` is the head that the author saw; without it, everything kept so far.
    """
    there = store.standing(case_id, bodies, who.device)
    kept = _already(there.known, bodies)
    if kept is not None:
        return kept
    facts = [
        new_fact(
            body,
            case=case_id,
            author=who.author,
            device=who.device,
            device_sequence=number,
            happened_at=happened_at or entered_at(),
            based_on=there.sequence if based_on is None else based_on,
            corrects=corrects,
            id=key,
        )
        for number, (key, body) in enumerate(bodies.items(), start=there.device_sequence + 1)
    ]
    with suppress(ConflictingFact):
        return store.append(case_id, facts)
    kept = _already(store.standing(case_id, bodies, who.device).known, bodies)
    if kept is None:
        raise conflict(facts[0])
    return kept


def _already(known: Iterable[Link], bodies: Mapping[UUID, Body]) -> list[Fact] | None:
    """The facts of these identities where all are kept with the same bodies; None where none of them is."""
    there = {fact.header.id: fact for fact in facts_of(known) if fact.header.id in bodies}
    for key, fact in there.items():
        if content(fact) != bodies[key]:
            raise conflict(fact)
    return list(there.values()) if there and len(there) == len(bodies) else None


def decide(
    store: FactStore,
    case_id: str,
    choices: Mapping[str, Any],
    *,
    reason: str,
    key: UUID,
    who: Who,
    turned_down: tuple[str, ...] = (),
    based_on: int | None = None,
) -> list[Fact]:
    """Keep choices as decisions, one fact each, with one reason. The same key again changes nothing."""
    bodies: dict[UUID, Body] = {
        uuid5(key, subject): validate(
            Decided, {"subject": subject, "choice": choice, "reason": reason, "turned_down": turned_down}
        )
        for subject, choice in choices.items()
    }
    return record(store, case_id, bodies, who=who, based_on=based_on)


def record_seen(
    store: FactStore,
    case_id: str,
    values: Mapping[str, Any],
    *,
    key: UUID,
    who: Who,
    based_on: int | None = None,
) -> Fact:
    """Keep signs that were seen, by field of the case file, as one fact. The same key again changes nothing."""
    body = validate(Found, {"values": dict(values)})
    return record(store, case_id, {key: body}, who=who, based_on=based_on)[0]


def take_back(
    store: FactStore, case_id: str, fact_id: UUID, *, why: str, key: UUID, who: Who, based_on: int | None = None
) -> Fact:
    """Take a fact back, with why; a withdrawal can be taken back too. The same key again changes nothing."""
    body = validate(Withdrawn, {"fact": fact_id, "why": why})
    return record(store, case_id, {key: body}, who=who, based_on=based_on)[0]


def kept_case(store: FactStore, case_id: str) -> KeptCase:
    """One case with all that a face needs of it."""
    links = store.links(case_id)
    facts = tuple(facts_of(links))
    known, told = _read(facts, language())
    return KeptCase(
        case_id=case_id,
        facts=facts,
        situation=known,
        thread=told,
        head=len(links),
        last_kept=links[-1].header.received_at,
        invented=any(fact.header.author == INVENTED for fact in facts),
    )


@lru_cache(READ_KEPT)
def _read(facts: tuple[Fact, ...], _language: str) -> tuple[Situation, tuple[ThreadEntry, ...]]:
    """What facts amount to and how they read, once for all looks at them; ``_language`` is that of the words."""
    return fold(facts), tuple(thread(facts))


def situation(store: FactStore, case_id: str) -> Situation:
    """What the facts of a case amount to."""
    return fold(store.facts(case_id))


def situation_at(store: FactStore, case_id: str, head: int) -> Situation | None:
    """What the first ``head`` facts amount to; None where side or age were not known yet."""
    links = store.links(case_id)
    if not 0 < head <= len(links):
        return None
    with suppress(ForestayError):
        return fold(facts_of(links[:head]))
    return None


def value_words(claim: Claim) -> str:
    """What a fact says of one field, in words with its unit."""
    return shown(claim.path, claim.value)


def case_ids(store: FactStore) -> list[str]:
    """The cases kept, in order of arrival."""
    return store.cases()


def export_case(store: FactStore, case_id: str, form: str = "facts") -> bytes:
    """The case in the form asked for."""
    writer = FORMS.get(form)
    if writer is None:
        known = ", ".join(FORMS)
        raise NotFound(
            tr("A case cannot be exported as {form}; allowed: {known}.", form=form[:40], known=known),
            field="as",
            value=form[:40],
            allowed=known,
        )
    return writer(store, case_id)


def _dicom(store: FactStore, case_id: str) -> bytes:
    from forestay.services.objects_out import export_dicom

    return export_dicom(store, case_id)


def _fhir(store: FactStore, case_id: str) -> bytes:
    from forestay.exchange.fhir_out import write_fhir

    return write_fhir(case_id, store.links(case_id))


def _one_line(store: FactStore, case_id: str) -> bytes:
    from forestay.services.table_out import export_table

    return export_table(store, case_id)


FORMS = {"facts": export_facts, "dicom": _dicom, "fhir": _fhir, "table": _one_line}
"""Name of a form to what writes it."""

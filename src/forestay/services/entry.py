"""Facts entered field by field: keep what was typed, forget what was cleared, settle what is in dispute.

A field that is cleared becomes "not known": the facts that said something of it are corrected to say only the rest, or
taken back where nothing is left. Nothing is overwritten.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid5

from forestay.case.bodies import Body, Decided, Found, Measured, Withdrawn
from forestay.case.fact import Fact, new_fact
from forestay.case.fields import check_values, nested, slot
from forestay.case.fold import Claim, claims_by_slot, disputed
from forestay.case.from_file import GROUPS
from forestay.errors import ForestayError, InvalidInput
from forestay.eye.plausibility import Finding
from forestay.eye.records import CaseFile
from forestay.eye.situation import Situation
from forestay.eye.validation import validate
from forestay.plan.consistency import check
from forestay.services import actor, cases
from forestay.services.access import table
from forestay.services.cases import Who
from forestay.store.interface import FactStore
from forestay.text import tr

ALWAYS = ("person.age_years", "eye.side")
"""Fields without which there is no plan: they can be changed, never cleared."""
KIND_OF: dict[str, type[Measured] | type[Found]] = {path: kind for _, kind, paths in GROUPS for path in paths}


@dataclass(frozen=True, slots=True)
class FieldState:
    """What is known of one field: its value (None: not known), the fact that says so, and who says otherwise."""

    value: Any
    fact: Fact | None
    dispute: tuple[Claim, ...]


def field_states(facts: Sequence[Fact]) -> dict[str, FieldState]:
    """The state of every field that a fact speaks of, by path."""
    states = {}
    for said in claims_by_slot(facts).values():
        last = said[-1]
        states[last.path] = FieldState(last.value, last.entry.fact, tuple(disputed(said)))
    return states


def enter(
    store: FactStore, case_id: str, values: Mapping[str, Any], *, key: UUID, who: Who, based_on: int | None
) -> None:
    """Keep ``values`` by path; None clears the field. The same key again changes nothing."""
    known = {path: value for path, value in values.items() if value is not None}
    cleared = [path for path, value in values.items() if value is None]
    for path in cleared:
        if path in ALWAYS:
            raise InvalidInput(
                tr("{field} is needed for every plan; it can be changed, not cleared.", field=path),
                field=path,
                allowed=tr("a value"),
            )
    if known:
        check_values(known)
    bodies: dict[UUID, Body] = {}
    for kind in (Measured, Found):
        part = {path: value for path, value in known.items() if KIND_OF[path] is kind}
        if part:
            bodies[uuid5(key, kind.KIND)] = validate(kind, {"values": part})
    if bodies:
        cases.record(store, case_id, bodies, who=who, based_on=based_on)
    for path in cleared:
        _forget(store, case_id, path, key=key, who=who, based_on=based_on)


def _forget(store: FactStore, case_id: str, path: str, *, key: UUID, who: Who, based_on: int | None) -> None:
    for claim in claims_by_slot(store.facts(case_id)).get(slot(path), []):
        target, body = claim.entry.fact.header.id, claim.entry.body
        mark = uuid5(key, f"{path}/{target}")
        if isinstance(body, Measured | Found):
            rest = {p: v for p, v in body.values.items() if slot(p) != slot(path)}
            if rest:
                again = validate(type(body), {"values": rest})
                cases.record(store, case_id, {mark: again}, who=who, based_on=based_on, corrects=target)
                continue
        if not actor.may(table().kinds[claim.entry.fact.header.kind]):
            raise actor.Forbidden(
                tr("Refused: {field} was settled by a decision, which this account may not take back.", field=path),
                field=path,
            )
        taken = validate(Withdrawn, {"fact": target, "why": tr("cleared in the form: not known")})
        cases.record(store, case_id, {mark: taken}, who=who, based_on=based_on)


def settle(
    store: FactStore,
    case_id: str,
    path: str,
    fact_id: UUID,
    *,
    reason: str,
    key: UUID,
    who: Who,
    based_on: int | None,
) -> None:
    """Settle a field in dispute: the value that the fact ``fact_id`` gave stands, the others are turned down."""
    said = claims_by_slot(store.facts(case_id)).get(slot(path), [])
    chosen = next((claim for claim in said if claim.entry.fact.header.id == fact_id), None)
    if chosen is None:
        raise InvalidInput(
            tr("No fact of that identity speaks of {field}.", field=path), field="fact", allowed=tr("a fact in dispute")
        )
    others = dict.fromkeys(
        cases.value_words(claim) for claim in disputed(said) if (claim.path, claim.value) != (chosen.path, chosen.value)
    )
    body = validate(
        Decided,
        {"subject": chosen.path, "choice": chosen.value, "reason": reason, "turned_down": tuple(others)},
    )
    cases.record(store, case_id, {key: body}, who=who, based_on=based_on)


def open_case(
    store: FactStore,
    case_id: str,
    *,
    side: str,
    age_years: float,
    key: UUID,
    who: Who,
    theatre: Mapping[str, Any] | None = None,
) -> None:
    """A new case, of which side and age are known, and what the settings say of ``theatre``, by field of the case file.

    A name that is taken is refused.
    """
    if case_id in store.cases():
        if _opened_by(store, case_id, key):
            return
        raise InvalidInput(
            tr("Case {case} is already kept here; choose another name.", case=case_id), field="case", value=case_id
        )
    bodies: dict[UUID, Body] = {
        uuid5(key, "who"): validate(Found, {"values": {"person.age_years": age_years}}),
        uuid5(key, "eye"): validate(Found, {"values": {"eye.side": side}}),
    }
    if theatre:
        bodies[uuid5(key, "theatre")] = validate(Found, {"values": dict(theatre)})
    facts = [
        new_fact(body, case=case_id, author=who.author, device=who.device, device_sequence=number, id=mark)
        for number, (mark, body) in enumerate(bodies.items(), start=1)
    ]
    store.append(case_id, facts)


def _opened_by(store: FactStore, case_id: str, key: UUID) -> bool:
    return any(link.header.id == uuid5(key, "who") for link in store.links(case_id))


def plausible(situation: Situation, values: Mapping[str, Any]) -> tuple[Finding, ...]:
    """What is to be said of ``values`` before they are kept: findings that they raise, worst first.

    A value that cannot be is a :class:`~forestay.errors.ForestayError`.
    """
    given = {path: value for path, value in values.items() if value is not None}
    if given:
        check_values(given)
    before = situation.case.model_dump(exclude_none=True)
    slots = {slot(path) for path in values}
    kept = {
        f"{section}.{name}": value
        for section, inner in before.items()
        for name, value in inner.items()
        if slot(f"{section}.{name}") not in slots
    }
    try:
        after = validate(CaseFile, nested({**kept, **given}))
    except ForestayError as wrong:
        if wrong.field in values:
            raise
        return ()
    known = {(f.key, f.why) for f in check(situation.case)}
    return tuple(f for f in check(after) if f.field in values or (f.key, f.why) not in known)

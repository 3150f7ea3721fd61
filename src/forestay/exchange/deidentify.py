"""A case without what could point to a person: for registries and teaching.

Names and numbers of patients are never in a fact. Here everything else goes that could lead back to one: free text, serials,
lots and trays, who did it, the time of the operation, kept plans with their sentences, ages above 89, and values that few
cases share. Dates move by a number of minutes that a kept secret gives each case: the days between them stay.

Shifted dates are not the removal of dates that the Safe Harbor rule (45 CFR 164.514(b)(2)) asks for; they serve where a registry
agreed to them.
"""

from __future__ import annotations

import hashlib
import hmac
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, cast
from uuid import UUID

from forestay.case.bodies import Body, Decided, Done, Found, Happened, Measured, Seen
from forestay.case.fact import Fact, new_fact
from forestay.case.fields import is_field
from forestay.case.fold import Entry, entries, fold
from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.eye.situation import Decisions
from forestay.eye.validation import validate
from forestay.plan.ruleset import ruleset
from forestay.text import tr

OLDEST_YEARS = 90
"""Ages from here on are one group (45 CFR 164.514(b)(2)(i)(C))."""
MOST_MINUTES = 365 * 24 * 60
"""Dates move by up to a year, either way."""
NOT_TOLD = "not exported"
WHOSE = "practice"
INVENTED = "invented"
OTHER_SUBJECTS = ("technique_done", "lens_position")
KNOWN_ALLERGIES = frozenset({"sulfonamide", "cephalosporin", "penicillin", "iodine", "latex"})
ARTICLE = re.compile(r"article \d{8,14}")
PLAIN = re.compile(r"[a-z0-9-]{1,40}")
NEEDED = ("person.age_years", "eye.side")


@dataclass(frozen=True, slots=True)
class Bared:
    """A case as it goes out."""

    case_id: str
    facts: tuple[Fact, ...]
    left_out: int
    """Facts of which nothing could go out."""


def bared(case_id: str, facts: Iterable[Fact], secret: bytes) -> Bared:
    """What stands in the case, under another name, at other times, in other words. The same secret gives the same names."""
    key = hmac.new(secret, case_id.encode(), hashlib.sha256).digest()
    name = f"P-{key.hex()[:16]}"
    shift = timedelta(minutes=int.from_bytes(key[16:24], "big") % (2 * MOST_MINUTES + 1) - MOST_MINUTES)
    made: list[Fact] = []
    everything = entries(facts)
    standing = sorted((e for e in everything if e.stands), key=lambda e: (e.place, e.index))
    for entry in standing:
        body = _bare(entry.body)
        if body is not None:
            made.append(_fact(entry, body, name=name, key=key, shift=shift, number=len(made) + 1))
    return Bared(name, tuple(made), len(everything) - len(made))


def _fact(entry: Entry, body: Body, *, name: str, key: bytes, shift: timedelta, number: int) -> Fact:
    header = entry.fact.header
    digest = hmac.new(key, header.id.bytes, hashlib.sha256).digest()
    moment = _shifted(header.happened_at, shift)
    return new_fact(
        body,
        case=name,
        author=INVENTED if header.author == INVENTED else WHOSE,
        device=WHOSE,
        device_sequence=number,
        happened_at=moment,
        id=UUID(bytes=digest[:16], version=4),
    )


def _shifted(moment: datetime, shift: timedelta) -> datetime:
    """Moved, in the one zone that says nothing of the place, without seconds."""
    return (moment.astimezone(UTC) + shift).replace(second=0, microsecond=0)


def _bare(body: Body) -> Body | None:
    if isinstance(body, Measured | Found):
        values = {path: _value(path, value) for path, value in body.values.items()}
        return validate(type(body), {"values": values})
    if isinstance(body, Decided):
        return _decided(body)
    if isinstance(body, Done):
        if body.step not in _steps():
            return None
        devices = tuple(d for d in body.devices if ARTICLE.fullmatch(d))
        return Done(step=body.step, by=WHOSE, sizes=body.sizes, devices=devices)
    if isinstance(body, Happened):
        step = body.step if body.step in _steps() else None
        return body.model_copy(update={"note": None, "step": step})
    return body if isinstance(body, Seen) else None


def _steps() -> frozenset[str]:
    return frozenset(str(rule.data["key"]) for rule in ruleset("steps")["step"])


def _decided(body: Decided) -> Decided | None:
    """Choices of the trade alone; a reason is somebody's own words."""
    choice = body.choice
    if is_field(body.subject):
        choice = _value(body.subject, choice)
    elif body.subject not in Decisions.model_fields:
        plain = not isinstance(choice, str) or PLAIN.fullmatch(choice) is not None
        if body.subject not in OTHER_SUBJECTS or not plain:
            return None
    return validate(Decided, {"subject": body.subject, "choice": choice, "reason": NOT_TOLD})


def _value(path: str, value: Any) -> Any:
    if path == "person.age_years":
        return min(value, OLDEST_YEARS)
    if path == "person.allergies":
        return [one if one in KNOWN_ALLERGIES else "other" for one in value]
    return value


@dataclass(frozen=True, slots=True)
class Protected:
    """Cases of which none stands alone, and what was left out for it."""

    cases: tuple[Bared, ...]
    dropped: int
    """Cases whose age and sex too few others share."""
    values: Mapping[str, int]
    """Values that too few cases share -> in how many they were left out."""


def protected(cases: Sequence[Bared]) -> Protected:
    """Leave out what fewer cases than the smallest group share.

    First persons by sex and decade of age, then each word that a field can hold. Numbers stay: lengths and powers are
    what a registry is for.
    """
    fewest = int(cast(float, default_evidence()["audit.smallest_group"].value))
    groups = {case.case_id: _group(case) for case in cases}
    sizes = Counter(groups.values())
    told = [case for case in cases if sizes[groups[case.case_id]] >= fewest]
    if not told:
        raise InvalidInput(
            tr("No group of age and sex has {n} cases; nothing can go out without pointing to a person.", n=fewest),
            field="cases",
            value=len(cases),
            allowed=tr("at least {n} cases that share sex and decade of age", n=fewest),
        )
    shared = Counter(word for case in told for word in _words(case))
    rare = {word: n for word, n in shared.items() if n < fewest}
    return Protected(
        cases=tuple(_without(case, rare) for case in told),
        dropped=len(cases) - len(told),
        values={f"{path} {value}": n for (path, value), n in sorted(rare.items())},
    )


def _group(case: Bared) -> tuple[str, int]:
    person = fold(case.facts).case.person
    return str(person.sex), int(person.age_years // 10)


def _words(case: Bared) -> set[tuple[str, str]]:
    return {
        (path, str(value))
        for entry in entries(case.facts)
        for path, value in _said(entry.body)
        if _is_word(path, value)
    }


def _said(body: Body) -> Iterable[tuple[str, Any]]:
    if isinstance(body, Measured | Found):
        return body.values.items()
    if isinstance(body, Decided):
        return [(body.subject, body.choice)]
    return [("event", body.event)] if isinstance(body, Happened) else []


def _is_word(path: str, value: Any) -> bool:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return not number and path not in NEEDED


def _without(case: Bared, rare: Mapping[tuple[str, str], int]) -> Bared:
    """The case without rare words. A fact that says nothing else goes with them."""
    kept: list[Fact] = []
    for entry in entries(case.facts):
        body: Body | None = entry.body
        hit = [path for path, value in _said(entry.body) if (path, str(value)) in rare]
        if hit and isinstance(entry.body, Measured | Found):
            values = {path: value for path, value in entry.body.values.items() if path not in hit}
            body = validate(type(entry.body), {"values": values}) if values else None
        elif hit:
            body = None
        if body is entry.body:
            kept.append(entry.fact)
        elif body is not None:
            kept.append(_again(entry.fact, body))
    return Bared(case.case_id, tuple(kept), case.left_out + len(case.facts) - len(kept))


def _again(fact: Fact, body: Body) -> Fact:
    header = fact.header
    return new_fact(
        body,
        case=header.case,
        author=header.author,
        device=header.device,
        device_sequence=header.device_sequence,
        happened_at=header.happened_at,
        id=header.id,
    )

"""Whom a case is about: name, date of birth, number in the clinic. Apart from the facts, for those who may see it."""

from __future__ import annotations

from datetime import date, timedelta

from forestay.errors import InvalidInput
from forestay.services import actor
from forestay.store.interface import FactStore, Identity, now
from forestay.text import tr

__all__ = ["Identity", "identify", "identity"]
LONGEST = 120
OLDEST = timedelta(days=130 * 366)


def identity(store: FactStore, case_id: str) -> Identity | None:
    """Whom the case is about; None where that was not said, or whoever asks may not know it."""
    return store.identity(case_id) if actor.may("identify") else None


def identify(store: FactStore, case_id: str, given: Identity, *, by: str) -> Identity:
    """Say whom the case is about, checked."""
    kept = Identity(
        _line("name", given.name), _born(given.birth_date), _line("number", given.number) if given.number else None
    )
    store.identify(case_id, kept, by=by)
    return kept


def _line(field: str, text: str) -> str:
    plain = " ".join(text.split())
    if not plain or len(plain) > LONGEST or not plain.isprintable():
        allowed = tr("1 to {longest} letters", longest=LONGEST)
        raise InvalidInput(tr("{field} is needed: {words}.", field=field, words=allowed), field=field, allowed=allowed)
    return plain


def _born(text: str | None) -> str | None:
    if not text:
        return None
    allowed = tr("a day in the past, as in 1952-03-01")
    try:
        day = date.fromisoformat(text)
    except ValueError:
        day = None
    today = now().date()
    if day is None or not today - OLDEST <= day <= today:
        raise InvalidInput(
            tr("{field} is {value!r}; allowed: {words}.", field="birth_date", value=text[:40], words=allowed),
            field="birth_date",
            value=text[:40],
            allowed=allowed,
        )
    return day.isoformat()

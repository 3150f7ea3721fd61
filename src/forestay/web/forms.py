"""From the text of a query or a form to typed values: commas, empty fields, and one clear error."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from forestay.draw.controls import BY_NAME
from forestay.draw.gap_arc import arc_hours, main_run, with_end
from forestay.errors import InvalidInput
from forestay.eye.situation import Decisions
from forestay.eye.validation import validate
from forestay.frame import wrap_hour
from forestay.text import tr

LONGEST_TEXT = 400


@dataclass(frozen=True)
class Sent:
    """A form: its texts, and the boxes that were ticked by field."""

    texts: dict[str, str]
    several: dict[str, list[str]]


LAST_HOUR = 12


def number(field: str, text: str) -> float:
    """The number that somebody typed; a decimal comma is read as a point."""
    try:
        return float(text.strip().replace(",", "."))
    except ValueError:
        raise InvalidInput(
            tr("{field} is {value!r}; allowed: a number.", field=field, value=text[:40]),
            field=field,
            value=text[:40],
            allowed=tr("a number"),
        ) from None


def typed(name: str, text: str) -> Any:
    """The value of one control from its text."""
    if name == "ring":
        return text
    value = number(name, text)
    if name == "pupil_hooks":
        if not value.is_integer():
            raise InvalidInput(
                tr("{field} is {value}; allowed: a whole number.", field=name, value=f"{value:g}"),
                field=name,
                value=value,
                allowed=tr("a whole number"),
            )
        return int(value)
    return wrap_hour(value) if BY_NAME[name].kind == "angular" else value


def look(query: Mapping[str, str]) -> dict[str, Any]:
    """The controls that a reader moved, checked. A control that shows what it showed before was not moved.

    ``was_NAME`` says what the page showed; ``held`` names the controls moved before; ``step`` is a pressed button,
    ``NAME:+1``, for a page without script.
    """
    held = set(query.get("held", "").split())
    moved: dict[str, Any] = {}
    for name in BY_NAME:
        text = query.get(name, "").strip()
        if not text:
            continue
        shown = query.get(f"was_{name}")
        if shown is None or name in held or text != shown.strip():
            moved[name] = typed(name, text)
    gap = _gap(query, held=held)
    if gap is not None:
        moved[GAP] = gap
    if query.get("step"):
        moved.update(_stepped(query, query["step"]))
    checked = validate(Decisions, moved)
    return {name: getattr(checked, name) for name in moved}


GAP = "weak_hours"
ENDS = {"weak_from": "from", "weak_to": "to"}
"""Fields that move one end of the gap, with the end."""


def _gap(query: Mapping[str, str], *, held: Iterable[str]) -> tuple[float, ...] | None:
    """The gap that is tried; None where it was not moved. ``weak_hours`` is what the page showed or the whole of what is
    tried; ``weak_from`` and ``weak_to`` move an end of it."""
    text = query.get(GAP, "").strip()
    if not text:
        return None
    hours = arc_hours(text)
    shown = query.get(f"was_{GAP}")
    moved = shown is None or GAP in held or text != shown.strip()
    for name, end in ENDS.items():
        typed_hour = query.get(name, "").strip()
        if typed_hour and typed_hour != query.get(f"was_{name}", "").strip():
            hours, moved = with_end(hours, end, _clock(name, typed_hour)), True
    return hours if moved else None


def _clock(name: str, text: str) -> float:
    hour = number(name, text)
    if not 0 <= hour <= LAST_HOUR:
        words = tr("1 to 12 o'clock")
        raise InvalidInput(
            tr("{field} is {value:g}; allowed: {words}.", field=name, value=hour, words=words),
            field=name,
            value=hour,
            allowed=words,
        )
    return wrap_hour(hour)


def _stepped(query: Mapping[str, str], step: str) -> dict[str, Any]:
    name, _, by = step.partition(":")
    if name in ENDS and query.get(GAP):
        hours = arc_hours(query[GAP])
        run = main_run(hours) or (0.0,)
        at = run[0] if name == "weak_from" else run[-1]
        return {GAP: with_end(hours, ENDS[name], wrap_hour(at + number("step", by)))}
    control = BY_NAME.get(name)
    if control is None or not query.get(name):
        raise InvalidInput(
            tr("{field} is not a control that can be stepped.", field=name[:40]),
            field="step",
            value=step[:40],
            allowed=", ".join(BY_NAME),
        )
    steps = number("step", by)
    if control.kind == "choice":
        at = control.options.index(one_of(name, query[name], control.options)) + (1 if steps > 0 else -1)
        return {name: control.options[max(0, min(len(control.options) - 1, at))]}
    value = number(name, query[name]) + steps * control.step
    if control.kind == "angular":
        return {name: typed(name, f"{wrap_hour(value):g}")}
    return {name: typed(name, f"{max(control.low, min(control.high, value)):g}")}


def sentence(field: str, text: str) -> str:
    """A short text that must be there: a reason."""
    plain = " ".join(text.split())
    if not plain or len(plain) > LONGEST_TEXT:
        words = tr("1 to {longest} letters", longest=LONGEST_TEXT)
        raise InvalidInput(
            tr("{field} is needed: {words}.", field=field, words=words), field=field, value=None, allowed=words
        )
    return plain


LONGEST_COUNT = 10


def form_uuid(field: str, text: str) -> UUID:
    """An identity that the page made."""
    try:
        return UUID(text)
    except ValueError:
        words = tr("an identity as the page made it")
        raise InvalidInput(
            tr("{field} is not {words}.", field=field, words=words), field=field, value=None, allowed=words
        ) from None


def form_key(form: Mapping[str, str]) -> UUID:
    """The identity of what the form would keep."""
    return form_uuid("key", form.get("key", ""))


def head_of(form: Mapping[str, str]) -> int | None:
    """How many facts the form had seen; None where it does not say."""
    return count_of(form.get("based_on", ""))


def count_of(text: str) -> int | None:
    """A count from its text; None where it is none."""
    return int(text) if text.isdecimal() and text.isascii() and len(text) < LONGEST_COUNT else None


def one_of(field: str, text: str, known: Iterable[str]) -> str:
    """A word of a list."""
    words = list(known)
    if text not in words:
        raise InvalidInput(
            tr("{field} is {value!r}; allowed: {words}.", field=field, value=text[:40], words=", ".join(words)),
            field=field,
            value=text[:40],
            allowed=", ".join(words),
        )
    return text

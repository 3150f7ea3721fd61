"""The fields of the case file as a form has them: what kind of control each one is, and its value from and to text."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from forestay.case.bodies import UNITS
from forestay.case.fields import PATHS, SECTIONS
from forestay.draw.gap_arc import arc_hours, arc_text
from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.eye.quantity import allowed, limit
from forestay.text import once_per_language, tr
from forestay.web.forms import LONGEST_TEXT, number, one_of
from forestay.web.units import unit_called, unit_of

Kind = Literal["number", "choice", "flag", "several", "words", "hours", "constant"]
YES, NO, NONE = "yes", "no", "none"
LONGEST_WORD = 60
SHORT_LIST = 30


@dataclass(frozen=True)
class FieldSpec:
    """One field: its path, what it is, what it may be."""

    path: str
    kind: Kind
    meaning: str
    unit: str = ""
    allowed: str = ""
    options: tuple[str, ...] = ()

    @property
    def section(self) -> str:
        """The section of the case file that it stands in."""
        return self.path.partition(".")[0]


@once_per_language
def specs() -> dict[str, FieldSpec]:
    """Every field of the case file by its path."""
    return {path: _spec(path) for path in PATHS}


def section_specs(section: str) -> tuple[FieldSpec, ...]:
    """The fields of one section, in the file's order."""
    return tuple(spec for spec in specs().values() if spec.section == section)


def _spec(path: str) -> FieldSpec:
    section, _, name = path.partition(".")
    field = SECTIONS[section].model_fields[name]
    inner = _inner(field.annotation)
    meaning = field.description or ""
    if inner is bool:
        return FieldSpec(path, "flag", meaning)
    if get_origin(inner) is Literal:
        return FieldSpec(path, "choice", meaning, options=tuple(str(a) for a in get_args(inner)))
    if get_origin(inner) is tuple:
        return _several(path, meaning, _inner(get_args(inner)[0]))
    if isinstance(inner, type) and issubclass(inner, BaseModel):
        methods = get_args(_inner(inner.model_fields["method"].annotation))
        return FieldSpec(path, "constant", tr("lens constant"), options=tuple(str(a) for a in methods))
    row = _limit(name, field)
    return FieldSpec(path, "number", meaning or row[0], unit=row[1], allowed=row[2])


def _several(path: str, meaning: str, inner: Any) -> FieldSpec:
    if get_origin(inner) is Literal:
        return FieldSpec(path, "several", meaning, options=tuple(str(a) for a in get_args(inner)))
    return FieldSpec(path, "hours" if inner is float else "words", meaning)


def _inner(annotation: Any) -> Any:
    """The type inside ``X | None`` and inside its limits."""
    while True:
        if get_origin(annotation) in (Union, UnionType):
            annotation = next(a for a in get_args(annotation) if a is not NoneType)
        elif get_origin(annotation) is Annotated:
            annotation = get_args(annotation)[0]
        else:
            return annotation


def _limit(name: str, field: Any) -> tuple[str, str, str]:
    """Meaning, unit and range of a number, from the row of its limits: the row that the record itself names."""
    low = _bound(field, "ge")
    high = _bound(field, "le")
    for key in (name, f"target_{name.removeprefix('refraction_')}"):
        if f"limit.{key}" in default_evidence() and limit(key).value == (low, high):
            row = limit(key)
            return row.meaning, tr(row.unit), allowed(key)
    if low is None or high is None:
        return "", "", ""
    unit = tr(next((unit for ending, unit in UNITS.items() if name.endswith(ending)), ""))
    return "", unit, tr("{low:g} to {high:g} {unit}", low=low, high=high, unit=unit).strip()


def _bound(field: Any, name: str) -> float | None:
    found: list[Any] = [*field.metadata]
    for part in get_args(field.annotation):
        if get_origin(part) is Annotated:
            for extra in get_args(part)[1:]:
                found += [extra, *getattr(extra, "metadata", [])]
    return next((getattr(m, name) for m in found if getattr(m, name, None) is not None), None)


def text_of(spec: FieldSpec, value: Any) -> str:
    """A value as it stands in its field; empty where it is not known."""
    if value is None:
        return ""
    if spec.kind == "flag":
        return YES if value else NO
    if spec.kind == "hours":
        return arc_text([float(v) for v in value])
    if spec.kind in ("several", "words"):
        return " ".join(value) if spec.kind == "several" and value else ", ".join(value) or NONE
    if spec.kind == "constant":
        a, method = value.get("a"), value.get("method")
        return f"{'' if a is None else f'{a:g}'} {method or ''}".strip()
    other = unit_of(spec.path) if spec.kind == "number" else None
    plain = f"{value:.10g}" if isinstance(value, int | float) else str(value)
    return plain if other is None else other.typed(value)


def value_of(spec: FieldSpec, text: str, unit: str = "") -> Any:
    """The value that somebody typed or picked, in the ``unit`` that the form names; None where the field is empty."""
    plain = " ".join(text.split())
    if not plain:
        return None
    if len(plain) > LONGEST_TEXT:
        words = tr("at most {longest} letters", longest=LONGEST_TEXT)
        raise InvalidInput(tr("{field} is too long.", field=spec.path), field=spec.path, allowed=words)
    value = _READERS[spec.kind](spec, plain)
    other = unit_called(spec.path, unit) if spec.kind == "number" else None
    return value if other is None else other.kept(value)


def _flag(spec: FieldSpec, plain: str) -> bool:
    return one_of(spec.path, plain, (YES, NO)) == YES


def _picked(spec: FieldSpec, plain: str) -> list[str]:
    return [] if plain == NONE else [one_of(spec.path, word, spec.options) for word in plain.split(" ")]


def _words(spec: FieldSpec, plain: str) -> list[str]:
    if plain.lower() == NONE:
        return []
    words = [word.strip() for word in plain.split(",") if word.strip()]
    if len(words) > SHORT_LIST or any(len(word) > LONGEST_WORD for word in words):
        allowed = tr("words with commas between them, or none")
        raise InvalidInput(tr("{field} is not a list of words.", field=spec.path), field=spec.path, allowed=allowed)
    return words


def _hours(spec: FieldSpec, plain: str) -> list[float]:
    try:
        return list(arc_hours(plain.lower().replace(" ", "").replace(";", ",")))
    except InvalidInput as wrong:
        raise InvalidInput(
            tr("{field} is {value!r}; allowed: {allowed}.", field=spec.path, value=plain[:40], allowed=wrong.allowed),
            field=spec.path,
            value=plain[:40],
            allowed=wrong.allowed,
        ) from None


def _constant(spec: FieldSpec, plain: str) -> dict[str, Any]:
    a, _, method = plain.partition(" ")
    if a in spec.options:
        a, method = "", a
    known: dict[str, Any] = {}
    if a:
        known["a"] = number(spec.path, a)
    if method:
        known["method"] = one_of(spec.path, method, spec.options)
    return known


_READERS: dict[Kind, Callable[[FieldSpec, str], Any]] = {
    "number": lambda spec, plain: number(spec.path, plain),
    "flag": _flag,
    "choice": lambda spec, plain: one_of(spec.path, plain, spec.options),
    "several": _picked,
    "words": _words,
    "hours": _hours,
    "constant": _constant,
}

SEVERAL = "several_"
METHOD = "method_"


def typed_text(spec: FieldSpec, form: Mapping[str, str], several: Mapping[str, list[str]]) -> str | None:
    """The text of a field in a form that was sent; None where the form has no such field."""
    if spec.kind == "several":
        return " ".join(several.get(spec.path, [])) if f"{SEVERAL}{spec.path}" in form else None
    if spec.kind == "constant" and spec.path in form:
        return f"{form[spec.path].strip()} {form.get(METHOD + spec.path, '').strip()}".strip()
    return form.get(spec.path)

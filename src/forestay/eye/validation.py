"""Turns a validation failure of any record into one clear error that names field, value and what was allowed."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from types import UnionType
from typing import Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from forestay.errors import ForestayError, InvalidInput, MissingInput, UnknownKey
from forestay.evidence import default_evidence
from forestay.eye.hints import hint
from forestay.eye.quantity import allowed as allowed_range
from forestay.text import mark, tr

M = TypeVar("M", bound=BaseModel)

LARGEST_BITS = 1000
"""Whole numbers with more binary digits than this do not fit a float and are named in words."""

_TYPE_WORDS = {
    "float_type": mark("a number"),
    "float_parsing": mark("a number"),
    "int_type": mark("a whole number"),
    "int_parsing": mark("a whole number"),
    "int_from_float": mark("a whole number"),
    "bool_type": mark("true or false"),
    "string_type": mark("a word"),
    "list_type": mark("a list"),
    "tuple_type": mark("a list"),
    "dict_type": mark("a table of keys"),
    "model_type": mark("a table of keys"),
    "model_attributes_type": mark("a table of keys"),
    "finite_number": mark("a finite number"),
}


def validate(model: type[M], data: Any) -> M:
    """``data`` as a record of type ``model``, or one :class:`ForestayError` about the first thing that is wrong."""
    try:
        return model.model_validate(data)
    except ValidationError as failure:
        raise explain(failure, model) from None


def explain(failure: ValidationError, model: type[BaseModel]) -> ForestayError:
    """The first failure in words. Unknown and missing keys go before bad values, since they explain the most."""
    errors = failure.errors(include_url=False)
    rank = {"extra_forbidden": 0, "missing": 1}
    first = min(errors, key=lambda e: rank.get(e["type"], 2))
    location = tuple(first["loc"])
    field = ".".join(str(p) for p in location if not (isinstance(p, str) and "[" in p)) or None
    name = next((str(p) for p in reversed(location) if isinstance(p, str) and "[" not in p), "")
    kind = first["type"]
    value = first.get("input")
    if kind == "extra_forbidden":
        known = _known_keys(model, location)
        return UnknownKey(
            tr("{field} is not a key that is read here.", field=field)
            + (" " + tr("Known keys: {known}.", known=known) if known else ""),
            field=field,
            value=_short(value),
            allowed=known or None,
        )
    if kind == "missing":
        return MissingInput(
            tr("{field} is missing; it is needed here.", field=field), field=field, allowed=_allowed(first, name)
        )
    words = _own_range(model, location) or _allowed(first, name)
    told = None if _huge(value) else hint(name, value)
    message = tr(
        "{field} is {value}; allowed: {words}.", field=field or tr("the input"), value=_show(value), words=words
    )
    return InvalidInput(message + (f" {told}" if told else ""), field=field, value=_short(value), allowed=words)


def _allowed(error: Mapping[str, Any], name: str) -> str:
    kind = error["type"]
    if f"limit.{name}" in default_evidence():
        return allowed_range(name)
    if kind in _TYPE_WORDS:
        return tr(_TYPE_WORDS[kind])
    return _allowed_by_kind(kind, error.get("ctx", {})) or str(error["msg"])


def _own_range(model: type[BaseModel], location: tuple[Any, ...]) -> str:
    """The range that the field itself states, in words; it can be narrower than that of the quantity it is called by."""
    keys = [part for part in location if isinstance(part, str)]
    owner = _owner(model, (*keys[:-1], "")) if keys else None
    field = getattr(owner, "model_fields", {}).get(keys[-1]) if keys else None
    if field is None:
        return ""
    low, high, unit = None, None, ""
    for info in (field, *_annotated_infos(field.annotation, items=isinstance(location[-1], int))):
        unit = unit or str((info.json_schema_extra or {}).get("unit", ""))
        for rule in info.metadata:
            low = getattr(rule, "ge", low)
            high = getattr(rule, "le", high)
    if low is None or high is None:
        return ""
    return tr("{low:g} to {high:g} {unit}", low=low, high=high, unit=unit).strip()


def _annotated_infos(annotation: Any, *, items: bool) -> list[FieldInfo]:
    """The field descriptions inside ``Annotated[…] | None``, and those of the items of a list where they are asked for."""
    found = [extra for extra in getattr(annotation, "__metadata__", ()) if isinstance(extra, FieldInfo)]
    if get_origin(annotation) in (Union, UnionType) or (items and get_origin(annotation) is tuple):
        found += [info for inner in get_args(annotation) for info in _annotated_infos(inner, items=items)]
    return found


def _allowed_by_kind(kind: str, context: Mapping[str, Any]) -> str:
    words: dict[str, Callable[[], str]] = {
        "literal_error": lambda: str(context.get("expected", "")),
        "enum": lambda: str(context.get("expected", "")),
        "greater_than_equal": lambda: tr("{low:g} or more", low=context["ge"]),
        "greater_than": lambda: tr("more than {low:g}", low=context["gt"]),
        "less_than_equal": lambda: tr("{high:g} or less", high=context["le"]),
        "less_than": lambda: tr("less than {high:g}", high=context["lt"]),
        "value_error": lambda: str(context.get("error", "")),
        "missing": lambda: tr("a value"),
        "too_short": lambda: tr("a list of {n} or more", n=context["min_length"]),
        "too_long": lambda: tr("a list of {n} or fewer", n=context["max_length"]),
    }
    return words[kind]() if kind in words else ""


def _owner(model: type[BaseModel], location: tuple[Any, ...]) -> Any:
    """The record that the last part of ``location`` is a key of; None where it cannot be told."""
    current: Any = model
    for part in location[:-1]:
        if isinstance(part, int):
            continue
        found = getattr(current, "model_fields", {}).get(part)
        current = None if found is None else _model_of(found.annotation)
        if current is None:
            return None
    return current


def _known_keys(model: type[BaseModel], location: tuple[Any, ...]) -> str:
    return ", ".join(getattr(_owner(model, location), "model_fields", {}))


def _model_of(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in get_args(annotation):
        found = _model_of(inner)
        if found is not None:
            return found
    return None


def _huge(value: Any) -> bool:
    return isinstance(value, int) and value.bit_length() > LARGEST_BITS


def _short(value: Any) -> Any:
    if _huge(value) or (isinstance(value, float) and not math.isfinite(value)):
        return None
    if isinstance(value, str | int | float | bool) or value is None:
        return value if not isinstance(value, str) else value[:80]
    return None


def _show(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if _huge(value):
        return tr("a number beyond all measure")
    if isinstance(value, float | int):
        return f"{value:g}"
    if isinstance(value, str):
        return repr(value[:80])
    if value is None:
        return tr("nothing")
    return tr(
        "a {kind}", kind={"list": tr("list"), "dict": tr("table")}.get(type(value).__name__, type(value).__name__)
    )

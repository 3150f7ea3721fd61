"""The pages of the calculations, made from their table: what goes in, with units and ranges, and what comes out."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel

from forestay.calc.core import Calculation
from forestay.text import tr
from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class KeyRow:
    """One key of an input or of a result."""

    name: str = field(metadata=told("name of the key; a dot leads into a table"))
    meaning: str = field(metadata=told("what it is"))
    unit: str = field(metadata=told("unit of the number"))
    allowed: str = field(metadata=told("range, words or kind of value"))
    needed: bool = field(metadata=told("True where it must be there"))
    default: str = field(metadata=told("what is taken where it is absent"))


@dataclass(frozen=True)
class NamedRow:
    """One calculation in the list."""

    name: str = field(metadata=told("name, as in command and address"))
    summary: str = field(metadata=told("what it works out"))


@dataclass(frozen=True)
class ReferenceListView(View):
    """All calculations."""

    rows: tuple[NamedRow, ...] = field(metadata=told("the calculations in the order of their families"))


@dataclass(frozen=True)
class ReferenceView(View):
    """One calculation."""

    name: str = field(metadata=told("name, as in command and address"))
    summary: str = field(metadata=told("what it works out"))
    formula: str = field(metadata=told("how"))
    valid: str = field(metadata=told("for which eyes it was studied"))
    inputs: tuple[KeyRow, ...] = field(metadata=told("keys of the input"))
    outputs: tuple[KeyRow, ...] = field(metadata=told("keys of the result"))
    given: str = field(metadata=told("input in the field, as JSON"))
    answered: str | None = field(metadata=told("the answer to it, as JSON"))
    failure: str | None = field(metadata=told("why there is no answer"))
    example: str = field(metadata=told("the example of the table, as JSON"))


def pretty(value: Any) -> str:
    """JSON with line breaks."""
    return json.dumps(value, indent=2, ensure_ascii=False)


def key_rows(model: type[BaseModel], *, mode: str = "validation") -> tuple[KeyRow, ...]:
    """The keys of a record with units and ranges, from its JSON Schema."""
    schema = model.model_json_schema(mode="serialization" if mode == "serialization" else "validation")
    return tuple(_rows(schema, schema.get("$defs", {}), ""))


def input_rows(row: Calculation[Any, Any]) -> tuple[KeyRow, ...]:
    """The keys that a calculation reads."""
    return key_rows(row.input)


def output_rows(row: Calculation[Any, Any]) -> tuple[KeyRow, ...]:
    """The keys that a calculation answers."""
    return key_rows(row.output, mode="serialization")


def _rows(schema: Mapping[str, Any], known: Mapping[str, Any], prefix: str) -> Iterator[KeyRow]:
    required = schema.get("required", [])
    for name, found in schema.get("properties", {}).items():
        kinds = [_resolved(kind, known) for kind in _alternatives(found)]
        kinds = [kind for kind in kinds if kind.get("type") != "null"]
        about = {**kinds[0], **found} if kinds else found
        default = about.get("default")
        yield KeyRow(
            name=prefix + name,
            meaning=about.get("description", ""),
            unit=about.get("unit", "") or next((k["unit"] for k in kinds if k.get("unit")), ""),
            allowed=tr(" or ").join(dict.fromkeys(_allowed(kind, known) for kind in kinds)),
            needed=name in required,
            default="" if default is None else json.dumps(default, ensure_ascii=False).strip('"'),
        )
        for kind in kinds:
            inner = _resolved(kind.get("items", kind), known) if kind.get("type") == "array" else kind
            if "properties" in inner:
                yield from _rows(inner, known, f"{prefix}{name}." if kind is inner else f"{prefix}{name}[].")


def _alternatives(schema: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    return list(schema.get("anyOf") or schema.get("oneOf") or schema.get("allOf") or [schema])


def _resolved(schema: Mapping[str, Any], known: Mapping[str, Any]) -> Mapping[str, Any]:
    reference = schema.get("$ref")
    return known[reference.rpartition("/")[2]] if reference else schema


def _allowed(schema: Mapping[str, Any], known: Mapping[str, Any]) -> str:
    if "enum" in schema:
        return ", ".join(str(word) for word in schema["enum"])
    if "const" in schema:
        return str(schema["const"])
    kind = schema.get("type")
    if kind == "array":
        items = schema.get("items") or (schema.get("prefixItems") or [{}])[0]
        inner = tr(" or ").join(_allowed(_resolved(k, known), known) for k in _alternatives(_resolved(items, known)))
        return tr("list of {inner}", inner=inner)
    low, high = (schema.get("minimum"), schema.get("maximum"))
    if low is not None and high is not None:
        return tr("{low:g} to {high:g}", low=low, high=high)
    if low is not None:
        return tr("{low:g} or more", low=low)
    words = {
        "number": tr("a number"),
        "integer": tr("a whole number"),
        "boolean": tr("true or false"),
        "string": tr("a word"),
        "object": tr("a table of keys"),
    }
    return words.get(str(kind), tr("any value"))

"""Invented cases and facts for property tests."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from types import NoneType
from typing import Annotated, Any, Literal, get_args, get_origin
from uuid import UUID, uuid5

from annotated_types import Ge, Le
from hypothesis import strategies as st
from pydantic import BaseModel

from forestay.case.bodies import Body, Decided, Found, Measured, Withdrawn
from forestay.case.fact import Fact, new_fact
from forestay.case.fields import SECTIONS

NAMESPACE = UUID(int=0)
NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
FIRST = {"person.age_years": 70.0, "eye.side": "left"}
"""The least that makes a situation."""


def fact(body: Body, number: int, **more: Any) -> Fact:
    """A pending fact with a stable identity."""
    given = {"case": "M-1", "author": "a1", "device": "d1", "device_sequence": number, "happened_at": NOON}
    return new_fact(body, **{**given, "id": uuid5(NAMESPACE, f"{number}"), **more})


def accepted(one: Fact, sequence: int) -> Fact:
    """The fact as a server would have accepted it."""
    return Fact(one.header.model_copy(update={"server_sequence": sequence, "received_at": NOON}), one.body)


def length(value: float) -> Measured:
    """A measured length."""
    return Measured(values={"biometry.axial_length_mm": value})


def start() -> Fact:
    """The first accepted fact of a case."""
    return accepted(fact(Found(values=FIRST), 1), 1)


def _value(annotation: Any, bounds: tuple[float, float] | None = None) -> st.SearchStrategy[Any]:
    origin, inside = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        limits = [m for field in inside[1:] for m in getattr(field, "metadata", [field])]
        low: Any = next((m.ge for m in limits if isinstance(m, Ge)), None)
        high: Any = next((m.le for m in limits if isinstance(m, Le)), None)
        return _value(inside[0], None if low is None or high is None else (low, high))
    if origin is Literal:
        return st.sampled_from(inside)
    if origin is tuple:
        return st.lists(_value(inside[0]), max_size=3)
    if not isinstance(annotation, type):
        return _value(next(a for a in inside if a is not NoneType))
    return _table(annotation) if issubclass(annotation, BaseModel) else _simple(annotation, bounds)


def _simple(kind: type, bounds: tuple[float, float] | None) -> st.SearchStrategy[Any]:
    if kind is bool:
        return st.booleans()
    if kind is str:
        return st.sampled_from(["sulfonamide", "iodine", "latex", 'odd "word" \\ é'])
    assert kind is float
    assert bounds is not None
    return st.floats(*bounds, allow_nan=False)


def _table(record: type[BaseModel]) -> st.SearchStrategy[dict[str, Any]]:
    required: dict[str, Any] = {}
    optional: dict[str, Any] = {}
    for name, field in record.model_fields.items():
        kind = Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation
        (required if field.is_required() else optional)[name] = _value(kind)
    return st.fixed_dictionaries(required, optional=optional)


def _agreeing(tables: dict[str, Any]) -> dict[str, Any]:
    """One way of telling acuity, and both ends of what refraction is accepted, in their order, or neither."""
    if "visual_acuity" in tables["eye"]:
        tables["eye"].pop("visual_acuity_logmar", None)
    target = tables.get("target", {})
    ends = [target.pop(name) for name in ("accept_from_d", "accept_to_d") if name in target]
    if len(ends) == len(set(ends)) > 1:
        target["accept_from_d"], target["accept_to_d"] = sorted(ends)
    return tables


case_tables = st.fixed_dictionaries(
    {name: _table(record) for name, record in SECTIONS.items() if name in ("person", "eye")},
    optional={name: _table(record) for name, record in SECTIONS.items() if name not in ("person", "eye")},
).map(_agreeing)
"""Case files as plain tables: any field may be absent."""


def toml(tables: dict[str, Any]) -> bytes:
    """A case file, written out."""
    lines = []
    for section, keys in tables.items():
        lines.append(f"[{section}]")
        lines += [f"{key} = {_written(value)}" for key, value in keys.items()]
    return "\n".join(lines).encode()


def _written(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {_written(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(_written(v) for v in value) + "]"
    return json.dumps(value, ensure_ascii=False)


_BODIES = st.one_of(
    st.floats(20, 30).map(length),
    st.booleans().map(lambda v: Found(values={"signs.trauma": v})),
    st.sampled_from(["brown", "white"]).map(lambda v: Found(values={"lens.appearance": v})),
    st.floats(4, 6.5).map(lambda v: Decided(subject="capsulorhexis_mm", choice=v, reason="rim")),
    st.floats(20, 30).map(lambda v: Decided(subject="biometry.axial_length_mm", choice=v, reason="repeated")),
)


@st.composite
def histories(draw: st.DrawFn, *, undo: bool = True) -> list[Fact]:
    """Accepted facts of two devices that saw more or less of one another, with withdrawals and corrections."""
    facts = [start()]
    for number in range(2, draw(st.integers(2, 9))):
        earlier = facts[draw(st.integers(min(1, len(facts) - 1), len(facts) - 1))].header.id
        undoes = undo and len(facts) > 1
        does = draw(st.sampled_from(["say", "say", "say", "withdraw", "correct"])) if undoes else "say"
        body = Withdrawn(fact=earlier, why="typed wrongly") if does == "withdraw" else draw(_BODIES)
        made = fact(
            body,
            number,
            device=draw(st.sampled_from(["d1", "d2"])),
            based_on=draw(st.integers(1, number - 1)),
            corrects=earlier if does == "correct" else None,
            happened_at=NOON + timedelta(minutes=draw(st.integers(-600, 600))),
        )
        facts.append(accepted(made, number))
    return facts

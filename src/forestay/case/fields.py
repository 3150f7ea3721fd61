"""Fields of the case file by dotted path, as facts name them: ``biometry.axial_length_mm``.

A path is always section and key. What a key holds is one value: a number, a word, a list, or the table of a lens
constant.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BaseModel, create_model
from pydantic.fields import FieldInfo

from forestay.errors import InvalidInput, UnknownKey
from forestay.evidence import default_evidence
from forestay.eye.quantity import limit
from forestay.eye.records import CaseFile
from forestay.eye.validation import validate
from forestay.text import tr


def _section(field: FieldInfo) -> type[BaseModel]:
    found = field.annotation
    if not (isinstance(found, type) and issubclass(found, BaseModel)):
        raise TypeError("a section of the case file is a record")
    return found


SECTIONS: dict[str, type[BaseModel]] = {name: _section(field) for name, field in CaseFile.model_fields.items()}
PATHS: tuple[str, ...] = tuple(
    f"{section}.{key}" for section, record in SECTIONS.items() for key in record.model_fields
)
"""Every field of the case file, in the file's order."""

_KNOWN = frozenset(PATHS)
_SLOTS = {"eye.visual_acuity_logmar": "eye.visual_acuity"}


def _optional(record: type[BaseModel]) -> type[BaseModel]:
    """The same record with nothing compulsory, so that a few values can be checked alone."""
    fields: dict[str, Any] = {
        name: (Annotated[field.annotation, *field.metadata], None) if field.metadata else (field.annotation, None)
        for name, field in record.model_fields.items()
        if field.is_required()
    }
    return create_model(record.__name__, __base__=record, **fields)


_PARTIAL: type[BaseModel] = create_model(
    "CaseValues",
    __base__=CaseFile,
    **{name: (_optional(record), _optional(record)()) for name, record in SECTIONS.items()},  # type: ignore[call-overload]
)


def slot(path: str) -> str:
    """The place that a value takes: the two ways to write acuity share one, so that one replaces the other.

    >>> slot("eye.visual_acuity_logmar"), slot("lens.grade")
    ('eye.visual_acuity', 'lens.grade')
    """
    return _SLOTS.get(path, path)


def is_field(path: str) -> bool:
    """Whether the case file has this field."""
    return path in _KNOWN


def nested(values: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """``{"lens.grade": 4}`` as the case file's tables: ``{"lens": {"grade": 4}}``."""
    tables: dict[str, dict[str, Any]] = {}
    for path, value in values.items():
        section, _, key = path.partition(".")
        tables.setdefault(section, {})[key] = value
    return tables


def check_values(values: Mapping[str, Any]) -> None:
    """Each path a field of the case file, each value one that the field can hold; else one error about the first."""
    if not values:
        raise InvalidInput(tr("The fact holds no value."), field="values", allowed=tr("at least one field"))
    for path, value in values.items():
        if not is_field(path):
            raise _unknown(path)
        if value is None:
            raise InvalidInput(
                tr("{field} holds nothing; to say that a value is not known, take its fact back.", field=path),
                field=path,
                allowed=tr("a value"),
            )
    validate(_PARTIAL, nested(values))


def _unknown(path: str) -> UnknownKey:
    section = path.partition(".")[0]
    record = SECTIONS.get(section)
    known = ", ".join(f"{section}.{key}" for key in record.model_fields) if record else ", ".join(SECTIONS)
    return UnknownKey(
        tr("{field} is not a field of the case file. Known: {known}.", field=path[:80], known=known),
        field=path[:80],
        allowed=known,
    )


def shown(path: str, value: Any) -> str:
    """A value in words with its unit, as a disagreement shows it.

    >>> shown("biometry.axial_length_mm", 23.12), shown("signs.trauma", True), shown("signs.dialysis_clock_hours", [6])
    ('23.12 mm', 'yes', '6 clock hours')
    """
    if isinstance(value, bool):
        return tr("yes") if value else tr("no")
    if isinstance(value, int | float):
        name = path.rpartition(".")[2]
        unit = tr(limit(name).unit) if f"limit.{name}" in default_evidence() else ""
        short = f"{value:g}"
        return f"{short if float(short) == value else value} {unit}".strip()
    if isinstance(value, list | tuple):
        return ", ".join(shown(path, v) for v in value) or tr("none")
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {shown(key, inner)}" for key, inner in value.items())
    return str(value)

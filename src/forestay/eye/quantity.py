"""What a measured quantity can be: name, unit, meaning and possible range, from one table of evidence rows.

A field of a record or of a calculation is written ``axial_length_mm: Annotated[float, within("axial_length_mm")]``;
the range, the unit and the words of the error all come from the row ``limit.axial_length_mm``.
"""

from __future__ import annotations

from functools import cache
from typing import Any, cast

from pydantic import Field

from forestay.evidence import Row, default_evidence
from forestay.text import tr


@cache
def limit(name: str) -> Row:
    """The row that says what ``name`` can be: value (lowest, highest), unit, meaning."""
    return default_evidence()[f"limit.{name}"]


def bounds(name: str) -> tuple[float, float]:
    """Lowest and highest possible value, in the unit of the name's suffix."""
    low, high = cast(tuple[float, float], limit(name).value)
    return low, high


def allowed(name: str) -> str:
    """What the quantity may be, in words: ``14 to 40 mm``."""
    low, high = bounds(name)
    unit = tr(limit(name).unit)
    return tr("{low:g} to {high:g} {unit}", low=low, high=high, unit=unit).strip()


def within(name: str, **more: Any) -> Any:
    """A pydantic field with the possible range, unit and meaning of the quantity ``name``."""
    low, high = bounds(name)
    row = limit(name)
    return Field(ge=low, le=high, description=row.meaning, json_schema_extra={"unit": row.unit}, **more)

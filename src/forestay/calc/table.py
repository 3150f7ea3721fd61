"""All calculations by name. Each family lists its own rows; this file only joins them."""

from __future__ import annotations

from importlib import import_module
from typing import Any

from forestay.calc.core import Calculation
from forestay.errors import NotFound
from forestay.text import tr

FAMILIES = (
    "biometry",
    "lens",
    "lens_length",
    "lens_error",
    "lens_formulas",
    "lens_readings",
    "lens_shelf",
    "toric_shelf",
    "astigmatism",
    "incision",
    "keratometry",
    "geometry",
    "bag",
    "risk",
    "published",
    "own_record",
    "refit",
    "points",
    "zonule",
    "endothelium",
    "dosing",
    "preparing",
    "day",
    "sorting",
    "passage",
    "ports",
    "manoeuvres",
    "ring_in_bag",
    "support_left",
    "unzipping",
    "comparison",
    "audit",
    "audit_charts",
    "two_rates",
    "sign_accuracy",
    "learning",
    "acuity",
    "ray",
)


def _gather() -> dict[str, Calculation[Any, Any]]:
    table: dict[str, Calculation[Any, Any]] = {}
    for family in FAMILIES:
        for row in import_module(f"forestay.calc.{family}").CALCULATIONS:
            if row.name in table:
                raise ValueError(f"two calculations are named {row.name}")
            table[row.name] = row
    return table


CALCULATIONS: dict[str, Calculation[Any, Any]] = _gather()


def find(name: str) -> Calculation[Any, Any]:
    """The calculation of that name; an unknown name is an error that lists the known ones."""
    if name not in CALCULATIONS:
        known = ", ".join(CALCULATIONS)
        raise NotFound(
            tr("There is no calculation {name}; known: {known}.", name=name, known=known),
            field="calculation",
            value=name,
            allowed=known,
        )
    return CALCULATIONS[name]

"""Units of other writers to the units that fields are kept in. A unit is never guessed: an unknown one is refused."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import cast

from forestay.evidence import default_evidence
from forestay.exchange.fhir_terms import unit_of

FACTORS: dict[str, dict[str, float]] = {
    "mm": {"mm": 1.0, "um": 0.001, "cm": 10.0, "m": 1000.0},
    "um": {"um": 1.0, "mm": 1000.0, "nm": 0.001},
    "[diop]": {"[diop]": 1.0, "/m": 1.0},
    "deg": {"deg": 1.0},
    "mm[Hg]": {"mm[Hg]": 1.0},
    "/mm2": {"/mm2": 1.0, "{cells}/mm2": 1.0},
    "{logMAR}": {"{logMAR}": 1.0},
    "a": {"a": 1.0},
    "kg": {"kg": 1.0, "g": 0.001},
    "d": {"d": 1.0, "wk": 7.0},
    "1": {"1": 1.0, "{score}": 1.0},
}
"""Unit that a field is kept in -> units in UCUM that are read, with the factor that they are multiplied by."""
WORDS = {
    "D": "[diop]",
    "dioptres": "[diop]",
    "degrees": "deg",
    "mmHg": "mm[Hg]",
    "logMAR": "{logMAR}",
    "years": "a",
    "days": "d",
    "weeks": "wk",
    "micrometres": "um",
    "µm": "um",
    "per_mm2": "/mm2",
}
"""What people write in a mapping, beside UCUM."""
RADIUS, DECIMAL, SNELLEN, BORN = "mm radius", "decimal", "snellen", "date of birth"
DECIMALS = {"um": 0, "/mm2": 0, "{logMAR}": 3}
USUAL_DECIMALS = 2


def allowed_units(path: str) -> tuple[str, ...]:
    """Units in which a table may hold the field; empty where it has none."""
    kept = unit_of(path)
    if kept == "1":
        return ()
    own = [*FACTORS.get(kept, {kept: 1.0}), *(word for word, unit in WORDS.items() if unit in FACTORS.get(kept, {}))]
    return (*own, *_SPECIAL.get(kept, ()), *((RADIUS,) if path.endswith(("k1_d", "k2_d")) else ()))


_SPECIAL = {"{logMAR}": (DECIMAL, SNELLEN), "a": (BORN,)}


def converter(path: str, unit: str | None) -> Callable[[float], float]:
    """What turns a number in ``unit`` into one in the unit of the field.

    >>> round(converter("biometry.axial_length_mm", "cm")(2.351), 4)
    23.51
    """
    kept = unit_of(path)
    if unit == RADIUS:
        return _power_of_radius
    if unit == DECIMAL:
        return logmar_of_decimal
    factor = FACTORS.get(kept, {}).get(WORDS.get(unit or kept, unit or kept), 1.0)
    return lambda number: number * factor


def rounded(path: str, value: float) -> float:
    """A converted value without the dust of its conversion."""
    return round(value, DECIMALS.get(unit_of(path), USUAL_DECIMALS)) + 0.0


def _power_of_radius(radius_mm: float) -> float:
    """Corneal power [D] of a radius [mm] for the index that the trade shares."""
    index = cast(float, default_evidence()["keratometry.index"].value)
    return (index - 1) * 1000 / radius_mm if radius_mm > 0 else math.nan


def logmar_of_decimal(decimal: float) -> float:
    """logMAR of a decimal acuity, which is one over the angle of resolution in minutes.

    >>> logmar_of_decimal(0.5) == -__import__("math").log10(0.5)
    True
    """
    return -math.log10(decimal) if decimal > 0 else math.nan


def logmar_of_snellen(text: str) -> float:
    """logMAR of a fraction such as 6/18; not a number where it is none.

    >>> round(logmar_of_snellen("6/18"), 4)
    0.4771
    """
    above, _, below = text.partition("/")
    try:
        distance, size = float(above), float(below)
    except ValueError:
        return math.nan
    return logmar_of_decimal(distance / size) if distance > 0 and size > 0 else math.nan

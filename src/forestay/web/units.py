"""Numbers typed in another unit than they are kept in: corneal power as a radius, eye pressure in kilopascal.

What a form asks in is the practice's choice; what was typed is read in the unit that the form itself names, so that a page
that was open before the choice changed, or waited on a tablet, is never read in another one.
"""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.eye.quantity import bounds
from forestay.optics.cornea import power_d, radius_mm
from forestay.plan.practice_settings import Shown
from forestay.text import tr

MMHG_IN_KPA = 7.500617
"""1 kPa in conventional millimetres of mercury, 133.322 Pa each (ISO 80000-4)."""
UNIT = "unit_"
"""Begins the name of the field in which a form says its unit."""
_shown: ContextVar[Shown | None] = ContextVar("forestay_shown", default=None)


@dataclass(frozen=True)
class Unit:
    """A unit to type in: its name, and with how many decimals a number is kept and shown."""

    name: str
    kept_decimals: int
    shown_decimals: int

    def kept(self, typed: float) -> float:
        """The number as it is kept; zero has no radius and stays what it is, to be refused."""
        if self.name == "kPa":
            return round(typed * MMHG_IN_KPA, self.kept_decimals)
        return round(float(power_d(radius_mm=typed, index=_index())), self.kept_decimals) if typed > 0 else typed

    def typed(self, kept: float) -> str:
        """The number as it stands in the form.

        >>> KPA.typed(KPA.kept(2.4)), MM.typed(MM.kept(7.71))
        ('2.4', '7.71')
        """
        value = kept / MMHG_IN_KPA if self.name == "kPa" else float(radius_mm(k_d=kept, index=_index()))
        return f"{round(value, self.shown_decimals):g}"

    def range(self, low: float, high: float) -> str:
        """A range of what is kept, as it may be typed.

        >>> MM.range(30, 60), KPA.range(0, 75)
        ('5.625 to 11.25 mm', '0 to 10 kPa')
        """
        ends = sorted(float(self.typed(end)) for end in (low, high))
        return tr("{low:g} to {high:g} {unit}", low=ends[0], high=ends[1], unit=self.name)


KPA = Unit("kPa", kept_decimals=2, shown_decimals=2)
MM = Unit("mm", kept_decimals=3, shown_decimals=3)


@cache
def _index() -> float:
    return float(default_evidence().reader().number("keratometry.index"))


def use_shown(shown: Shown | None) -> None:
    """Ask in these units from now on, for the length of this request."""
    _shown.set(shown)


def unit_of(name: str) -> Unit | None:
    """The unit in which a form asks for the field ``name``; None where it is the one in which it is kept."""
    shown, key = _shown.get() or Shown(), name.rpartition(".")[2]
    if key in ("k1_d", "k2_d") and shown.corneal_power == "mm":
        return MM
    return KPA if key == "pressure_mmhg" and shown.pressure == "kPa" else None


def typed_range(name: str, unit: Unit) -> str:
    """What may be typed for the field ``name`` in this unit."""
    low, high = bounds(name.rpartition(".")[2])
    return unit.range(low, high)


def unit_called(field: str, name: str) -> Unit | None:
    """The unit that a form names; None where it names none."""
    if not name:
        return None
    for unit in (KPA, MM):
        if unit.name == name:
            return unit
    raise InvalidInput(
        tr("{field} is {value!r}; allowed: {words}.", field=UNIT + field, value=name[:40], words="kPa, mm"),
        field=UNIT + field,
        value=name[:40],
        allowed="kPa, mm",
    )

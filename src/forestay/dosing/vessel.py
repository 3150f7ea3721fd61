"""What is in a syringe or bottle while a drug is prepared: amounts by drug and one volume, step after step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from forestay.errors import InvalidInput
from forestay.text import tr

ROUNDING = 1e-9
"""Relative slack in comparing volumes, so that all of what was prepared may be given."""


@dataclass(frozen=True, slots=True)
class Vessel:
    """A well-mixed liquid: ``volume_ml`` [ml] and ``amounts`` by drug [mg, IU or whatever unit it was added in].

    Every step gives a new vessel: c = amount / volume; taking away keeps c, adding keeps the amount.

    >>> v = Vessel().add(ml=3, drug="lidocaine", per_ml=40).add(ml=4, drug="adrenaline", per_ml=1).add(ml=9)
    >>> v.strength("lidocaine"), v.strength("adrenaline")
    (7.5, 0.25)
    """

    volume_ml: float = 0.0
    amounts: Mapping[str, float] = field(default_factory=dict)

    def add(self, *, ml: float, drug: str | None = None, per_ml: float = 0.0) -> Vessel:
        """Add ``ml`` [ml] of diluent, or of a solution of ``drug`` with ``per_ml`` [unit/ml]."""
        amounts = dict(self.amounts)
        if drug is not None:
            amounts[drug] = amounts.get(drug, 0.0) + ml * per_ml
        return Vessel(self.volume_ml + ml, amounts)

    def add_powder(self, *, drug: str, amount: float, displaces_ml: float) -> Vessel:
        """Add a powder: ``amount`` [unit], which takes up ``displaces_ml`` [ml] once dissolved."""
        amounts = {**self.amounts, drug: self.amounts.get(drug, 0.0) + amount}
        return Vessel(self.volume_ml + displaces_ml, amounts)

    def make_to(self, *, ml: float) -> Vessel:
        """Add diluent until ``ml`` [ml] are there."""
        if ml < self.volume_ml * (1 - ROUNDING):
            raise _too_much("ml", ml, tr("at least {there:g} ml, what is there already", there=self.volume_ml))
        return Vessel(max(ml, self.volume_ml), self.amounts)

    def keep(self, *, ml: float) -> Vessel:
        """Throw away all but ``ml`` [ml]."""
        if ml > self.volume_ml * (1 + ROUNDING):
            raise _too_much("ml", ml, tr("at most {there:g} ml, what is there", there=self.volume_ml))
        share = ml / self.volume_ml
        return Vessel(ml, {name: amount * share for name, amount in self.amounts.items()})

    def discard(self, *, ml: float) -> Vessel:
        """Throw away ``ml`` [ml]; something must be left."""
        if ml >= self.volume_ml:
            raise _too_much("ml", ml, tr("less than {there:g} ml, what is there", there=self.volume_ml))
        return self.keep(ml=self.volume_ml - ml)

    def strength(self, drug: str) -> float:
        """Strength of ``drug`` [unit/ml]; 0 of a drug that is not in it."""
        return self.amounts.get(drug, 0.0) / self.volume_ml

    def given(self, *, ml: float) -> dict[str, float]:
        """Amount of every drug in ``ml`` [ml] given."""
        if ml > self.volume_ml * (1 + ROUNDING):
            raise _too_much("given_ml", ml, tr("at most {there:g} ml, the volume prepared", there=self.volume_ml))
        return {name: amount / self.volume_ml * ml for name, amount in self.amounts.items()}


def _too_much(field_name: str, value: float, allowed: str) -> InvalidInput:
    return InvalidInput(
        tr("{field} is {value:g} ml; allowed: {allowed}.", field=field_name, value=value, allowed=allowed),
        field=field_name,
        value=value,
        allowed=allowed,
    )

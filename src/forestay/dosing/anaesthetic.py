"""The most of a local anaesthetic by weight, and whether a mixture stays within the sum of its limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class AnaestheticLimit:
    """The most of one drug: in milligrams and in millilitres of one strength."""

    max_mg: float
    max_ml: float


def limit(*, mg_per_kg: float, most_mg: float | None, weight_kg: float, strength_mg_per_ml: float) -> AnaestheticLimit:
    """The smaller of the limit by weight and the limit at any weight.

    max_mg = min(mg/kg x weight, most); max_ml = max_mg / strength.

    Parameters: ``mg_per_kg`` [mg/kg], ``most_mg`` [mg] or None, ``weight_kg`` [kg], ``strength_mg_per_ml``
    [mg/ml]. Result [mg, ml].

    >>> limit(mg_per_kg=3, most_mg=300, weight_kg=60, strength_mg_per_ml=20)
    AnaestheticLimit(max_mg=180.0, max_ml=9.0)
    """
    by_weight = float(mg_per_kg * weight_kg)
    most = by_weight if most_mg is None else min(by_weight, float(most_mg))
    return AnaestheticLimit(most, most / strength_mg_per_ml)


def share_of_limits(given_and_limit_mg: Sequence[tuple[float, float]]) -> float:
    """Sum of given / limit over the drugs of a mixture [-]: within limits where it is at most 1.

    >>> round(share_of_limits([(100, 180), (25, 120)]), 3)
    0.764
    """
    return sum(given / most for given, most in given_and_limit_mg)

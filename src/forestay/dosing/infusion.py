"""Volume of an infusion that is given by weight."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Infusion:
    """Amount [g] and volumes [ml; ml for each kg]."""

    dose_g: float
    volume_ml: float
    ml_per_kg: float


def infusion(*, weight_kg: float, g_per_kg: float, strength_mg_per_ml: float, mg_per_g: float) -> Infusion:
    """Dose = weight x g/kg; volume = dose / strength.

    Parameters: ``weight_kg`` [kg], ``g_per_kg`` [g/kg], ``strength_mg_per_ml`` [mg/ml], ``mg_per_g`` [mg/g]. Result
    [g, ml, ml/kg]. Linear; no ceiling: contraindications are not arithmetic.

    >>> infusion(weight_kg=60, g_per_kg=1.5, strength_mg_per_ml=200, mg_per_g=1000)
    Infusion(dose_g=90.0, volume_ml=450.0, ml_per_kg=7.5)
    """
    dose = float(weight_kg * g_per_kg)
    volume = dose * mg_per_g / strength_mg_per_ml
    return Infusion(dose, volume, volume / weight_kg)

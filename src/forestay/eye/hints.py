"""What a wrong number probably was: radii for powers, centimetres for millimetres, two values swapped."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from forestay.evidence import default_evidence
from forestay.eye.quantity import bounds
from forestay.text import tr


def _radius_for_power(value: float) -> str | None:
    index = float(default_evidence()["keratometry.index"].value)  # type: ignore[arg-type]
    power = 1000 * (index - 1) / value if value > 0 else 0.0
    low, high = bounds("k1_d")
    if low <= power <= high:
        return tr("It looks like a radius in mm: that would be {power:.2f} D.", power=power)
    return None


def _ten_times(name: str) -> Callable[[float], str | None]:
    def told(value: float) -> str | None:
        low, high = bounds(name)
        if low <= 10 * value <= high:
            return tr("It looks like centimetres: that would be {value:g} mm.", value=10 * value)
        return None

    return told


def _thousand_times(value: float) -> str | None:
    low, high = bounds("corneal_thickness_um")
    if low <= 1000 * value <= high:
        return tr("It looks like millimetres: that would be {value:g} micrometres.", value=1000 * value)
    return None


def _power_for_length(value: float) -> str | None:
    low, high = bounds("k1_d")
    return tr("It looks like a corneal power: are length and K swapped?") if low <= value <= high else None


def _length_for_power(value: float) -> str | None:
    low, high = bounds("axial_length_mm")
    return tr("It looks like an axial length: are length and K swapped?") if low <= value <= high else None


_HINTS: dict[str, tuple[Callable[[float], str | None], ...]] = {
    "axial_length_mm": (_ten_times("axial_length_mm"), _power_for_length),
    "measured_mm": (_ten_times("axial_length_mm"), _power_for_length),
    "k1_d": (_radius_for_power, _length_for_power),
    "k2_d": (_radius_for_power, _length_for_power),
    "k_mean_d": (_radius_for_power, _length_for_power),
    "corneal_thickness_um": (_thousand_times,),
    "white_to_white_mm": (_ten_times("white_to_white_mm"),),
    "chamber_depth_mm": (_ten_times("chamber_depth_mm"),),
    "lens_thickness_mm": (_ten_times("lens_thickness_mm"),),
}


def hint(name: str, value: Any) -> str | None:
    """A sentence on what ``value`` probably was, or None. ``name`` is the last part of the field's path."""
    if isinstance(value, str):
        comma = value.strip().replace(",", ".", 1)
        try:
            float(comma)
        except ValueError:
            return None
        return tr("Write the number without quotes and with a decimal point.")
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    for told in _HINTS.get(name, ()):
        found = told(float(value))
        if found:
            return found
    return None

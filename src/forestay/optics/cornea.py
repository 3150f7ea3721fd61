"""Radius and power of the cornea: what a keratometer prints, and what a formula makes of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from forestay.optics.values import Number


@dataclass(frozen=True, slots=True)
class KeratometryConstants:
    """The index with which corneal powers are stated."""

    PREFIX: ClassVar[str] = "keratometry"
    index: float


def radius_mm(*, k_d: Number, index: float) -> Number:
    """Radius of the corneal front [mm] of a power ``k_d`` [D] stated with ``index``: 1000 (index - 1) / K.

    >>> round(radius_mm(k_d=44.0, index=1.3375), 5)
    7.67045
    """
    return 1000 * (index - 1) / k_d


def power_d(*, radius_mm: Number, index: float) -> Number:
    """Power [D] of a corneal radius [mm] under another ``index``.

    >>> round(power_d(radius_mm=7.7, index=1.3375), 3)
    43.831
    """
    return 1000 * (index - 1) / radius_mm

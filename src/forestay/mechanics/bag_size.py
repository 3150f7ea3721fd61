"""Diameter of the capsular bag, from axial length and corneal power."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.mechanics.geometry import Numbers, plain, require_positive


@dataclass(frozen=True)
class BagSizeConstants:
    """Coefficients of the regression, and where it may be believed."""

    PREFIX: ClassVar[str] = "bag_size"
    intercept_mm: float
    per_k_mm_per_d: float
    per_length: float
    per_length_squared_per_mm: float
    residual_sd_mm: float
    shortest_eye_mm: float
    longest_eye_mm: float


def bag_diameter_mm(*, axial_length_mm: Numbers, k_mean_d: Numbers, constants: BagSizeConstants) -> Numbers:
    """Diameter of the emptied bag with an open ring in it: c0 + c1 K + c2 L + c3 L^2, exactly as published.

    Parameters: ``axial_length_mm`` L [mm], ``k_mean_d`` K [D, index 1.3375], both above 0, ``constants``. Result:
    diameter [mm]. Population: 70 eyes with a ring in the bag. The quadratic peaks near 26.4 mm, so that it shrinks
    the bag of a very long eye wrongly: outside ``shortest_eye_mm`` to ``longest_eye_mm`` the value is still the
    printed formula, and :func:`bag_diameter_sd_mm` widens.

    >>> from forestay.evidence import default_evidence
    >>> c = default_evidence().reader().constants(BagSizeConstants)
    >>> round(float(bag_diameter_mm(axial_length_mm=23.5, k_mean_d=43.5, constants=c)), 3)
    10.304

    Reference: Vass et al., J Cataract Refract Surg 1999;25:1376, doi 10.1016/s0886-3350(99)00204-7.
    """
    require_positive(axial_length_mm=axial_length_mm, k_mean_d=k_mean_d)
    length = np.asarray(axial_length_mm, dtype=np.float64)
    return plain(
        constants.intercept_mm
        + constants.per_k_mm_per_d * np.asarray(k_mean_d)
        + constants.per_length * length
        + constants.per_length_squared_per_mm * length**2
    )


def bag_diameter_sd_mm(*, axial_length_mm: Numbers, k_mean_d: Numbers, constants: BagSizeConstants) -> Numbers:
    """One standard deviation of the bag's diameter around :func:`bag_diameter_mm`.

    sqrt(s^2 + (D - D')^2), with s the scatter around the regression and D' its value at the nearest studied length:
    inside the studied lengths it is s, outside it reaches the clamped value within one standard deviation.

    Parameters and range as :func:`bag_diameter_mm`. Result: [mm].

    >>> from forestay.evidence import default_evidence
    >>> c = default_evidence().reader().constants(BagSizeConstants)
    >>> [round(float(bag_diameter_sd_mm(axial_length_mm=x, k_mean_d=42.0, constants=c)), 2) for x in (24.0, 30.0)]
    [0.21, 0.27]
    """
    as_printed = bag_diameter_mm(axial_length_mm=axial_length_mm, k_mean_d=k_mean_d, constants=constants)
    nearest = np.clip(axial_length_mm, constants.shortest_eye_mm, constants.longest_eye_mm)
    clamped = bag_diameter_mm(axial_length_mm=nearest, k_mean_d=k_mean_d, constants=constants)
    return plain(np.hypot(constants.residual_sd_mm, np.asarray(as_printed) - clamped))

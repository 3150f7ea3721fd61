"""The case as one flat table of named values, with the simple differences and means that checks and rules ask for."""

from __future__ import annotations

from typing import Any

from forestay.eye.records import CaseFile
from forestay.record import Record


def mean_k_d(k1_d: float | None, k2_d: float | None) -> float | None:
    """Mean corneal power [D], or None where a reading is missing."""
    return None if k1_d is None or k2_d is None else (k1_d + k2_d) / 2


def flat(case: CaseFile) -> dict[str, Any]:
    """Every known value by dotted name, and derived ones under ``derived.``; units stay in the names."""
    view: dict[str, Any] = {}
    for section, record in case:
        for name, value in record:
            if isinstance(value, Record):
                view.update({f"{section}.{name}.{k}": v for k, v in value if v is not None})
            elif value is not None:
                view[f"{section}.{name}"] = value
    view.update({f"derived.{k}": v for k, v in _derived(case).items() if v is not None})
    return view


def _derived(case: CaseFile) -> dict[str, Any]:
    b, f = case.biometry, case.fellow
    k, fellow_k = mean_k_d(b.k1_d, b.k2_d), mean_k_d(f.k1_d, f.k2_d)
    gaps = case.signs.dialysis_clock_hours
    return {
        "k_mean_d": k,
        "astigmatism_d": _difference(b.k1_d, b.k2_d),
        "length_difference_mm": _difference(b.axial_length_mm, f.axial_length_mm),
        "k_difference_d": _difference(k, fellow_k),
        "chamber_difference_mm": _difference(b.chamber_depth_mm, f.chamber_depth_mm),
        "axis_angle_deg": _axis_angle(b.k1_axis_deg, b.k2_axis_deg),
        "behind_lens_mm": _behind_lens(case),
        "fellow_refraction_miss_d": _difference(f.refraction_d, f.planned_refraction_d),
        "gap_hours": None if gaps is None else float(len(gaps)),
        "unknown_allergies": _unknown_allergies(case),
    }


def _difference(a: float | None, b: float | None) -> float | None:
    return None if a is None or b is None else abs(a - b)


def _axis_angle(a: float | None, b: float | None) -> float | None:
    if a is None or b is None:
        return None
    angle = abs(a - b) % 180.0
    return min(angle, 180.0 - angle)


def _behind_lens(case: CaseFile) -> float | None:
    b = case.biometry
    if b.axial_length_mm is None or b.chamber_depth_mm is None or b.lens_thickness_mm is None:
        return None
    return b.axial_length_mm - b.chamber_depth_mm - b.lens_thickness_mm


KNOWN_ALLERGIES = (
    "sulfonamide",
    "cephalosporin",
    "penicillin",
    "iodine",
    "latex",
    "moxifloxacin",
    "fluoroquinolone",
    "quinolone",
    "local-anaesthetic",
    "lidocaine",
    "bupivacaine",
    "proxymetacaine",
    "hyaluronidase",
    "phenylephrine",
    "tropicamide",
    "cyclopentolate",
    "chlorhexidine",
    "trypan-blue",
    "steroid",
    "nsaid",
    "aspirin",
    "mannitol",
    "beta-blocker",
)
"""Words of ``person.allergies`` that rules listen to; any other is kept and read aloud."""


def _unknown_allergies(case: CaseFile) -> str | None:
    return ", ".join(a for a in case.person.allergies or () if a not in KNOWN_ALLERGIES) or None

"""Names and codes of FHIR R4, LOINC and UCUM that a case is written in, and this tree's own code systems beside them.

LOINC is used where the code was read and says which eye; everything else has this tree's own code alone. SNOMED CT is
licensed: its identifiers for the two eyes are understood when they arrive, and never written.
"""

from __future__ import annotations

from typing import Any

BASE = "https://forestay.example/fhir"
"""A name, not an address: nothing is looked up there."""
FIELD = f"{BASE}/CodeSystem/field"
WORD = f"{BASE}/CodeSystem/word"
KIND = f"{BASE}/CodeSystem/kind"
STEP = f"{BASE}/CodeSystem/step"
EVENT = f"{BASE}/CodeSystem/event"
EYE = f"{BASE}/CodeSystem/eye"
MARK = f"{BASE}/CodeSystem/mark"
CASE = f"{BASE}/NamingSystem/case"
AUTHOR = f"{BASE}/NamingSystem/author"
DEVICE = f"{BASE}/NamingSystem/device"
TRAY = f"{BASE}/NamingSystem/tray"
RECORD = f"{BASE}/StructureDefinition/record"
"""The fact exactly as it is kept, as text, in its Provenance."""
HEAD = f"{BASE}/StructureDefinition/head"
"""How many facts the case has and the head of their chain, in the Patient."""
PART = f"{BASE}/StructureDefinition/"
WITHDRAWN = f"{PART}withdrawn"

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
SNOMED = "http://snomed.info/sct"
GS1 = "http://hl7.org/fhir/NamingSystem/gs1-di"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
PARTICIPANT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"

LOINC_CODES: dict[str, dict[str, str]] = {
    "biometry.axial_length_mm": {"right": "64742-0", "left": "66067-0"},
    "biometry.corneal_thickness_um": {"right": "64744-6", "left": "66068-8"},
    "eye.pressure_mmhg": {"right": "79892-6", "left": "79893-4"},
    "seen.pressure_mmhg": {"right": "79892-6", "left": "79893-4"},
    "seen.corneal_thickness_um": {"right": "64744-6", "left": "66068-8"},
}
BEST_CORRECTED = {"right": "65893-0", "left": "65897-1"}
UNCORRECTED = {"right": "98499-7", "left": "98498-9"}
ACUITY_CODES = {"best-corrected": BEST_CORRECTED, "uncorrected": UNCORRECTED}

UNITS: tuple[tuple[str, str], ...] = (
    ("_per_mm2", "/mm2"),
    ("_mmhg", "mm[Hg]"),
    ("_percent", "%"),
    ("_years", "a"),
    ("_logmar", "{logMAR}"),
    ("_clock", "{clock_hour}"),
    ("_count", "1"),
    ("_deg", "deg"),
    ("_kg", "kg"),
    ("_mm", "mm"),
    ("_um", "um"),
    ("_mn", "mN"),
    ("_ml", "mL"),
    ("_mg", "mg"),
    ("_d", "[diop]"),
    ("_s", "s"),
    ("day", "d"),
    ("days_since_surgery", "d"),
)
"""Ending of a name to its unit in UCUM."""

SNOMED_EYES = {"24028007": "right", "1290043002": "right", "1290041000": "left", "362503005": "left"}
PRESSURE_OF_AN_EYE = "56844-4"


def unit_of(name: str) -> str:
    """The unit of a named number in UCUM; ``1`` where it has none.

    >>> unit_of("biometry.axial_length_mm"), unit_of("k1_d"), unit_of("lens.grade")
    ('mm', '[diop]', '1')
    """
    return next((unit for ending, unit in UNITS if name.endswith(ending)), "1")


def quantity(name: str, value: float) -> dict[str, Any]:
    """A number with its unit."""
    unit = unit_of(name)
    return {"value": value, "unit": unit, "system": UCUM, "code": unit}


def coded(system: str, code: str, text: str | None = None) -> dict[str, Any]:
    """A concept with one code."""
    made: dict[str, Any] = {"coding": [{"system": system, "code": code}]}
    return made | ({"text": text} if text else {})


def other(side: str) -> str:
    """The fellow eye."""
    return "left" if side == "right" else "right"

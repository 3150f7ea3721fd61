"""DICOM objects of measurement to values of one eye and its fellow.

The side is read from the object and never guessed: an object of both eyes gives the eye that was asked for and its
fellow; one that lacks that eye, or contradicts itself, is refused. Names, dates of birth and numbers of the patient are
looked at for nothing but age and sex, and are not kept.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from forestay.case.fields import SECTIONS
from forestay.errors import InvalidInput, MissingInput, UnreadableFile
from forestay.exchange import dicom_terms as terms
from forestay.exchange.dicom_eye import EyeReading, read_axial, read_keratometry, read_lens_calculation
from forestay.exchange.dicom_file import read_objects
from forestay.exchange.dicom_part import Part, named, wrong
from forestay.exchange.dicom_sight import read_acuity, read_refraction
from forestay.text import tr

DAYS_OF_YEAR = 365.25
PER_YEAR = {"Y": 1, "M": 12, "W": DAYS_OF_YEAR / 7, "D": DAYS_OF_YEAR}
"""Years, months, weeks and days are all legal for an age (PS3.5 table 6.2-1, AS)."""
SIDES = {"right": "R", "left": "L"}
SEQUENCES = {
    terms.AXIAL: "OphthalmicAxialMeasurements{}EyeSequence",
    terms.KERATOMETRY: "Keratometry{}EyeSequence",
    terms.LENS_CALCULATIONS: "IntraocularLensCalculations{}EyeSequence",
    terms.REFRACTION: "SubjectiveRefraction{}EyeSequence",
    terms.ACUITY: "VisualAcuity{}EyeSequence",
}
FELLOW_KEYS = ("axial_length_mm", "k1_d", "k2_d", "chamber_depth_mm", "refraction_d")
BIOMETRY = frozenset(SECTIONS["biometry"].model_fields)
"""What ``biometry`` has a place for; a refraction has one in the fellow eye only."""
SEX = {"F": "female", "M": "male"}


@dataclass(frozen=True, slots=True)
class ObjectReading:
    """What one object says: of which eyes, when measured, of whom (age and sex alone)."""

    uid: str
    title: str
    measured_at: datetime
    eyes: dict[str, EyeReading]
    age_years: float | None
    sex: str | None
    patient: str
    """Only to see that several objects are of one person."""
    source: str = "dicom"


def read_dicom(data: bytes, name: str = "") -> list[ObjectReading]:
    """All measurements in a DICOM object or a ZIP file of them; encapsulated documents beside them are passed over."""
    called = name or tr("the file")
    whole = [Part(found, called) for found in read_objects(data, called)]
    kinds = [str(part.data.get("SOPClassUID", "")) for part in whole]
    chosen = [part for part, kind in zip(whole, kinds, strict=True) if kind != terms.ENCAPSULATED_PDF]
    for part in chosen:
        if str(part.data.get("SOPClassUID", "")) not in terms.READ:
            raise wrong("SOPClassUID", part.data.get("SOPClassUID", tr("missing")), _classes(), called)
    if not chosen:
        raise UnreadableFile(
            tr("{name} holds a document and no measurements; enter the values by hand.", name=called),
            allowed=_classes(),
        )
    readings = [_reading(part) for part in chosen]
    if len({reading.patient for reading in readings}) > 1:
        raise InvalidInput(
            tr("{name} holds objects of more than one patient.", name=called),
            field=named("PatientID"),
            allowed=tr("objects of one patient"),
        )
    return readings


def _classes() -> str:
    return ", ".join(terms.READ.values())


def _reading(whole: Part) -> ObjectReading:
    kind = str(whole.data.get("SOPClassUID"))
    uid = str(whole.data.get("SOPInstanceUID", ""))
    if not re.fullmatch(r"[0-9.]{1,64}", uid):
        raise wrong("SOPInstanceUID", uid or tr("missing"), tr("digits and dots"), whole.where)
    eyes: dict[str, EyeReading] = {}
    for side in SIDES:
        eye = whole.item(SEQUENCES[kind].format(side.capitalize()), _where(side))
        if eye is not None:
            eyes[side] = _eye(kind, whole, eye, side)
    _laterality(whole, eyes)
    moment = _moment(whole)
    return ObjectReading(
        uid=uid,
        title=terms.READ[kind],
        measured_at=moment,
        eyes=eyes,
        age_years=_age(whole, moment),
        sex=SEX.get(str(whole.data.get("PatientSex", ""))),
        patient=str(whole.data.get("PatientID", "")),
    )


def _where(side: str) -> str:
    return tr("the right eye") if side == "right" else tr("the left eye")


def _eye(kind: str, whole: Part, eye: Part, side: str) -> EyeReading:
    if kind == terms.AXIAL:
        return read_axial(whole, eye, side)
    if kind == terms.KERATOMETRY:
        return read_keratometry(eye, side)
    if kind == terms.REFRACTION:
        return read_refraction(eye, side)
    if kind == terms.ACUITY:
        return read_acuity(whole, eye, side)
    return read_lens_calculation(eye, whole, side)


def _laterality(whole: Part, eyes: dict[str, EyeReading]) -> None:
    """The eyes that are there are those that the object says it measured."""
    if not eyes:
        raise MissingInput(
            tr("{name} holds measurements of neither eye.", name=whole.where),
            field=named("MeasurementLaterality"),
            allowed=tr("a sequence for the right eye, the left eye or both"),
        )
    stated = whole.word("MeasurementLaterality", ("R", "L", "B"))
    found = "B" if len(eyes) > 1 else SIDES[next(iter(eyes))]
    if stated is not None and stated != found:
        raise wrong(
            "MeasurementLaterality", stated, tr("{side}, as the sequences in the object say", side=found), whole.where
        )


def _moment(whole: Part) -> datetime:
    """When the object was made, with its zone: its own, or else the one of this computer."""
    date, time = str(whole.data.get("ContentDate", "")), str(whole.data.get("ContentTime", "") or "000000")
    zone = str(whole.data.get("TimezoneOffsetFromUTC", ""))
    try:
        text = f"{date} {time.partition('.')[0]:0<6.6}"
        if zone:
            return datetime.strptime(f"{text} {zone}", "%Y%m%d %H%M%S %z")
        return datetime.strptime(text, "%Y%m%d %H%M%S").astimezone()
    except (ValueError, OverflowError, OSError):
        shown = f"{date} {time} {zone}".strip()
        raise wrong("ContentDate", shown, tr("date, time and zone as in 20260301 091200 +0100"), whole.where) from None


def _age(whole: Part, moment: datetime) -> float | None:
    """Whole years at the time of the measurement, where the object gives an age or a date of birth."""
    stated = re.fullmatch(r"(\d{3})([YMWD])", str(whole.data.get("PatientAge", "")))
    if stated:
        return float(int(int(stated[1]) / PER_YEAR[stated[2]]))
    try:
        born = datetime.strptime(str(whole.data.get("PatientBirthDate", "")), "%Y%m%d").replace(tzinfo=UTC)
    except ValueError:
        return None
    return float(int((moment - born).days / DAYS_OF_YEAR))


def values_for(reading: ObjectReading, side: str) -> tuple[dict[str, Any], dict[str, Any], list[str]]:
    """Measured and found fields of the case file for the eye ``side`` and its fellow, with what to know about them."""
    eye = reading.eyes.get(side)
    if eye is None:
        other = _where(next(iter(reading.eyes)))
        raise InvalidInput(
            tr(
                "{title} is of {other} only; the case is about {eye}.",
                title=reading.title,
                other=other,
                eye=_where(side),
            ),
            field=named("MeasurementLaterality"),
            value=SIDES[next(iter(reading.eyes))],
            allowed=tr("an object that holds {eye}", eye=_where(side)),
        )
    if eye.lens not in (None, terms.CRYSTALLINE):
        raise wrong(
            "LensStatusCodeSequence", terms.LENS_STATUS[eye.lens], terms.LENS_STATUS[terms.CRYSTALLINE], _where(side)
        )
    measured = {f"biometry.{key}": value for key, value in eye.values.items() if key in BIOMETRY}
    found: dict[str, Any] = dict(eye.found)
    notes = list(eye.notes)
    if eye.vitrectomised:
        found["signs.vitrectomy"] = True
    if eye.target_d is not None:
        found["target.refraction_d"] = round(eye.target_d, 2) + 0.0
    fellow = reading.eyes.get("left" if side == "right" else "right")
    if fellow is not None:
        measured |= {f"fellow.{key}": fellow.values[key] for key in FELLOW_KEYS if key in fellow.values}
        notes += fellow.notes
        if fellow.lens == ("SCT", "309523001"):
            found["fellow.operated"] = True
    return measured, found, notes

"""Observations of another writer to values of one eye and its fellow: what is coded and has a unit, and nothing else.

Names, addresses and numbers of the person are looked at for nothing but age and sex, and are not kept.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping
from datetime import date, datetime, timedelta
from typing import Any

from forestay.case.fields import PATHS, check_values
from forestay.errors import InvalidInput, MissingInput
from forestay.exchange import fhir_terms as terms
from forestay.exchange.dicom_eye import EyeReading
from forestay.exchange.dicom_in import BIOMETRY, DAYS_OF_YEAR, FELLOW_KEYS, ObjectReading
from forestay.exchange.fhir_in import contents, plain_json
from forestay.exchange.units import FACTORS, rounded
from forestay.eye.quantity import allowed as limits_in_words
from forestay.eye.quantity import bounds
from forestay.text import tr

TAKEN = ("final", "amended", "corrected")
LONGEST = 60
SEXES = ("female", "male")
OWN_SECTIONS = ("biometry", "fellow", "eye", "signs", "lens", "person")
LOINC_FIELDS: dict[str, tuple[str, str]] = {
    code: (path, side)
    for path, codes in terms.LOINC_CODES.items()
    if not path.startswith("seen.")
    for side, code in codes.items()
} | {code: ("eye.visual_acuity_logmar", side) for side, code in terms.BEST_CORRECTED.items()}
EITHER_EYE = {terms.PRESSURE_OF_AN_EYE: "eye.pressure_mmhg"}


def read_foreign(raw: Mapping[str, Any], name: str) -> list[ObjectReading]:
    """One reading for each moment at which something was observed, oldest first."""
    patient = _patient(raw, name)
    reader = _Reader(str(raw.get("timestamp") or ""))
    for number, (_, resource) in enumerate(contents(raw)):
        if resource.get("resourceType") == "Observation":
            reader.take(resource, tr("entry {number}", number=number))
    if not reader.moments:
        raise MissingInput(
            tr("{name} holds no observation of an eye that is read here.", name=name),
            field="Observation.code",
            allowed=", ".join(sorted([*LOINC_FIELDS, *EITHER_EYE])),
        )
    key = hashlib.sha256(plain_json(raw).encode()).hexdigest()
    readings = [
        ObjectReading(
            uid=f"{key}/{moment.isoformat()}",
            title="Observation",
            measured_at=moment,
            eyes=eyes,
            age_years=reader.ages[-1] if reader.ages else _age(patient, moment),
            sex=str(patient["gender"]) if patient.get("gender") in SEXES else None,
            patient=key,
            source="fhir",
        )
        for moment, eyes in sorted(reader.moments.items())
    ]
    first = next(iter(readings[0].eyes.values()))
    first.notes += [tr("{n} observations were not taken: {why}.", n=n, why=why) for why, n in reader.left.items()]
    return readings


def _patient(raw: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    """The one person that the bundle is about; observations may name no other."""
    found = [(address, r) for address, r in contents(raw) if r.get("resourceType") == "Patient"]
    subjects = {
        str((r.get("subject") or {}).get("reference"))
        for _, r in contents(raw)
        if r.get("resourceType") == "Observation" and (r.get("subject") or {}).get("reference")
    }
    if len(found) > 1 or len(subjects) > 1:
        raise InvalidInput(
            tr("{name} holds observations of more than one patient.", name=name),
            field="Observation.subject",
            value=max(len(found), len(subjects)),
            allowed=tr("one patient"),
        )
    return found[0][1] if found else {}


def _age(patient: Mapping[str, Any], moment: datetime) -> float | None:
    try:
        born = date.fromisoformat(str(patient.get("birthDate")))
    except ValueError:
        return None
    return float(int((moment.date() - born) / timedelta(days=DAYS_OF_YEAR)))


class _Reader:
    """Takes one observation after another; what is left is counted by the reason."""

    def __init__(self, timestamp: str) -> None:
        self.timestamp = timestamp
        self.moments: dict[datetime, dict[str, EyeReading]] = {}
        self.left: dict[str, int] = {}
        self.ages: list[float] = []

    def leave(self, why: str) -> None:
        """Count an observation that is not taken."""
        self.left[why] = self.left.get(why, 0) + 1

    def take(self, resource: Mapping[str, Any], where: str) -> None:
        """Take one observation, or leave it, or refuse the bundle for it."""
        status = str(resource.get("status"))
        if status not in TAKEN:
            return self.leave(tr("their status is {status}", status=status[:LONGEST]))
        named = _named(resource, where)
        if named is None:
            return self.leave(tr("their code is not read here"))
        path, side = named
        value = _value(resource, path, where, self.leave)
        if value is None:
            return None
        if path == "person.age_years":
            return self.ages.append(float(value))
        side = _side(resource, side, where)
        moment = _moment(resource, self.timestamp, where)
        eye = self.moments.setdefault(moment, {}).setdefault(side, EyeReading(side))
        own = path.startswith("biometry.")
        place, key = (eye.values, path.partition(".")[2]) if own else (eye.found, path)
        if key in place and place[key] != value:
            raise InvalidInput(
                tr("{where} says {field} twice for one moment, differently.", where=where, field=path),
                field=path,
                value=str(value)[:LONGEST],
                allowed=tr("one value"),
            )
        place[key] = value
        return None


def _named(resource: Mapping[str, Any], where: str) -> tuple[str, str | None] | None:
    """The field that a code stands for, and the eye where the code says it. Two codes must mean one field."""
    found: dict[str, str | None] = {}
    for coding in (resource.get("code") or {}).get("coding") or []:
        system, code = coding.get("system"), str(coding.get("code"))
        if system == terms.LOINC and code in LOINC_FIELDS:
            path, side = LOINC_FIELDS[code]
            if found.get(path) not in (None, side):
                found[f"{path} {side}"] = side
            found[path] = side
        elif system == terms.LOINC and code in EITHER_EYE:
            found.setdefault(EITHER_EYE[code], None)
        elif system == terms.FIELD and _taken_field(code):
            found.setdefault("biometry." + code.partition(".")[2] if code.startswith("fellow.") else code, None)
    if len(found) > 1:
        raise InvalidInput(
            tr("{where} has codes of different meaning: {found}.", where=where, found=", ".join(found)),
            field="Observation.code",
            value=", ".join(found),
            allowed=tr("codes of one meaning"),
        )
    return next(iter(found.items()), None)


def _taken_field(path: str) -> bool:
    section, _, key = path.partition(".")
    if section == "fellow":
        return key in FELLOW_KEYS and key in BIOMETRY
    return path in PATHS and section in OWN_SECTIONS and path not in ("eye.side", "person.sex")


def _side(resource: Mapping[str, Any], coded: str | None, where: str) -> str:
    """The eye: of the code, of the body site, and where both say it, the same."""
    said = {coded} if coded else set()
    for coding in (resource.get("bodySite") or {}).get("coding") or []:
        code = str(coding.get("code"))
        if coding.get("system") == terms.EYE and code in ("left", "right"):
            said.add(code)
        elif coding.get("system") == terms.SNOMED and code in terms.SNOMED_EYES:
            said.add(terms.SNOMED_EYES[code])
    if len(said) != 1:
        words = tr("both eyes") if said else tr("missing")
        raise InvalidInput(
            tr("The eye in {where} is {words}; allowed: left, right, once.", where=where, words=words),
            field="Observation.bodySite",
            value=words,
            allowed=tr("a code of the left eye or of the right eye"),
        )
    return said.pop()


def _moment(resource: Mapping[str, Any], timestamp: str, where: str) -> datetime:
    """When it was observed; a day without a time is its noon, a time without a zone that of this computer."""
    period = resource.get("effectivePeriod") or {}
    text = str(
        resource.get("effectiveDateTime") or resource.get("effectiveInstant") or period.get("start") or timestamp
    )
    try:
        whole = re.fullmatch(r"\d{4}-\d{2}-\d{2}", text)
        found = datetime.fromisoformat(f"{text}T12:00:00" if whole else text)
        return found if found.tzinfo is not None else found.astimezone()
    except (ValueError, OverflowError, OSError):
        raise InvalidInput(
            tr("The date of {where} is {text}; a day or a moment is needed.", where=where, text=text or tr("missing")),
            field="Observation.effectiveDateTime",
            value=text[:LONGEST],
            allowed=tr("a day, or a time with its zone"),
        ) from None


def _value(resource: Mapping[str, Any], path: str, where: str, leave: Callable[[str], None]) -> Any:
    if resource.get("valueQuantity") is not None:
        return _quantity(resource["valueQuantity"], path, where)
    if resource.get("dataAbsentReason") is not None:
        return leave(tr("they say why there is no value"))
    value: Any = resource.get("valueBoolean")
    concept = resource.get("valueCodeableConcept")
    if concept is not None:
        value = next((c.get("code") for c in concept.get("coding") or [] if c.get("system") == terms.WORD), None)
    if value is None:
        return leave(tr("their value is of another kind"))
    check_values({path: value})
    return value


def _quantity(told: Mapping[str, Any], path: str, where: str) -> float:
    """A number in the unit that the field is kept in; without a unit that is known, none is guessed."""
    kept = terms.unit_of(path)
    factors = FACTORS.get(kept, {})
    unit = str(told.get("code") or "") if told.get("system") in (terms.UCUM, None) else ""
    number = told.get("value")
    if unit not in factors or told.get("comparator") is not None:
        shown = f"{told.get('comparator') or ''} {unit or told.get('unit') or tr('without unit')}".strip()
        raise InvalidInput(
            tr(
                "The unit of {field} in {where} is {unit}; allowed: {allowed}.",
                field=path,
                where=where,
                unit=shown[:LONGEST],
                allowed=", ".join(factors),
            ),
            field="Observation.valueQuantity",
            value=shown[:LONGEST],
            allowed=tr("one of {units} in UCUM", units=", ".join(factors)),
        )
    if isinstance(number, bool) or not isinstance(number, int | float):
        raise InvalidInput(
            tr("{field} in {where} has no number.", field=path, where=where),
            field="Observation.valueQuantity.value",
            allowed=tr("one number"),
        )
    limit = path.partition(".")[2]
    low, high = bounds(limit)
    value = number * factors[unit]
    if not low <= value <= high:
        raise InvalidInput(
            tr(
                "{field} in {where} is {value} {unit}; allowed: {allowed}.",
                field=path,
                where=where,
                value=number,
                unit=unit,
                allowed=limits_in_words(limit),
            ),
            field=path,
            value=number,
            allowed=limits_in_words(limit),
        )
    return rounded(path, value)

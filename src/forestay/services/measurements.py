"""Measurements that an instrument sent become facts of a case: all objects of a file, or none of them.

Each object speaks for itself: where it differs from what is kept, both stand as a disagreement until somebody decides.
A case that is not kept yet is opened with the side and the age that come with the objects.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid5

from forestay.case.bodies import Body, Found, Measured, Seen
from forestay.case.fact import Fact, content, new_fact
from forestay.case.fold import conflict, fold
from forestay.errors import InvalidInput, MissingInput
from forestay.exchange.dicom_in import ObjectReading, read_dicom, values_for
from forestay.exchange.jsonlines import Imported
from forestay.eye.validation import validate
from forestay.services.operated import operated_at
from forestay.store.interface import FactStore
from forestay.text import tr

NAMESPACE = UUID("0d9a1f52-5d0e-4e86-9d0b-58a6c2f6f7c4")
"""Identities of facts from an object are made from this, the case, the object and the group: a repeat changes nothing."""
AUTHOR = "instrument"
SIDES = ("left", "right")
YEARS_APART = 2
"""Age at the measurement and age in the case may differ by this: both are whole years, and time passes between them."""


def import_objects(
    store: FactStore, data: bytes, *, name: str, case_id: str, side: str | None = None, author: str = AUTHOR
) -> Imported:
    """Keep what the DICOM objects in ``data`` say of the case's eye and of its fellow."""
    return keep_readings(store, read_dicom(data, name), case_id=case_id, side=side, author=author)


def keep_readings(
    store: FactStore, readings: list[ObjectReading], *, case_id: str, side: str | None = None, author: str = AUTHOR
) -> Imported:
    """Keep readings of one person, wherever they came from; all of them, or none."""
    ready = prepare(store, readings, case_id=case_id, side=side, author=author)
    if ready.new:
        store.append(case_id, ready.new)
    return ready.done


@dataclass(frozen=True, slots=True)
class Ready:
    """Facts that readings would add to a case, checked but not kept."""

    new: list[Fact]
    done: Imported


def prepare(
    store: FactStore, readings: list[ObjectReading], *, case_id: str, side: str | None = None, author: str = AUTHOR
) -> Ready:
    """What readings would add to a case."""
    if side is not None and side not in SIDES:
        raise InvalidInput(
            tr("side is {side}; allowed: left, right.", side=side[:20]),
            field="side",
            value=side[:20],
            allowed="left, right",
        )
    kept = store.facts(case_id) if case_id in store.cases() else []
    told = _side(readings, kept, side, case_id)
    if kept:
        _same_person(readings, kept)
    made: list[Fact] = [] if kept else _opening(readings, told, case_id, author)
    notes: list[str] = []
    for reading in readings:
        measured, found, remarks = values_for(reading, told)
        measured = _in_the_order_kept(measured, kept)
        notes += remarks
        visit, more = _visit(reading, told, measured, found, kept)
        notes += more
        bodies: list[tuple[str, type[Body], dict[str, Any]]] = [
            ("measured", Measured, {"values": measured} if measured else {}),
            ("found", Found, {"values": found} if found else {}),
            ("seen", Seen, visit),
        ]
        made += _facts(reading, [(n, validate(kind, body)) for n, kind, body in bodies if body], case_id, author)
    new = _new(made, kept)
    fold([*kept, *new])
    return Ready(new, Imported(case_id, len(new), len(kept) + len(new), tuple(notes)))


def _visit(
    reading: ObjectReading, told: str, measured: dict[str, Any], found: dict[str, Any], kept: list[Fact]
) -> tuple[dict[str, Any], list[str]]:
    """What belongs to a visit after the operation; before it, acuity is the eye's, and a refraction has no place.

    Keratometry after the operation goes to the visit too: it must not stand beside that from which the lens was chosen.
    """
    seen = dict(reading.eyes[told].seen)
    moment = operated_at(kept)
    if moment is not None and reading.measured_at > moment:
        seen |= {key: measured.pop(f"biometry.{key}") for key in _CORNEA if f"biometry.{key}" in measured}
        if not seen:
            return {}, []
        return {"day": (reading.measured_at.astimezone().date() - moment.astimezone().date()).days, **seen}, []
    if "acuity_logmar" in seen:
        found["eye.visual_acuity_logmar"] = seen["acuity_logmar"]
    if "refraction_d" in seen:
        value = f"{seen['refraction_d']:+.2f}"
        return {}, [
            tr("The refraction {value} D before the operation was not taken: a cataract shifts it.", value=value)
        ]
    return {}, []


_CORNEA = ("k1_d", "k1_axis_deg", "k2_d", "k2_axis_deg")


def _side(readings: list[ObjectReading], kept: list[Fact], side: str | None, case_id: str) -> str:
    """The eye in question: that of the case, or the one named, or the only one in the objects."""
    if kept:
        own = fold(kept).case.eye.side
        if side is not None and side != own:
            raise InvalidInput(
                tr("Case {case} is about the {own} eye, not the {side} one.", case=case_id, own=own, side=side),
                field="side",
                value=side,
                allowed=own,
            )
        return own
    if side is not None:
        return side
    sides = {eye for reading in readings for eye in reading.eyes}
    if len(sides) > 1:
        raise MissingInput(
            tr("The file holds both eyes; say which one the case is about."), field="side", allowed="left, right"
        )
    return sides.pop()


def _same_person(readings: list[ObjectReading], kept: list[Fact]) -> None:
    """Age and sex are all that a case knows of its person; objects that contradict them are of somebody else."""
    person = fold(kept).case.person
    for reading in readings:
        if person.sex not in (None, "unknown", reading.sex) and reading.sex is not None:
            raise _somebody_else("sex", reading.sex, str(person.sex))
        if reading.age_years is not None and abs(reading.age_years - person.age_years) > YEARS_APART:
            allowed = f"{person.age_years:g} ± {YEARS_APART}"
            raise _somebody_else("age_years", f"{reading.age_years:g}", allowed)


def _somebody_else(key: str, value: str, allowed: str) -> InvalidInput:
    return InvalidInput(
        tr(
            "The file is of another person: {key} is {value}, the case says {allowed}.",
            key=key,
            value=value,
            allowed=allowed,
        ),
        field=f"person.{key}",
        value=value,
        allowed=allowed,
    )


def _opening(readings: list[ObjectReading], side: str, case_id: str, author: str) -> list[Fact]:
    """The facts that open a case: which eye, how old the person is."""
    first = readings[0]
    age = next((reading.age_years for reading in readings if reading.age_years is not None), None)
    if age is None:
        raise MissingInput(
            tr(
                "Case {case} is not kept yet, and the file gives no age to open it with; open the case first.",
                case=case_id,
            ),
            field="person.age_years",
            allowed=tr("a case that is kept, or an age in the file"),
        )
    values = {"person.age_years": age, "eye.side": side} | ({"person.sex": first.sex} if first.sex else {})
    return _facts(first, [("opening", validate(Found, {"values": values}))], case_id, author)


def _in_the_order_kept(measured: dict[str, Any], kept: list[Fact]) -> dict[str, Any]:
    """A case may name the steeper meridian first; then the object's two change places, so that like meets like."""
    if not kept or "biometry.k1_d" not in measured:
        return measured
    own = fold(kept).case.biometry
    if own.k1_d is None or own.k2_d is None or own.k1_d <= own.k2_d:
        return measured
    places = {f"biometry.k{a}_{end}": f"biometry.k{b}_{end}" for a, b in ((1, 2), (2, 1)) for end in ("d", "axis_deg")}
    return {places.get(path, path): value for path, value in measured.items()}


def _facts(reading: ObjectReading, bodies: list[tuple[str, Body]], case_id: str, author: str) -> list[Fact]:
    """One fact a body. Each body of each object counts as a device of its own: none knows of another."""
    short = hashlib.sha256(reading.uid.encode()).hexdigest()[:12]
    return [
        new_fact(
            body,
            case=case_id,
            author=author,
            device=f"{reading.source}-{short}-{name}",
            device_sequence=1,
            happened_at=reading.measured_at,
            based_on=0,
            id=uuid5(NAMESPACE, f"{case_id}/{reading.uid}/{name}"),
        )
        for name, body in bodies
    ]


def _new(made: list[Fact], kept: list[Fact]) -> list[Fact]:
    """Those that are not kept yet; the same object with other content is refused."""
    known = {fact.header.id: fact for fact in kept}
    unique: dict[UUID, Fact] = {}
    for fact in made:
        there = known.get(fact.header.id) or unique.get(fact.header.id)
        if there is None:
            unique[fact.header.id] = fact
        elif content(there) != content(fact):
            raise conflict(fact)
    return list(unique.values())

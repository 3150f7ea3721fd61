"""Measurements that come by themselves, from an instrument or a watched folder: into the cases that they belong to, or nowhere.

The number of the patient in an object is the name of a case, or the number under which the clinic keeps the person; every
case of that person whose eye is in the object gets its values, all together. An object that fits no case is refused: it
never opens one.
"""

from __future__ import annotations

from forestay.case.fold import fold
from forestay.errors import InvalidInput, NotFound
from forestay.exchange.dicom_in import ObjectReading, read_dicom
from forestay.exchange.dicom_part import named
from forestay.exchange.jsonlines import Imported
from forestay.services.measurements import prepare
from forestay.store.interface import FactStore
from forestay.text import tr

AUTHOR = "instrument"


def take(store: FactStore, data: bytes, name: str) -> list[Imported]:
    """Keep what the objects in ``data`` say in each case that they belong to; all of it, or nothing."""
    readings = read_dicom(data, name)
    cases = _cases(store, readings, name)
    ready = [prepare(store, readings, case_id=case, author=AUTHOR) for case in cases]
    store.append_all({one.done.case: one.new for one in ready if one.new})
    return [one.done for one in ready]


def told_take(store: FactStore, data: bytes, name: str) -> str:
    """The same, said in one line."""
    done = take(store, data, name)
    said = [tr("case {case}, {new} new facts", case=one.case, new=one.new) for one in done]
    return tr("Kept {name}: {said}.", name=name, said="; ".join(said))


def _cases(store: FactStore, readings: list[ObjectReading], name: str) -> list[str]:
    number = readings[0].patient.strip()
    known = store.cases()
    if not number:
        raise InvalidInput(
            tr("{name} has no number of a patient; import it by hand.", name=name),
            field=named("PatientID"),
            allowed=tr("the name of a case, or the number under which the clinic keeps the person"),
        )
    theirs = [number] if number in known else store.numbered(number)
    if not theirs:
        raise NotFound(
            tr("{name} belongs to no case that is kept; open the case, or import the file by hand.", name=name),
            field=named("PatientID"),
            allowed=tr("the name of a case, or the number under which the clinic keeps the person"),
        )
    there = {side for reading in readings for side in reading.eyes}
    fitting = [case for case in theirs if fold(store.facts(case)).case.eye.side in there]
    if not fitting:
        raise InvalidInput(
            tr("{name} is of the other eye than the cases of this person.", name=name),
            field=named("MeasurementLaterality"),
            value=", ".join(sorted(there)),
            allowed=tr("an object of the eye that a case is about"),
        )
    return fitting

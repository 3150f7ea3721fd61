"""FHIR R4 bundles: the same facts back, readable without this tree's records, and strict about eye and unit."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from forestay.case.fact import Fact
from forestay.case.fold import fold
from forestay.case.lines import write
from forestay.errors import BrokenChain, ForestayError, InvalidInput, MissingInput, UnreadableFile
from forestay.exchange.fhir_in import looks_like_fhir
from forestay.exchange.fhir_out import write_fhir
from forestay.services.cases import export_case, import_case
from forestay.store.memory import MemoryFactStore
from tests.case.strategies import histories
from tests.exchange.fhir_bundles import foreign, observation, whole_case

LENGTH_RIGHT, LENGTH_LEFT, THICKNESS_LEFT, PRESSURE = "64742-0", "66067-0", "66068-8", "56844-4"
"""LOINC: axial length right and left, thickness of the cornea left, pressure of an eye."""


def resources(data: bytes, kind: str) -> list[dict[str, Any]]:
    return [e["resource"] for e in json.loads(data)["entry"] if e["resource"]["resourceType"] == kind]


def by_code(data: bytes) -> dict[str, dict[str, Any]]:
    return {one["code"]["coding"][0]["code"]: one for one in resources(data, "Observation")}


def brought(data: bytes, **more: Any) -> tuple[Any, list[str]]:
    store = MemoryFactStore()
    done = import_case(store, data, name="bundle.json", **more)
    return fold(store.facts(done.case)).case, list(done.notes)


def test_a_case_with_every_kind_of_fact_comes_back_to_the_same_bytes() -> None:
    here, there = whole_case(), MemoryFactStore()
    data = export_case(here, "M-1", "fhir")
    assert data == export_case(here, "M-1", "fhir")
    done = import_case(there, data, name="bundle.json")
    assert (done.case, done.new, done.notes) == ("M-1", len(here.links("M-1")), ())
    assert there.links("M-1") == here.links("M-1")
    assert export_case(there, "M-1", "fhir") == data
    assert import_case(there, data, name="bundle.json").new == 0


@settings(deadline=None, max_examples=15, suppress_health_check=[HealthCheck.too_slow])
@given(histories())
def test_any_history_comes_back(history: list[Fact]) -> None:
    here, there = MemoryFactStore(), MemoryFactStore()
    here.append(
        "M-1",
        [
            Fact(f.header.model_copy(update={"server_sequence": None, "received_at": None, "based_on": 0}), f.body)
            for f in history
        ],
    )
    import_case(there, write_fhir("M-1", here.links("M-1")), name="b.json")
    assert write("M-1", there.links("M-1")) == write("M-1", here.links("M-1"))


def test_another_reader_finds_each_thing_in_its_resource() -> None:
    """Read with nothing of this tree: what FHIR R4 names for each (Patient, Observation, Procedure, Device …)."""
    data = export_case(whole_case(), "M-1", "fhir")
    (patient,) = resources(data, "Patient")
    assert "name" not in patient
    assert "birthDate" not in patient
    seen = by_code(data)
    length = seen["biometry.axial_length_mm"]
    assert length["valueQuantity"]["system"] == "http://unitsofmeasure.org"
    assert length["valueQuantity"]["code"] == "mm"
    assert length["code"]["coding"][1] == {"system": "http://loinc.org", "code": LENGTH_RIGHT}
    assert seen["seen.pressure_mmhg"]["valueQuantity"]["code"] == "mm[Hg]"
    assert seen["seen.acuity_logmar"]["code"]["coding"][1]["code"] == "65893-0"
    assert [c["valueQuantity"]["value"] for c in seen["signs.dialysis_clock_hours"]["component"]] == [2, 3.0]
    procedure = next(p for p in resources(data, "Procedure") if p["code"]["text"] == "lens")
    assert procedure["status"] == "completed"
    lens, tray = resources(data, "Device")
    assert lens["udiCarrier"][0]["deviceIdentifier"] == "05060917510011"
    assert lens["udiCarrier"][0]["issuer"] == "http://hl7.org/fhir/NamingSystem/gs1-di"
    assert (lens["lotNumber"], lens["serialNumber"]) == ("628S93R", "8898847482518646")
    assert tray["identifier"][0]["value"] == "T1"
    plans = {plan["title"]: plan for plan in resources(data, "CarePlan")}
    assert [a["detail"]["code"]["text"] for a in plans["Plan"]["activity"]] == ["Tunnel", "Opening"]
    assert plans["technique"]["note"][0]["text"] == "a hard lens\nand a gap"
    (event,) = resources(data, "AdverseEvent")
    assert event["modifierExtension"][0]["valueBoolean"] is True
    assert len(resources(data, "Provenance")) == len(whole_case().links("M-1"))


def test_every_reference_in_a_bundle_leads_somewhere() -> None:
    whole = json.loads(export_case(whole_case(), "M-1", "fhir"))
    addresses = {entry["fullUrl"] for entry in whole["entry"]}
    assert len(addresses) == len(whole["entry"])

    def references(value: Any) -> set[str]:
        if isinstance(value, list):
            return {r for inner in value for r in references(inner)}
        if not isinstance(value, dict):
            return set()
        own = {value["reference"]} if isinstance(value.get("reference"), str) else set()
        return own | {r for inner in value.values() for r in references(inner)}

    assert references(whole) <= addresses


def test_what_was_taken_back_or_corrected_is_marked_as_an_error() -> None:
    from forestay.case.bodies import Measured, Withdrawn
    from forestay.services.cases import record
    from tests.exchange.fhir_bundles import WHO, number

    store = whole_case()
    record(store, "M-1", {number(60): Measured(values={"biometry.axial_length_mm": 24.0})}, who=WHO)
    record(store, "M-1", {number(61): Withdrawn(fact=number(60), why="wrong eye")}, who=WHO)
    data = export_case(store, "M-1", "fhir")
    lengths = [
        o for o in resources(data, "Observation") if o["code"]["coding"][0]["code"] == "biometry.axial_length_mm"
    ]
    assert [o["status"] for o in lengths] == ["final", "entered-in-error"]


def test_a_bundle_that_was_changed_on_the_way_is_refused() -> None:
    data = export_case(whole_case(), "M-1", "fhir")
    changes: list[tuple[type[ForestayError], Any]] = [
        (InvalidInput, lambda whole: _of(whole, "Observation")["valueQuantity"].update(value=99)),
        (InvalidInput, lambda whole: whole["entry"].remove(_entry(whole, "Observation"))),
        (InvalidInput, lambda whole: _of(whole, "AdverseEvent").pop("modifierExtension")),
        (UnreadableFile, lambda whole: whole["entry"].remove(_entry(whole, "Provenance"))),
        (BrokenChain, lambda whole: _retold(_of(whole, "Provenance"))),
    ]
    for kind, change in changes:
        whole = json.loads(data)
        change(whole)
        store = MemoryFactStore()
        with pytest.raises(kind):
            import_case(store, json.dumps(whole).encode(), name="b.json")
        assert store.cases() == []


def _entry(whole: Any, kind: str) -> Any:
    wanted = [e for e in whole["entry"] if e["resource"]["resourceType"] == kind]
    return next((e for e in wanted if "valueQuantity" in e["resource"]), wanted[0])


def _of(whole: Any, kind: str) -> Any:
    return _entry(whole, kind)["resource"]


def _retold(provenance: Any) -> None:
    told = provenance["extension"][0]
    line = json.loads(told["valueString"])
    line["body"] = line["body"].replace("}", " }", 1)
    told["valueString"] = json.dumps(line)


def test_order_and_narrative_of_another_server_change_nothing() -> None:
    here, there = whole_case(), MemoryFactStore()
    whole = json.loads(export_case(here, "M-1", "fhir"))
    whole["entry"].reverse()
    for entry in whole["entry"]:
        entry["resource"]["meta"] = {"versionId": "7", "lastUpdated": "2026-03-02T10:00:00Z"}
        entry["resource"]["text"] = {"status": "generated", "div": '<div xmlns="http://www.w3.org/1999/xhtml">x</div>'}
    whole["entry"].append({"fullUrl": "urn:x", "resource": {"resourceType": "Basic", "code": {"text": "theirs"}}})
    done = import_case(there, json.dumps(whole, indent=1).encode(), name="b.json")
    assert there.links("M-1") == here.links("M-1")
    assert "1 resources" in done.notes[0]


def test_observations_of_another_writer_are_read_by_code_eye_and_unit() -> None:
    um = {"value": 0.541, "system": "http://unitsofmeasure.org", "code": "mm"}
    right = {"coding": [{"system": "http://snomed.info/sct", "code": "24028007"}]}
    left = {"coding": [{"system": "http://snomed.info/sct", "code": "1290041000"}]}
    mmhg = {"value": 17, "code": "mm[Hg]", "unit": "mmHg"}
    data = foreign(
        observation(LENGTH_LEFT, 23.456),
        observation(
            LENGTH_RIGHT,
            2.351,
            valueQuantity={"value": 2.351, "system": "http://unitsofmeasure.org", "code": "cm"},
            bodySite=right,
        ),
        observation(THICKNESS_LEFT, um),
        observation(PRESSURE, mmhg, bodySite=left, effectiveDateTime="2026-03-02"),
        observation(LENGTH_LEFT, 29.0, status="entered-in-error"),
        observation("9999-9", 1),
    )
    case, notes = brought(data, case_id="F-1", side="left")
    assert (case.eye.side, case.person.age_years, case.person.sex) == ("left", 75, "female")
    assert (case.biometry.axial_length_mm, case.fellow.axial_length_mm) == (23.46, 23.51)
    assert (case.biometry.corneal_thickness_um, case.eye.pressure_mmhg) == (541, 17)
    assert len(notes) == 2


@pytest.mark.parametrize(
    ("made", "error", "field"),
    [
        (
            observation(LENGTH_LEFT, {"value": 23.4, "system": "http://unitsofmeasure.org", "code": "[in_i]"}),
            InvalidInput,
            "Observation.valueQuantity",
        ),
        (observation(LENGTH_LEFT, {"value": 23.4}), InvalidInput, "Observation.valueQuantity"),
        (
            observation(LENGTH_LEFT, {"value": 23.4, "code": "mm", "comparator": ">"}),
            InvalidInput,
            "Observation.valueQuantity",
        ),
        (observation(LENGTH_LEFT, {"value": 23.4, "code": "um"}), InvalidInput, "biometry.axial_length_mm"),
        (
            observation(
                LENGTH_LEFT, 23.4, bodySite={"coding": [{"system": "http://snomed.info/sct", "code": "24028007"}]}
            ),
            InvalidInput,
            "Observation.bodySite",
        ),
        (observation(PRESSURE, {"value": 17, "code": "mm[Hg]"}), InvalidInput, "Observation.bodySite"),
        (
            observation(LENGTH_LEFT, 23.4, effectiveDateTime=None, effectivePeriod={"end": "2026-01-01"}),
            InvalidInput,
            "Observation.effectiveDateTime",
        ),
        (observation("1-1", 23.4), MissingInput, "Observation.code"),
        (
            observation(
                LENGTH_LEFT,
                23.4,
                code={"coding": [{"system": "http://loinc.org", "code": c} for c in (LENGTH_LEFT, LENGTH_RIGHT)]},
            ),
            InvalidInput,
            "Observation.code",
        ),
    ],
)
def test_a_doubtful_eye_unit_date_or_code_is_refused(made: Any, error: type[ForestayError], field: str) -> None:
    store = MemoryFactStore()
    with pytest.raises(error) as told:
        import_case(store, foreign({k: v for k, v in made.items() if v is not None}), name="b.json", side="left")
    assert told.value.field == field
    assert store.cases() == []


def test_two_patients_two_values_and_the_wrong_eye_are_refused() -> None:
    one = observation(LENGTH_LEFT, 23.4)
    for made in (
        foreign(one, one | {"subject": {"reference": "Patient/2"}}),
        foreign(one, observation(LENGTH_LEFT, 24.4)),
    ):
        with pytest.raises(InvalidInput):
            brought(made, side="left")
    with pytest.raises(InvalidInput):
        brought(foreign(one), side="right")


@pytest.mark.parametrize(
    "data",
    [
        b'{"resourceType":"Patient"}',
        b'{"resourceType":"Bundle"}',
        b'{"resourceType":"Bundle","type":"collection","entry":[{"resource":{"resourceType":"Observation"}}]}',
        b'{"resourceType":"Bundle","type":"collection","entry":7}',
        b'{"resourceType":"Bundle","type":"collection","entry":[{"resource":{"resourceType":"Nothing"}}]}',
        b'{"resourceType":"Bundle","type":"collection","foo":1}',
        b'{"resourceType":"Bundle",' + b'"extension":[' * 3000,
        b'{"resourceType":"Bundle","type":"collection","timestamp":1e999}',
    ],
)
def test_what_is_no_bundle_is_one_clear_error(data: bytes) -> None:
    assert looks_like_fhir(data.decode())
    with pytest.raises(ForestayError):
        brought(data, side="left")


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_changed_bytes_of_a_bundle_give_an_error_or_the_same_facts(data: st.DataObject) -> None:
    whole = bytearray(EXPORTED)
    for _ in range(data.draw(st.integers(1, 3))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    store = MemoryFactStore()
    try:
        import_case(store, bytes(whole), name="b.json", case_id="M-1", side="left")
    except ForestayError:
        assert store.cases() == []
    else:
        assert store.links("M-1") == ORIGINAL


_HERE = whole_case()
ORIGINAL = _HERE.links("M-1")
EXPORTED = export_case(_HERE, "M-1", "fhir")

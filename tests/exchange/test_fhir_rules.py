"""What is written holds against the standard's own rules, element by element; and each kind of fault is found."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from typing import Any

import pytest

from forestay.case.bodies import Done
from forestay.demo import NAMES, demo_bytes
from forestay.exchange.fhir_out import bundle
from forestay.services.cases import import_case, record
from forestay.store.memory import MemoryFactStore
from tests.exchange.fhir_bundles import WHO, number, whole_case
from tests.exchange.r4_rules import faults

WHOLE = json.loads(json.dumps(bundle("M-1", whole_case().links("M-1"))))


def test_a_case_with_a_fact_of_every_kind_holds_against_the_standard() -> None:
    assert faults(WHOLE) == []
    kinds = {entry["resource"]["resourceType"] for entry in WHOLE["entry"]}
    assert kinds == {
        *(
            "Patient",
            "Observation",
            "Procedure",
            "Device",
            "CarePlan",
            "DocumentReference",
            "AdverseEvent",
            "Provenance",
        )
    }


@pytest.mark.parametrize("name", NAMES)
def test_every_invented_case_holds_against_the_standard(name: str) -> None:
    store = MemoryFactStore()
    import_case(store, demo_bytes(name), name="case.toml", case_id="M-1", author="invented")
    assert faults(json.loads(json.dumps(bundle("M-1", store.links("M-1"))))) == []


def test_every_unit_of_a_size_is_one_of_ucum() -> None:
    store, sizes = (
        whole_case(),
        ("tunnel_clock", "tunnel_outer_mm", "hooks_count", "lens_power_d", "dose_mg", "given_ml"),
    )
    done = Done(step="tunnel", by="s1", sizes=dict.fromkeys(sizes, 6.5))
    record(store, "M-1", {number(70): done}, who=WHO)
    assert faults(json.loads(json.dumps(bundle("M-1", store.links("M-1"))))) == []


def first(made: dict[str, Any], kind: str, key: str | None = None) -> dict[str, Any]:
    return next(
        entry["resource"]
        for entry in made["entry"]
        if entry["resource"]["resourceType"] == kind and (key is None or key in entry["resource"])
    )


FAULTS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "at least 1": lambda b: first(b, "Procedure").pop("status"),
    "no code of Observation.status": lambda b: first(b, "Observation").update(status="done"),
    "leads to nothing": lambda b: first(b, "Observation")["subject"].update(reference="urn:uuid:0"),
    "may not lead to a Procedure": lambda b: first(b, "AdverseEvent")["subject"].update(
        reference=f"urn:uuid:{first(b, 'Procedure')['id']}"
    ),
    "no element of Device": lambda b: first(b, "Device").update(bodySite={"text": "eye"}),
    "2 of at least 0": lambda b: first(b, "Observation", "valueBoolean").update(valueString="x"),
    "a list where": lambda b: first(b, "Procedure").update(bodySite={"text": "eye"}),
    "is no instant": lambda b: first(b, "Provenance").update(recorded="2026-03-01T09:12:00"),
    "is no string": lambda b: first(b, "CarePlan").update(title=" "),
    "ele-1": lambda b: first(b, "Procedure").update(code={}),
    "ext-1": lambda b: first(b, "Patient")["extension"][0].update(extension=[{"url": "x", "valueString": "x"}]),
    "obs-7": lambda b: first(b, "Observation", "component").update(valueString="x"),
    "cpl-3": lambda b: first(b, "CarePlan", "activity")["activity"][0].update(reference={"reference": "x"}),
    "qty-3": lambda b: first(b, "Observation", "valueQuantity")["valueQuantity"].pop("system"),
    "no unit of UCUM": lambda b: first(b, "Observation", "valueQuantity")["valueQuantity"].update(code="{clock hour}"),
    "bdl-7": lambda b: b["entry"].append(b["entry"][0]),
    "no code of http": lambda b: first(b, "Observation")["category"][0]["coding"][0].update(code="examination"),
    "is called": lambda b: first(b, "Patient").update(id="x"),
}


@pytest.mark.parametrize("told", FAULTS)
def test_each_kind_of_fault_is_found(told: str) -> None:
    made = copy.deepcopy(WHOLE)
    FAULTS[told](made)
    assert any(told in fault for fault in faults(made)), faults(made)

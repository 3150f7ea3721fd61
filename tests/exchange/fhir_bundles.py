"""Invented bundles, as this tree and as other systems would write them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from uuid import UUID, uuid5

import forestay
from forestay.case.bodies import Body, Decided, Done, Found, Happened, Seen, Signed, Withdrawn, planned
from forestay.case.chain import head
from forestay.services.cases import Who, import_case, record
from forestay.store.interface import FactStore
from forestay.store.memory import MemoryFactStore

WHO = Who("a1", "d1")
NOTHING = "0" * 64
DEMO = Path(forestay.__file__).parent / "demo"
DEVICES = ("model A", "article 05060917510011", "serial 8898847482518646", "lot 628S93R", "tray T1")
"""Article, serial and lot are those of the published example of a GS1 element string (barcode check value I3)."""


def number(n: int) -> UUID:
    """A stable identity."""
    return uuid5(UUID(int=0), str(n))


def whole_case(store: FactStore | None = None) -> FactStore:
    """A case with a fact of every kind; the event is taken back."""
    kept = store or MemoryFactStore()
    import_case(kept, (DEMO / "trauma-gap.toml").read_bytes(), name="case.toml", case_id="M-1")
    plan = json.dumps({"steps": [{"name": "Tunnel", "do": "Cut it"}, {"name": "Opening"}]}).encode()
    bodies: list[Body] = [
        planned(plan, engine_version="1", evidence_digest=NOTHING, practice_digest=NOTHING, context_digest=NOTHING),
        Decided(
            subject="technique", choice="manual-small-incision", reason="a hard lens\nand a gap", turned_down=("no: x",)
        ),
        Decided(subject="capsulorhexis_mm", choice=6, reason="rim"),
        Done(step="lens", by="s1", sizes={"lens_power_d": 20.5}, devices=DEVICES),
        Happened(event="vitreous-in-chamber", step="lens", clock_hours=(3.0, 4.5), note="a strand"),
        Seen(day=1, acuity_logmar=0.3, acuity_type="best-corrected", pressure_mmhg=18, cylinder_d=0.75),
        Found(values={"person.allergies": [], "signs.dialysis_clock_hours": [2, 3.0]}),
    ]
    record(kept, "M-1", {number(n): body for n, body in enumerate(bodies)}, who=WHO)
    record(kept, "M-1", {number(50): Withdrawn(fact=number(4), why="typed wrongly")}, who=WHO)
    record(kept, "M-1", {number(51): Signed(head=head(kept.links("M-1")).hex())}, who=WHO)
    return kept


def observation(code: str, value: Any, /, *, system: str = "http://loinc.org", **more: Any) -> dict[str, Any]:
    """An observation of another writer."""
    held = value if isinstance(value, dict) else {"value": value, "system": "http://unitsofmeasure.org", "code": "mm"}
    return {
        "resourceType": "Observation",
        "status": "final",
        "code": {"coding": [{"system": system, "code": code}]},
        "subject": {"reference": "Patient/1"},
        "effectiveDateTime": "2026-03-01T09:12:00+01:00",
        "valueQuantity": held,
    } | more


def foreign(*observations: dict[str, Any], patient: dict[str, Any] | None = None) -> bytes:
    """A bundle of another writer, of a woman born in 1950."""
    person = {"resourceType": "Patient", "id": "1", "gender": "female", "birthDate": "1950-05-01"}
    entries = [{"resource": one} for one in [patient or person, *observations]]
    return json.dumps({"resourceType": "Bundle", "type": "collection", "entry": entries}).encode()

"""One fact as FHIR resources that another system can read: observations, procedure with device, care plan, adverse event.

They are the readable form; the exact record of the fact travels beside them in its Provenance (:mod:`fhir_out`).
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid5

from forestay.case.bodies import Body, Decided, Done, Found, Happened, Measured, Planned, Seen
from forestay.case.fact import Header
from forestay.case.fields import shown
from forestay.exchange import fhir_terms as terms

NAMESPACE = UUID("6a0f3c1e-27a4-4f0c-b7a1-0a5c8f6d9e21")
LENS_STEP = "lens"
WORD_CODE = 64
Resource = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Told:
    """A fact with what its resources need to know of the case around it."""

    header: Header
    body: Body
    stands: bool
    side: str | None
    patient: str
    """Address of the patient within the bundle."""

    @property
    def moment(self) -> str:
        return self.header.happened_at.isoformat()

    def status(self, good: str) -> str:
        """``good`` while the fact stands; what was taken back must never be read as if it held."""
        return good if self.stands else "entered-in-error"

    def key(self, name: str) -> UUID:
        """The identity of one resource of this fact; the same at every export."""
        return uuid5(NAMESPACE, f"{self.header.case}/{self.header.id}/{name}")


def resources(told: Told) -> list[tuple[UUID, Resource]]:
    """What a fact is in resources, each with its identity; none for a signature or a withdrawal."""
    writer = _WRITERS.get(type(told.body))
    return list(writer(told)) if writer is not None else []


def extension(name: str, value: Any) -> Resource:
    """Any JSON value under a name of this tree."""
    return {"url": terms.PART + name, **_element(name, value)}


def _element(name: str, value: Any) -> Resource:
    if isinstance(value, bool):
        return {"valueBoolean": value}
    if isinstance(value, int | float):
        return {"valueQuantity": terms.quantity(name, value)}
    if isinstance(value, Mapping):
        return {"extension": [extension(key, inner) for key, inner in value.items()] or [_nothing()]}
    if isinstance(value, list | tuple):
        return {"extension": [{"url": terms.PART + "item", **_element(name, v)} for v in value] or [_nothing()]}
    return {"valueString": str(value)} if value else {"extension": [_nothing()]}


def _nothing() -> Resource:
    return {"url": terms.PART + "empty", "valueBoolean": True}


def _observations(told: Told) -> Iterator[tuple[UUID, Resource]]:
    if isinstance(told.body, Measured | Found):
        for path, value in told.body.values.items():
            yield told.key(path), _observation(told, path, value)


def _visit(told: Told) -> Iterator[tuple[UUID, Resource]]:
    if isinstance(told.body, Seen):
        values = told.body.model_dump(mode="json", exclude_none=True)
        kind = values.pop("acuity_type", None)
        for key, value in values.items():
            made = _observation(told, f"seen.{key}", value)
            if key.startswith("acuity") and kind is not None:
                made["method"] = terms.coded(terms.WORD, kind)
                if told.side is not None and key == "acuity_logmar" and kind in terms.ACUITY_CODES:
                    code = terms.ACUITY_CODES[kind][told.side]
                    made["code"]["coding"].append({"system": terms.LOINC, "code": code})
            yield told.key(f"seen.{key}"), made


def _observation(told: Told, path: str, value: Any) -> Resource:
    section = path.partition(".")[0]
    made: Resource = {
        "resourceType": "Observation",
        "status": told.status("corrected" if told.header.corrects else "final"),
        "category": [terms.coded(terms.CATEGORY, "exam")],
        "code": {"coding": [{"system": terms.FIELD, "code": path}]},
        "subject": {"reference": told.patient},
        "effectiveDateTime": told.moment,
        **_value(path, value),
    }
    if told.side is not None and section not in ("person", "theatre"):
        side = terms.other(told.side) if section == "fellow" else told.side
        made["bodySite"] = terms.coded(terms.EYE, side)
        loinc = terms.LOINC_CODES.get(path.replace("fellow.", "biometry."), {}).get(side)
        if loinc is not None:
            made["code"]["coding"].append({"system": terms.LOINC, "code": loinc})
    return made


def _value(path: str, value: Any) -> Resource:
    """The value of an observation in the element that FHIR has for it."""
    if isinstance(value, bool):
        return {"valueBoolean": value}
    if isinstance(value, int | float):
        return {"valueQuantity": terms.quantity(path, value)}
    if isinstance(value, list | tuple):
        items = [{"code": terms.coded(terms.FIELD, path), **_value(path, v)} for v in value]
        return {"component": items} if items else {"valueCodeableConcept": terms.coded(terms.MARK, "empty")}
    if isinstance(value, Mapping):
        return {
            "component": [
                {"code": terms.coded(terms.FIELD, f"{path}.{key}"), **_value(f"{path}.{key}", inner)}
                for key, inner in value.items()
                if inner is not None
            ]
        }
    text = str(value)
    plain = 0 < len(text) <= WORD_CODE and text.isascii() and text.replace("-", "").isalnum()
    return {"valueCodeableConcept": terms.coded(terms.WORD, text)} if plain else {"valueString": text or " "}


def _decision(told: Told) -> Iterator[tuple[UUID, Resource]]:
    body = told.body
    if isinstance(body, Decided):
        notes = [body.reason, *body.turned_down]
        yield (
            told.key("decision"),
            _plan(
                told,
                "decided",
                title=body.subject,
                description=f"{body.subject}: {shown(body.subject, body.choice)}",
                note=[{"text": text} for text in notes],
                extension=[extension("choice", {body.subject: body.choice})],
            ),
        )


def _plan(told: Told, kind: str, **more: Any) -> Resource:
    return {
        "resourceType": "CarePlan",
        "status": told.status("active"),
        "intent": "plan",
        "category": [terms.coded(terms.KIND, kind)],
        "subject": {"reference": told.patient},
        "created": told.moment,
        **more,
    }


def _kept_plan(told: Told) -> Iterator[tuple[UUID, Resource]]:
    """A kept plan: its steps as activities, its very bytes as a document beside it."""
    body = told.body
    if not isinstance(body, Planned):
        return
    document = told.key("document")
    digests = ("engine_version", "evidence_digest", "practice_digest", "context_digest")
    yield (
        document,
        {
            "resourceType": "DocumentReference",
            "status": "current" if told.stands else "entered-in-error",
            "subject": {"reference": told.patient},
            "date": told.moment,
            "content": [{"attachment": {"contentType": "application/json", "data": body.plan}}],
            "extension": [
                *(extension(name, getattr(body, name)) for name in digests),
                extension("sha256", hashlib.sha256(body.plan_bytes).hexdigest()),
            ],
        },
    )
    activities = [{"detail": detail} for detail in _steps(body)]
    yield (
        told.key("plan"),
        _plan(
            told,
            "planned",
            title="Plan",
            supportingInfo=[{"reference": f"urn:uuid:{document}"}],
            **({"activity": activities} if activities else {}),
        ),
    )


def _steps(body: Planned) -> Iterator[Resource]:
    """The steps of a plan of any version, as far as it names them."""
    try:
        plan = json.loads(body.plan_bytes)
        steps = [step for step in plan.get("steps") or () if isinstance(step, dict)]
    except (ValueError, AttributeError, TypeError, RecursionError):
        return
    for step in steps:
        name = step.get("name")
        if isinstance(name, str) and name:
            told = {"description": step["do"]} if isinstance(step.get("do"), str) and step["do"] else {}
            yield {"status": "not-started", "code": {"text": name}, **told}


def _procedure(told: Told) -> Iterator[tuple[UUID, Resource]]:
    body = told.body
    if not isinstance(body, Done):
        return
    devices = list(_devices(told, body))
    yield from devices
    made: Resource = {
        "resourceType": "Procedure",
        "status": told.status("completed"),
        "code": terms.coded(terms.STEP, _code(body.step), body.step),
        "subject": {"reference": told.patient},
        "performedDateTime": told.moment,
        "performer": [{"actor": {"identifier": {"system": terms.AUTHOR, "value": body.by}}}],
    }
    if told.side is not None:
        made["bodySite"] = [terms.coded(terms.EYE, told.side)]
    if devices:
        made["focalDevice"] = [{"manipulated": {"reference": f"urn:uuid:{key}"}} for key, _ in devices]
    if body.sizes:
        made["extension"] = [extension("sizes", dict(body.sizes))]
    yield told.key("procedure"), made


def _code(text: str) -> str:
    """A code has no white space at its ends, and single spaces only."""
    return " ".join(text.split())


def _devices(told: Told, body: Done) -> Iterator[tuple[UUID, Resource]]:
    """Devices of a step; article, serial and lot are those of the first, a tray is a device of its own."""
    parts = {name: [d.removeprefix(f"{name} ") for d in body.devices if d.startswith(f"{name} ")] for name in _PARTS}
    named = [d for d in body.devices if not d.startswith(tuple(f"{name} " for name in _PARTS))]
    identified = any(parts[name] for name in ("article", "serial", "lot"))
    for number, name in enumerate(named or ([""] if identified else [])):
        made = _device(told)
        if name:
            made["deviceName"] = [{"name": name, "type": "user-friendly-name"}]
        if number == 0:
            made |= _identified(parts)
        if body.step == LENS_STEP:
            made["patient"] = {"reference": told.patient}
        yield told.key(f"device-{number}"), made
    for number, tray in enumerate(parts["tray"]):
        identifier = [{"system": terms.TRAY, "value": tray}]
        yield told.key(f"tray-{number}"), _device(told) | {"identifier": identifier}


_PARTS = ("article", "serial", "lot", "tray")


def _device(told: Told) -> Resource:
    return {"resourceType": "Device", "status": told.status("active")}


def _identified(parts: Mapping[str, list[str]]) -> Resource:
    made: Resource = {}
    if parts["article"]:
        code = parts["article"][0]
        ends = "".join(f"({ai}){parts[name][0]}" for ai, name in (("10", "lot"), ("21", "serial")) if parts[name])
        made["udiCarrier"] = [{"deviceIdentifier": code, "issuer": terms.GS1, "carrierHRF": f"(01){code}{ends}"}]
    if parts["lot"]:
        made["lotNumber"] = parts["lot"][0]
    if parts["serial"]:
        made["serialNumber"] = parts["serial"][0]
    return made


def _adverse(told: Told) -> Iterator[tuple[UUID, Resource]]:
    """An event. The resource has no status, so that one taken back says so in an extension that changes its meaning."""
    body = told.body
    if not isinstance(body, Happened):
        return
    values = body.model_dump(mode="json", exclude_none=True)
    more = [extension(name, values[name]) for name in ("step", "clock_hours", "sizes", "note") if values.get(name)]
    made: Resource = {
        "resourceType": "AdverseEvent",
        "actuality": "actual",
        "event": terms.coded(terms.EVENT, body.event),
        "subject": {"reference": told.patient},
        "date": told.moment,
        "recordedDate": told.header.recorded_at.isoformat(),
    }
    if told.side is not None:
        more.append(extension("eye", told.side))
    if more:
        made["extension"] = more
    if not told.stands:
        made["modifierExtension"] = [{"url": terms.WITHDRAWN, "valueBoolean": True}]
    yield told.key("event"), made


_WRITERS: dict[type[Body], Callable[[Told], Iterator[tuple[UUID, Resource]]]] = {
    Measured: _observations,
    Found: _observations,
    Seen: _visit,
    Decided: _decision,
    Planned: _kept_plan,
    Done: _procedure,
    Happened: _adverse,
}

"""Rules of FHIR R4 (4.0.1) for the resources that this tree writes, as data: elements, how often, of what type, from which codes.

Written from the standard's own tables (hl7.org/fhir/R4, one page a resource; datatypes.html; references.html; bundle.html,
constraints bdl-*; observation.html, obs-6 and obs-7; careplan.html, cpl-3; extensibility.html, ext-1; ele-1) and The
Unified Code for Units of Measure, version 2.1. The library's models know R4B and let much through: an element that is not
compulsory in Python, a code of no value set, a reference to nothing.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator, Mapping
from typing import Any

ONE, MANY = 1, None
# fmt: off
ELEMENTS: dict[str, dict[str, tuple[int, int | None, str]]] = {
    "Bundle": {"identifier": (0, ONE, "Identifier"), "type": (1, ONE, "code"), "timestamp": (0, ONE, "instant"),
               "entry": (0, MANY, "Entry")},
    "Entry": {"fullUrl": (0, ONE, "uri"), "resource": (1, ONE, "Resource")},
    "Patient": {"identifier": (0, MANY, "Identifier"), "gender": (0, ONE, "code"), "birthDate": (0, ONE, "date")},
    "Observation": {"status": (1, ONE, "code"), "category": (0, MANY, "CodeableConcept"), "code": (1, ONE, "CodeableConcept"),
                    "subject": (0, ONE, "Reference"), "effective[x]": (0, ONE, "dateTime"),
                    "value[x]": (0, ONE, "Quantity CodeableConcept string boolean integer dateTime"),
                    "bodySite": (0, ONE, "CodeableConcept"), "method": (0, ONE, "CodeableConcept"),
                    "component": (0, MANY, "Component")},
    "Component": {"code": (1, ONE, "CodeableConcept"),
                  "value[x]": (0, ONE, "Quantity CodeableConcept string boolean integer dateTime")},
    "Procedure": {"status": (1, ONE, "code"), "code": (0, ONE, "CodeableConcept"), "subject": (1, ONE, "Reference"),
                  "performed[x]": (0, ONE, "dateTime"), "performer": (0, MANY, "Performer"),
                  "bodySite": (0, MANY, "CodeableConcept"), "focalDevice": (0, MANY, "FocalDevice")},
    "Performer": {"actor": (1, ONE, "Reference")},
    "FocalDevice": {"manipulated": (1, ONE, "Reference")},
    "Device": {"identifier": (0, MANY, "Identifier"), "udiCarrier": (0, MANY, "UdiCarrier"), "status": (0, ONE, "code"),
               "lotNumber": (0, ONE, "string"), "serialNumber": (0, ONE, "string"), "deviceName": (0, MANY, "DeviceName"),
               "patient": (0, ONE, "Reference")},
    "UdiCarrier": {"deviceIdentifier": (0, ONE, "string"), "issuer": (0, ONE, "uri"), "carrierHRF": (0, ONE, "string")},
    "DeviceName": {"name": (1, ONE, "string"), "type": (1, ONE, "code")},
    "CarePlan": {"status": (1, ONE, "code"), "intent": (1, ONE, "code"), "category": (0, MANY, "CodeableConcept"),
                 "title": (0, ONE, "string"), "description": (0, ONE, "string"), "subject": (1, ONE, "Reference"),
                 "created": (0, ONE, "dateTime"), "supportingInfo": (0, MANY, "Reference"), "activity": (0, MANY, "Activity"),
                 "note": (0, MANY, "Annotation")},
    "Activity": {"reference": (0, ONE, "Reference"), "detail": (0, ONE, "Detail")},
    "Detail": {"code": (0, ONE, "CodeableConcept"), "status": (1, ONE, "code"), "description": (0, ONE, "string")},
    "AdverseEvent": {"actuality": (1, ONE, "code"), "event": (0, ONE, "CodeableConcept"), "subject": (1, ONE, "Reference"),
                     "date": (0, ONE, "dateTime"), "recordedDate": (0, ONE, "dateTime")},
    "DocumentReference": {"status": (1, ONE, "code"), "subject": (0, ONE, "Reference"), "date": (0, ONE, "instant"),
                          "content": (1, MANY, "Content")},
    "Content": {"attachment": (1, ONE, "Attachment")},
    "Attachment": {"contentType": (0, ONE, "code"), "data": (0, ONE, "base64Binary")},
    "Provenance": {"target": (1, MANY, "Reference"), "occurred[x]": (0, ONE, "dateTime"), "recorded": (1, ONE, "instant"),
                   "activity": (0, ONE, "CodeableConcept"), "agent": (1, MANY, "Agent"), "entity": (0, MANY, "Entity")},
    "Agent": {"type": (0, ONE, "CodeableConcept"), "who": (1, ONE, "Reference")},
    "Entity": {"role": (1, ONE, "code"), "what": (1, ONE, "Reference")},
    "Meta": {"tag": (0, MANY, "Coding")},
    "CodeableConcept": {"coding": (0, MANY, "Coding"), "text": (0, ONE, "string")},
    "Coding": {"system": (0, ONE, "uri"), "code": (0, ONE, "code"), "display": (0, ONE, "string")},
    "Quantity": {"value": (0, ONE, "decimal"), "unit": (0, ONE, "string"), "system": (0, ONE, "uri"), "code": (0, ONE, "code")},
    "Identifier": {"system": (0, ONE, "uri"), "value": (0, ONE, "string")},
    "Reference": {"reference": (0, ONE, "string"), "identifier": (0, ONE, "Identifier")},
    "Annotation": {"text": (1, ONE, "markdown")},
    "Extension": {"url": (1, ONE, "uri"), "value[x]": (0, ONE, "Quantity string boolean")},
}
CODES = {
    "Bundle.type": "document message transaction transaction-response batch batch-response history searchset collection",
    "Patient.gender": "male female other unknown",
    "Observation.status": "registered preliminary final amended corrected cancelled entered-in-error unknown",
    "Procedure.status": "preparation in-progress not-done on-hold stopped completed entered-in-error unknown",
    "Device.status": "active inactive entered-in-error unknown",
    "DeviceName.type": "udi-label-name user-friendly-name patient-reported-name manufacturer-name model-name other",
    "CarePlan.status": "draft active on-hold revoked completed entered-in-error unknown",
    "CarePlan.intent": "proposal plan order option",
    "Detail.status": "not-started scheduled in-progress on-hold completed cancelled stopped unknown entered-in-error",
    "AdverseEvent.actuality": "actual potential",
    "DocumentReference.status": "current superseded entered-in-error",
    "Entity.role": "derivation revision quotation source removal",
    # Not required by the standard, but codes of these systems must be ones that they have.
    "http://terminology.hl7.org/CodeSystem/observation-category":
        "social-history vital-signs imaging laboratory procedure survey exam therapy activity",
    "http://terminology.hl7.org/CodeSystem/provenance-participant-type":
        "enterer performer author verifier legal attester informant custodian assembler composer",
}
"""Required value sets by element; code systems of which only some codes exist."""
TARGETS = {
    "Observation.subject": "Patient Group Device Location", "Procedure.subject": "Patient Group",
    "Performer.actor": "Practitioner PractitionerRole Organization Patient RelatedPerson Device",
    "FocalDevice.manipulated": "Device", "Device.patient": "Patient", "CarePlan.subject": "Patient Group",
    "AdverseEvent.subject": "Patient Group Practitioner RelatedPerson",
    "DocumentReference.subject": "Patient Practitioner Group Device",
    "Agent.who": "Practitioner PractitionerRole RelatedPerson Patient Device Organization",
}
"""What a reference may lead to; anything where nothing is said."""
# fmt: on
DAY = r"([0-9]{4})-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"
TIME = r"T([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\.[0-9]+)?(Z|[+-]((0[0-9]|1[0-3]):[0-5][0-9]|14:00))"
FORMS = {
    "id": r"[A-Za-z0-9\-.]{1,64}",
    "code": r"[^\s]+(\s[^\s]+)*",
    "uri": r"\S+",
    "string": r"[ \r\n\t\S]+",
    "markdown": r"[ \r\n\t\S]+",
    "date": DAY,
    "instant": DAY + TIME,
    "dateTime": f"{DAY}({TIME})?",
}
UCUM = re.compile(
    r"(1|%|a|d|s|deg|\[diop\]|(/?(mm|um|m|cm)2?)|mm\[Hg\]|k?g|mg|mL|mN|mg/mL|mm3|\{[!-z|~]+\})(/(mm2|m|mL|s|d))?"
)
"""Units of this house in UCUM; in braces any printable sign but braces and white space (UCUM, section 6)."""
BUILT_IN = (
    "resourceType",
    "id",
    "meta",
    "extension",
    "modifierExtension",
    "implicitRules",
    "language",
    "text",
    "contained",
)


def faults(bundle: Mapping[str, Any]) -> list[str]:
    """What is wrong with a bundle, each with its place; empty where nothing is."""
    entries = [entry for entry in bundle.get("entry", []) if isinstance(entry, Mapping)]
    there = {entry.get("fullUrl"): entry.get("resource", {}).get("resourceType") for entry in entries}
    found = list(_element(bundle, "Bundle", "Bundle", there))
    if len(there) != len(entries):
        found.append("Bundle.entry: an address stands twice (bdl-7)")
    for entry in entries:
        address, own = str(entry.get("fullUrl")), entry.get("resource", {}).get("id")
        if not re.fullmatch(r"urn:uuid:[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", address):
            found.append(f"{address}: no UUID in lower case")
        if address.rpartition(":")[2] != own:
            found.append(f"{address}: the resource in it is called {own}")
    return found


def _element(value: Any, kind: str, where: str, there: Mapping[Any, Any]) -> Iterator[str]:
    if kind == "Resource":
        kind = value.get("resourceType", "") if isinstance(value, Mapping) else ""
        where = f"{where}({kind})"
    if kind not in ELEMENTS:
        yield from _primitive(value, kind, where)
        return
    if not isinstance(value, Mapping) or not value:
        yield f"{where}: empty, or no object (ele-1)"
        return
    known = ELEMENTS[kind]
    left = set(value) - set(BUILT_IN)
    for name, (least, most, type_) in known.items():
        names = [name]
        if name.endswith("[x]"):
            names = [name[:-3] + one[0].upper() + one[1:] for one in type_.split()]
        given = [one for one in names if one in value]
        left -= set(given)
        if len(given) < least or len(given) > 1:
            yield f"{where}.{name}: {len(given)} of at least {least}"
        for one in given:
            held = value[one]
            if (most is MANY) != isinstance(held, list) or held == []:
                yield f"{where}.{one}: a list where there may be many, and only there"
                continue
            own = type_.split()[names.index(one)] if name.endswith("[x]") else type_
            for item in held if isinstance(held, list) else [held]:
                yield from _element(item, own, f"{where}.{one}", there)
                yield from _bound(item, own, f"{kind}.{one}", where, there)
    if left:
        yield f"{where}: {sorted(left)} is no element of {kind}"
    if "id" in value:
        yield from _primitive(value["id"], "id", f"{where}.id")
    if "meta" in value:
        yield from _element(value["meta"], "Meta", f"{where}.meta", there)
    for held in ("extension", "modifierExtension"):
        for item in value.get(held, []):
            yield from _element(item, "Extension", f"{where}.{held}", there)
    yield from _invariants(value, kind, where)


def _bound(item: Any, kind: str, path: str, where: str, there: Mapping[Any, Any]) -> Iterator[str]:
    if kind == "code" and path in CODES and item not in CODES[path].split():
        yield f"{where}: {item} is no code of {path}"
    if kind == "Coding" and item.get("system") in CODES and item.get("code") not in CODES[item["system"]].split():
        yield f"{where}: {item.get('code')} is no code of {item['system']}"
    if kind == "Reference" and "reference" in item:
        target = there.get(item["reference"])
        if target is None:
            yield f"{where}: {item['reference']} leads to nothing in the bundle"
        elif target not in TARGETS.get(path, target).split():
            yield f"{where}: {path} may not lead to a {target}"


def _primitive(value: Any, kind: str, where: str) -> Iterator[str]:
    if kind == "boolean":
        right = isinstance(value, bool)
    elif kind in ("decimal", "integer"):
        right = isinstance(value, int | float) and not isinstance(value, bool) and value - value == 0
    elif kind == "base64Binary":
        try:
            right = bool(base64.b64decode(value, validate=True))
        except (ValueError, TypeError):
            right = False
    elif kind in FORMS:
        right = isinstance(value, str) and re.fullmatch(FORMS[kind], value) is not None and value.strip() != ""
    else:
        right = False
    if not right:
        yield f"{where}: {str(value)[:60]!r} is no {kind or 'resource that is known here'}"


def _invariants(value: Mapping[str, Any], kind: str, where: str) -> Iterator[str]:
    if kind == "Extension":
        holds = any(name.startswith("value") for name in value)
        if holds == bool(value.get("extension")):
            yield f"{where}: a value or extensions, one of the two (ext-1)"
    if kind == "Observation":
        own = {(c.get("system"), c.get("code")) for c in value.get("code", {}).get("coding", [])}
        inner = {
            (c.get("system"), c.get("code"))
            for one in value.get("component", [])
            for c in one.get("code", {}).get("coding", [])
        }
        if any(name.startswith("value") for name in value) and own & inner:
            yield f"{where}: a value beside a component of the same code (obs-7)"
    if kind == "Activity" and ("detail" in value) == ("reference" in value):
        yield f"{where}: a detail or a reference, one of the two (cpl-3)"
    if kind == "Reference" and not value.get("reference") and not value.get("identifier"):
        yield f"{where}: leads nowhere"
    if kind == "Quantity" and "code" in value:
        if "system" not in value:
            yield f"{where}: a code of a unit without its system (qty-3)"
        if not UCUM.fullmatch(str(value["code"])):
            yield f"{where}: {value['code']} is no unit of UCUM"

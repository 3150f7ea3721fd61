"""One case as a FHIR R4 bundle: the patient apart and without a name, resources of every fact, a Provenance for each.

The Provenance of a fact carries its exact record with salt and chain, so that the bundle reads back to the same facts,
byte for byte. What was taken back is marked as entered in error. The same facts give the same bytes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from contextlib import suppress
from typing import Any
from uuid import UUID, uuid5

from forestay.case.bodies import Withdrawn
from forestay.case.chain import Link, facts_of
from forestay.case.fact import Fact
from forestay.case.fold import claims_by_slot, entries
from forestay.case.jsontext import canonical
from forestay.case.lines import write
from forestay.exchange import fhir_terms as terms
from forestay.exchange.fhir_facts import NAMESPACE, Resource, Told, resources

FORM = 2
"""Counts up when the readable resources change, so that a bundle of another form is not held against this one."""
INVENTED = "invented"
GENDER = {"female": "female", "male": "male"}


def write_fhir(case_id: str, links: Sequence[Link]) -> bytes:
    """The bundle as JSON, checked by the library's models of R4B, the nearest to R4 that it has."""
    made = bundle(case_id, links)
    validated(made)
    return json.dumps(made, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def validated(made: Mapping[str, Any]) -> None:
    """Hold a bundle against the models; raises what the library raises."""
    from fhir.resources.R4B.bundle import Bundle

    Bundle.model_validate(made)


def bundle(case_id: str, links: Sequence[Link], pending: Sequence[Fact] = ()) -> Resource:
    """The bundle as plain JSON types."""
    first, *lines = write(case_id, links, pending).decode().splitlines()
    told = _entries([*facts_of(links), *pending])
    said = claims_by_slot([*facts_of(links), *pending])
    sides = [claim.value for claim in said.get("eye.side", ())]
    sexes = [claim.value for claim in said.get("person.sex", ())]
    patient = patient_address(case_id)
    headers = [*(link.header for link in links), *(fact.header for fact in pending)]
    invented = any(header.author == INVENTED for header in headers)
    found = [(patient, _patient(case_id, first, sexes[-1] if sexes else None))]
    for line in lines:
        record = json.loads(line)
        key = UUID(record["header"]["id"])
        targets: list[tuple[str, Resource]] = []
        if key in told:
            entry = told[key]
            around = Told(entry.fact.header, entry.body, entry.stands, sides[-1] if sides else None, patient)
            targets = [(f"urn:uuid:{one}", made) for one, made in resources(around)]
        found += targets
        found.append((f"urn:uuid:{key}", _provenance(record, line, [address for address, _ in targets], patient)))
    stamp = headers[-1].received_at or headers[-1].recorded_at if headers else None
    return {
        "resourceType": "Bundle",
        "identifier": {"system": terms.CASE, "value": case_id},
        "type": "collection",
        **({"timestamp": stamp.isoformat()} if stamp else {}),
        "entry": [{"fullUrl": address, "resource": _finished(made, address, invented)} for address, made in found],
    }


def patient_address(case_id: str) -> str:
    """The patient's place in the bundle of a case."""
    return f"urn:uuid:{uuid5(NAMESPACE, f'{case_id}/patient')}"


def _entries(facts: Sequence[Fact]) -> dict[UUID, Any]:
    return {entry.fact.header.id: entry for entry in entries(facts)}


def _finished(made: Resource, address: str, invented: bool) -> Resource:
    kind = made.pop("resourceType")
    marks = [{"system": terms.MARK, "code": INVENTED, "display": "invented; no person"}]
    meta = {"meta": {"tag": marks}} if invented else {}
    return {"resourceType": kind, "id": address.removeprefix("urn:uuid:"), **meta, **made}


def _patient(case_id: str, first: str, sex: str | None) -> Resource:
    """Nobody's name: the case, the sex as recorded, and how the record ends."""
    head = json.loads(first)
    told = {"form": FORM, "facts": head["facts"], "head": head["head"]}
    return {
        "resourceType": "Patient",
        "identifier": [{"system": terms.CASE, "value": case_id}],
        "gender": GENDER.get(sex or "", "unknown"),
        "extension": [{"url": terms.HEAD, "valueString": canonical(told).decode()}],
    }


def _provenance(record: Mapping[str, Any], line: str, targets: Sequence[str], patient: str) -> Resource:
    header = record["header"]
    made: Resource = {
        "resourceType": "Provenance",
        "target": [{"reference": address} for address in targets or [patient]],
        "occurredDateTime": header["happened_at"],
        "recorded": header["recorded_at"],
        "activity": terms.coded(terms.KIND, header["kind"]),
        "agent": [
            _agent("author", terms.AUTHOR, header["author"]),
            _agent("assembler", terms.DEVICE, header["device"]),
        ],
        "extension": [{"url": terms.RECORD, "valueString": line}],
    }
    earlier = [("revision", header.get("corrects")), ("removal", _taken_back(record))]
    entity = [{"role": role, "what": {"reference": f"urn:uuid:{key}"}} for role, key in earlier if key]
    return made | ({"entity": entity} if entity else {})


def _agent(kind: str, system: str, value: str) -> Resource:
    return {
        "type": terms.coded(terms.PARTICIPANT, kind),
        "who": {"identifier": {"system": system, "value": value}},
    }


def _taken_back(record: Mapping[str, Any]) -> str | None:
    if record["header"]["kind"] != Withdrawn.KIND or record.get("body") is None:
        return None
    with suppress(ValueError, KeyError, TypeError):
        return str(UUID(json.loads(record["body"])["fact"]))
    return None

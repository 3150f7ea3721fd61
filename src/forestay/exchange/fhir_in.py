"""A FHIR bundle to facts: one of this tree back to the very same facts, or observations of another writer to values.

A bundle of this tree must say the same in its resources as in its exact records; one where they differ was changed on
the way and is refused, since nobody could say which of the two holds.
"""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator, Mapping
from typing import Any

from forestay.case.jsontext import canonical, parse
from forestay.case.lines import FORMAT, VERSION, Exported, read
from forestay.errors import InvalidInput, UnreadableFile
from forestay.exchange import fhir_terms as terms
from forestay.exchange.fhir_out import FORM, bundle, validated
from forestay.text import tr

_KIND = re.compile(r'"resourceType"\s*:')
BEGINNING = 200
LONGEST_REASON = 160
WORDS = frozenset({"meta", "text", "title", "description", "display", "implicitRules", "language"})
"""Elements that a server may add or a translation change; they carry nothing that is read."""
MOST_ENTRIES = 100_000


def looks_like_fhir(text: str) -> bool:
    """Whether this JSON is meant as a FHIR resource. Exported facts name their own format at the start."""
    start = text.lstrip()
    return start.startswith("{") and f'"{FORMAT}"' not in start[:BEGINNING] and _KIND.search(start) is not None


def read_bundle(data: bytes, name: str) -> dict[str, Any]:
    """The bundle in ``data``, held against the library's models; whatever is wrong is one clear error."""
    raw = parse(data.removeprefix(b"\xef\xbb\xbf"), what=name)
    if not isinstance(raw, dict) or raw.get("resourceType") != "Bundle":
        found = str(raw.get("resourceType") if isinstance(raw, dict) else type(raw).__name__)[:40]
        raise UnreadableFile(
            tr("{name} is a {found}, not a Bundle.", name=name, found=found),
            field="resourceType",
            value=found,
            allowed="Bundle",
        )
    entries = raw.get("entry") or []
    if not isinstance(entries, list) or len(entries) > MOST_ENTRIES:
        raise UnreadableFile(
            tr("{name} holds too many resources, or none that can be read.", name=name),
            field="Bundle.entry",
            allowed=tr("at most {n} resources", n=MOST_ENTRIES),
        )
    try:
        validated(raw)
    except Exception as wrong:  # the models fail in many ways on what is no FHIR; all of them mean one thing
        where, why = _first_fault(wrong)
        raise UnreadableFile(
            tr("{name} is not valid FHIR R4: {where}: {why}.", name=name, where=where, why=why),
            field=where,
            allowed=tr("a Bundle of FHIR R4"),
        ) from wrong
    return raw


def _first_fault(wrong: Exception) -> tuple[str, str]:
    """Where and why, without the value: it may be a name."""
    errors = getattr(wrong, "errors", None)
    found = errors() if callable(errors) else []
    if not found:
        return "Bundle", tr("it cannot be read")
    where = ".".join(str(part) for part in found[0].get("loc", ()))
    return f"Bundle.{where}"[:LONGEST_REASON], str(found[0].get("msg", "")).splitlines()[0][:LONGEST_REASON].rstrip(".")


def contents(raw: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Address and resource of each entry."""
    for number, entry in enumerate(raw.get("entry") or []):
        resource = entry.get("resource") if isinstance(entry, dict) else None
        if isinstance(resource, dict):
            yield str(entry.get("fullUrl") or f"entry {number}"), resource


def _extension(resource: Mapping[str, Any], url: str) -> str | None:
    for one in resource.get("extension") or []:
        if isinstance(one, dict) and one.get("url") == url and isinstance(one.get("valueString"), str):
            return str(one["valueString"])
    return None


def is_own(raw: Mapping[str, Any]) -> bool:
    """Whether the bundle carries exact records."""
    return any(_extension(resource, url) is not None for _, resource in contents(raw) for url in _OWN)


_OWN = (terms.RECORD, terms.HEAD)


def own_record(raw: Mapping[str, Any], name: str) -> tuple[Exported, bytes, list[str]]:
    """The case in a bundle of this tree: checked, as lines of facts, and what the reader should know."""
    case, told = _head(raw, name)
    records = [line for _, resource in contents(raw) if (line := _extension(resource, terms.RECORD)) is not None]
    records.sort(key=_sequence)
    first = {"format": FORMAT, "version": VERSION, "case": case, "facts": told.get("facts"), "head": told.get("head")}
    data = b"\n".join([canonical(first), *(line.replace("\n", " ").encode() for line in records), b""])
    exported = read(data)
    notes = []
    if told.get("form") != FORM:
        notes.append(
            tr("The bundle was written in another form; its resources were not compared with its exact records.")
        )
    else:
        notes += _agreeing(raw, exported)
    return exported, data, notes


def _sequence(line: str) -> int:
    """The place of a record; entries of a bundle have no order of their own. Waiting facts come last, as they stand."""
    told = parse(line, what=tr("the record in a Provenance"))
    header = told.get("header") if isinstance(told, dict) else None
    number = header.get("server_sequence") if isinstance(header, dict) else None
    return number if isinstance(number, int) else sys.maxsize


def _head(raw: Mapping[str, Any], name: str) -> tuple[str, dict[str, Any]]:
    found = [r for _, r in contents(raw) if r.get("resourceType") == "Patient"]
    text = _extension(found[0], terms.HEAD) if len(found) == 1 else None
    case = raw.get("identifier")
    value = case.get("value") if isinstance(case, dict) and case.get("system") == terms.CASE else None
    told = parse(text, what=name) if text is not None else None
    if not isinstance(told, dict) or not isinstance(value, str):
        raise UnreadableFile(
            tr("{name} holds exact records, but not one Patient with the end of the record.", name=name),
            field="Patient.extension",
            allowed=terms.HEAD,
        )
    return value, told


def _agreeing(raw: Mapping[str, Any], exported: Exported) -> list[str]:
    """Hold each resource against what the facts give; how many others there are."""
    made = bundle(exported.case, exported.links, exported.pending)
    expected = {address: _bare(resource) for address, resource in contents(made)}
    arrived: dict[str, Any] = {}
    beyond = 0
    for address, resource in contents(raw):
        if address not in expected:
            beyond += 1
        elif address in arrived or _bare(resource) != expected[address]:
            raise _changed(resource, address)
        arrived[address] = resource
    for address, resource in contents(made):
        if address not in arrived:
            raise _changed(resource, address)
    return [tr("{n} resources that are not of this record were left.", n=beyond)] if beyond else []


def _changed(resource: Mapping[str, Any], address: str) -> InvalidInput:
    kind = str(resource.get("resourceType"))[:40]
    return InvalidInput(
        tr(
            "{kind} {address} does not say what the record says; the bundle was changed on the way.",
            kind=kind,
            address=address[:80],
        ),
        field=kind,
        value=address[:80],
        allowed=tr("the resource as it was exported"),
    )


def _bare(value: Any) -> Any:
    """A resource without what carries no meaning here."""
    if isinstance(value, dict):
        return {key: _bare(inner) for key, inner in value.items() if key not in WORDS}
    return [_bare(inner) for inner in value] if isinstance(value, list) else value


def plain_json(raw: Any) -> str:
    """One text for one content, whatever its order of keys: an identity is made from it."""
    return json.dumps(raw, sort_keys=True, separators=(",", ":"))

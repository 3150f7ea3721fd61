"""FHIR bundles into the record: one of this tree as the very facts it carries, one of another writer as measurements."""

from __future__ import annotations

from dataclasses import replace

from forestay.exchange.fhir_foreign import read_foreign
from forestay.exchange.fhir_in import is_own, own_record, read_bundle
from forestay.exchange.jsonlines import Imported, import_facts
from forestay.services.measurements import keep_readings
from forestay.store.interface import FactStore

AUTHOR = "other-record"


def import_bundle(store: FactStore, data: bytes, *, name: str, case_id: str, side: str | None = None) -> Imported:
    """Keep all that a bundle says, or nothing of it. ``case_id`` and ``side`` are for a bundle of another writer."""
    raw = read_bundle(data, name)
    if is_own(raw):
        _, lines, notes = own_record(raw, name)
        return replace(import_facts(store, lines), notes=tuple(notes))
    return keep_readings(store, read_foreign(raw, name), case_id=case_id, side=side, author=AUTHOR)

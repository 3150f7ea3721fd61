"""Everything that is kept, in one file: as it is for the practice itself, or without what points to a person.

The file is a ZIP: ``cases/NAME.jsonl`` (the facts), ``cases.csv`` (one line a case, as it stands), ``contents.json`` (what is in it,
with the SHA-256 of each part). The whole export also holds the attachments, and what was said of each in
``attachments.json``; whom a case is about is not in it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import replace

from forestay.case.fold import fold
from forestay.case.lines import Enclosed
from forestay.errors import ForestayError, InvalidInput
from forestay.exchange.deidentify import Bared, bared, protected
from forestay.exchange.enclosures import read_enclosed, write_enclosed
from forestay.exchange.jsonlines import SUFFIX, Imported, export_facts, import_all
from forestay.exchange.practice_file import CASES, TABLE, read_parts, write_parts
from forestay.services.attachments import attached, content
from forestay.services.cases import export_case
from forestay.services.objects_out import export_dicom
from forestay.services.table_out import write_table
from forestay.store.interface import FactStore
from forestay.store.memory import MemoryFactStore
from forestay.store.sql import SqlFactStore
from forestay.text import tr


def export_practice(store: FactStore) -> bytes:
    """All cases with their chains, lossless, and the attachments."""
    parts = {f"{CASES}{case}{SUFFIX}": export_facts(store, case) for case in store.cases()}
    parts[TABLE] = write_table((case, store.facts(case)) for case in store.cases())
    return write_parts(parts | write_enclosed(_enclosed(store)), {"kind": "whole"})


def _enclosed(store: FactStore) -> Iterator[tuple[str, Enclosed]]:
    """All photos and documents; a store that forgets has none."""
    if isinstance(store, SqlFactStore):
        for case in store.cases():
            for one in attached(store, case):
                held = content(store, case, one.id)[1]
                yield case, Enclosed(one.id, one.title, one.added_at, one.added_by, held)


def export_deidentified(store: FactStore, secret: bytes | None = None) -> bytes:
    """All cases without what points to a person; small groups and rare words are left out, and counted."""
    used = secret or secret_of(store)
    read_ones, unread = [], 0
    for case in store.cases():
        one = bared(case, store.facts(case), used)
        try:
            fold(one.facts)
        except ForestayError:
            unread += 1
            continue
        read_ones.append(one)
    told = protected(read_ones)
    ordered = sorted(told.cases, key=lambda one: one.case_id)  # the order of arrival is not told
    kept = kept_apart(ordered)
    parts = {f"{CASES}{one.case_id}{SUFFIX}": export_facts(kept, one.case_id) for one in ordered}
    parts[TABLE] = write_table((one.case_id, list(one.facts)) for one in ordered)
    how = {
        "kind": "de-identified",
        "method": METHOD,
        "cases_left_out": told.dropped + unread,
        "facts_left_out": sum(one.left_out for one in told.cases),
        "values_left_out": dict(told.values),
    }
    return write_parts(parts, how)


METHOD = (
    "Cases under other names; dates moved by a secret number of minutes a case; ages above 89 as 90; free text, people, "
    "serials, lots, trays, kept plans and decisions in own words left out; groups of sex and decade of age, and words that "
    "fewer cases share than the smallest group, left out."
)


def kept_apart(cases: Iterable[Bared]) -> MemoryFactStore:
    """Cases that go out, in a store of their own: every form of export is made from it."""
    kept = MemoryFactStore()
    for one in cases:
        kept.append(one.case_id, one.facts)
    return kept


def export_case_deidentified(store: FactStore, case_id: str, form: str, secret: bytes | None = None) -> bytes:
    """One case without what points to a person, for teaching.

    Alone it has no group: whether the eye is so rare that it is known, a person must judge.
    """
    one = bared(case_id, store.facts(case_id), secret or secret_of(store))
    kept = kept_apart([one])
    if form == "dicom":
        return export_dicom(kept, one.case_id, deidentified=True)
    return export_case(kept, one.case_id, form)


def secret_of(store: FactStore) -> bytes:
    """The secret of this installation: made from its signing key, which is in no backup and no export."""
    if not isinstance(store, SqlFactStore):
        raise InvalidInput(tr("This record is not kept in a database."), field="db")
    return hashlib.sha256(store.database.keyring.sign("deidentification").signature).digest()


def import_practice(store: FactStore, data: bytes, name: str) -> list[Imported]:
    """All cases of an export with their attachments, or nothing of it; how many of each they have now. A repeat changes nothing."""
    parts = read_parts(data, name)
    cases = [lines for part, lines in parts.items() if part.startswith(CASES)]
    done = import_all(store, cases, read_enclosed(parts))
    return [replace(one, enclosed=len(attached(store, one.case))) if one.enclosed else one for one in done]

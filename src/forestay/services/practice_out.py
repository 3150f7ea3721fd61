"""Everything that is kept, in one file: as it is for the practice itself, or without what points to a person.

The file is a ZIP: ``cases/NAME.jsonl`` (the facts), ``cases.csv`` (one line a case, as it stands), ``contents.json`` (what is in it,
with the SHA-256 of each part). The whole export also holds the attachments; whom a case is about is not in it.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Iterable, Sequence
from typing import Any

from forestay.case.fact import Fact
from forestay.case.fields import PATHS
from forestay.case.fold import entries, fold
from forestay.case.lines import read
from forestay.errors import ForestayError, InvalidInput
from forestay.exchange.deidentify import Bared, bared, protected
from forestay.exchange.jsonlines import SUFFIX, Imported, export_facts, import_facts
from forestay.exchange.practice_file import CASES, TABLE, read_parts, write_parts
from forestay.services.attachments import attached, content
from forestay.services.cases import export_case
from forestay.services.objects_out import export_dicom
from forestay.store.interface import FactStore
from forestay.store.memory import MemoryFactStore
from forestay.store.sql import SqlFactStore
from forestay.text import tr

SEEN_COLUMNS = (
    "day",
    "acuity_logmar",
    "acuity",
    "acuity_type",
    "refraction_d",
    "pressure_mmhg",
    "endothelial_count_per_mm2",
)


def export_practice(store: FactStore) -> bytes:
    """All cases with their chains, lossless, and the attachments."""
    parts = {f"{CASES}{case}{SUFFIX}": export_facts(store, case) for case in store.cases()}
    parts[TABLE] = _table((case, store.facts(case)) for case in store.cases())
    if isinstance(store, SqlFactStore):
        for case in store.cases():
            for one in attached(store, case):
                parts[f"attachments/{case}/{one.id}"] = content(store, case, one.id)[1]
    return write_parts(parts, {"kind": "whole"})


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
    parts[TABLE] = _table((one.case_id, list(one.facts)) for one in ordered)
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


def _table(cases: Iterable[tuple[str, Sequence[Fact]]]) -> bytes:
    """One line a case: every field as it stands, what happened, what was last seen."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        ["case", *PATHS, "technique_decided", "steps", "events", *(f"seen.{name}" for name in SEEN_COLUMNS)]
    )
    for case, facts in cases:
        writer.writerow([_cell(value) for value in _line(case, facts)])
    return out.getvalue().encode()


def _line(case: str, facts: Sequence[Fact]) -> list[Any]:
    try:
        situation = fold(facts)
    except ForestayError:
        return [case]
    told = situation.case.model_dump(mode="json")
    fields = [told[path.partition(".")[0]].get(path.partition(".")[2]) for path in PATHS]
    seen: dict[str, Any] = {}
    for entry in entries(facts):
        if entry.stands and entry.body.KIND == "seen":
            seen |= entry.body.model_dump(mode="json", exclude_none=True)
    progress = situation.progress
    last = [seen.get(name) for name in SEEN_COLUMNS]
    return [case, *fields, situation.decisions.technique, list(progress.done), list(progress.happened), *last]


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, list):
        return "|".join(str(_cell(one)) for one in value)
    if isinstance(value, dict):
        return json.dumps(value, sort_keys=True)
    text = str(value)
    return f"'{text}" if isinstance(value, str) and text.startswith(("=", "+", "-", "@")) else value


def import_practice(store: FactStore, data: bytes, name: str) -> list[Imported]:
    """All cases of an export: each checked before the first is kept, and each kept whole. A repeat changes nothing."""
    cases = [lines for part, lines in read_parts(data, name).items() if part.startswith(CASES)]
    for lines in cases:
        read(lines)
    return [import_facts(store, lines) for lines in cases]

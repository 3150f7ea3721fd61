"""The whole practice out and back; and without what could lead to a person."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from uuid import UUID, uuid5

import pytest

from forestay.case.bodies import Body, Decided, Done, Found, Happened, Seen
from forestay.case.fold import entries, fold
from forestay.cli.main import run
from forestay.errors import ForestayError, InvalidInput, UnreadableFile
from forestay.exchange import practice_file
from forestay.exchange.deidentify import bared, protected
from forestay.exchange.dicom_file import read_objects
from forestay.exchange.jsonlines import export_facts
from forestay.exchange.practice_file import write_parts
from forestay.services.attachments import attach, attached, content
from forestay.services.cases import Who, record
from forestay.services.keeping import verify
from forestay.services.practice_out import (
    export_case_deidentified,
    export_deidentified,
    export_practice,
    import_practice,
    secret_of,
)
from forestay.store.memory import MemoryFactStore
from forestay.store.sql import SqlFactStore
from tests.case.strategies import NOON
from tests.exchange.fhir_bundles import whole_case
from tests.store.whole import rows

SECRET = b"an invented secret"
WHO = Who("Dr Somebody", "tablet-of-somebody")
NAMED = ["Somebody", "serial 8898", "8898", "628S93R", "tray 4", "her brother", "Village", "noticed", "M-1", "M-2"]
"""What must not go out: people, free words, serials, and names of cases."""


def filled(ages: list[float], store: MemoryFactStore | None = None) -> MemoryFactStore:
    """Operated women of these ages, with free words wherever they fit."""
    kept = store or MemoryFactStore()
    for n, age in enumerate(ages, start=1):
        case = f"M-{n}"
        bodies: list[Body] = [
            Found(values={"person.age_years": age, "person.sex": "female", "eye.side": "left"}),
            Found(values={"person.allergies": ["latex", "Village dust"], "lens.appearance": "brown"}),
            Decided(subject="technique", choice="manual-small-incision", reason="her brother said so"),
            Decided(subject="operation note", choice="Somebody noticed", reason="her brother"),
            Done(
                step="lens",
                by="Somebody",
                sizes={"lens_power_d": 21.0},
                devices=("article 05060917510011", "serial 8898", "lot 628S93R", "tray 4"),
            ),
            Done(step="Somebody's own step", by="Somebody"),
            Happened(event="vitreous-in-chamber", step="lens", note="Somebody noticed"),
            Seen(day=28, refraction_d=-0.5),
        ]
        for number, body in enumerate(bodies):
            moment = NOON + timedelta(days=28 if isinstance(body, Seen) else 0)
            record(
                kept, case, {uuid5(UUID(int=n), str(number)): body}, who=WHO, happened_at=moment
            ) if number else kept.append(case, [_first(case, body, n)])
    return kept


def _first(case: str, body: Body, n: int):  # type: ignore[no-untyped-def]
    from forestay.case.fact import new_fact

    return new_fact(
        body,
        case=case,
        author="Dr Somebody",
        device="tablet-of-somebody",
        device_sequence=1,
        happened_at=NOON,
        id=uuid5(UUID(int=n), "0"),
    )


def parts(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {info.filename: archive.read(info) for info in archive.infolist()}


def test_the_whole_practice_comes_back_to_the_same_chains(tmp_path: Path) -> None:
    here, there = SqlFactStore(f"sqlite:///{tmp_path}/a.sqlite"), SqlFactStore(f"sqlite:///{tmp_path}/b.sqlite")
    whole_case(here)
    one = attach(here, "M-1", b"%PDF-1.4 invented", title="sheet", by="a1")
    data = export_practice(here)
    assert data == export_practice(here)
    assert any(name.startswith("attachments/M-1/") for name in parts(data))
    done = import_practice(there, data, "p.zip")
    assert [(one.case, one.new, one.enclosed) for one in done] == [("M-1", len(here.links("M-1")), 1)]
    assert there.links("M-1") == here.links("M-1")
    assert content(there, "M-1", one.id) == (one, b"%PDF-1.4 invented")
    assert verify(there) == []
    assert [(one.new, one.enclosed) for one in import_practice(there, data, "p.zip")] == [(0, 1)]
    assert export_practice(there) == data
    assert secret_of(here) == secret_of(here) != secret_of(there)
    here.close()
    there.close()


LISTED = {"case": "M-1", "id": str(UUID(int=7)), "title": "sheet", "added_at": NOON.isoformat(), "added_by": "a1"}


def enclosing(content: bytes, **said: object) -> bytes:
    """A practice of one case and one attachment, its digests right, of which the list says this."""
    parts = {"cases/M-1.jsonl": export_facts(whole_case(), "M-1"), f"attachments/M-1/{UUID(int=7)}": content}
    listed = {**LISTED, "digest": hashlib.sha256(content).hexdigest(), **said}
    return write_parts({**parts, "attachments.json": json.dumps({"attachments": [listed]}).encode()}, {"kind": "whole"})


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[SqlFactStore]:
    store = SqlFactStore(f"sqlite:///{tmp_path}/kept.sqlite")
    yield store
    store.close()


@pytest.mark.parametrize(
    "said",
    [
        {"digest": "0" * 64},
        {"case": "M-2"},
        {"id": str(UUID(int=8))},
        {"id": "../x"},
        {"title": ""},
        {"title": "x" * 121},
        {"added_at": "2026-03-01"},
        {"added_by": "\n"},
        {"size": 3},
    ],
    ids=lambda said: next(iter(said)),
)
def test_an_attachment_that_is_not_what_the_list_says_brings_nothing_back(
    said: dict[str, object], kept: SqlFactStore
) -> None:
    before = rows(kept)
    with pytest.raises(ForestayError):
        import_practice(kept, enclosing(b"%PDF-1.4 invented", **said), "p.zip")
    assert rows(kept) == before


def test_a_program_among_the_attachments_brings_nothing_back_and_one_without_a_list_keeps_its_case(
    kept: SqlFactStore, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = rows(kept)
    parts = {"cases/M-1.jsonl": export_facts(whole_case(), "M-1"), "attachments/M-1/a": b"%PDF-1.4 invented"}
    stray = {**parts, "attachments/M-9/a": b"%PDF-1.4 invented"}
    for bad in (enclosing(b"MZ invented"), write_parts(stray, {"kind": "whole"})):
        with pytest.raises(ForestayError):
            import_practice(kept, bad, "p.zip")
        assert rows(kept) == before
    file = tmp_path / "p.zip"
    file.write_bytes(write_parts(parts, {"kind": "whole"}))
    with pytest.raises(SystemExit) as left:
        run(["import", str(file), "--db", str(tmp_path / "kept.sqlite")])
    assert left.value.code == 0
    assert "Photos and documents with them: 1." in capsys.readouterr().out
    assert [(one.title, one.size) for one in attached(kept, "M-1")] == [("a", 17)]


def test_an_export_that_could_not_be_read_back_is_not_written(monkeypatch: pytest.MonkeyPatch) -> None:
    data = write_parts({"cases.csv": bytes(200)}, {"kind": "whole"})
    monkeypatch.setattr(practice_file, "LARGEST_UNPACKED", 199)
    for refused in (
        lambda: write_parts({"cases.csv": bytes(200)}, {}),
        lambda: import_practice(MemoryFactStore(), data, "p"),
    ):
        with pytest.raises(InvalidInput, match="at most 199 bytes"):
            refused()


def test_an_export_with_a_changed_part_is_refused_before_anything_is_kept() -> None:
    data = export_practice(whole_case())
    held = parts(data)
    held["cases.csv"] = b"other"
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, part in held.items():
            archive.writestr(name, part)
    store = MemoryFactStore()
    for bad in (buffer.getvalue(), data[:-40], b"PK\x03\x04"):
        with pytest.raises(UnreadableFile):
            import_practice(store, bad, "p.zip")
    assert store.cases() == []


def test_nothing_that_points_to_a_person_goes_out() -> None:
    """Names, words, serials, people, true dates; ages above 89 as one (45 CFR 164.514(b)(2)(i)(C))."""
    store = filled([95, 91, 92, 93, 94])
    held = parts(export_deidentified(store, SECRET))
    everything = b"\n".join([*held.values(), *(name.encode() for name in held)]).decode()
    assert [word for word in NAMED if word in everything] == []
    assert NOON.date().isoformat() not in everything
    rows = list(csv.DictReader(io.StringIO(held["cases.csv"].decode())))
    assert {row["person.age_years"] for row in rows} == {"90"}
    assert {row["person.allergies"] for row in rows} == {"latex|other"}
    assert rows[0]["seen.refraction_d"] == "-0.5"
    assert rows[0]["events"] == "vitreous-in-chamber"
    told = json.loads(held["contents.json"])
    assert (told["kind"], told["cases_left_out"], told["values_left_out"]) == ("de-identified", 0, {})


def test_days_between_facts_stay_and_each_case_moves_by_its_own() -> None:
    store = filled([70, 70])
    one, two = (bared(case, store.facts(case), SECRET) for case in ("M-1", "M-2"))
    apart = [facts[-1].header.happened_at - facts[0].header.happened_at for facts in (one.facts, two.facts)]
    assert apart == [timedelta(days=28)] * 2
    moved = [facts[0].header.happened_at - NOON for facts in (one.facts, two.facts)]
    assert moved[0] != moved[1]
    assert all(abs(one) <= timedelta(days=365) for one in moved)
    assert bared("M-1", store.facts("M-1"), SECRET) == one
    assert bared("M-1", store.facts("M-1"), b"another").case_id != one.case_id


def test_groups_and_words_that_few_cases_share_are_left_out() -> None:
    """Smallest group 5 (row audit.smallest_group): one woman of 45 goes, and a word that four of eight share."""
    store = filled([70, 71, 72, 73, 74, 75, 76, 45])
    for n in range(1, 5):
        record(
            store,
            f"M-{n}",
            {
                uuid5(UUID(int=n), "rare"): Found(
                    values={"person.connective_tissue_disorder": "marfan", "signs.trauma": n > 0}
                )
            },
            who=WHO,
        )
    told = protected([bared(case, store.facts(case), SECRET) for case in store.cases()])
    assert (len(told.cases), told.dropped) == (7, 1)
    assert told.values == {"person.connective_tissue_disorder marfan": 4, "signs.trauma True": 4}
    persons = [fold(case.facts).case for case in told.cases]
    assert {person.person.connective_tissue_disorder for person in persons} == {None}
    assert {person.signs.trauma for person in persons} == {None}
    with pytest.raises(InvalidInput):
        export_deidentified(filled([70, 71, 72, 73]), SECRET)


def test_what_was_taken_back_and_kept_plans_do_not_go_out() -> None:
    one = bared("M-1", whole_case().facts("M-1"), SECRET)
    kinds = [entry.body.KIND for entry in entries(one.facts)]
    assert "happened" not in kinds
    assert not {"planned", "signed", "withdrawn"} & set(kinds)
    assert one.left_out == len(whole_case().facts("M-1")) - len(kinds)


def test_a_case_for_teaching_as_dicom_says_that_nobody_is_in_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """PS3.15 annex E: identity removed, the method and its codes (CID 7050), dates said to be modified."""
    monkeypatch.setattr("forestay.services.objects_out._sheet", lambda *_: None)  # the sheet takes a whole plan
    whole = whole_case()
    data = export_case_deidentified(whole, "M-1", "dicom", SECRET)
    objects = read_objects(data, "x")
    assert objects
    for made in objects:
        assert made.PatientIdentityRemoved == "YES"
        assert made.LongitudinalTemporalInformationModified == "MODIFIED"
        assert [c.CodeValue for c in made.DeidentificationMethodCodeSequence] == ["113100", "113107", "113108"]
        assert made.PatientID.startswith("P-")
        assert made.PatientName == made.PatientBirthDate == ""
    bundle = export_case_deidentified(whole, "M-1", "fhir", SECRET).decode()
    assert "M-1" not in bundle
    assert "a hard lens" not in bundle

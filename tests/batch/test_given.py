"""Given eyes and kept cases in parts: the same for any number of workers, stopped and gone on with, nothing left behind."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from forestay.batch import whole
from forestay.batch.units import LocalPool, Unit
from forestay.batch.whole import Eye, plan_whole, told
from forestay.case.case_file import read_case
from forestay.case.fact import Fact, content
from forestay.cli.main import app
from forestay.errors import InvalidInput
from forestay.exchange.jsonlines import export_facts
from forestay.exchange.practice_file import write_parts
from forestay.plan.context import Context
from forestay.plan.make import make
from forestay.plan.model import as_dict
from forestay.services import review_parts
from forestay.services.cases import Who, record
from forestay.services.many import eyes_in
from forestay.services.review_parts import operated_in_parts
from forestay.services.reviewing import operated
from forestay.store.sql import SqlFactStore
from tests.batch.test_batch import here
from tests.exchange.fhir_bundles import number, whole_case
from tests.review.test_outcome import operated as notes

LEFT = b'[person]\nage_years = 74\n[eye]\nside = "left"\n'
WRONG = LEFT.replace(b"74", b"740")


def test_given_eyes_are_planned_by_other_processes_to_the_bytes_of_one_planned_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(whole, "EYES", 1)
    done = plan_whole([Eye("a.toml", LEFT), Eye("b.toml", WRONG)], tmp_path, run=LocalPool(1))
    rows = told(done)
    assert [(row.name, row.error is None, row.field) for row in rows] == [
        ("a.toml", True, None),
        ("b.toml", False, "person.age_years"),
    ]
    (kept,) = pq.read_table(done[0].file, columns=["plan"])["plan"].to_pylist()
    alone = as_dict(make(read_case(LEFT, "a.toml"), Context.default()))
    assert kept == json.dumps(alone, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    assert (rows[0].decision, rows[0].chosen) == (alone["decision"]["decision"], alone["chosen"]["technique"])


def test_eyes_come_from_files_of_every_form_and_each_has_a_name_of_its_own(tmp_path: Path) -> None:
    facts = export_facts(whole_case(), "M-1")
    practice = write_parts({"cases/M-1.jsonl": facts, "cases.csv": b"x"}, {"kind": "whole"})
    found = eyes_in([(LEFT, "a.toml"), (practice, "practice.zip"), (facts, "b.jsonl")])
    assert [(eye.name, eye.data) for eye in found] == [("a.toml", LEFT), ("cases/M-1.jsonl", facts), ("b.jsonl", facts)]
    for wrong in ([], [found[0], found[0]]):
        with pytest.raises(InvalidInput):
            plan_whole(wrong, tmp_path, run=here)
    assert list(tmp_path.iterdir()) == []


def _again(fact: Fact, case: str, n: int) -> Fact:
    header = fact.header.model_copy(update={"case": case, "id": number(n)})
    return Fact(header, fact.body)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqlFactStore]:
    """Five operated eyes, and one that is not."""
    made = SqlFactStore(f"sqlite:///{tmp_path}/kept.sqlite")
    for case in range(6):
        facts = notes("left" if case % 2 else "right").facts[: 3 if case == 4 else None]
        made.append(f"eye-{case}", [_again(fact, f"eye-{case}", 100 * case + n) for n, fact in enumerate(facts)])
    yield made
    made.close()


def test_a_review_in_parts_stops_goes_on_and_leaves_nothing_of_the_cases_behind(
    store: SqlFactStore, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(review_parts, "CASES", 2)
    db, folder, made = str(tmp_path / "kept.sqlite"), tmp_path / "parts", []

    def stops(work: object, wanted: tuple[Unit, ...], *, progress: object) -> None:
        here(work, wanted[:2], progress=progress)
        raise KeyboardInterrupt

    def counts(work: object, wanted: tuple[Unit, ...], *, progress: object) -> None:
        made.extend(unit for unit in wanted if not unit.done)
        here(work, wanted, progress=progress)

    with pytest.raises(KeyboardInterrupt):
        operated_in_parts(db, store, folder, run=stops)
    assert len(list(folder.iterdir())) == 2
    record(store, "eye-0", {number(900): content(notes().facts[4])}, who=Who("a1", "d1"))
    store.erase("eye-5", by="a1", why="asked for by the person")
    found = operated_in_parts(db, store, folder, run=counts)
    assert found == list(operated(store))
    assert [outcome.case_id for outcome in found] == ["eye-0", "eye-1", "eye-2", "eye-3"]
    assert len(made) == 1  # that of the new fact; the part of eye-2 and eye-3 stood there, the erased one asks for none
    assert list(folder.iterdir()) == []


def test_the_command_says_the_same_in_parts_as_in_one_go(store: SqlFactStore, tmp_path: Path) -> None:
    asked = ["review", "--json", "--db", str(tmp_path / "kept.sqlite")]
    alone = CliRunner().invoke(app, asked)
    parts = CliRunner().invoke(app, [*asked, "--work", str(tmp_path / "parts"), "--workers", "1"])
    assert json.loads(alone.stdout)["n"] == len(list(operated(store))) == 5
    assert parts.stdout == alone.stdout
    assert (alone.exit_code, parts.exit_code) == (0, 0)

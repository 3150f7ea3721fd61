"""The commands that plan, with what the practice says of itself: the plan of the page over the same database."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from forestay.batch.brought import put_down, taken_up
from forestay.case.case_file import read_case
from forestay.cli.main import app
from forestay.cli.practice import context_from
from forestay.demo import demo_bytes, demo_lens_shelf_bytes, devices_bytes
from forestay.errors import InvalidInput, UnreadableFile
from forestay.plan.context import Context, OwnIncision, OwnLens
from forestay.plan.model import as_dict
from forestay.risk.own_record import OwnRecord
from forestay.services.commands import given_by_store
from forestay.services.planning import open_desk
from tests.batch.test_batch import here

CASE = "long-vitrectomised-only-eye"
SIGNS = b"""
[[sign]]
sign = "vitrectomy"
ratio = 15.0
low = 6.0
high = 30.0
"""


def said(*words: str) -> str:
    answer = CliRunner().invoke(app, words)
    if answer.exception is not None and not isinstance(answer.exception, SystemExit):
        raise answer.exception
    return answer.output


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with settings, the same settings as a file, and a case file."""
    place = tmp_path_factory.mktemp("practice")
    files = {"case": demo_bytes(CASE), "l": demo_lens_shelf_bytes(), "d": devices_bytes(), "s": SIGNS}
    for name, data in files.items():
        (place / f"{name}.toml").write_bytes(data)
        if name != "case":
            said("settings", "import", str(place / f"{name}.toml"), "--db", f"{place}/cases.sqlite")
    (place / "settings.toml").write_text(said("settings", "show", "--db", f"{place}/cases.sqlite"))
    return place


def planned(folder: Path, *options: str) -> dict[str, Any]:
    made: dict[str, Any] = json.loads(said("plan", str(folder / "case.toml"), "--json", *options))
    return made


def test_the_command_and_the_page_give_the_same_plan(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = open_desk(f"{folder}/cases.sqlite", demo=False)
    page = as_dict(desk.plan(read_case(demo_bytes(CASE), CASE), {}))
    desk.close()
    by_database = planned(folder, "--practice", f"{folder}/cases.sqlite")
    assert by_database == json.loads(json.dumps(page))
    by_file = planned(folder, "--settings", f"{folder}/settings.toml")
    assert by_database["version"].pop("settings") == "3"  # a file has no changes to name
    assert by_file == by_database
    assert any("vitrectomised: x 15 in the place of x 1.5" in d["message"] for d in by_file["doubts"])
    monkeypatch.setattr("forestay.cli.batch.runner", lambda _workers, _scheduler: here)
    said("batch", "cases", f"{folder}/plans", f"{folder}/case.toml", "--settings", f"{folder}/settings.toml")
    (place,) = (folder / "plans").glob("whole-*.parquet")
    (kept,) = pq.read_table(place, columns=["plan"])["plan"].to_pylist()
    assert json.loads(kept) == by_file


def test_workers_take_up_what_the_practice_brings(tmp_path: Path, folder: Path) -> None:
    given = context_from(None, f"{folder}/cases.sqlite")
    practice = replace(
        given.practice,
        name="own",
        records=(OwnRecord("phacoemulsification", 2, 1, 0.03, (0.01, 0.02), (False, True)),),
        lenses=(OwnLens("a", "optical", "SRK/T", 40, 118.7, 0.4),),
        incisions=(OwnIncision("phacoemulsification", "temporal", "straight", 30, 0.2, 0.3),),
    )
    brought = replace(given, practice=practice, today=date(2026, 11, 28))
    name = put_down(brought, tmp_path)
    again = taken_up(tmp_path, name)
    assert replace(again, draws=None) == replace(brought, draws=None)
    assert put_down(brought, tmp_path) == name
    assert put_down(replace(brought, today=date(2026, 11, 29)), tmp_path) != name
    assert put_down(Context.default(), tmp_path) == ""
    assert len(list(tmp_path.iterdir())) == 2


def test_every_command_that_plans_takes_the_practice_from_one_place(folder: Path) -> None:
    """`plan` and `flips` ask this one function; own figures come with the database."""
    db = f"{folder}/cases.sqlite"
    given, context = given_by_store(db), context_from(None, db)
    assert (context.lenses, context.devices, context.settings) == (given.lenses, given.devices, "3")
    assert context.practice.zonule_ratios == given.ratios
    assert given.practice is not None
    plain = context_from(None, None)
    assert replace(plain, draws=None) == replace(Context.default(), draws=None)


@pytest.mark.parametrize(
    ("settings", "practice", "failure", "says"),
    [
        ("settings.toml", "cases.sqlite", InvalidInput, "not both"),
        (None, "nowhere.sqlite", InvalidInput, "no database"),
        ("nowhere.toml", None, UnreadableFile, "cannot be read"),
    ],
)
def test_what_cannot_be_read_is_one_sentence(
    settings: str | None, practice: str | None, failure: type[Exception], says: str, folder: Path
) -> None:
    with pytest.raises(failure, match=says):
        context_from(None if settings is None else folder / settings, practice and f"{folder}/{practice}")
    assert not (folder / "nowhere.sqlite").exists()

"""The practice's settings: kept part by part, out and in again as a file, taken over by new cases, in force at once."""

from __future__ import annotations

import json
from datetime import date
from uuid import uuid4

import pytest
from typer.testing import CliRunner

from forestay.cli.main import app
from forestay.demo import NAMES, demo_lens_shelf_bytes, devices_bytes
from forestay.errors import ConflictingFact, ForestayError, InvalidInput, NotFound, UnreadableFile
from forestay.eye.situation import Situation
from forestay.plan.context import Context
from forestay.plan.device_shelf import read_shelf
from forestay.plan.make import version
from forestay.plan.model import Plan
from forestay.services.cases import Who
from forestay.services.in_force import Start, combined
from forestay.services.planner import Given, Make, Planner
from forestay.services.planning import Desk, demo_shelf, keep_demo
from forestay.services.settings import (
    PARTS,
    as_toml,
    change_entry,
    entries_of,
    history,
    keep,
    mark_of,
    set_one,
    settings,
    take_in,
)
from forestay.store.memory import MemoryFactStore
from tests.factories import example_plan

ME = Who("u-a", "d1")
PRACTICE = b"""
[[surgeon]]
name = "A. Example"
surgeon_grade = "consultant"
seat = "temporal"
[[surgeon]]
name = "B. Example"
dominant_hand = "left"
[theatre]
techniques = ["phacoemulsification", "extracapsular"]
has = []
retina_service = "days"
[shown]
corneal_power = "mm"
language = "fr"
"""

SIGNS = b"""
[[sign]]
sign = "vitrectomy"
ratio = 15.0
low = 6.0
high = 30.0
"""


@pytest.fixture
def store() -> MemoryFactStore:
    kept = MemoryFactStore()
    for name, data in (("p", PRACTICE), ("l", demo_lens_shelf_bytes()), ("d", devices_bytes()), ("s", SIGNS)):
        take_in(kept, data, f"{name}.toml", who=ME)
    return kept


def test_a_file_out_and_in_again_says_the_same(store: MemoryFactStore) -> None:
    other = MemoryFactStore()
    assert set(take_in(other, as_toml(settings(store)).encode(), "all.toml", who=ME)) == set(PARTS)
    kept, again = settings(store), settings(other)
    assert [name for name in PARTS if kept.part(name) != again.part(name)] == []
    assert take_in(other, as_toml(kept).encode(), "all.toml", who=ME) == ()  # nothing new, no change
    assert again.lenses is not None
    assert again.lenses.invented is True


@pytest.mark.parametrize(
    ("data", "kind", "says"),
    [
        (b"a = [", UnreadableFile, "cannot be read as TOML"),
        (b"", InvalidInput, "says nothing that is a setting"),
        (b'[theatre]\ntechniques = ["laser"]', InvalidInput, "techniques"),
        (b"[theatre]\ntechniques = []", InvalidInput, "techniques"),
        (b'[[surgeon]]\nname = "A"\n[[surgeon]]\nname = "A"', InvalidInput, "name of their own"),
        (b'[[item]]\nthing = "hammer"\ncount = 1', InvalidInput, "no rule asks for this"),
        (b'[shown]\nlanguage = "xx"', InvalidInput, "en, fr"),
        (b'[shown]\npressure = "bar"', InvalidInput, "mmHg"),
        (b'colour = "red"', ForestayError, "not a key"),
        (b'[[sign]]\nsign = "chamber-depth"\nratio = 2.0', InvalidInput, "iridodonesis, trauma"),
        (b'[[sign]]\nsign = "trauma"\nratio = 2.0\nlow = 3.0', InvalidInput, "rising order"),
        (b'[[sign]]\nsign = "trauma"\nratio = 0.0', InvalidInput, "ratio"),
        (SIGNS + SIGNS, InvalidInput, "each sign once"),
    ],
)
def test_a_file_that_is_wrong_is_one_sentence_and_changes_nothing(
    store: MemoryFactStore, data: bytes, kind: type[ForestayError], says: str
) -> None:
    before = store.practice.last()
    with pytest.raises(kind, match=says):
        take_in(store, data, "x.toml", who=ME)
    assert store.practice.last() == before


def test_settings_are_read_as_they_were_after_a_change(store: MemoryFactStore) -> None:
    keep(store, "theatre", {"retina_service": "none"}, who=Who("u-b", "d2"))
    last = settings(store).number
    then, now = settings(store, at=last - 1).theatre, settings(store).theatre
    assert then is not None
    assert now is not None
    assert (then.retina_service, now.retina_service, now.techniques) == ("days", "none", None)
    assert (history(store)[0].author, history(store)[0].part) == ("u-b", "theatre")
    with pytest.raises(NotFound, match="no change 99"):
        settings(store, at=99)


def test_one_entry_is_changed_and_an_entry_that_is_gone_is_not_overwritten(store: MemoryFactStore) -> None:
    first, second = entries_of(settings(store), "surgeons")
    change_entry(store, "surgeons", mark_of(first), first.model_copy(update={"seat": "superior"}), who=ME)
    change_entry(store, "surgeons", mark_of(second), None, who=ME)  # another entry, seen before the change
    [left] = entries_of(settings(store), "surgeons")
    assert left.model_dump()["seat"] == "superior"
    with pytest.raises(ConflictingFact, match="meanwhile"):
        change_entry(store, "surgeons", mark_of(first), second, who=ME)


def test_a_new_case_takes_over_theatre_and_surgeon_and_keeps_it(store: MemoryFactStore) -> None:
    desk = Desk(store, Planner(lambda _: example_plan()), ME)
    desk.open_case("M-1", side="left", age_years=70, key=uuid4())
    desk.open_case("M-2", side="left", age_years=70, key=uuid4(), surgeon="B. Example")
    with pytest.raises(InvalidInput, match="no surgeon C"):
        desk.open_case("M-3", side="left", age_years=70, key=uuid4(), surgeon="C")
    assert store.cases() == ["M-1", "M-2"]
    set_one(store, "theatre.retina_service", ("in-house",), who=ME)
    one, two = (desk.open(case).situation.case.theatre for case in ("M-1", "M-2"))
    assert (one.techniques, one.has, one.retina_service) == (("phacoemulsification", "extracapsular"), (), "days")
    assert (one.surgeon_grade, one.seat, one.dominant_hand) == ("consultant", "temporal", None)
    assert (two.surgeon_grade, two.seat, two.dominant_hand) == (None, None, "left")
    assert b"Example" not in b"".join(fact.body for fact in store.facts("M-2"))  # no name in a fact


def test_a_changed_shelf_is_in_force_with_the_next_plan_and_a_plan_names_its_change() -> None:
    store = MemoryFactStore()
    keep_demo(store)
    used: list[Given] = []

    def ways(given: Given) -> tuple[Make, Make]:
        def make(_: Situation) -> Plan:
            used.append(given)
            return example_plan()

        return make, make

    start = Start(Given(lenses=demo_shelf()), lenses="demo")
    desk = Desk(store, Planner(ways=ways, given=start.given), ME, start=start)
    eye = desk.open(NAMES[0]).situation
    desk.plan(eye, {})
    desk.plan(eye, {})
    take_in(store, devices_bytes(), "d.toml", who=ME)
    desk.plan(eye, {})
    set_one(store, "theatre.retina_service", ("days",), who=ME)
    desk.plan(eye, {})  # no shelf changed: the plan that is there serves
    assert [(g.lenses is not None, g.devices is not None, g.settings) for g in used] == [
        (True, False, ""),
        (True, True, "1"),
    ]
    told = version(Context.default(today=date(2026, 1, 2)))
    assert "settings" not in told


def test_what_a_sign_weighs_here_reaches_the_next_plan_which_says_so_and_is_another() -> None:
    store = MemoryFactStore()
    keep_demo(store)
    desk = Desk(store, Planner(), ME, start=Start())
    eye = desk.open("long-vitrectomised-only-eye").situation

    def planned() -> tuple[float, float, set[str], str]:
        plan = desk.plan(eye, {})
        zonule = next(e for e in plan.estimates if e.name == "zonule")
        own = {d.message for d in plan.doubts if d.code == "own-ratio"}
        return zonule.value, zonule.low, own, plan.version["practice"]

    plain = planned()
    take_in(store, SIGNS, "s.toml", who=ME)
    own = planned()
    assert own[0] < plain[0]  # a ratio of 15 for the vitrectomy in the place of 1.5: less holds
    assert not plain[2]
    assert [said for said in own[2] if "vitrectomised: x 15 in the place of x 1.5" in said], own
    assert own[3] != plain[3]
    (entry,) = entries_of(settings(store), "signs")
    change_entry(store, "signs", mark_of(entry), None, who=ME)
    assert planned() == plain


def test_a_file_named_at_the_start_goes_before_the_settings(store: MemoryFactStore) -> None:
    own = demo_shelf().model_copy(update={"lens": demo_shelf().lens[:1]})
    now = combined(settings(store), Start(Given(lenses=own), lenses="option"))
    assert (now.given.lenses, now.lenses, now.devices) == (own, "option", "settings")
    assert now.given.devices == read_shelf(devices_bytes())
    assert now.given.settings == str(settings(store).seen("signs"))  # the last change of what plans are made with


def test_by_command(tmp_path_factory: pytest.TempPathFactory) -> None:
    folder = tmp_path_factory.mktemp("settings")
    db = ["--db", f"{folder}/cases.sqlite"]
    run = CliRunner()

    def say(*words: str) -> str:
        answer = run.invoke(app, ["settings", *words, *db])
        if answer.exception is not None and not isinstance(answer.exception, SystemExit):
            raise answer.exception
        return answer.output

    assert "theatre.techniques" in say("set", "theatre.techniques", "extracapsular", "intracapsular")
    assert "already" in say("set", "theatre.techniques", "extracapsular", "intracapsular")
    say("set", "shown.pressure", "kPa")
    say("set", "theatre.techniques")
    with pytest.raises(InvalidInput, match="one value"):
        say("set", "shown.pressure", "kPa", "mmHg")
    with pytest.raises(InvalidInput, match="not a setting"):
        say("set", "theatre.colour", "red")
    told = json.loads(say("show", "--json"))
    assert (told["number"], told["theatre"]["techniques"], told["shown"]["pressure"]) == (3, None, "kPa")
    assert "intracapsular" in say("show", "--at", "1")
    file = folder / "p.toml"
    file.write_bytes(PRACTICE)
    assert "surgeons, theatre, shown" in say("import", str(file))
    assert [row["part"] for row in json.loads(say("history", "--json"))][:2] == ["shown", "theatre"]

"""The desk between kept cases and their plans."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from uuid import uuid4

import pytest

from forestay.case.case_file import read_case
from forestay.demo import NAMES, demo_bytes
from forestay.errors import InvalidInput
from forestay.eye.situation import Situation
from forestay.plan.model import Plan
from forestay.services.cases import INVENTED, Who
from forestay.services.planner import Given, Planner, digest, looked_at
from forestay.services.planning import Desk, keep_demo
from forestay.store.memory import MemoryFactStore
from tests.factories import example_plan


class Counting:
    """Makes the invented plan and counts how often."""

    def __init__(self) -> None:
        self.seen: list[str] = []

    def __call__(self, situation: Situation) -> Plan:
        self.seen.append(digest(situation))
        return example_plan(side=situation.case.eye.side)


@pytest.fixture
def store() -> MemoryFactStore:
    kept = MemoryFactStore()
    keep_demo(kept)
    return kept


@pytest.fixture
def make() -> Counting:
    return Counting()


@pytest.fixture
def desk(store: MemoryFactStore, make: Counting) -> Desk:
    return Desk(store, Planner(make, kept=2), Who("desk", "test"))


def test_invented_cases_are_kept_once_and_marked(store: MemoryFactStore, desk: Desk) -> None:
    facts = {name: len(store.facts(name)) for name in NAMES}
    keep_demo(store)
    assert desk.case_ids() == list(NAMES)
    assert {name: len(store.facts(name)) for name in NAMES} == facts
    for name in NAMES:
        assert desk.open(name).invented
        assert {fact.header.author for fact in store.facts(name)} == {INVENTED}


def test_an_invented_case_happens_today(desk: Desk) -> None:
    first = desk.open(NAMES[0]).thread[0].time
    assert abs((datetime.now(UTC) - first).total_seconds()) < 3600


def test_a_plan_is_made_once_a_situation_and_only_the_last_ones_are_kept(desk: Desk, make: Counting) -> None:
    situation = desk.open(NAMES[0]).situation
    first = desk.plan(situation, {})
    assert desk.plan(situation, {}) is first
    assert len(make.seen) == 1
    for size in (5.0, 5.5, 6.0):
        desk.plan(situation, {"capsulorhexis_mm": size})
    assert len(set(make.seen)) == 4
    desk.plan(situation, {})
    assert len(make.seen) == 5


def test_a_look_lies_on_top_of_what_is_decided(desk: Desk) -> None:
    name = NAMES[0]
    desk.decide(name, {"pupil_hooks": 5, "capsulorhexis_mm": 5.5}, reason="small pupil", key=uuid4())
    looked = looked_at(desk.open(name).situation, {"capsulorhexis_mm": 6.0})
    assert (looked.decisions.pupil_hooks, looked.decisions.capsulorhexis_mm) == (5, 6.0)
    assert desk.open(name).situation.decisions.capsulorhexis_mm == 5.5


def test_an_impossible_look_is_refused_by_name(desk: Desk) -> None:
    situation = desk.open(NAMES[0]).situation
    with pytest.raises(InvalidInput) as refusal:
        looked_at(situation, {"capsulorhexis_mm": 40.0})
    assert refusal.value.field == "capsulorhexis_mm"


def test_the_digest_names_everything_that_a_plan_is_made_from(desk: Desk) -> None:
    situation = desk.open(NAMES[0]).situation
    same = desk.open(NAMES[0]).situation
    assert digest(situation) == digest(same)
    assert digest(looked_at(situation, {"ring": "none"})) != digest(situation)


def test_a_look_made_ready_is_not_made_again_and_holds_up_nothing(store: MemoryFactStore) -> None:
    begun, go_on, made = threading.Event(), threading.Event(), Counting()

    def slow(situation: Situation) -> Plan:
        begun.set()
        assert go_on.wait(10)
        return made(situation)

    planner = Planner(slow)
    desk = Desk(store, planner, Who("desk", "test"))
    name = NAMES[0]
    here = desk.open(name).situation
    asked = threading.Thread(target=lambda: desk.plan(here, {"pupil_hooks": 4}, quick=True))
    asked.start()
    assert begun.wait(10)
    assert not desk.ahead(name, {"pupil_hooks": 5})  # a plan that somebody waits for is under way
    go_on.set()
    asked.join()
    assert len(made.seen) == 1
    assert desk.ahead(name, {"pupil_hooks": 5})
    assert len(made.seen) == 2
    desk.plan(here, {"pupil_hooks": 5}, quick=True)
    assert len(made.seen) == 2
    assert not desk.ahead(name, {"capsulorhexis_mm": 99.0})  # refused, to be told to whoever asks for it
    assert len(made.seen) == 2


def test_several_threads_may_ask_at_once(desk: Desk) -> None:
    situation = desk.open(NAMES[0]).situation
    got: list[Plan] = []
    asking = [
        threading.Thread(target=lambda hooks=hooks: got.append(desk.plan(situation, {"pupil_hooks": hooks % 4})))
        for hooks in range(24)
    ]
    for thread in asking:
        thread.start()
    for thread in asking:
        thread.join()
    assert len(got) == 24


def test_the_plan_of_a_page_is_held_against_the_shelf_of_devices_as_of_that_day(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from datetime import date

    from forestay.plan.device_shelf import read_shelf
    from forestay.services import planner as module

    shelf = read_shelf(
        b'invented = true\n[[item]]\nthing = "iris-hooks"\ncount = 8\nexpires = 2027-01-31\nlot = "H1"\n',
        "devices.toml",
    )
    made = Planner(given=Given(devices=shelf))
    situation = read_case(demo_bytes("brown-pseudoexfoliation"), "case.toml")
    monkeypatch.setattr(module, "today", lambda: date(2026, 11, 27))
    hooks = next(i for i in made.plan(situation).kit["items"] if i.thing == "iris-hooks")
    assert hooks.missing is False
    assert "2027-01-31" in hooks.shelf
    monkeypatch.setattr(module, "today", lambda: date(2027, 2, 1))
    later = next(i for i in made.plan(situation).kit["items"] if i.thing == "iris-hooks")
    assert later.missing is True  # the same eye a day after the hooks ran out of date is planned anew

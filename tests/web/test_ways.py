"""The ways side by side on the page of a case: measures, who beats whom, kit, conflicts, rungs and the point of taking over."""

from __future__ import annotations

import re
from dataclasses import replace
from html import unescape

import pytest

from forestay.plan.model import Criterion, Option, Plan, Rung
from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk, keep_demo
from forestay.store.memory import MemoryFactStore
from forestay.web.app import create_app
from forestay.web.settings import Settings
from forestay.web.views.ways_build import amount, ways_view
from tests.web.desk import CASE
from tests.web.visitor import Visitor

HARD = "brown-pseudoexfoliation"


@pytest.fixture(scope="module")
def real() -> tuple[Visitor, Desk]:
    """The application over the invented cases, with the plans that ship."""
    store = MemoryFactStore()
    keep_demo(store)
    desk = Desk(store, Planner(), Who(author="desk", device="web"))
    return Visitor(create_app(Settings(desk))), desk


def plan_of(desk: Desk, name: str = HARD) -> Plan:
    """The plan behind the page."""
    return desk.plan(desk.open(name).situation, {})


def words(page: str) -> str:
    """A page's text without marks, blanks made one."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page)))


def test_every_option_stands_with_every_measure_its_interval_and_its_source(real: tuple[Visitor, Desk]) -> None:
    client, desk = real
    page = client.get(f"/cases/{HARD}").text
    plan = plan_of(desk)
    section = page[page.index('id="ways-head"') : page.index('id="risks-head"')]
    for option in plan.options:
        for c in option.criteria:
            if c.value is None:
                continue
            assert amount(c, c.value) in section
            if c.origin is not None:
                opened = section[section.index(f'id="way-{option.technique}-{c.key}"') :].split("</details>")[0]
                assert amount(c, c.value) in opened
                assert all(f"q={s['key']}" in opened for s in c.origin.sources)


def test_who_beats_whom_and_no_clear_winner_are_said(real: tuple[Visitor, Desk]) -> None:
    client, desk = real
    plan = plan_of(desk)
    assert plan.comparison is not None
    assert plan.comparison.says
    said = words(client.get(f"/cases/{HARD}").text)
    assert [line for line in plan.comparison.says if line not in said] == []


def test_anaesthesia_and_incision_stand_with_state_and_reason(real: tuple[Visitor, Desk]) -> None:
    client, desk = real
    plan = plan_of(desk)
    assert plan.comparison is not None
    said = words(client.get(f"/cases/{HARD}").text)
    for way in (*plan.comparison.anaesthesia, *plan.comparison.incisions):
        assert f"{way.label} · {way.state}" in said
        assert [w for w in way.why if w not in said] == []


def test_conflicts_rungs_and_kit_stand_on_the_page(real: tuple[Visitor, Desk]) -> None:
    client, desk = real
    plan = plan_of(desk)
    said = words(client.get(f"/cases/{HARD}").text)
    assert plan.conflicts
    assert [c.settled for c in plan.conflicts if c.settled not in said] == []
    rungs = [r for f in plan.fallbacks for r in f.rungs]
    assert rungs
    assert [r.do for r in rungs if r.do not in said] == []
    assert [k for r in rungs for k in r.kit if k not in said] == []


def _over(plan: Plan) -> Visitor:
    store = MemoryFactStore()
    keep_demo(store)
    return Visitor(create_app(Settings(Desk(store, Planner(lambda _: plan), Who(author="desk", device="web")))))


def test_a_rung_that_is_not_here_and_the_point_of_taking_over_are_said(desk: Desk) -> None:
    plan = desk.plan(desk.open(CASE).situation, {})
    missing = Rung("fix a segment", ("ring segment",), False, "ring segment")
    unknown = Rung("call", (), None, "a retina service")
    ladder = replace(plan.fallbacks[0], rungs=(missing, unknown))
    step = replace(plan.steps[0], take_over="after two tries")
    said = words(_over(replace(plan, fallbacks=(ladder,), steps=(step,))).get(f"/cases/{CASE}").text)
    assert "fix a segment · ring segment · not here: ring segment" in said
    assert "needs a retina service: not known whether it is here" in said
    assert "Take over: after two tries" in said


def test_a_plan_without_a_comparison_has_no_such_section(client: Visitor, desk: Desk) -> None:
    plan = desk.plan(desk.open(CASE).situation, {})
    assert ways_view(replace(plan, comparison=None)) is None
    assert 'id="ways-head"' not in client.get(f"/cases/{CASE}").text


def test_kit_that_lacks_is_named_under_its_option(real: tuple[Visitor, Desk]) -> None:
    _, desk = real
    plan = plan_of(desk)
    options: tuple[Option, ...] = tuple(replace(o, lacks=("tension-ring", "dye")) for o in plan.options)
    view = ways_view(replace(plan, options=options))
    assert view is not None
    assert {head.lacks for head in view.heads} == {"tension ring, dye"}


def test_kit_of_a_theatre_that_told_nothing_is_not_known_rather_than_there(real: tuple[Visitor, Desk]) -> None:
    _, desk = real
    situation = desk.open(HARD).situation
    theatre = situation.case.theatre.model_copy(update={"has": None})
    bare = situation.model_copy(update={"case": situation.case.model_copy(update={"theatre": theatre})})
    view = ways_view(desk.plan(bare, {}))
    assert view is not None
    assert all(head.lacks.startswith("not known") for head in view.heads)


@pytest.mark.parametrize(
    ("key", "unit", "value", "expected"),
    [
        ("capsule", "", 0.175, "18 %"),
        ("short", "", 5.0, "5"),
        ("cells", "cells/mm2", 1659.8, "1,660 cells/mm²"),
        ("astigmatism", "D", -0.5, "−0.50 D"),
        ("minutes", "minutes", 20.26, "20 minutes"),
    ],
)
def test_a_value_carries_its_unit(key: str, unit: str, value: float, expected: str) -> None:
    criterion = Criterion(key, key, value, None, None, unit, "less", counts=True, origin=None)
    assert amount(criterion, value) == expected

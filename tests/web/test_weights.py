"""Own weights on the measures, and where the plan turns: with a plain form, nothing assumed, nothing kept."""

from __future__ import annotations

import re
from html import unescape

import pytest

from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk, keep_demo
from forestay.services.weighing import weigh
from forestay.store.memory import MemoryFactStore
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.web.visitor import Visitor

HARD = "brown-pseudoexfoliation"
HERE = f"/cases/{HARD}/weights"


@pytest.fixture(scope="module")
def real() -> tuple[Visitor, Desk]:
    """The application over the invented cases, with the plans that ship."""
    store = MemoryFactStore()
    keep_demo(store)
    desk = Desk(store, Planner(), Who(author="desk", device="web"))
    return Visitor(create_app(Settings(desk))), desk


def words(page: str) -> str:
    """A page's text without marks, blanks made one."""
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", page)))


def test_no_weight_is_set_beforehand_and_nothing_is_scored(real: tuple[Visitor, Desk]) -> None:
    page = real[0].get(HERE).text
    assert "No weights set: nothing is scored." in page
    fields = re.findall(r'<input type="number"[^>]*>', page)
    assert fields
    assert all('value=""' in field for field in fields)


def test_one_measure_alone_puts_its_best_way_first_and_says_where_it_turns(real: tuple[Visitor, Desk]) -> None:
    client, desk = real
    plan = desk.plan(desk.open(HARD).situation, {})
    done = [o for o in plan.options if o.criteria]
    left = {o.label: next(c.value for c in o.criteria if c.key == "astigmatism") for o in done}
    best = min(left, key=lambda label: left[label] or 0.0)
    said = words(client.get(f"{HERE}?astigmatism=3").text)
    assert f"{best} leads by" in said or f"Under these weights {best} comes first, by" in said
    mixed = weigh(plan, {"astigmatism": 3.0, "minutes": 1.0})
    page = words(client.get(f"{HERE}?astigmatism=3&minutes=1").text)
    assert mixed.turns
    for turn in mixed.turns:
        assert f"{mixed.labels[turn.measure]}: at {turn.weight:.2g} instead of {turn.now:g}" in page


def test_even_ways_have_no_clear_winner(real: tuple[Visitor, Desk]) -> None:
    client, _ = real
    assert "nothing is scored" in client.get(f"{HERE}?minutes=0").text


def test_slider_and_buttons_work_without_script(real: tuple[Visitor, Desk]) -> None:
    client, _ = real
    assert (
        'name="minutes" min="0" max="10" step="any" value="4"'
        in client.get(f"{HERE}?minutes=&was_minutes=&slide_minutes=4").text
    )
    assert (
        'name="minutes" min="0" max="10" step="any" value="6"'
        in client.get(f"{HERE}?minutes=6&was_minutes=2&slide_minutes=2").text
    )
    assert 'name="minutes" min="0" max="10" step="any" value="1"' in client.get(f"{HERE}?step=minutes:%2B1").text


@pytest.mark.parametrize("query", ["minutes=11", "minutes=-1", "minutes=much", "minutes=nan", "step=luck:1"])
def test_a_weight_outside_is_refused_by_name(real: tuple[Visitor, Desk], query: str) -> None:
    answer = real[0].get(f"{HERE}?{query}")
    assert answer.status_code == 422


def test_a_part_is_only_the_answer(real: tuple[Visitor, Desk]) -> None:
    part = real[0].get(HERE, headers={"hx-request": "true", "hx-target": "section#weighed"}).text
    assert part.lstrip().startswith('<section id="weighed"')
    assert "<html" not in part


def test_where_the_plan_turns_is_worked_out_once(real: tuple[Visitor, Desk]) -> None:
    client, desk = real
    page = words(client.get(f"/cases/{HARD}/turns").text)
    found = desk.turns(desk.open(HARD).situation)
    assert desk.turns(desk.open(HARD).situation) is found
    assert [row.says for row in found.rows if row.says not in page] == []
    assert f"{found.tried} plans" in page
    part = client.get(f"/cases/{HARD}/turns", headers={"hx-request": "true", "hx-target": "div#turns"}).text
    assert "<html" not in part

"""The pages of the cases: what they show, that a look keeps nothing, that a decision is kept once."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from uuid import uuid4

import pytest

from forestay.demo import NAMES
from forestay.errors import RefusedFinding
from forestay.eye.situation import Situation
from forestay.plan.model import Plan
from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk, keep_demo
from forestay.store.memory import MemoryFactStore
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.factories import example_plan
from tests.web.desk import CASE
from tests.web.visitor import Visitor

PART = {"HX-Request": "true", "HX-Request-Type": "partial"}
PAGE = f"/cases/{CASE}"


def test_the_first_page_lists_every_invented_case_and_says_so(client: Visitor) -> None:
    page = client.get("/")
    assert page.status_code == 200
    for name in NAMES:
        assert f'href="/cases/{name}"' in page.text
    assert page.text.count("invented · ") == len(NAMES)
    assert "not a medical device" in page.text


@pytest.mark.parametrize("name", NAMES)
def test_each_case_has_its_page_with_side_viewpoint_and_caution(client: Visitor, desk: Desk, name: str) -> None:
    page = client.get(f"/cases/{name}")
    side = desk.open(name).situation.case.eye.side.capitalize()
    assert page.status_code == 200
    assert f'<p class="side-box">{side} eye</p>' in page.text
    assert "as the surgeon sits" in page.text
    assert "invented · " in page.text
    assert "not a medical device" in page.text


def test_a_part_is_the_main_part_and_the_same_address_is_a_whole_page(client: Visitor) -> None:
    address = f"{PAGE}/margins?capsulorhexis_mm=6"
    part, whole = client.get(address, headers=PART), client.get(address)
    assert part.text.lstrip().startswith("<main")
    assert "<html" not in part.text
    assert whole.text.startswith("<!doctype html>")
    assert _without_keys(part.text.strip()) in _without_keys(whole.text)
    assert "HX-Request" in whole.headers["vary"]
    assert part.headers["hx-replace-url"] == address


@pytest.mark.parametrize("part", ["look", "below"])
def test_a_part_is_what_the_page_will_replace(client: Visitor, part: str) -> None:
    address = f"{PAGE}/margins?capsulorhexis_mm=6"
    answer = client.get(address, headers={**PART, "HX-Target": f"div#{part}"})
    assert answer.text.startswith(f'<div id="{part}"')
    assert _without_keys(answer.text.strip()) in _without_keys(client.get(address).text)
    assert ("hx-replace-url" in answer.headers) == (part == "look")
    assert "HX-Target" in answer.headers["vary"]


def test_a_closed_foldout_comes_empty_only_where_the_page_asks_for_it(client: Visitor) -> None:
    address = f"{PAGE}/margins?capsulorhexis_mm=6"
    asked = {**PART, "HX-Target": "div#look"}
    whole = client.get(address, headers=asked).text
    assert "data-later" not in whole
    folded = client.get(address, headers={**asked, "X-Forestay-Unfolded": ""}).text
    opened = client.get(address, headers={**asked, "X-Forestay-Unfolded": "behind-pupil margins-table"}).text
    assert whole.count('class="behind"') == folded.count('class="behind" data-later') > 1
    assert opened.count("data-later") == folded.count("data-later") - 2
    for text in (folded, opened):
        assert text.count("<summary>") == whole.count("<summary>")
    assert "<caption" in opened
    assert "<caption" not in folded
    below = {**asked, "HX-Target": "div#below", "X-Forestay-Unfolded": ""}
    assert "data-later" not in client.get(address, headers=below).text


def test_a_step_is_made_ready_without_a_word_and_without_a_trace(client: Visitor, desk: Desk) -> None:
    before = desk.sequences()
    for query in ("capsulorhexis_mm=6", "capsulorhexis_mm=99", "capsulorhexis_mm=wide", ""):
        answer = client.get(f"{PAGE}/ahead?{query}")
        assert (answer.status_code, answer.text) == (204, "")
    assert desk.sequences() == before


def test_a_part_that_is_not_there_is_the_main_part(client: Visitor) -> None:
    for target in ("div#other", "div#../base", "#", "main#main"):
        assert client.get(PAGE, headers={**PART, "HX-Target": target}).text.startswith("<main")


def test_a_restored_page_is_whole(client: Visitor) -> None:
    again = client.get(PAGE, headers={"HX-Request": "true", "HX-Request-Type": "full"})
    assert again.text.startswith("<!doctype html>")


def test_a_look_changes_the_margin_says_what_was_and_keeps_nothing(client: Visitor, desk: Desk) -> None:
    facts = len(desk.open(CASE).facts)
    page = client.get(f"{PAGE}/margins?capsulorhexis_mm=6").text
    rope = _margin(page, "capsulorhexis")
    assert "room 0.4 mm" in rope  # 6.0 − 5.6
    assert "was short 0.4 mm" in rope  # 5.2 − 5.6
    assert "Tried, not decided" in page
    assert len(desk.open(CASE).facts) == facts
    assert "Tried, not decided" not in client.get(PAGE).text


def test_a_control_that_was_not_moved_is_not_decided_by_the_way(client: Visitor) -> None:
    shown = {"was_capsulorhexis_mm": "5.2", "was_pupil_hooks": "4", "pupil_hooks": "4", "capsulorhexis_mm": "6"}
    page = client.get(f"{PAGE}/margins", params=shown, headers=PART)
    assert page.headers["hx-replace-url"] == f"{PAGE}/margins?capsulorhexis_mm=6"


def test_the_change_that_widens_most_leads_to_a_look_with_it(client: Visitor) -> None:
    rope = _margin(client.get(f"{PAGE}/margins?pupil_hooks=6").text, "capsulorhexis")
    assert f'href="{PAGE}/margins?pupil_hooks=6&amp;capsulorhexis_mm=5.8"' in rope


def test_a_decision_is_kept_once_with_its_reason(client: Visitor, desk: Desk) -> None:
    facts = len(desk.open(CASE).facts)
    form = {"capsulorhexis_mm": "6", "reason": "room for the nucleus", "key": str(uuid4())}
    for _ in range(2):
        answer = client.post(f"{PAGE}/decisions", data=form, follow_redirects=False)
        assert (answer.status_code, answer.headers["location"]) == (303, PAGE)
    opened = desk.open(CASE)
    assert len(opened.facts) == facts + 1
    assert opened.situation.decisions.capsulorhexis_mm == 6.0
    assert opened.situation.settled[-1].reason == "room for the nucleus"
    page = client.get(PAGE).text
    assert "room 0.4 mm" in _margin(page, "capsulorhexis")
    assert "room for the nucleus" in page


def test_a_decision_is_taken_back_with_why(client: Visitor, desk: Desk) -> None:
    client.post(f"{PAGE}/decisions", data={"ring": "none", "reason": "none left", "key": str(uuid4())})
    decided = next(entry for entry in desk.open(CASE).thread if entry.decided)
    form = {"fact": str(decided.fact_id), "why": "one was found", "key": str(uuid4())}
    for _ in range(2):
        client.post(f"{PAGE}/withdrawals", data=form)
    opened = desk.open(CASE)
    assert opened.situation.decisions.ring is None
    assert sum(entry.kind == "withdrawn" for entry in opened.thread) == 1
    assert "one was found" in client.get(PAGE).text


@pytest.mark.parametrize(
    ("where", "form", "field"),
    [
        ("decisions", {"capsulorhexis_mm": "6", "reason": "  ", "key": str(uuid4())}, "reason"),
        ("decisions", {"capsulorhexis_mm": "99", "reason": "x", "key": str(uuid4())}, "capsulorhexis_mm"),
        ("decisions", {"capsulorhexis_mm": "wide", "reason": "x", "key": str(uuid4())}, "capsulorhexis_mm"),
        ("decisions", {"reason": "x", "key": str(uuid4())}, "Nothing was chosen"),
        ("decisions", {"ring": "none", "reason": "x", "key": "again"}, "key"),
        ("withdrawals", {"fact": "that one", "why": "x", "key": str(uuid4())}, "fact"),
    ],
)
def test_a_bad_form_keeps_nothing_and_says_what_is_wrong(
    client: Visitor, desk: Desk, where: str, form: dict[str, str], field: str
) -> None:
    facts = len(desk.open(CASE).facts)
    answer = client.post(f"{PAGE}/{where}", data=form, headers=PART)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert field in answer.text
    assert answer.headers["hx-retarget"] == "#alert"
    assert len(desk.open(CASE).facts) == facts


def test_what_a_person_wrote_is_text_on_the_page(client: Visitor) -> None:
    form = {"ring": "none", "reason": "<script>alert(1)</script>", "key": str(uuid4())}
    client.post(f"{PAGE}/decisions", data=form)
    page = client.get(PAGE).text
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_an_unknown_case_is_not_found(client: Visitor) -> None:
    for address in ("/cases/nobody", "/cases/nobody/margins", "/cases/nobody/sheet.pdf"):
        assert client.get(address).status_code == 404


def test_every_number_of_a_rope_opens_to_what_stands_behind_it(client: Visitor) -> None:
    rope = _margin(client.get(PAGE).text, "chamber")
    for words in ("Formula", "Inputs", "Rests on", "Studied for", "Sources", "assumed"):
        assert words in rope
    assert "weak evidence" in rope


def test_comparative_margins_carry_no_chance_and_say_that_they_rank(client: Visitor) -> None:
    page = client.get(PAGE).text
    assert "ranks options; says nothing about percentages" in page
    assert 'class="chance"' not in _margin(page, "zonule-rotation")


def _margin(page: str, key: str) -> str:
    before, _, after = page.partition(f'<li id="margin-{key}"')
    assert before
    assert after
    return re.split(r'<li id="margin-|<h3>|<details id="margins-table"', after)[0]


def _without_keys(page: str) -> str:
    return re.sub(r'name="key" value="[0-9a-f-]+"', "", page)


def _planning(plan: Callable[[Situation], Plan]) -> Visitor:
    store = MemoryFactStore()
    keep_demo(store)
    return Visitor(create_app(Settings(Desk(store, Planner(plan), Who("desk", "web")))))


def test_a_plan_that_does_not_operate_is_a_page_without_drawing() -> None:
    def refuses(situation: Situation) -> Plan:
        plan = example_plan(side=situation.case.eye.side)
        return replace(plan, measures=None, drawing=None, margins=(), steps=(), chosen=replace(plan.chosen, clear=True))

    visitor = _planning(refuses)
    for address in (PAGE, f"{PAGE}/margins?capsulorhexis_mm=6"):
        page = visitor.get(address)
        assert page.status_code == 200
        assert "nothing to draw" in page.text
        assert "<svg" not in page.text


def test_a_case_that_cannot_be_planned_says_why_and_hides_no_other() -> None:
    def stumbles(situation: Situation) -> Plan:
        if situation.case.person.sex == "female":
            raise RefusedFinding("biometry.k1_d and k2_d are swapped with the length.", field="biometry.k1_d")
        return example_plan(side=situation.case.eye.side)

    visitor = _planning(stumbles)
    page = visitor.get("/").text
    assert page.count("No plan: biometry.k1_d") == 2  # two of the five invented patients are women
    assert page.count('<h2><a href="/cases/') == len(NAMES)
    refused = visitor.get("/cases/white-swollen")
    assert refused.status_code == 422
    assert 'role="alert"' in refused.text


def test_a_gap_that_is_tried_is_kept_as_a_finding_once_and_never_as_a_decision(client: Visitor, desk: Desk) -> None:
    before = desk.open(CASE)
    key = str(uuid4())
    form = {"weak_hours": "6-8", "key": key, "based_on": str(before.head), "ring": "none"}
    for _ in range(2):
        answer = client.post(f"{PAGE}/findings", data=form, follow_redirects=False)
        assert answer.headers["location"] == f"{PAGE}/margins?ring=none&since={before.head}"
    after = desk.open(CASE)
    assert after.head == before.head + 1
    assert after.situation.case.signs.dialysis_clock_hours == (6, 7, 8)
    assert after.situation.decisions.weak_hours is None
    refused = client.post(f"{PAGE}/findings", data={**form, "weak_hours": "x", "key": str(uuid4())})
    assert refused.status_code == 422


def test_a_new_fact_says_what_it_changed(client: Visitor, desk: Desk) -> None:
    head = desk.open(CASE).head
    form = {"capsulorhexis_mm": "6", "reason": "room", "key": str(uuid4()), "based_on": str(head)}
    page = client.post(f"{PAGE}/decisions", data=form)
    line = re.search(r'<p class="changed" id="changed" role="status">([^<]*)</p>', page.text)
    assert line is not None
    assert "the nucleus" in line[1]
    again = client.get(PAGE)
    assert "what changes, and why, is said here" in again.text
    assert client.get(f"{PAGE}?since=x").status_code == 200
    assert client.get(f"{PAGE}?since=99999").status_code == 200


def test_a_look_says_what_changes_and_that_the_rest_stays(client: Visitor) -> None:
    page = client.get(f"{PAGE}/margins?capsulorhexis_mm=5.9", headers={**PART, "HX-Target": "div#look"})
    assert 'role="status"' in page.text
    assert "the nucleus" in page.text
    assert "stays." in page.text

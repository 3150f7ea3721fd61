"""Theatre: where the operation stands, what a tap keeps, the checks, and the box in hand against the plan."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from html import unescape
from uuid import uuid4

import pytest

from forestay.case.bodies import Done, Happened, Planned
from forestay.case.fact import content
from forestay.case.fields import is_field
from forestay.errors import InvalidInput
from forestay.exchange.device_code import read_code
from forestay.plan.lens_model import LensBox
from forestay.plan.model import Plan, as_dict
from forestay.plan.ruleset import ruleset
from forestay.plan.theatre import check_groups, finding_rules
from forestay.services.planning import Desk
from forestay.services.theatre import compare_lens, lens_compared, planned_power
from tests.web.desk import CASE
from tests.web.visitor import Visitor

HERE = f"/cases/{CASE}/theatre"
# GS1 General Specifications write element strings so; 952 is the prefix that GS1 keeps for examples.
TODAY = date(2026, 3, 2)
PLACES = {"optic-capture", "sulcus", "scleral", "retropupillary-iris", "anterior-chamber"}
"""Where a lens may lie outside the bag, in the words of the calculation ``lens-positions``."""
CODE = "(01)09521234543213(17)701231(10)ABC123(21)12345"


def bodies(desk: Desk) -> list[object]:
    """What the facts of the case hold, in order."""
    return [content(fact) for fact in desk.open(CASE).facts]


def sent(desk: Desk, **more: str) -> dict[str, str]:
    """A form as the page sends it."""
    return {"key": str(uuid4()), "based_on": str(desk.open(CASE).head), **more}


def test_one_step_is_shown_with_what_to_do_what_to_watch_for_and_what_then(client: Visitor, desk: Desk) -> None:
    steps = desk.plan(desk.open(CASE).situation, {}).steps
    page = client.get(HERE).text
    assert steps[0].name in page
    assert steps[0].do in page
    watched = next(step for step in steps if step.cues)
    page = client.get(HERE, params={"step": watched.key}).text
    for cue in watched.cues:
        assert cue.see in page
        assert f"{cue.means}: {cue.then}" in page
    assert "not a medical device" in page
    assert "Right eye" in page


def test_done_is_kept_once_and_leads_to_the_next_step(client: Visitor, desk: Desk) -> None:
    steps = desk.plan(desk.open(CASE).situation, {}).steps
    form = sent(desk, step=steps[0].key)
    for _ in range(2):
        page = client.post(f"{HERE}/done", data=form)
    assert re.search(rf"<h1[^>]*>{re.escape(steps[1].name)}</h1>", page.text)
    assert desk.open(CASE).situation.progress.done == (steps[0].key,)
    assert [b for b in bodies(desk) if isinstance(b, Done)] == [Done(step=steps[0].key, by="surgeon")]


def test_what_was_kept_last_is_taken_back(client: Visitor, desk: Desk) -> None:
    steps = desk.plan(desk.open(CASE).situation, {}).steps
    page = client.post(f"{HERE}/done", data=sent(desk, step=steps[0].key)).text
    fact = re.search(r'name="fact" value="([^"]+)"', page)
    assert fact
    page = client.post(f"{HERE}/back", data=sent(desk, fact=fact[1])).text
    assert steps[0].name in page
    assert desk.open(CASE).situation.progress.done == ()


@pytest.mark.parametrize(
    ("found", "kept", "event"),
    [
        ("cue radial folds", ("surgery.puncture", "folds"), None),
        ("cue the lens travels", ("signs.phacodonesis", "after-movement"), None),
        ("rule vitreous", None, "vitreous-in-chamber"),
        ("cue something of this plan alone", None, "other"),
    ],
)
def test_a_finding_is_kept_as_what_it_means(
    client: Visitor, desk: Desk, found: str, kept: tuple[str, str] | None, event: str | None
) -> None:
    step = desk.plan(desk.open(CASE).situation, {}).steps[1].key
    client.post(f"{HERE}/found", data=sent(desk, step=step, found=found))
    opened = desk.open(CASE)
    if kept is not None:
        section, _, name = kept[0].partition(".")
        assert getattr(getattr(opened.situation.case, section), name) == kept[1]
    events = [b for b in bodies(desk) if isinstance(b, Happened)]
    assert [b.event for b in events] == ([event] if event else [])
    if event == "other":
        assert any("something of this plan alone" in line.words for line in opened.thread)


def test_a_gap_and_a_pupil_are_kept_with_their_figures(client: Visitor, desk: Desk) -> None:
    step = desk.plan(desk.open(CASE).situation, {}).steps[1].key
    client.post(f"{HERE}/found", data=sent(desk, step=step, found="rule gap", **{"answer rule gap": "4-7"}))
    client.post(f"{HERE}/found", data=sent(desk, step=step, found="rule pupil", **{"answer rule pupil": "4,5"}))
    signs = desk.open(CASE).situation.case.signs
    assert signs.dialysis_clock_hours == (4.0, 5.0, 6.0, 7.0)
    assert signs.pupil_dilated_mm == 4.5
    refused = client.post(f"{HERE}/found", data=sent(desk, step=step, found="rule gap", **{"answer rule gap": "13"}))
    assert refused.status_code == 422


def test_a_finding_is_taken_back_with_all_that_it_set(client: Visitor, desk: Desk) -> None:
    before = desk.open(CASE).situation
    step = desk.plan(before, {}).steps[1].key
    answered = {"answer rule gap": "10-11"}
    client.post(f"{HERE}/found", data=sent(desk, step=step, found="rule gap", **answered))
    opened = desk.open(CASE)
    event = next(fact for fact in opened.facts if isinstance(content(fact), Happened))
    assert opened.situation.case.signs != before.case.signs
    client.post(f"{HERE}/back", data=sent(desk, fact=str(event.header.id)))
    assert desk.open(CASE).situation.case.signs == before.case.signs


def test_a_finding_never_weakens_what_is_known(client: Visitor, desk: Desk) -> None:
    desk.record_seen(CASE, {"signs.phacodonesis": "at-rest"}, key=uuid4())
    step = desk.plan(desk.open(CASE).situation, {}).steps[1].key
    client.post(f"{HERE}/found", data=sent(desk, step=step, found="cue the lens travels"))
    assert desk.open(CASE).situation.case.signs.phacodonesis == "at-rest"


@pytest.mark.parametrize("form", [{"found": "nothing"}, {"found": "rule soul"}, {"found": "rule gap", "step": "soul"}])
def test_an_unknown_finding_or_step_is_refused(client: Visitor, desk: Desk, form: dict[str, str]) -> None:
    step = desk.plan(desk.open(CASE).situation, {}).steps[1].key
    assert client.post(f"{HERE}/found", data=sent(desk, **{"step": step, **form})).status_code == 422


def test_every_cue_that_a_finding_names_stands_in_the_steps_and_every_field_exists() -> None:
    cues = {str(cue.data["see"]) for step in ruleset("steps")["step"] for cue in step.inner}
    ladders = {str(rule.data["key"]) for rule in ruleset("fallbacks")["fallback"]}
    asked = [c.value for s in ruleset("events")["state"] for line in s.when.lines for c in line]
    moving = {event.strip() for value in asked for event in (value or "").split(",")}
    for rule in finding_rules():
        assert set(rule.cues) <= cues, rule.key
        assert all(is_field(path) for path in rule.sets)
        assert rule.ask is None or is_field(rule.ask)
        assert rule.ladder is None or rule.ladder in ladders, rule.key
        moves = rule.sets or rule.event in moving
        assert moves or rule.stays, f"{rule.key} moves nothing and says not why the plan stays"
        assert set(rule.positions) <= PLACES, rule.key


def test_an_event_says_what_power_a_lens_would_have_and_a_pupil_without_its_size_why_the_plan_stays(
    client: Visitor, desk: Desk
) -> None:
    plan = desk.plan(desk.open(CASE).situation, {})
    data = sent(desk, step=plan.steps[1].key, found="rule capsule-open")
    page = unescape(client.post(f"{HERE}/found", data=data).text)
    places = [p for p in plan.lens.positions if p.position in ("sulcus", "optic-capture") and p.choices]
    assert places
    for place in places:
        planned = planned_power(plan, place.position)
        assert planned is not None
        assert f"{place.label} {planned[1]:+.2f} D" in page
    page = unescape(client.post(f"{HERE}/found", data=sent(desk, step=plan.steps[1].key, found="rule pupil")).text)
    assert "Without its size nothing can be worked out anew" in page


def test_an_event_plans_again_and_the_page_goes_to_what_is_done_at_once(client: Visitor, desk: Desk) -> None:
    before = desk.plan(desk.open(CASE).situation, {})
    client.post(f"{HERE}/done", data=sent(desk, step=before.steps[0].key))
    data = sent(desk, step=before.steps[2].key, found="rule capsule-open")
    page = unescape(client.post(f"{HERE}/found", data=data).text)
    assert re.search(r"<h1[^>]*>Hold and look: the capsule</h1>", page)
    assert "The plan now:" in page
    assert "The capsule is open behind: now “Hold and look: the capsule”" in page
    assert "The plan itself does not change by it" not in page
    fact = re.search(r'name="fact" value="([^"]+)"', page)
    assert fact
    page = unescape(client.post(f"{HERE}/back", data=sent(desk, fact=fact[1])).text)
    assert "Taken back: the capsule is open behind" in page
    assert "Hold and look" not in desk.plan(desk.open(CASE).situation, {}).steps[1].name


def test_the_timer_begins_with_the_first_check(client: Visitor, desk: Desk) -> None:
    assert 'data-started=""' in client.get(HERE).text
    client.post(f"{HERE}/checks", data={**sent(desk), "check": ["sign-in identity"]})
    began = desk.open(CASE).facts[-1].header.happened_at
    page = client.get(HERE).text
    assert f'data-started="{began.isoformat()}"' in page
    assert f"in theatre since {began.astimezone():%H:%M}<" in page
    client.post(f"{HERE}/done", data=sent(desk, step=desk.plan(desk.open(CASE).situation, {}).steps[0].key))
    page = client.get(HERE).text
    assert f'data-started="{began.isoformat()}"' in page
    assert "first step done at" in page


def test_the_checks_have_three_moments_and_each_box_is_one_fact(client: Visitor, desk: Desk) -> None:
    # WHO surgical safety checklist: sign in, time out, sign out.
    assert [group.key for group in check_groups()] == ["sign-in", "time-out", "sign-out"]
    page = unescape(client.get(f"{HERE}/checks").text)
    for group in check_groups():
        assert all(item.text in page for item in group.items)
    for stop in desk.plan(desk.open(CASE).situation, {}).stops:
        assert f"<b>not:</b> {stop.must_not}" in page  # never to be read as something to do
    before = desk.open(CASE).head
    data = {**sent(desk), "check": ["sign-in identity", "time-out aloud"]}
    page = client.post(f"{HERE}/checks", data=data).text
    assert page.count("checked disabled") == 2
    assert desk.open(CASE).head == before + 2
    assert client.post(f"{HERE}/checks", data={**sent(desk), "check": "sign-in soul"}).status_code == 422


def test_a_code_is_read_with_and_without_brackets() -> None:
    plain = "]d20109521234543213" + "17701231" + "10ABC123\x1d" + "2112345"
    for text in (CODE, plain):
        code = read_code(text)
        assert (code.gtin, code.lot, code.serial) == ("09521234543213", "ABC123", "12345")
        assert code.expires is not None
        assert code.expires.isoformat() == "2070-12-31"


@pytest.mark.parametrize("text", ["", "hello", "(01)09521234543214", "(10)ABC", "9" * 400])
def test_what_is_no_code_of_a_device_is_said(text: str) -> None:
    with pytest.raises(InvalidInput, match="scan it again"):
        read_code(text)


def lens(desk: Desk, **more: str) -> dict[str, str]:
    """The form of the box in hand, as it fits the invented plan."""
    plan = desk.plan(desk.open(CASE).situation, {})
    bag = next(p for p in plan.lens.positions if p.position == "bag")
    best = min(bag.choices, key=lambda c: abs(c["refraction_d"] - plan.lens.target_d))
    return sent(desk, side="right", position="bag", power=f"+{best['power_d']}", code=CODE, **more)


def test_a_box_that_fits_is_said_and_kept(client: Visitor, desk: Desk) -> None:
    page = client.post(f"{HERE}/lens", data=lens(desk)).text
    assert "It matches." in page
    kept = [b for b in bodies(desk) if isinstance(b, Done)]
    assert len(kept) == 1
    assert "serial 12345" in kept[0].devices
    power = kept[0].sizes["box_power_d"]
    client.post(f"{HERE}/done", data=sent(desk, step="lens"))
    last = [b for b in bodies(desk) if isinstance(b, Done)][-1]
    assert last.sizes == {"lens_power_d": power}
    assert last.devices == kept[0].devices


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"side": "left"}, "Side"),
        ({"power": "-10"}, "Power"),
        ({"code": CODE.replace("701231", "200131")}, "Expiry"),
    ],
)
def test_a_box_that_does_not_fit_is_said_plainly_and_not_kept(
    client: Visitor, desk: Desk, change: dict[str, str], told: str
) -> None:
    before = desk.open(CASE).head
    page = client.post(f"{HERE}/lens", data={**lens(desk), **change}).text
    assert "It does not match. Do not open the box." in page
    assert re.search(rf"<b>does not fit</b> · {told}", page)
    assert desk.open(CASE).head == before


@pytest.mark.parametrize("change", [{"power": ""}, {"side": ""}, {"code": "(01)123"}, {"position": "nowhere"}])
def test_a_box_that_cannot_be_compared_says_why(client: Visitor, desk: Desk, change: dict[str, str]) -> None:
    answer = client.post(f"{HERE}/lens", data={**lens(desk), **change})
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    assert "It matches" not in answer.text


def test_the_wall_shows_the_step_and_nothing_to_press(client: Visitor) -> None:
    page = client.get(HERE, params={"wall": "1"}).text
    main = page[page.index("<main") : page.index("</main>")]
    assert "<button" not in main
    assert "wall" in main


def test_the_plan_is_kept_byte_for_byte_before_the_first_step_and_only_then(client: Visitor, desk: Desk) -> None:
    plan = desk.plan(desk.open(CASE).situation, {})
    client.post(f"{HERE}/done", data=sent(desk, step=plan.steps[0].key))
    client.post(f"{HERE}/done", data=sent(desk, step=plan.steps[1].key))
    kept = [b for b in bodies(desk) if isinstance(b, Planned | Done)]
    assert [type(b) for b in kept] == [Planned, Done, Done]
    assert isinstance(kept[0], Planned)
    assert kept[0].plan_bytes == json.dumps(as_dict(plan), ensure_ascii=False, sort_keys=True).encode()
    assert kept[0].engine_version == plan.version["engine"]


SHELF_LENS = LensBox("Example soft, one piece", "one-piece-soft", 21.5, -0.1, None, None, 118.6, ("09521234543213",))


def _with_box(desk: Desk, box: LensBox) -> Plan:
    plan = desk.plan(desk.open(CASE).situation, {})
    rows = tuple(replace(p, box=box, box_is_near=True) if p.position == "bag" else p for p in plan.lens.positions)
    return replace(plan, lens=replace(plan.lens, positions=rows))


@pytest.mark.parametrize(
    ("model", "code", "articles", "fits"),
    [
        ("Example soft, one piece", CODE, ("09521234543213",), True),
        ("Example soft, one piece", "", ("09521234543213",), True),
        ("Example soft, one piece", CODE, (), True),
        ("Example soft, one piece", CODE, ("00000000000017",), False),
        ("other", "", (), False),
    ],
)
def test_the_model_on_the_box_is_compared_by_name_and_article(
    desk: Desk, model: str, code: str, articles: tuple[str, ...], fits: bool
) -> None:
    plan = _with_box(desk, replace(SHELF_LENS, articles=articles))
    answer = compare_lens(
        plan, side="right", case_side="right", position="bag", box_power_d=21.5, model=model, code=code, today=TODAY
    )
    assert answer.fits is fits
    assert [ok for ok, words in answer.lines if words.startswith("Model")] == [fits]


def test_a_box_whose_model_was_not_said_is_not_compared(desk: Desk) -> None:
    plan = _with_box(desk, SHELF_LENS)
    with pytest.raises(InvalidInput, match="which model") as wrong:
        compare_lens(
            plan, side="right", case_side="right", position="bag", box_power_d=21.5, model="", code="", today=TODAY
        )
    assert wrong.value.field == "model"


def test_the_power_of_the_planned_box_counts(desk: Desk) -> None:
    plan = _with_box(desk, replace(SHELF_LENS, power_d=23.0))
    found = planned_power(plan, "bag")
    assert found is not None
    assert found[1] == 23.0


def test_a_model_that_was_said_stands_first_among_the_devices() -> None:
    [body] = lens_compared(21.5, read_code(CODE), model="Example soft, one piece", by="nurse", key=uuid4()).values()
    assert isinstance(body, Done)
    assert body.devices[0] == "Example soft, one piece"
    assert any("09521234543213" in device for device in body.devices)

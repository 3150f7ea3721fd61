"""Moving a control, in each way that there is, changes the margin that rests on it."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, Route, expect

from tests.browser.reading import field, handle, margin, middle, open_case

pytestmark = pytest.mark.browser
CASE = "brown-pseudoexfoliation"
SIZE = "capsulorhexis_mm"


def _press_more(page: Page) -> None:
    page.locator(f"#control-{SIZE}-more").click()


def _press_less(page: Page) -> None:
    page.locator(f"#control-{SIZE}-less").click()


def _type(page: Page) -> None:
    field(page, SIZE).fill("5.1")
    field(page, SIZE).press("Enter")


def _arrow(page: Page) -> None:
    handle(page, SIZE).focus()
    page.keyboard.press("ArrowRight")


def _drag(page: Page) -> None:
    """Over the middle to the other side, as far from it as a rim of 5 mm is: twice the distance, as the picture says."""
    picture = page.locator("svg.eye-above")
    px_per_mm = float(picture.get_attribute("data-scale") or "0")
    shown = picture.evaluate("e => e.getScreenCTM().a")
    x, y = middle(handle(page, SIZE))
    rim = page.locator("svg.eye-above circle.capsulorhexis").first.bounding_box()
    assert rim is not None
    cx, cy = rim["x"] + rim["width"] / 2, rim["y"] + rim["height"] / 2
    share = 2.5 * px_per_mm * shown / math.hypot(x - cx, y - cy)
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(1, 9):
        far = 1 - (1 + share) * step / 8
        page.mouse.move(cx + far * (x - cx), cy + far * (y - cy))
    page.mouse.up()


WAYS: list[tuple[Callable[[Page], None], Callable[[float], float]]] = [
    (_press_more, lambda size: size + 0.1),
    (_press_less, lambda size: size - 0.1),
    (_type, lambda _: 5.1),
    (_arrow, lambda size: size + 0.1),
    (_drag, lambda _: 5.0),
]


@pytest.mark.parametrize(("way", "expected"), WAYS, ids=[way.__name__.strip("_") for way, _ in WAYS])
def test_the_margin_answers(page: Page, way: Callable[[Page], None], expected: Callable[[float], float]) -> None:
    open_case(page, CASE)
    before = (field(page, SIZE).input_value(), page.locator("#margin-capsulorhexis").inner_text())
    way(page)
    expect(page.locator("#margin-capsulorhexis .before")).to_be_visible()
    expect(page.locator("html")).not_to_have_attribute("data-asking", "")
    assert float(field(page, SIZE).input_value()) == pytest.approx(expected(float(before[0])), abs=1e-9)
    assert page.locator("#margin-capsulorhexis").inner_text() != before[1]
    expect(page.locator(".trying")).to_contain_text("Capsulorhexis")
    expect(page).to_have_url(re.compile(rf"/cases/{CASE}/margins\?{SIZE}="))
    # A look keeps nothing.
    open_case(page, CASE)
    assert field(page, SIZE).input_value() == before[0]
    assert page.locator("#margin-capsulorhexis").inner_text() == before[1]


def test_every_quick_press_counts(page: Page) -> None:
    open_case(page, CASE)
    start = float(field(page, SIZE).input_value())
    for _ in range(5):
        page.locator(f"#control-{SIZE}-less").click(no_wait_after=True)
    expect(page.locator(".trying b", has_text=f"{start - 0.5:g} mm")).to_be_visible()
    assert float(field(page, SIZE).input_value()) == pytest.approx(start - 0.5)


def test_what_lies_below_holds_up_no_look(page: Page) -> None:
    def hold_below(route: Route) -> None:
        if route.request.headers.get("hx-target") != "div#below":
            route.continue_()

    open_case(page, CASE)
    start = float(field(page, SIZE).input_value())
    page.route(f"**/cases/{CASE}/margins?*", hold_below)
    with page.expect_request(lambda request: request.headers.get("hx-target") == "div#below"):
        page.locator(f"#control-{SIZE}-less").click()
    for pressed in (2, 3):
        page.locator(f"#control-{SIZE}-less").click()
        expect(page.locator(".trying b", has_text=f"{start - 0.1 * pressed:g} mm")).to_be_visible()
    page.unroute_all()  # which lets the held ones go on
    expect(page.locator("#below")).not_to_have_attribute("aria-busy", "true")
    assert float(field(page, SIZE).input_value()) == pytest.approx(start - 0.3)


def test_a_look_touches_only_what_differs(page: Page) -> None:
    """What stands keeps its element: the browser need not build, lay out and paint it again under a moving hand."""
    parts = ["#look", "#look .known", "svg.eye-above circle.limbus", "#margin-capsulorhexis", f"#control-{SIZE}-more"]
    open_case(page, CASE)
    page.evaluate("parts => parts.forEach(part => { document.querySelector(part).stood = true; })", parts)
    before = page.locator("#margin-capsulorhexis").inner_text()
    page.locator(f"#control-{SIZE}-more").click()
    expect(page.locator(".trying")).to_be_visible()
    assert page.locator("#margin-capsulorhexis").inner_text() != before
    assert page.evaluate("parts => parts.filter(part => !document.querySelector(part).stood)", parts) == []


@pytest.mark.parametrize(
    "change",
    [
        "button => button.replaceWith(button.cloneNode(true))",
        "button => { button.closest('.control').style.marginTop = '90px'; }",
    ],
    ids=["in its place another", "it moves away"],
)
def test_a_press_counts_when_an_answer_comes_between_press_and_release(page: Page, change: str) -> None:
    open_case(page, CASE)
    start = float(field(page, SIZE).input_value())
    x, y = middle(page.locator(f"#control-{SIZE}-less"))
    page.mouse.move(x, y)
    page.mouse.down()
    page.locator(f"#control-{SIZE}-less").evaluate(change)
    page.mouse.up()
    expect(page.locator(".trying b", has_text=f"{start - 0.1:g} mm")).to_be_visible()
    assert float(field(page, SIZE).input_value()) == pytest.approx(start - 0.1)  # once


def test_a_press_that_is_let_go_elsewhere_is_none(page: Page) -> None:
    open_case(page, CASE)
    start = field(page, SIZE).input_value()
    x, y = middle(page.locator(f"#control-{SIZE}-less"))
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x, y - 80)
    page.mouse.up()
    page.wait_for_timeout(200)
    assert field(page, SIZE).input_value() == start


def test_the_focus_stays_where_the_hand_is(page: Page) -> None:
    open_case(page, CASE)
    handle(page, SIZE).focus()
    for _ in range(3):
        page.keyboard.press("ArrowLeft")
        expect(page.locator("html")).not_to_have_attribute("data-asking", "")
        assert page.evaluate("document.activeElement.dataset.control") == SIZE
    page.locator(f"#control-{SIZE}-less").focus()
    page.keyboard.press("Enter")
    expect(page.locator("html")).not_to_have_attribute("data-asking", "")
    assert page.evaluate("document.activeElement.id") == f"control-{SIZE}-less"


def test_the_tunnel_turns_with_its_handle_as_the_eye_counts(page: Page) -> None:
    open_case(page, CASE)
    assert field(page, "tunnel_clock").input_value() == "12"
    x, y = middle(handle(page, "tunnel_clock"))
    cx, cy = middle(page.locator("svg.eye-above circle.limbus"))
    page.mouse.move(x, y)
    page.mouse.down()
    # A quarter turn counter-clockwise on the screen. Seen from 12 o'clock, 12 lies at the bottom and 9 at the right.
    page.mouse.move(cx + (y - cy) * 0.7, cy + (y - cy) * 0.7)
    page.mouse.move(cx + (y - cy), cy)
    page.mouse.up()
    expect(field(page, "tunnel_clock")).to_have_value("9")


def test_hooks_and_ring_move_by_their_fields(page: Page) -> None:
    open_case(page, CASE)
    hooks = int(field(page, "pupil_hooks").input_value())
    page.locator("#control-pupil_hooks-less").click()
    expect(page.locator(".trying")).to_contain_text(f"Pupil hooks {hooks - 1}")
    field(page, "ring").select_option("none")
    expect(page.locator(".trying")).to_contain_text("no ring")
    expect(page.locator(".trying")).to_contain_text(f"Pupil hooks {hooks - 1}")
    expect(page.locator("svg.eye-above .eyelet")).to_have_count(0)


def test_the_widest_change_is_one_press_and_shows_before_it_is_decided(page: Page) -> None:
    open_case(page, CASE)
    link = page.locator("#margin-capsulorhexis .widen a")
    words = link.inner_text()
    link.click()
    size = float(words.split(" mm")[0])
    expect(page.locator(".trying")).to_contain_text(f"Capsulorhexis {size:g} mm")
    expect(page.locator("#margin-capsulorhexis .before")).to_be_visible()


def test_what_cannot_be_is_said_and_the_page_stays(page: Page, said: list[str]) -> None:
    open_case(page, CASE)
    before = margin(page, "capsulorhexis").inner_text()
    field(page, SIZE).fill("99")
    field(page, SIZE).press("Enter")
    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("capsulorhexis_mm is 99; allowed: 0.5 to 12 mm")
    assert margin(page, "capsulorhexis").inner_text() == before
    # The browser itself notes the refused answer; nothing else may be noted.
    assert len(said) == 1
    assert "422" in said.pop()
    field(page, SIZE).fill("6")
    field(page, SIZE).press("Enter")
    expect(page.locator(".trying")).to_be_visible()
    expect(alert).to_have_count(0)


def test_what_stands_behind_a_number_opens_and_stays_open(page: Page) -> None:
    open_case(page, CASE)
    behind = page.locator("#behind-capsulorhexis")
    behind.locator("summary").press("Enter")
    expect(behind.get_by_text("Formula")).to_be_visible()
    expect(behind.get_by_text("Sources")).to_be_visible()
    page.locator(f"#control-{SIZE}-more").click()
    expect(page.locator(".trying")).to_be_visible()
    expect(page.locator("#behind-capsulorhexis").get_by_text("Formula")).to_be_visible()


def test_a_foldout_opened_after_a_look_says_what_stands_behind_the_tried_number(page: Page) -> None:
    open_case(page, CASE)
    page.locator(f"#control-{SIZE}-more").click()
    expect(page.locator(".trying")).to_be_visible()
    behind = page.locator("#behind-capsulorhexis")
    expect(behind.locator("dt")).to_have_count(0)  # closed: it comes when it is opened
    behind.locator("summary").press("Enter")
    expect(behind.get_by_text("Formula")).to_be_visible()
    tried = field(page, SIZE).input_value()
    expect(behind.get_by_text(f"{tried} mm", exact=True)).to_be_visible()
    expect(page.locator("#behind-pupil dt")).to_have_count(0)
    page.locator("#margins-table > summary").press("Enter")
    expect(page.locator("#margins-table").get_by_role("row")).not_to_have_count(0)
    expect(behind.get_by_text("Formula")).to_be_visible()


def test_a_decision_is_kept_shown_and_taken_back(page: Page) -> None:
    case = "white-swollen"
    open_case(page, case)
    page.locator(f"#control-{SIZE}-more").click()
    tried = field(page, SIZE)
    expect(page.locator(".trying")).to_be_visible()
    size = tried.input_value()
    page.get_by_role("textbox", name="Reason").fill("the nucleus is thick")
    page.get_by_role("button", name="Decide", exact=True).click()
    expect(page.locator(".trying")).to_have_count(0)
    entry = page.locator(".thread li", has_text="the nucleus is thick")
    expect(entry).to_contain_text("decided")
    open_case(page, case)
    assert field(page, SIZE).input_value() == size
    entry.get_by_text("take back", exact=True).click()
    entry.get_by_role("textbox", name="Why").fill("tried on the wrong eye")
    entry.get_by_role("button", name="Take back").click()
    expect(page.locator(".thread li", has_text="taken back")).not_to_have_count(0)
    assert field(page, SIZE).input_value() != size


def test_a_reason_being_written_survives_the_next_look(page: Page) -> None:
    open_case(page, CASE)
    page.locator(f"#control-{SIZE}-more").click()
    page.get_by_role("textbox", name="Reason").fill("room for the nuc")
    page.locator(f"#control-{SIZE}-more").click()
    expect(page.locator("html")).not_to_have_attribute("data-asking", "")
    expect(page.get_by_role("textbox", name="Reason")).to_have_value("room for the nuc")

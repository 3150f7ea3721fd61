"""Hook, ring, capsulorhexis and weak arc: by mouse, by keyboard, by field and by finger; and the line that says why."""

from __future__ import annotations

import itertools
import math
import re

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from tests.browser.reading import around, field, handle, margin, middle, open_case

pytestmark = pytest.mark.browser
HOOKED, GAPPED = "brown-pseudoexfoliation", "trauma-gap"
TOUCH_PX = 44


def _line(page: Page) -> Locator:
    return page.locator("#changed")


def _answered(page: Page) -> None:
    expect(page.locator("html")).not_to_have_attribute("data-asking", "")
    expect(page.locator(".trying")).to_be_visible()


def _drag(page: Page, name: str, to: tuple[float, float]) -> None:
    x, y = middle(handle(page, name))
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(1, 7):
        page.mouse.move(x + (to[0] - x) * step / 6, y + (to[1] - y) * step / 6)
    page.mouse.up()
    _answered(page)


def _spot(page: Page, hour: float, share: float) -> tuple[float, float]:
    """A place on the screen at a clock hour of the eye, ``share`` of the limbus' radius from its middle."""
    box = page.locator("svg.eye-above circle.limbus").bounding_box()
    assert box is not None
    rotation = float(page.locator("svg.eye-above").get_attribute("data-rotation") or "0")
    angle = math.radians(90 - 30 * hour + rotation)
    radius = share * box["width"] / 2
    return (
        box["x"] + box["width"] / 2 + radius * math.cos(angle),
        box["y"] + box["height"] / 2 - radius * math.sin(angle),
    )


def test_a_hook_is_drawn_out_and_all_follow(page: Page) -> None:
    open_case(page, HOOKED)
    before = (float(field(page, "hook_reach_mm").input_value()), margin(page, "pupil").inner_text())
    (x, y), (cx, cy) = around(page, "hook_reach_mm")
    _drag(page, "hook_reach_mm", (x + (x - cx) * 0.15, y + (y - cy) * 0.15))
    reach = float(field(page, "hook_reach_mm").input_value())
    assert reach == pytest.approx(before[0] * 1.15, abs=0.11)
    assert margin(page, "pupil").inner_text() != before[1]
    expect(_line(page)).to_contain_text(f"Reach of the hooks {before[0]:g} to {reach:g} mm: the pupil")
    expect(page.locator(".trying")).to_contain_text(f"Reach of the hooks {reach:g} mm")


def test_the_opening_of_the_ring_goes_round_and_says_what_it_does_to_the_bag(page: Page) -> None:
    open_case(page, GAPPED)
    label = page.locator("#control-ring_gap_clock-label")
    before = label.inner_text()
    handle(page, "ring_gap_clock").scroll_into_view_if_needed()
    _drag(page, "ring_gap_clock", _spot(page, 8.0, 0.9))
    assert float(field(page, "ring_gap_clock").input_value()) == pytest.approx(8.0, abs=0.51)
    expect(label).to_contain_text("bag off centre by")
    assert label.inner_text() != before
    expect(_line(page)).to_contain_text("Opening of the ring at 11 to ")
    expect(_line(page)).to_contain_text("than before")


def test_an_end_of_the_gap_goes_round_by_whole_hours(page: Page) -> None:
    open_case(page, GAPPED)
    assert (field(page, "weak_from").input_value(), field(page, "weak_to").input_value()) == ("4", "6")
    handle(page, "weak_to").scroll_into_view_if_needed()
    _drag(page, "weak_to", _spot(page, 8.5, 1.0))
    expect(field(page, "weak_to")).to_have_value("8")
    expect(field(page, "weak_from")).to_have_value("4")
    expect(page.locator("svg.eye-above .gap-label")).to_have_text("gap 4–8")
    expect(_line(page)).to_contain_text("Gap 4 to 8 o'clock instead of 4 to 6 o'clock: ")
    expect(page).to_have_url(re.compile(r"weak_hours=4-8"))


KEYS = [
    (HOOKED, "hook_reach_mm", "ArrowRight", 0.1),
    (HOOKED, "hook_reach_mm", "ArrowLeft", -0.1),
    (GAPPED, "ring_gap_clock", "ArrowUp", 0.5),
    (GAPPED, "weak_from", "ArrowLeft", -1),
    (GAPPED, "weak_to", "ArrowRight", 1),
    (GAPPED, "ring", "ArrowLeft", None),
    (GAPPED, "capsulorhexis_mm", "ArrowRight", 0.1),
]


@pytest.mark.parametrize(("case", "name", "key", "by"), KEYS, ids=[f"{n}-{k}" for _, n, k, _ in KEYS])
def test_a_key_moves_what_the_hand_moves(page: Page, case: str, name: str, key: str, by: float | None) -> None:
    open_case(page, case)
    before = field(page, name).input_value()
    handle(page, name).focus()
    page.keyboard.press(key)
    _answered(page)
    after = field(page, name).input_value()
    if by is None:
        assert after != before
    else:
        size = 0.1 if name.endswith("mm") else 1
        wanted = round((float(before) + by) / 0.1) * 0.1 if size < 1 else float(before) + by
        assert float(after) == pytest.approx(wanted, abs=0.051)
    assert page.evaluate("document.activeElement.dataset.control") == name
    expect(_line(page)).not_to_contain_text("Move a handle")


@pytest.mark.parametrize(
    ("case", "name"), [(HOOKED, "hook_reach_mm"), (GAPPED, "ring_gap_clock"), (GAPPED, "weak_from")]
)
def test_plus_and_a_typed_number_move_it_too(page: Page, case: str, name: str) -> None:
    open_case(page, case)
    before = float(field(page, name).input_value())
    page.locator(f"#control-{name}-more").click()
    _answered(page)
    assert float(field(page, name).input_value()) > before
    value = {"hook_reach_mm": "3.2", "ring_gap_clock": "2", "weak_from": "3"}[name]
    field(page, name).fill(value)
    field(page, name).press("Enter")
    expect(page.locator(".trying")).to_contain_text("3 to 6" if name == "weak_from" else value)
    expect(field(page, name)).to_have_value(value)


def test_every_quick_step_of_an_end_counts(page: Page) -> None:
    open_case(page, GAPPED)
    for _ in range(3):
        page.locator("#control-weak_to-more").click(no_wait_after=True)
    expect(page.locator(".trying")).to_contain_text("4 to 9")


def test_a_gap_is_tried_recorded_as_seen_and_taken_for_true(page: Page) -> None:
    case = "long-vitrectomised-only-eye"
    open_case(page, case)
    page.locator("#control-gap-try").click()
    _answered(page)
    expect(page.locator(".trying")).to_contain_text("Tried, not recorded: Gap")
    page.locator("#control-weak_to-more").click()
    _answered(page)
    tried = str(page.locator("svg.eye-above .gap-label").text_content()).removeprefix("gap ")
    page.get_by_role("button", name="Record as seen").click()
    expect(page.locator(".trying")).to_have_count(0)
    first, last = tried.split("–")
    expect(page.locator(".thread")).to_contain_text(f"gap seen at {first} and {last}")
    expect(_line(page)).to_contain_text(f"Gap {first} to {last} o'clock instead of")
    open_case(page, case)
    expect(page.locator("svg.eye-above .gap-label")).to_have_text(f"gap {tried}")
    page.locator("#control-gap-none").click()
    _answered(page)
    expect(page.locator("svg.eye-above .gap-label")).to_have_count(0)


def test_what_is_decided_beside_a_tried_gap_stays_tried_when_the_gap_is_recorded(page: Page) -> None:
    case = "white-swollen"
    page.goto(f"/cases/{case}/margins?capsulorhexis_mm=5.6&weak_hours=6-7")
    page.get_by_role("button", name="Record as seen").click()
    expect(page.locator(".thread")).to_contain_text("gap seen at 6 and 7")
    expect(page.locator(".trying")).to_contain_text("Capsulorhexis 5.6 mm")
    expect(page.locator(".trying")).not_to_contain_text("not recorded")


def test_the_list_says_all_that_changes_with_its_cause(page: Page) -> None:
    open_case(page, HOOKED)
    page.get_by_text("All that changes, and why").click()
    expect(page.locator("#changes")).to_contain_text("Nothing differs")
    page.locator("#control-capsulorhexis_mm-less").click()
    _answered(page)
    expect(page.locator("#changes li").first).to_contain_text("opening 6.5 to 6.4 mm")
    expect(page.locator("#changes")).to_have_attribute("open", "")


def test_the_drawing_does_not_move_under_the_hand(page: Page) -> None:
    for width, height in ((1480, 1140), (1024, 768), (390, 844)):
        page.set_viewport_size({"width": width, "height": height})
        open_case(page, HOOKED)
        top = "document.querySelector('svg.eye-above').getBoundingClientRect().top + scrollY"
        before = page.evaluate(top)
        page.locator("#control-hook_reach_mm-more").click()
        _answered(page)
        assert page.evaluate(top) == before


@pytest.mark.parametrize("case", [HOOKED, GAPPED, "white-swollen"])
def test_a_finger_fits_on_every_handle_of_a_phone(browser: Browser, base_url: str, case: str) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(f"{base_url}/cases/{case}")
    boxes = page.locator(".handle:not(.twin) .target").evaluate_all(
        "all => all.map(e => { const b = e.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2, b.width]; })"
    )
    hidden = page.locator(".handle.twin").evaluate_all("all => all.every(e => getComputedStyle(e).display === 'none')")
    context.close()
    assert len(boxes) >= 5
    assert min(width for _, _, width in boxes) >= TOUCH_PX
    for (ax, ay, aw), (bx, by, bw) in itertools.combinations(boxes, 2):
        assert math.hypot(ax - bx, ay - by) >= (aw + bw) / 2 - 0.5
    assert hidden


@pytest.mark.parametrize(
    ("case", "name", "way"), [(HOOKED, "hook_reach_mm", 1.2), (GAPPED, "weak_from", 0), (GAPPED, "ring_gap_clock", 0)]
)
def test_a_finger_drags_it(browser: Browser, base_url: str, case: str, name: str, way: float) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(f"{base_url}/cases/{case}")
    handle(page, name).evaluate("e => e.scrollIntoView({block: 'center'})")
    (x, y), (cx, cy) = around(page, name)
    turn = math.radians(0 if way else 35)
    dx, dy, far = x - cx, y - cy, way or 1
    to = (
        cx + far * (dx * math.cos(turn) - dy * math.sin(turn)),
        cy + far * (dy * math.cos(turn) + dx * math.sin(turn)),
    )
    before = page.locator(f"#control-{name}").input_value()
    finger = context.new_cdp_session(page)
    finger.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for step in range(1, 7):
        spot = {"x": x + (to[0] - x) * step / 6, "y": y + (to[1] - y) * step / 6}
        finger.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [spot]})
        page.wait_for_timeout(30)
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expect(page.locator(".trying")).to_be_visible()
    assert page.locator(f"#control-{name}").input_value() != before
    context.close()


def test_while_the_hand_rests_its_next_steps_are_made_ready(page: Page) -> None:
    open_case(page, HOOKED)
    size = float(field(page, "capsulorhexis_mm").input_value())
    with page.expect_response(f"**/ahead?capsulorhexis_mm={size + 0.1:g}") as ready:
        handle(page, "capsulorhexis_mm").focus()
    assert ready.value.status == 204
    with page.expect_response(f"**/ahead?capsulorhexis_mm={size + 0.2:g}"):
        page.keyboard.press("ArrowRight")
    _answered(page)
    expect(field(page, "capsulorhexis_mm")).to_have_value(f"{size + 0.1:g}")


def test_the_key_is_one_column_on_a_phone(page: Page) -> None:
    lefts = "all => new Set(all.map(e => Math.round(e.getBoundingClientRect().left))).size"
    for width, columns in ((390, 1), (1480, 2)):
        page.set_viewport_size({"width": width, "height": 844})
        open_case(page, HOOKED)
        assert page.locator("ul.key li").evaluate_all(lefts) == columns


def test_the_ghost_of_a_drag_is_what_stood_before_it(page: Page) -> None:
    open_case(page, HOOKED)
    first = page.locator("svg.eye-above circle.capsulorhexis").first.get_attribute("r")
    page.locator("#control-capsulorhexis_mm-less").click()
    _answered(page)
    page.locator("#control-capsulorhexis_mm-less").click()
    expect(page.locator(".ghost circle.capsulorhexis")).to_have_attribute("r", str(first))
    expect(page.locator(".ghost")).to_have_count(0)

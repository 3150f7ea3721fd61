"""Pages can be used by everyone: no violation of WCAG 2.2 AA, at three widths, on touch, by keyboard, on paper."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.reading import open_case

pytestmark = pytest.mark.browser
CASE = "trauma-gap"
LOOK = f"/cases/{CASE}/margins?capsulorhexis_mm=6&pupil_hooks=5&hook_reach_mm=3.4&weak_hours=4-7"
WIDTHS = [(1480, 1140), (1024, 768), (390, 844)]
VISITS = [(f"/cases/{CASE}", WIDTHS[1]), (LOOK, WIDTHS[-1]), ("/nowhere", WIDTHS[-1])]
"""The page of a case as decided and as tried; every other page is visited by test_every_page."""
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
SMALLEST_PX = 24
TOUCH_PX = 44


def violations(page: Page, axe: str) -> list[str]:
    """What the checker finds, each with the element that it is about."""
    page.evaluate(axe)
    # Whole: the checker also measures what the browser has not laid out yet, and finds it lying over the foot of the page.
    page.evaluate("document.querySelectorAll('.below > *').forEach(e => { e.style.contentVisibility = 'visible'; })")
    found: dict[str, Any] = page.evaluate(
        "rules => axe.run(document, {runOnly: {type: 'tag', values: rules}, resultTypes: ['violations']})", RULES
    )
    return [f"{v['id']}: {v['help']} at {v['nodes'][0]['html'][:120]}" for v in found["violations"]]


@pytest.mark.parametrize(("address", "size"), VISITS, ids=[f"{address}-{size[0]}" for address, size in VISITS])
def test_nothing_violates_the_guidelines(
    page: Page, axe: str, said: list[str], address: str, size: tuple[int, int]
) -> None:
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.goto(address)
    page.evaluate("document.querySelectorAll('#main details').forEach(d => { d.open = true; })")
    assert violations(page, axe) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    if address == "/nowhere":
        assert "404" in said.pop()


def test_a_page_at_four_hundred_percent_needs_no_sideways_scroll(page: Page) -> None:
    page.set_viewport_size({"width": 320, "height": 256})  # 1280 px at 400 %, WCAG 2.2 criterion 1.4.10
    page.goto(LOOK)
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


def test_targets_are_large_enough_for_a_finger(browser: Browser, base_url: str) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(base_url + LOOK)
    buttons = "main button, main .button, main select, main input:not([type=hidden])"
    sizes = page.locator(f"{buttons} >> visible=true").evaluate_all(
        "all => all.map(e => e.getBoundingClientRect().height)"
    )
    handles = page.locator(".handle:not(.twin) .target").evaluate_all(
        "all => all.map(e => e.getBoundingClientRect().height)"
    )
    context.close()
    assert len(sizes) > 10
    assert min(sizes) >= TOUCH_PX
    assert min(handles) >= SMALLEST_PX


def test_the_order_on_a_phone_is_decision_eye_margins_facts(page: Page) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    open_case(page, CASE)
    tops = [
        page.locator(part).evaluate("e => e.getBoundingClientRect().top + window.scrollY")
        for part in (".decision", ".card.eye", ".margins", ".known")
    ]
    assert tops == sorted(tops)


def test_what_has_the_focus_is_never_under_the_band(page: Page) -> None:
    page.set_viewport_size({"width": 1024, "height": 600})
    page.goto(LOOK)
    hidden = """() => {
        const e = document.activeElement, r = e.getBoundingClientRect();
        if (e.closest('.band, .skip, .trying')) return false;
        const band = document.querySelector('.band').getBoundingClientRect().bottom;
        const foot = document.querySelector('.trying').getBoundingClientRect().top;
        return r.bottom <= band || r.top >= foot;
    }"""
    for _ in range(45):
        page.keyboard.press("Tab")
        assert not page.evaluate(hidden), page.evaluate("document.activeElement.outerHTML.slice(0, 200)")


def test_the_identity_stays_in_sight(page: Page) -> None:
    for width, height in WIDTHS:
        page.set_viewport_size({"width": width, "height": height})
        open_case(page, CASE)
        page.mouse.wheel(0, 2000)
        expect(page.locator(".band .side-box")).to_be_in_viewport()
        expect(page.locator(".band .label")).to_be_in_viewport()


def test_margins_have_a_twin_that_is_a_table(page: Page) -> None:
    open_case(page, CASE)
    page.get_by_text("All margins as a table").click()
    rows = page.locator("#margins-table tbody tr")
    expect(rows).to_have_count(page.locator(".ropes > li").count())


def test_paper_leaves_out_what_can_only_be_pressed(page: Page) -> None:
    page.goto(LOOK)
    page.emulate_media(media="print")
    for part in (".controls", ".trying", ".places"):
        expect(page.locator(part).first).to_be_hidden()
    for part in (".side-box", "#decision", ".eye-above", ".ropes"):
        expect(page.locator(part).first).to_be_visible()
    colours = page.locator("body").evaluate("e => [getComputedStyle(e).color, getComputedStyle(e).backgroundColor]")
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]


def test_reduced_motion_leaves_no_ghost(browser: Browser, base_url: str) -> None:
    context = browser.new_context(reduced_motion="reduce", base_url=base_url)
    page = context.new_page()
    open_case(page, CASE)
    page.locator("#control-capsulorhexis_mm-more").click()
    expect(page.locator(".trying")).to_be_visible()
    expect(page.locator(".ghost")).to_be_hidden()
    context.close()


def test_a_touch_drags_too(browser: Browser, base_url: str) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    page.goto(f"{base_url}/cases/{CASE}")
    page.locator(".handle[data-control=capsulorhexis_mm]").scroll_into_view_if_needed()
    box = page.locator(".handle[data-control=capsulorhexis_mm] .target").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    before = page.locator("#control-capsulorhexis_mm").input_value()
    finger = context.new_cdp_session(page)
    finger.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x, "y": y}]})
    for step in range(1, 7):
        finger.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [{"x": x + 3 * step, "y": y}]})
        page.wait_for_timeout(30)
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    expect(page.locator(".trying")).to_be_visible()
    assert page.locator("#control-capsulorhexis_mm").input_value() != before
    context.close()

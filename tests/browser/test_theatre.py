"""Theatre in a browser: a case by keys alone, targets for a gloved hand, the wall, and nothing that violates the guidelines."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.test_access import violations

pytestmark = pytest.mark.browser
HERE = "/cases/brown-pseudoexfoliation/theatre"
TARGET_PX = 76
"""20 mm at 96 px to the inch."""
GAP_PX = 12
WALL_PX = 45
"""12 mm at 96 px to the inch."""
PLANNED_MS = 60_000


def step(page: Page) -> str:
    """The step on the screen."""
    return page.locator("#step-name").inner_text()


def test_steps_and_findings_go_by_keys_alone_and_what_changed_is_said(page: Page, axe: str) -> None:
    page.goto(HERE)
    first = step(page)
    page.keyboard.press("PageDown")
    expect(page.locator("#step-name")).not_to_have_text(first, timeout=PLANNED_MS)
    page.keyboard.press("Backspace")  # taken back
    expect(page.locator("#step-name")).to_have_text(first, timeout=PLANNED_MS)
    page.goto(f"{HERE}?step=pole")
    page.keyboard.press("1")  # the whole bag follows
    expect(page.locator(".answered")).to_contain_text("The plan now:", timeout=PLANNED_MS)
    expect(page.locator(".answered")).to_contain_text("hold of the lens is now short")
    expect(page.locator(".answered")).to_contain_text("OVD between nucleus and capsule")
    assert violations(page, axe) == []

    # An event plans again: what is done at once comes up, the lens goes elsewhere; taken back, the plan is as before.
    page.locator("#at-any-step summary").click()
    page.locator('#at-any-step button[value="rule capsule-open"]').click()
    expect(page.locator("#step-name")).to_have_text("Hold and look: the capsule", timeout=PLANNED_MS)
    expect(page.locator(".answered")).to_contain_text("The capsule is open behind: now “Hold and look: the capsule”")
    expect(page.locator(".answered")).to_contain_text("lens in the sulcus")
    expect(page.locator(".answered")).to_contain_text("from now on: retinal detachment within three years")
    page.keyboard.press("Backspace")
    expect(page.locator(".answered")).to_contain_text("Taken back: the capsule is open", timeout=PLANNED_MS)

    # Switched off, a key presses nothing.
    page.get_by_text("Keys and foot pedal").click()
    page.get_by_label("Keys work on this page").uncheck()
    address = page.url
    page.locator("body").click(position={"x": 5, "y": 5})
    page.keyboard.press("PageDown")
    page.wait_for_timeout(300)
    assert page.url == address


def test_targets_suit_a_gloved_hand_and_the_wall_is_read_from_two_metres(browser: Browser, base_url: str) -> None:
    context = browser.new_context(viewport={"width": 1024, "height": 768}, has_touch=True)
    context.set_default_navigation_timeout(2 * PLANNED_MS)
    page = context.new_page()
    page.goto(f"{base_url}{HERE}?step=puncture")
    sizes = [box for one in page.locator(".target button:visible, .go:visible").all() if (box := one.bounding_box())]
    assert len(sizes) >= 4
    assert min(box["height"] for box in sizes) >= TARGET_PX
    assert min(box["width"] for box in sizes) >= TARGET_PX
    for a in sizes:
        for b in sizes:
            if a is not b:
                across = max(a["x"], b["x"]) - min(a["x"] + a["width"], b["x"] + b["width"])
                down = max(a["y"], b["y"]) - min(a["y"] + a["height"], b["y"] + b["height"])
                assert max(across, down) >= GAP_PX - 0.5
    page.goto(f"{base_url}{HERE}?step=puncture&wall=1")
    for part in ("h1", ".do-now"):
        size = page.locator(f"main {part}").evaluate("e => parseFloat(getComputedStyle(e).fontSize)")
        assert size >= WALL_PX
    context.close()


@pytest.mark.parametrize("address", ["/checks", "/lens"])
def test_checks_and_lens_violate_nothing(page: Page, axe: str, address: str) -> None:
    page.goto(HERE + address)
    assert violations(page, axe) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= page.evaluate("innerWidth")

"""Two devices on one case: each sees what the other keeps within a second or so, and nothing is pulled from under a hand."""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

pytestmark = pytest.mark.browser
CASE = "white-swollen"
FIELD = "#row-biometry-axial-length-mm-field"
SOON_MS = 2_500
"""A second for the word, and the time that this computer needs for its page."""
PLANNED_MS = 60_000


@pytest.fixture
def pair(browser: Browser, base_url: str) -> Iterator[tuple[Page, Page]]:
    """Two pages on two devices."""
    contexts = [browser.new_context(base_url=base_url) for _ in range(2)]
    for context in contexts:
        context.set_default_navigation_timeout(2 * PLANNED_MS)
    yield contexts[0].new_page(), contexts[1].new_page()
    for context in contexts:
        context.close()


def enter(page: Page, row: str, value: str) -> None:
    """Type into a row and wait until it is kept."""
    page.locator(f"#row-{row}-field").fill(value)
    page.locator(f"#row-{row}-field").press("Tab")
    expect(page.locator(f"#row-{row} .state")).to_contain_text("saved ")


def test_rows_follow_and_what_is_being_typed_stays(pair: tuple[Page, Page]) -> None:
    clinic, theatre = pair
    for page in pair:
        page.goto(f"/cases/{CASE}/facts/biometry")
    theatre.locator("h1").click()
    enter(clinic, "biometry-k1-d", "43,1")
    begun = time.monotonic()
    expect(theatre.locator("#row-biometry-k1-d-field")).to_have_value("43.1", timeout=SOON_MS)
    assert time.monotonic() - begun < SOON_MS / 1000

    # While a field is being edited the news waits, is said, and is shown on demand without touching that field.
    field = theatre.locator(FIELD)
    field.focus()
    theatre.keyboard.press("Control+a")
    enter(clinic, "biometry-k2-d", "44,2")
    expect(theatre.locator("#news")).to_contain_text("1 new fact from another device")
    field.fill("23,9")
    theatre.locator("#news button").click()
    expect(theatre.locator("#row-biometry-k2-d-field")).to_have_value("44.2", timeout=SOON_MS)
    expect(theatre.locator("#news")).to_be_hidden()
    expect(field).to_have_value("23.9")  # left by the press on the button, and so kept


def test_the_plan_and_the_steps_follow_and_a_press_on_what_just_moved_does_nothing(pair: tuple[Page, Page]) -> None:
    clinic, theatre = pair
    clinic.goto(f"/cases/{CASE}/facts/lens")
    theatre.goto(f"/cases/{CASE}")
    enter(clinic, "lens-grade", "4")
    expect(theatre.locator("#look .known")).to_contain_text("grade 4", timeout=PLANNED_MS)
    theatre.goto(f"/cases/{CASE}/theatre")
    clinic.goto(f"/cases/{CASE}/theatre")
    first = theatre.locator("#step-name").inner_text()
    clinic.locator('[data-press="next"]').click()
    expect(theatre.locator("#step-name")).not_to_have_text(first, timeout=PLANNED_MS)
    second = theatre.locator("#step-name").inner_text()
    theatre.evaluate("document.querySelector('[data-press=next]').click()")
    expect(theatre.locator("#said")).to_contain_text("that press did nothing")
    theatre.wait_for_timeout(700)
    assert theatre.locator("#step-name").inner_text() == second

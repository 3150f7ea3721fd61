"""Everything but dragging works in a browser that runs no script."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

from tests.browser.reading import field, open_case

pytestmark = pytest.mark.browser
CASE = "hard-poor-endothelium"
SIZE = "capsulorhexis_mm"


@pytest.fixture
def browser_context_args(browser_context_args: dict[str, object]) -> dict[str, object]:
    """No script runs."""
    return {**browser_context_args, "java_script_enabled": False}


def test_a_press_of_plus_gives_the_page_with_the_new_margin(page: Page) -> None:
    open_case(page, CASE)
    start = float(field(page, SIZE).input_value())
    page.locator(f"#control-{SIZE}-more").click()
    assert float(field(page, SIZE).input_value()) == pytest.approx(start + 0.1)
    expect(page.locator("#margin-capsulorhexis .before")).to_be_visible()
    page.locator(f"#control-{SIZE}-more").click()
    assert float(field(page, SIZE).input_value()) == pytest.approx(start + 0.2)


def test_a_typed_value_is_worked_out_and_decided(page: Page) -> None:
    open_case(page, CASE)
    field(page, SIZE).fill("6.3")
    page.locator("noscript button").click()
    expect(page.locator(".trying")).to_contain_text("Capsulorhexis 6.3 mm")
    page.get_by_role("textbox", name="Reason").fill("without script")
    page.get_by_role("button", name="Decide", exact=True).click()
    expect(page).to_have_url(re.compile(rf"/cases/{CASE}\?since=\d+$"))
    expect(page.locator(".thread")).to_contain_text("without script")
    assert field(page, SIZE).input_value() == "6.3"


def test_a_refused_value_is_a_page_that_says_so(page: Page, said: list[str]) -> None:
    page.goto(f"/cases/{CASE}/margins?{SIZE}=99")
    expect(page.get_by_role("alert")).to_contain_text("0.5 to 12 mm")
    assert all("422" in message for message in said)
    said.clear()


def test_numbers_open(page: Page) -> None:
    open_case(page, CASE)
    behind = page.locator("#behind-capsulorhexis")
    behind.locator("summary").click()
    expect(behind.get_by_text("Studied for")).to_be_visible()


def test_an_end_of_the_gap_is_moved_and_recorded(page: Page) -> None:
    page.goto("/cases/trauma-gap")
    page.locator("#control-weak_to-more").click()
    expect(page.locator("#changed")).to_contain_text("Gap 4 to 7 o'clock instead of 4 to 6 o'clock")
    page.locator("#control-weak_from-more").click()
    expect(page.locator("svg.eye-above .gap-label")).to_have_text("gap 5–7")
    page.locator("#control-gap-none").click()
    expect(page.locator("svg.eye-above .gap-label")).to_have_count(0)
    page.locator("#control-gap-try").click()
    page.get_by_role("button", name="Record as seen").click()
    expect(page).to_have_url(re.compile(r"/cases/trauma-gap\?since=\d+$"))
    expect(page.locator("#changed")).to_contain_text("instead of 4 to 6 o'clock")
    expect(page.locator(".thread")).to_contain_text(re.compile(r"gap seen at 6\s"))

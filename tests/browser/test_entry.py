"""Facts entered on the page: kept by themselves, checked while typed, undone, shown to the plan, never lost in silence."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.browser.test_access import CASE, violations

pytestmark = pytest.mark.browser
ROW = "#row-biometry-axial-length-mm"
FIELD = f"{ROW}-field"
PLANNED_MS = 60_000
"""A whole plan on a computer that does much else meanwhile."""


def test_a_field_is_checked_kept_planned_upon_and_undone(page: Page, axe: str, said: list[str]) -> None:
    page.goto(f"/cases/{CASE}")
    page.get_by_role("navigation", name="Enter or change facts").get_by_role("link", name="Measurements").click()
    expect(page.locator("#entry")).to_be_focused()
    field = page.locator(FIELD)
    field.focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("26,5", delay=30)
    expect(page.locator(f"{ROW} .notes")).to_contain_text("fellow eye")  # said before it is kept
    page.keyboard.press("Tab")
    expect(page.locator(f"{ROW} .state")).to_contain_text("saved ")
    expect(page.locator("#look .known")).to_contain_text("length 26.5 mm", timeout=PLANNED_MS)
    expect(page.locator("#changed")).to_contain_text("length")
    assert violations(page, axe) == []
    page.locator(f"{ROW} .undo").click()
    expect(field).to_have_value("23.71")
    expect(page.locator("#look .known")).to_contain_text("undone in the form", timeout=PLANNED_MS)

    # Enter keeps a field, and sends no form.
    field.fill("2,37")
    field.press("Enter")
    expect(page.locator(f"{ROW} .state")).to_contain_text("14 to 40 mm")
    assert page.url.endswith(f"/cases/{CASE}")
    said[:] = [line for line in said if "422" not in line]

    # Without an answer the page says so, and sends it again by itself, once.
    page.route("**/facts/biometry", lambda route: route.abort())
    field.fill("23.8")
    field.press("Tab")
    expect(page.locator(f"{ROW} .state")).to_contain_text("not saved: no answer")
    page.unroute("**/facts/biometry")
    expect(page.locator(f"{ROW} .state")).to_contain_text("saved ", timeout=15_000)
    expect(page.locator("#look .known li", has_text="length 23.8 mm")).to_have_count(1, timeout=PLANNED_MS)
    said[:] = [line for line in said if "ERR_FAILED" not in line]


def test_two_tablets_that_disagree_are_told_and_one_settles_it(browser: Browser, base_url: str) -> None:
    address = f"{base_url}/cases/{CASE}/facts/lens"
    contexts = [browser.new_context(), browser.new_context()]
    pages = [context.new_page() for context in contexts]
    for one in pages:
        one.goto(address)
    # Both write before either has seen the other's: what one has seen would be no disagreement.
    for one, grade in zip(pages, ("3", "4,5"), strict=True):
        one.locator("#row-lens-grade-field").fill(grade)
    for one in pages:
        one.locator("#row-lens-grade-field").press("Tab")
        expect(one.locator("#row-lens-grade .state")).to_contain_text("saved ")
    dispute = pages[1].locator("#row-lens-grade-dispute")
    expect(dispute).to_contain_text("two facts disagree")
    dispute.get_by_text("4.5").click()
    dispute.get_by_label("Reason").fill("seen again at the slit lamp")
    dispute.get_by_role("button", name="Settle it").click()
    pages[0].reload()
    expect(pages[0].locator("#row-lens-grade-dispute")).to_have_count(0)
    expect(pages[0].locator("#row-lens-grade-field")).to_have_value("4.5")
    for context in contexts:
        context.close()

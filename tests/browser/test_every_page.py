"""Every page that a person may open: no violation of WCAG 2.2 AA, and enough contrast in each of the three themes."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import Page

from forestay.draw.palette import THEMES
from tests.browser.test_access import violations

pytestmark = pytest.mark.browser
CASE = "/cases/white-swollen"
PAGES = [
    "/",
    "/reference",
    "/reference/lens-power",
    "/evidence?q=zonule+limit",
    "/day",
    "/sort",
    "/import",
    "/review?practice=invented",
    "/cases/new",
    "/settings",
    "/settings/lenses",
    "/settings/theatre",
    *(f"{CASE}/{place}" for place in ("facts", "facts/lens", "consent", "weights", "follow-up", "note")),
    *(f"{CASE}/theatre{place}" for place in ("?wall=1", "/checks", "/lens")),
]


def faint(page: Page) -> list[str]:
    """What has too little contrast in the theme that is on."""
    found: dict[str, Any] = page.evaluate(
        "axe.run(document, {runOnly: {type: 'rule', values: ['color-contrast']}, resultTypes: ['violations']})"
    )
    return [f"{node['html'][:120]}: {node['failureSummary'][:160]}" for v in found["violations"] for node in v["nodes"]]


@pytest.mark.parametrize("address", PAGES)
def test_every_page_violates_nothing_in_any_theme(page: Page, axe: str, address: str) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(address)
    page.evaluate("document.querySelectorAll('#main details').forEach(d => { d.open = true; })")
    assert violations(page, axe) == []
    for theme in sorted(set(THEMES) - {"light"}):  # which was looked at just now
        page.evaluate("theme => { document.documentElement.dataset.theme = theme; }", theme)
        assert (theme, faint(page)) == (theme, [])
    assert page.evaluate("document.documentElement.scrollWidth") <= page.evaluate("innerWidth")

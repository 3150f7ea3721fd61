"""Three themes: readable by the checker, drawings that follow, and paper that is black on white whatever the screen."""

from __future__ import annotations

import pytest
from playwright.sync_api import Page, expect

from forestay.draw.palette import THEMES
from tests.browser.reading import open_case
from tests.browser.test_access import CASE, LOOK
from tests.browser.test_every_page import faint

pytestmark = pytest.mark.browser


def rgb(colour: str) -> str:
    """``#rrggbb`` as a browser writes it."""
    return f"rgb({', '.join(str(int(colour[i : i + 2], 16)) for i in (1, 3, 5))})"


def choose(page: Page, theme: str) -> None:
    """Press the theme at the foot of the page."""
    page.get_by_role("button", name=theme, exact=True).click()
    expect(page.locator("html")).to_have_attribute("data-theme", theme)


def test_each_theme_is_readable_and_the_drawing_follows(page: Page, axe: str) -> None:
    page.goto(LOOK)
    page.evaluate("document.querySelectorAll('#main details').forEach(d => { d.open = true; })")
    page.evaluate("scrollTo(0, 0)")  # what is tried stands at the foot of the window, over whatever is there just then
    for theme, palette in THEMES.items():
        choose(page, theme)
        assert page.url.endswith(LOOK)
        assert page.locator("body").evaluate("e => getComputedStyle(e).backgroundColor") == rgb(palette.paper)
        for part, colour in ((".ground", palette.card), (".port", palette.ink)):
            fill = page.locator(f"svg.eye-above {part}").first.evaluate("e => getComputedStyle(e).fill")
            assert fill == rgb(colour)
        page.evaluate("document.querySelectorAll('#main details').forEach(d => { d.open = true; })")
        page.evaluate("scrollTo(0, 0)")
        if theme != "light":  # which the test of the guidelines looks at
            page.evaluate(axe)
            assert (theme, faint(page)) == (theme, [])
        assert page.evaluate("document.documentElement.scrollWidth") <= page.evaluate("innerWidth")


@pytest.mark.parametrize("theme", ["dark", "theatre"])
def test_paper_is_black_on_white_whatever_the_screen(page: Page, theme: str) -> None:
    open_case(page, CASE)
    choose(page, theme)
    page.emulate_media(media="print")
    colours = page.locator("body").evaluate("e => [getComputedStyle(e).color, getComputedStyle(e).backgroundColor]")
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    assert page.locator("svg.eye-above .ground").evaluate("e => getComputedStyle(e).fill") == "rgb(255, 255, 255)"
    assert page.locator("svg.eye-above .capsulorhexis").evaluate("e => getComputedStyle(e).stroke") == "rgb(0, 0, 0)"


def test_a_theme_never_changes_by_itself(page: Page) -> None:
    page.emulate_media(color_scheme="dark")
    open_case(page, CASE)
    expect(page.locator("html")).to_have_attribute("data-theme", "light")
    choose(page, "theatre")
    page.emulate_media(color_scheme="light")
    page.goto("/evidence?q=zonule")
    expect(page.locator("html")).to_have_attribute("data-theme", "theatre")

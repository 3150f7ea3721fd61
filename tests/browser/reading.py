"""What a test reads from the page of a case."""

from __future__ import annotations

from playwright.sync_api import Locator, Page, expect


def margin(page: Page, key: str) -> Locator:
    """The size of one margin, in words."""
    return page.locator(f"#margin-{key} .gist .margin")


def field(page: Page, name: str) -> Locator:
    """The field of one control."""
    return page.locator(f"#control-{name}")


def handle(page: Page, name: str) -> Locator:
    """The handle of one control in the drawing."""
    return page.locator(f'svg.eye-above .handle[data-control="{name}"]:not(.twin)')


def around(page: Page, name: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """The middle of a handle and the middle of the eye on the screen [px], with the handle in sight."""
    spot = middle(handle(page, name))
    box = page.locator("svg.eye-above circle.limbus").bounding_box()
    assert box is not None
    return spot, (box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


def open_case(page: Page, name: str) -> None:
    """The page of a case, ready to be used."""
    page.goto(f"/cases/{name}")
    expect(page.locator("#main")).to_be_visible()


def middle(place: Locator) -> tuple[float, float]:
    """The middle of something on the screen [px]."""
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    assert box is not None
    return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

"""Weights in a browser: the slider moves the field, the answer comes without a new page."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import Page, expect

pytestmark = pytest.mark.browser
HERE = "/cases/brown-pseudoexfoliation/weights"


def test_slider_field_and_buttons_are_one_and_the_order_follows(page: Page) -> None:
    page.goto(HERE)
    expect(page.locator("#weighed")).to_contain_text("nothing is scored")
    slider, field = page.locator('[name="slide_astigmatism"]'), page.locator('[name="astigmatism"]')
    slider.fill("3")
    expect(field).to_have_value("3")
    expect(page.locator("#weighed")).to_contain_text(re.compile("phacoemulsification (comes first|leads)"))
    page.locator('button[value="astigmatism:-1"]').click()
    expect(slider).to_have_value("2")
    field.fill("")
    expect(page.locator("#weighed")).to_contain_text("nothing is scored")

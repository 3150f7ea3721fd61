"""The list of cases: found by name, side and findings; a long list plans only its first cases."""

from __future__ import annotations

import re
from uuid import uuid4

import pytest

from forestay.demo import NAMES
from forestay.services.planning import Desk
from forestay.web.pages.cases import PLANNED_AT_ONCE
from tests.web.desk import CASE
from tests.web.visitor import Visitor


def listed(page: str) -> list[str]:
    """The cases of the page, in order."""
    return re.findall(r'<h2><a href="/cases/([^"]+)">', page)


@pytest.mark.parametrize("q", ["TRAUMA", "right gap", "  trauma-gap  ", "46 injury"])
def test_a_case_is_found_by_what_is_said_of_it(client: Visitor, q: str) -> None:
    page = client.get("/", params={"q": q}).text
    assert CASE in listed(page)
    assert f"{len(listed(page))} of {len(NAMES)} cases" in page


def test_what_is_not_there_is_said(client: Visitor) -> None:
    page = client.get("/", params={"q": "no such eye"}).text
    assert listed(page) == []
    assert f"0 of {len(NAMES)} cases" in page


def test_a_long_list_plans_only_its_first_cases(client: Visitor, desk: Desk) -> None:
    for number in range(PLANNED_AT_ONCE + 10):
        desk.open_case(f"n{number}", side="left", age_years=70.0, key=uuid4())
    page = client.get("/").text
    total = PLANNED_AT_ONCE + 10 + len(NAMES)
    assert len(listed(page)) == total
    assert page.count("Open it to plan it.") == total - PLANNED_AT_ONCE
    assert f"the first {PLANNED_AT_ONCE} are planned here" in page

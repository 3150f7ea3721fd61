"""The list of cases: found by name, side and findings; a long list plans only its first cases."""

from __future__ import annotations

import re
from uuid import uuid4

import pytest

from forestay.demo import NAMES
from forestay.services.cases import KeptCase
from forestay.services.planning import Desk
from forestay.web.pages.cases import ON_A_PAGE, PLANNED_AT_ONCE
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


def test_a_list_of_many_cases_comes_in_pages_and_no_case_is_missing(client: Visitor, desk: Desk) -> None:
    names = [f"n{number}" for number in range(ON_A_PAGE)]
    for name in names:
        desk.open_case(name, side="left", age_years=70.0, key=uuid4())
    pages = [client.get("/", params={"page": page}).text for page in (1, 2, 3)]
    assert 'rel="prev"' not in pages[0]
    assert 'rel="next"' in pages[0]
    assert 'rel="prev"' in pages[1]
    assert 'rel="next"' not in pages[1]
    assert pages[2] == pages[1]  # beyond the last page is the last page
    assert sorted(listed(pages[0]) + listed(pages[1])) == sorted([*names, *NAMES])


def test_a_line_is_read_again_when_its_case_has_more_facts_and_only_then(
    client: Visitor, desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    client.get("/", params={"q": "eye"})
    opened: list[str] = []
    whole = Desk.open

    def counted(self: Desk, case_id: str) -> KeptCase:
        opened.append(case_id)
        return whole(self, case_id)

    monkeypatch.setattr(Desk, "open", counted)
    assert client.get("/", params={"q": "eye"}).status_code == 200
    assert opened == []
    desk.record_seen(CASE, {"signs.pupil_dilated_mm": 3.1}, key=uuid4())
    assert CASE in listed(client.get("/", params={"q": "3.1"}).text)
    assert set(opened) == {CASE}

"""What every answer carries, and who is turned away."""

from __future__ import annotations

from uuid import uuid4

import pytest

from forestay.services.planning import Desk
from tests.web.desk import CASE
from tests.web.visitor import Visitor

# The policy asked for, written out again: a change of the code must be a change here.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
ADDRESSES = ("/", f"/cases/{CASE}", "/nowhere", "/api/calc", "/api/calc/nothing/schema", "/health", "/evidence")


@pytest.mark.parametrize("address", ADDRESSES)
def test_every_answer_carries_the_headers_and_is_not_kept(client: Visitor, address: str) -> None:
    headers = client.get(address).headers
    assert headers["content-security-policy"] == POLICY
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert "camera=()" in headers["permissions-policy"]
    assert headers["cache-control"] == "no-store"


def test_built_files_may_be_kept_for_ever(client: Visitor) -> None:
    page = client.get("/").text
    address = page.partition('rel="stylesheet" href="')[2].partition('"')[0]
    answer = client.get(address)
    assert answer.status_code == 200
    assert "immutable" in answer.headers["cache-control"]
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert client.get("/static/none.css").headers["cache-control"] == "no-store"


@pytest.mark.parametrize("site", [{"Sec-Fetch-Site": "cross-site"}, {"Origin": "https://elsewhere.example"}])
def test_another_sites_page_changes_nothing(client: Visitor, desk: Desk, site: dict[str, str]) -> None:
    facts = len(desk.open(CASE).facts)
    form = {"ring": "none", "reason": "x", "key": str(uuid4())}
    assert client.post(f"/cases/{CASE}/decisions", data=form, headers=site).status_code == 403
    assert len(desk.open(CASE).facts) == facts


@pytest.mark.parametrize("site", [{}, {"Sec-Fetch-Site": "same-origin"}, {"Origin": "http://localhost"}])
def test_the_own_page_and_a_program_may_ask(client: Visitor, site: dict[str, str]) -> None:
    form = {"ring": "none", "reason": "x", "key": str(uuid4())}
    assert client.post(f"/cases/{CASE}/decisions", data=form, headers=site).status_code == 200


def test_another_name_of_this_computer_is_refused(client: Visitor) -> None:
    assert client.get("/", headers={"Host": "rebound.example"}).status_code == 400

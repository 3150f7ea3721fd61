"""The theme: chosen by the reader, kept in a cookie, never changed by anything else."""

from __future__ import annotations

import pytest

from forestay.web.preferences import own_path
from tests.web.visitor import Visitor

HERE = "http://localhost"


def test_a_page_is_light_until_somebody_chooses(client: Visitor) -> None:
    assert 'data-theme="light"' in client.get("/").text
    dark = client.get("/", headers={"Cookie": "theme=dark", "Sec-CH-Prefers-Color-Scheme": "light"})
    assert 'data-theme="dark"' in dark.text
    assert '<button name="theme" value="dark" aria-pressed="true"' in dark.text


def test_a_choice_is_kept_and_leads_back_to_the_same_page(client: Visitor) -> None:
    page = f"{HERE}/evidence?q=zonule"
    answer = client.post("/theme", data={"theme": "theatre"}, headers={"Referer": page}, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/evidence?q=zonule"
    assert answer.headers["set-cookie"].startswith("theme=theatre;")
    assert "HttpOnly" in answer.headers["set-cookie"]


def test_an_unknown_theme_is_refused_and_a_foolish_cookie_ignored(client: Visitor) -> None:
    refused = client.post("/theme", data={"theme": "sepia"})
    assert refused.status_code == 422
    assert "allowed: light, dark, theatre" in refused.text
    for cookie in ("theme=sepia", "theme", ";;=", "theme=<script>"):
        assert 'data-theme="light"' in client.get("/", headers={"Cookie": cookie}).text


@pytest.mark.parametrize(
    ("address", "path"),
    [
        ("http://localhost/cases/a?since=3", "/cases/a?since=3"),
        ("http://elsewhere.example/cases/a", "/"),
        ("http://localhost//elsewhere.example", "/"),
        ("javascript:alert(1)", "/"),
        (None, "/"),
    ],
)
def test_the_way_back_never_leaves_this_site(address: str | None, path: str) -> None:
    assert own_path(address, "localhost") == path

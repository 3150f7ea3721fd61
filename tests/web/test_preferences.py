"""Theme and language: chosen by the reader, kept in a cookie; without a choice of a language the browser says which."""

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


@pytest.mark.parametrize(
    ("headers", "tag"),
    [
        ({}, "en"),
        ({"Accept-Language": "fr-CA,fr;q=0.9,en;q=0.5"}, "fr"),
        ({"Accept-Language": "de,en;q=0.7,fr;q=0.3"}, "en"),
        ({"Accept-Language": "de"}, "en"),
        ({"Accept-Language": "fr", "Cookie": "language=en"}, "en"),
        ({"Accept-Language": "en", "Cookie": "language=fr; theme=dark"}, "fr"),
        ({"Accept-Language": "en", "Cookie": "language=../../etc"}, "en"),
        ({"Accept-Language": "fr;q=lots, en"}, "en"),
    ],
)
def test_the_page_speaks_the_language_that_was_chosen_or_that_the_browser_asks_for(
    client: Visitor, headers: dict[str, str], tag: str
) -> None:
    page = client.get("/sort", headers=headers).text
    assert f'<html lang="{tag}"' in page
    assert ("Aucun chirurgien travaillant en français" in page) == (tag == "fr")
    assert (">Triage<" in page or "Plusieurs yeux" in page) == (tag == "fr")
    assert f'<button name="language" value="{tag}" lang="{tag}" aria-pressed="true"' in page


def test_a_chosen_language_is_kept_and_an_unknown_one_refused_in_the_readers_language(client: Visitor) -> None:
    page = f"{HERE}/evidence?q=zonule"
    answer = client.post("/language", data={"language": "fr"}, headers={"Referer": page}, follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/evidence?q=zonule"
    assert answer.headers["set-cookie"].startswith("language=fr;")
    refused = client.post("/language", data={"language": "xx"}, headers={"Accept-Language": "fr"})
    assert refused.status_code == 422
    assert "admis\N{NO-BREAK SPACE}: en, fr" in refused.text


def test_a_plan_kept_for_one_reader_is_not_shown_to_another_in_the_wrong_language(client: Visitor) -> None:
    case = client.get("/").text.split('href="/cases/')[1].split('"')[0]
    shown = [client.get(f"/cases/{case}", headers={"Accept-Language": tag}).text for tag in ("fr", "en", "fr")]
    assert "Aide à la décision" in shown[0]
    assert "Decision support" not in shown[0]
    assert "Decision support" in shown[1]
    assert "Aide à la décision" not in shown[1]
    assert "Aide à la décision" in shown[2]

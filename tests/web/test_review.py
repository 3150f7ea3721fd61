"""The page of the review: empty, invented, chosen by period and surgeon, wrong day."""

from __future__ import annotations

import csv
import html
import io
import re

from tests.web.visitor import Visitor


def test_an_empty_practice_says_how_to_begin(client: Visitor) -> None:
    page = client.get("/review")
    assert page.status_code == 200
    assert "No operation is recorded yet" in page.text


def test_an_invented_practice_is_marked_and_has_drawings_with_tables(client: Visitor) -> None:
    page = client.get("/review?practice=invented")
    assert "Invented practice." in page.text
    assert (
        page.text.count('class="chart"') == 11
    )  # rates, sums, balance, funnel, gaps, errors, within, incisions; told intervals, a trainee twice
    assert page.text.count("<table>") >= page.text.count('class="chart"')
    assert "Not a medical device" in page.text or "not a medical device" in page.text


def test_a_surgeon_may_be_chosen_and_the_choice_stays(client: Visitor) -> None:
    page = client.get("/review?practice=invented&surgeon=surgeon-4")
    assert "<option selected>surgeon-4</option>" in page.text
    assert 'aria-labelledby="funnel-title-words"' not in page.text  # one surgeon is no funnel
    assert "Stop and look" in page.text


def test_a_wrong_day_is_named(client: Visitor) -> None:
    page = client.get("/review?since=soon")
    assert page.status_code == 422
    assert "since is soon; allowed: a day as in 2026-01-31." in page.text


def test_peers_are_laid_beside_and_a_wrong_table_is_told(client: Visitor) -> None:
    table = "name,operations,events\nunit A,800,30\nunit B,1200,44\n"
    page = client.post("/review", data={"practice": "invented", "peers": table})
    assert page.status_code == 200
    assert "this practice" in page.text
    assert "unit B" in page.text
    wrong = client.post("/review", data={"practice": "invented", "peers": "name,operations,events\nunit A,8,30\n"})
    assert wrong.status_code == 422
    assert "Line 2: events is 30" in wrong.text


def test_the_tables_of_the_page_come_as_a_file_with_the_same_choice(client: Visitor) -> None:
    page = client.get("/review?practice=invented&surgeon=surgeon-4")
    address = re.search(r'href="(/review\.csv\?[^"]+)"', page.text)
    assert address is not None
    file = client.get(html.unescape(address[1]))
    assert (file.status_code, file.headers["content-type"]) == (200, "text/csv; charset=utf-8")
    assert "review-invented.csv" in file.headers["content-disposition"]
    lines = list(csv.reader(io.StringIO(file.text.removeprefix("\ufeff"))))
    cells = {cell for line in lines for cell in line}
    shown = {html.unescape(cell) for cell in re.findall(r"<(?:td|th)[^>]*>([^<]+)</", page.text)}
    assert {cell for cell in shown if cell not in cells and f"'{cell}" not in cells} == set()
    assert any("not a medical device" in line[0].lower() for line in lines if line)
    assert not any(cell[:1] in "=+@\t" for cell in cells if cell and not cell.lstrip("+-").replace(".", "").isdigit())
    assert client.get("/review.csv?since=soon").status_code == 422


def test_a_small_practice_exports_no_more_than_the_page_shows(client: Visitor) -> None:
    file = client.get("/review.csv")
    assert "No operation is recorded yet" in file.text
    assert len(file.text.strip().splitlines()) == 2

"""The page of the review: empty, invented, chosen by period and surgeon, wrong day."""

from __future__ import annotations

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

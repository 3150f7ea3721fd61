"""The page of a case gone through again."""

from __future__ import annotations

from tests.web.visitor import Visitor


def test_answers_come_one_by_one_and_are_not_in_the_page_before(client: Visitor) -> None:
    first = client.get("/review/again").text
    assert "Nobody has this eye." in first
    assert "What the plan had said" not in first
    assert 'href="/review/again?question=1&amp;answer=1#turn-1"' in first
    answered = client.get("/review/again?question=1&answer=1").text
    assert "What the plan had said" in answered
    assert "How it ended" not in answered
    end = client.get("/review/again?question=99&answer=1").text
    assert "How it ended" in end
    assert "One eye proves no prediction right or wrong" in end


def test_odd_numbers_of_a_question_are_read_as_the_first(client: Visitor) -> None:
    for text in ("", "0", "-4", "two", "²"):
        page = client.get(f"/review/again?question={text}")
        assert page.status_code == 200
        assert 'id="turn-2"' not in page.text


def test_a_case_without_an_operation_is_not_found(client: Visitor) -> None:
    page = client.get("/cases/trauma-gap/again")
    assert page.status_code == 404
    assert "nothing to go through" in page.text

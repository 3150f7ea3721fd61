"""From an error to an answer: JSON, a fragment, or a page."""

from __future__ import annotations

import json
import logging

import pytest
from fastapi import FastAPI

from tests.web.desk import CASE
from tests.web.visitor import Visitor

ERROR_KEYS = {"code", "field", "value", "allowed", "message"}


def test_json_has_the_one_error_shape(client: Visitor) -> None:
    for address, status in (("/api/calc/nothing/schema", 404), ("/api/nowhere", 404)):
        answer = client.get(address)
        assert answer.status_code == status
        assert set(answer.json()) == {"error"}
        assert set(answer.json()["error"]) == ERROR_KEYS


def test_a_visitor_gets_a_page_and_the_page_itself_a_fragment(client: Visitor) -> None:
    address = f"/cases/{CASE}/margins?capsulorhexis_mm=99"
    page = client.get(address)
    part = client.get(address, headers={"HX-Request": "true", "HX-Request-Type": "partial"})
    assert page.status_code == part.status_code == 422
    assert page.text.startswith("<!doctype html>")
    assert part.text.strip().startswith('<p role="alert"')
    assert (part.headers["hx-retarget"], part.headers["hx-reswap"]) == ("#alert", "innerHTML")
    for answer in (page, part):
        assert "capsulorhexis_mm is 99" in answer.text
        assert "0.5 to 12 mm" in answer.text  # the row limit.capsulorhexis_mm


def test_a_method_that_is_not_offered_is_refused_in_the_same_shape(client: Visitor) -> None:
    answer = client.ask("PUT", "/api/calc")
    assert answer.status_code == 405
    assert set(answer.json()["error"]) == ERROR_KEYS


def test_a_fault_of_the_program_tells_nothing_of_the_case(
    app: FastAPI, client: Visitor, caplog: pytest.LogCaptureFixture
) -> None:
    @app.get("/api/broken")
    def broken() -> None:
        raise RuntimeError("age 71, length 22.4")

    with caplog.at_level(logging.ERROR, logger="forestay"):
        answer = client.get("/api/broken")
    assert answer.status_code == 500
    assert answer.json()["error"]["code"] == "unexpected"
    assert "22.4" not in json.dumps(answer.json())
    assert "22.4" not in caplog.text
    assert answer.headers["cache-control"] == "no-store"

"""The JSON interface: every calculation answers its example, a list keeps its places, an error has its one shape."""

from __future__ import annotations

import json

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis import Case
from schemathesis.specs.openapi.checks import positive_data_acceptance

from forestay import __version__
from forestay.calc.table import CALCULATIONS
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.web.desk import invented_desk
from tests.web.visitor import Visitor

ENVELOPE = {"calculation", "result", "doubts", "sources"}
ERROR_KEYS = {"code", "field", "value", "allowed", "message"}
EXAMPLE = {"stock_mg_per_ml": 50.0, "stock_ml": 1.0, "diluent_ml": 4.0, "given_ml": 0.1}


def test_health_says_the_version(client: Visitor) -> None:
    assert client.get("/health").json() == {"status": "ok", "version": __version__}


def test_the_list_names_every_calculation(client: Visitor) -> None:
    listed = client.get("/api/calc").json()["calculations"]
    assert [row["name"] for row in listed] == list(CALCULATIONS)


@pytest.mark.parametrize("name", CALCULATIONS)
def test_every_calculation_answers_its_example_and_shows_its_schema(client: Visitor, name: str) -> None:
    answer = client.post(f"/api/calc/{name}", json=dict(CALCULATIONS[name].example))
    assert answer.status_code == 200, answer.text
    assert set(answer.json()) == ENVELOPE
    assert answer.json()["calculation"] == name
    assert client.get(f"/api/calc/{name}/schema").json()["additionalProperties"] is False


def test_a_list_is_answered_item_by_item_with_errors_in_their_place(client: Visitor) -> None:
    items = [EXAMPLE, {**EXAMPLE, "stock_ml": -1.0}, 7, EXAMPLE]
    first, second, third, fourth = client.post("/api/calc/dilution", json=items).json()
    assert set(first) == set(fourth) == ENVELOPE
    assert first == fourth
    assert second["error"]["field"] == "stock_ml"
    assert set(third["error"]) == ERROR_KEYS
    # 50 mg/ml x 1 ml in 5 ml is 10 mg/ml; 0.1 ml of it holds 1 mg: arithmetic.
    assert first["result"]["final_mg_per_ml"] == pytest.approx(10.0)
    assert first["result"]["dose_mg"] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("body", "status", "code"),
    [
        (b"", 400, "unreadable-file"),
        (b"\xff\xfe", 400, "unreadable-file"),
        (b"{", 400, "unreadable-file"),
        (b'{"stock_ml": NaN}', 400, "unreadable-file"),
        (b"[" * 100_000, 400, "unreadable-file"),
        (b"7", 422, "invalid-input"),
        (b"{}", 422, "missing-input"),
        (b'{"misspelt": 1}', 422, "unknown-key"),
        (json.dumps({**EXAMPLE, "stock_ml": "1"}).encode(), 422, "invalid-input"),
        (b'{"\\ud800": 1}', 422, "invalid-input"),  # half a character
        (b" " * 4_000_001, 413, "too-large"),
    ],
)
def test_a_bad_body_is_one_clear_error(client: Visitor, body: bytes, status: int, code: str) -> None:
    answer = client.post("/api/calc/dilution", content=body)
    assert (answer.status_code, answer.json()["error"]["code"]) == (status, code)
    assert set(answer.json()["error"]) == ERROR_KEYS


def test_an_unknown_calculation_is_not_found_and_the_known_ones_are_named(client: Visitor) -> None:
    for answer in (client.post("/api/calc/magic", json={}), client.get("/api/calc/magic/schema")):
        assert answer.status_code == 404
        assert "dilution" in answer.json()["error"]["allowed"]


schema = schemathesis.openapi.from_asgi(
    "/api/openapi.json", create_app(Settings(invented_desk(), hosts=("testserver",)))
)


BEYOND_A_DESCRIPTION = {"POST /api/cases/{case_id}/facts": [positive_data_acceptance]}
"""A fact's body is a text that is itself JSON of its kind, and its header names the case of the address: no description
in JSON Schema says so, so what follows the description may still be refused. Accepted facts have tests of their own."""


@schema.parametrize()
@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
def test_whatever_is_sent_is_answered_as_described(case: Case) -> None:
    case.call_and_validate(excluded_checks=BEYOND_A_DESCRIPTION.get(case.operation.label))

"""Odd requests, made from the interface's own description: never an error of the server, never an undocumented answer."""

from __future__ import annotations

from urllib.parse import quote

import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import response_schema_conformance, status_code_conformance

from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk, keep_demo
from forestay.store.memory import MemoryFactStore
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.web.desk import CASE, invented_plan
from tests.web.test_routes import filled, routes
from tests.web.visitor import Visitor


def application() -> FastAPI:
    """An application over a store that forgets."""
    store = MemoryFactStore()
    keep_demo(store)
    desk = Desk(store, Planner(invented_plan), Who(author="desk", device="web"))
    return create_app(Settings(desk, hosts=("localhost", "testserver")))


APP = application()
schema = schemathesis.openapi.from_asgi("/api/openapi.json", APP)


@schema.parametrize()
@settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
def test_no_request_that_the_description_allows_or_bends_makes_the_server_fail(case: schemathesis.Case) -> None:
    answer = case.call(base_url="http://localhost")
    case.validate_response(answer, checks=[not_a_server_error, status_code_conformance, response_schema_conformance])


PAGES = sorted(one for one in routes(APP) if not one[1].startswith("/api/"))
WORDS = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["", "5.6", "5,6", "-1", "1e999", "nan", "none", CASE, "x" * 500, "12 12 12", "\x00", "\ud7ff", "%00"]
    ),
)
NAMES = st.sampled_from(
    [
        "capsulorhexis_mm",
        "ring",
        "reason",
        "key",
        "based_on",
        "weak_hours",
        "step",
        "held",
        "since",
        "why",
        "fact",
        "q",
        "name",
        "birth_date",
        "input",
        "theme",
        "age_years",
        "side",
        "case_id",
        "biometry.k1_d",
        "path",
        "choice",
    ]
)


@settings(max_examples=120, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.sampled_from(PAGES), WORDS, st.dictionaries(NAMES, WORDS, max_size=5), st.booleans())
def test_no_address_query_or_form_makes_a_page_fail(
    page: tuple[str, str], part: str, words: dict[str, str], own_case: bool
) -> None:
    method, path = page
    address = filled(path.replace("{case_id}", CASE if own_case else quote(part, safe="") or "x"))
    sent = {"params": words} if method == "GET" else {"data": words}
    answer = Visitor(APP).ask(method, address, follow_redirects=False, **sent)
    assert answer.status_code < 500, (method, address, words, answer.text[:300])

"""The pages made from the table of calculations and from the rows of evidence."""

from __future__ import annotations

import html
import json
from typing import Annotated, Literal

import pytest
from pydantic import Field

from forestay.calc.table import CALCULATIONS
from forestay.evidence import default_evidence
from forestay.eye.quantity import bounds, limit, within
from forestay.record import Record
from forestay.web.views.evidence import evidence_view
from forestay.web.views.reference import key_rows
from tests.web.visitor import Visitor


class Inner(Record):
    """A table inside."""

    a: Annotated[float, Field(ge=100, le=130, description="A constant")]


class Outer(Record):
    """One key of every kind."""

    axial_length_mm: Annotated[float, within("axial_length_mm")]
    eye: Literal["right", "left"] | None = None
    constant: Inner
    hours: tuple[float, ...] = Field(default=(), strict=False)
    step_d: Annotated[float, within("axial_length_mm")] | None = 20.0
    toric: bool = False
    several: tuple[Inner, ...] = Field(default=(), strict=False)


def test_keys_carry_meaning_unit_range_and_what_is_taken_otherwise() -> None:
    rows = {row.name: row for row in key_rows(Outer)}
    low, high = bounds("axial_length_mm")
    length = rows["axial_length_mm"]
    assert (length.unit, length.allowed, length.needed) == ("mm", f"{low:g} to {high:g}", True)
    assert length.meaning == limit("axial_length_mm").meaning
    assert (rows["eye"].allowed, rows["eye"].needed, rows["eye"].default) == ("right, left", False, "")
    assert rows["constant.a"].allowed == "100 to 130"
    assert rows["hours"].allowed == "list of a number"
    assert (rows["step_d"].default, rows["step_d"].unit) == ("20.0", "mm")
    assert rows["toric"].allowed == "true or false"
    assert rows["several[].a"].meaning == "A constant"


@pytest.mark.parametrize("name", CALCULATIONS)
def test_every_calculation_has_a_page_with_its_example_run(client: Visitor, name: str) -> None:
    page = client.get(f"/reference/{name}")
    assert page.status_code == 200
    text = html.unescape(page.text)
    row = CALCULATIONS[name]
    assert row.summary in text
    assert row.formula in text
    assert f'"calculation": "{name}"' in text
    for key in row.input.model_fields:
        assert f"<code>{key}" in page.text


def test_an_own_input_is_answered_and_a_bad_one_explained(client: Visitor) -> None:
    example = {"stock_mg_per_ml": 50.0, "stock_ml": 1.0, "diluent_ml": 9.0, "given_ml": 0.1}
    good = client.get("/reference/dilution", params={"input": json.dumps(example)})
    assert '"final_mg_per_ml": 5.0' in html.unescape(good.text)  # 50 x 1 / 10: arithmetic
    for text, words in (("{", "not JSON"), ('{"stock_ml": 1}', "missing"), ("[1", "not JSON")):
        bad = client.get("/reference/dilution", params={"input": text})
        assert bad.status_code == 422
        assert 'role="alert"' in bad.text
        assert words in bad.text


def test_an_unknown_calculation_has_no_page(client: Visitor) -> None:
    assert client.get("/reference/magic").status_code == 404


def test_the_list_leads_to_every_page(client: Visitor) -> None:
    page = client.get("/reference").text
    assert all(f'href="/reference/{name}"' in page for name in CALCULATIONS)


def test_every_row_of_evidence_is_shown_with_source_standing_and_doubt(client: Visitor) -> None:
    page = html.unescape(client.get("/evidence").text)
    for row in default_evidence().values():
        assert f"<code>{row.key}</code>" in page
        assert row.source.citation in page
        assert (row.doubt or "") in page


def test_the_filter_leaves_rows_with_every_word_and_the_standing() -> None:
    every = evidence_view("", "")
    some = evidence_view("limit axial", "common practice")
    assert len(every.rows) == every.total == len(default_evidence())
    assert "limit.axial_length_mm" in [row.key for row in some.rows]
    assert all(row.standing == "common practice" and "limit" in row.key + row.citation.lower() for row in some.rows)
    assert evidence_view("no such words anywhere", "").rows == ()


def test_a_citation_as_a_plan_writes_it_finds_its_rows() -> None:
    use = default_evidence().reader()
    cited = next(row for row in default_evidence().values() if row.source.doi)
    use.row(cited.key)
    assert cited.key in [row.key for row in evidence_view(use.sources()[0]["citation"], "").rows]

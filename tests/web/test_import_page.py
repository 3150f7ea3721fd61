"""The page that takes a file: mapped, looked at, kept; what is wrong is said and nothing is kept."""

from __future__ import annotations

import html
import re
import tomllib

from forestay.case.fold import fold
from forestay.services.cases import Who, export_case
from forestay.services.planning import Desk, Planner
from forestay.store.memory import MemoryFactStore
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.exchange.dicom_objects import axial, written
from tests.exchange.fhir_bundles import foreign, observation, whole_case
from tests.exchange.table_examples import as_csv, as_excel
from tests.web.desk import invented_plan
from tests.web.visitor import Visitor

CHOSEN = {
    "role-0": "case",
    "role-2": "date",
    "role-3": "eye.side",
    "words-3": "OD = right, OS=left",
    "role-4": "person.age_years",
    "unit-4": "date of birth",
    "role-5": "biometry.axial_length_mm",
    "unit-5": "mm",
    "role-9": "signs.pseudoexfoliation",
    "words-9": "j = yes, n = no",
    "decimal": ",",
    "date_format": "%d.%m.%Y",
}


def place() -> tuple[MemoryFactStore, Visitor]:
    store = MemoryFactStore()
    desk = Desk(store, Planner(invented_plan), Who(author="desk", device="web"))
    return store, Visitor(create_app(Settings(desk)))


def sent(page: str) -> dict[str, str]:
    """What the page carries along."""
    return {name: html.unescape(value) for name, value in re.findall(r'name="(name|data)" value="([^"]*)"', page)}


def test_a_table_is_mapped_looked_at_and_kept() -> None:
    store, client = place()
    assert 'type="file"' in client.get("/import").text
    page = client.post("/import", files={"file": ("list.csv", as_csv())})
    assert page.status_code == 200
    assert "23,45 · 24,00" in page.text
    carried = sent(page.text)
    look = client.post("/import", data={**carried, **CHOSEN, "does": "look"})
    assert "2 new cases" in look.text
    assert "axial length 23.45 mm" in look.text
    assert 'value="keep"' in look.text
    assert store.cases() == []
    kept = client.post("/import", data={**carried, **CHOSEN, "does": "keep"})
    assert "All rows are kept." in kept.text
    assert store.cases() == ["T-1", "T-2"]
    assert fold(store.facts("T-1")).case.signs.pseudoexfoliation is True
    assert {fact.header.author for fact in store.facts("T-1")} == {"desk"}
    told = re.search(r"<pre[^>]*>(.*?)</pre>", kept.text, re.DOTALL)
    assert told is not None
    assert tomllib.loads(html.unescape(told[1]))["columns"]["Length"]["unit"] == "mm"


def test_what_is_wrong_is_said_beside_the_choice_and_nothing_is_kept() -> None:
    store, client = place()
    carried = sent(client.post("/import", files={"file": ("list.xlsx", as_excel())}).text)
    without_unit = client.post("/import", data={**carried, **CHOSEN, "unit-5": "", "does": "keep"})
    assert without_unit.status_code == 422
    assert "The unit of biometry.axial_length_mm is missing" in without_unit.text
    assert sent(without_unit.text) == carried
    refused = client.post("/import", data={**carried, **CHOSEN, "words-3": "OD=right", "does": "look"})
    assert "1 refused" in refused.text
    assert 'value="keep"' not in refused.text
    assert client.post("/import", data={**carried, **CHOSEN, "words-3": "OD", "does": "look"}).status_code == 422
    assert (
        client.post("/import", data={**carried, "does": "keep", "role-0": "case", "role-1": "case"}).status_code == 422
    )
    assert client.post("/import", data={"does": "keep", "name": "a.csv", "data": "%%%"}).status_code == 422
    assert client.post("/import", files={"file": ("list.csv", b"\xff\xfe")}).status_code == 400
    assert client.post("/import", files={"file": ("list.csv", b"A;B\n" + b"1;2\n" * 200_000)}).status_code == 422
    assert store.cases() == []


def test_measurements_are_kept_at_once_and_exported_records_are_not() -> None:
    store, client = place()
    data = {"case_id": "D-1", "side": "left"}
    done = client.post("/import", files={"file": ("oam.dcm", written(axial()))}, data=data)
    assert done.status_code == 200
    assert 'href="/cases/D-1"' in done.text
    bundle = foreign(observation("66067-0", 23.4))
    assert client.post("/import", files={"file": ("b.json", bundle)}, data={"side": "left"}).status_code == 200
    here = whole_case()
    for form in ("fhir", "facts"):
        refused = client.post("/import", files={"file": ("x.json", export_case(here, "M-1", form))})
        assert refused.status_code == 422
        assert "exported record" in refused.text
    assert store.cases() == ["D-1", "b"]

"""The pages of a theatre day, of many eyes, and of the patient's sheet."""

from __future__ import annotations

from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk, keep_demo
from forestay.store.memory import MemoryFactStore
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.web.desk import CASE
from tests.web.visitor import Visitor


def test_a_theatre_day_of_a_kept_case(client: Visitor) -> None:
    page = client.get("/day")
    assert page.status_code == 200
    assert f'value="{CASE}"' in page.text
    page = client.get(f"/day?case={CASE}&on=2026-11-27&start=08:30&end=12:30")
    assert page.status_code == 200
    assert "08:30" in page.text
    assert "Clashes" in page.text
    assert "not a medical device" in page.text
    paper = client.get(f"/day.pdf?case={CASE}&on=2026-11-27")
    assert paper.content.startswith(b"%PDF")


def test_bad_times_and_days_are_one_sentence(client: Visitor) -> None:
    assert client.get(f"/day?case={CASE}&on=soon").status_code == 422
    assert client.get(f"/day?case={CASE}&start=8").status_code == 422
    assert client.get("/day.pdf").status_code == 422
    assert client.get("/day?case=nobody").status_code == 404


def test_many_eyes_are_sorted_and_what_is_wrong_is_said(client: Visitor) -> None:
    assert "eye,side,light" in client.get("/sort").text
    table = "eye,side,light,white\n101,left,full,yes\n102,right,none,no\n"
    page = client.post("/sort", data={"eyes": table, "trays": "A,B", "vitrector": "yes"})
    assert page.status_code == 200
    assert "difficult 1" in page.text
    assert "no surgery 1" in page.text
    assert table.splitlines()[1] in page.text
    wrong = client.post("/sort", data={"eyes": "eye,side,white\n1,left,<b>perhaps</b>\n"})
    assert wrong.status_code == 422
    assert "line 2" in wrong.text
    assert "<b>perhaps</b>" not in wrong.text


def test_hundreds_of_eyes_hold_on_one_page(client: Visitor) -> None:
    lines = [f"{n},left,full,large,no,no,no,none,no,no" for n in range(400)]
    head = "eye,side,light,pupil,white,brown,pseudoexfoliation,lens_moves,infection,only_eye"
    page = client.post("/sort", data={"eyes": "\n".join([head, *lines])})
    assert page.text.count('<th scope="row">') == 400


def test_the_patients_sheet_on_screen_and_paper() -> None:
    store = MemoryFactStore()
    keep_demo(store)
    client = Visitor(create_app(Settings(Desk(store, Planner(), Who("desk", "web")))))
    page = client.get(f"/cases/{CASE}/consent")
    assert page.status_code == 200
    assert "of 1,000 people" in page.text
    assert page.text.count("<svg") >= 5
    assert client.get(f"/cases/{CASE}/consent.pdf").content.startswith(b"%PDF")

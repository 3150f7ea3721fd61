"""Without network: theatre worked out beforehand is what theatre would show; what waited is kept once, by whoever entered it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from forestay.case.bodies import Measured
from forestay.case.fact import canonical_header, new_fact
from forestay.services.accounts import Accounts
from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk, keep_demo
from forestay.store.accounts import Account, Session
from forestay.store.memory import MemoryFactStore
from forestay.store.sql import SqlFactStore
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.web.desk import CASE, answering_plan
from tests.web.visitor import Visitor

HERE = f"/cases/{CASE}"
MOMENT = "2026-03-01T09:12:00+01:00"
ENTERED = {"X-Forestay-Entered-At": MOMENT, "X-Forestay-Entered-By": "desk"}
MARKS = re.compile(
    r'KEPT-KEY|KEPT-LAST|KEPT-STARTED|<!--above-->|<!--/?back-->|<svg.*?</svg>|value="[0-9a-f-]{36}"|value="\d+"'
    r'|data-(started|head)="[^"]*"|<span class="(?:timer|since)".*?</span>| · done',
    re.DOTALL,
)


def bare(page: str) -> str:
    """The main part of a page without identities, times and the drawing."""
    main = re.search(r"<main.*</main>", page, re.DOTALL)
    assert main
    text = re.sub(r'<form method="post" action="[^"]*/theatre/back">.*?</form>', "", main[0], flags=re.DOTALL)
    text = re.sub(r'<div class="answered".*?</div>', "", text, flags=re.DOTALL)
    return " ".join(MARKS.sub("", re.sub(r'value="(KEPT-\w+)"', "", text)).replace("<!--answered-->", "").split())


@pytest.fixture
def desk() -> Desk:
    store = MemoryFactStore()
    keep_demo(store)
    return Desk(store, Planner(answering_plan), Who(author="desk", device="web"))


@pytest.mark.parametrize("name", ["cue radial folds", "cue the lens travels", "rule vitreous"])
def test_what_is_worked_out_beforehand_is_what_theatre_shows_after_that_finding(client: Visitor, name: str) -> None:
    kit = client.get(f"{HERE}/theatre/kit").json()
    then = client.get(f"{HERE}/theatre/kit", params={"finding": kit["findings"][name]["kit"]}).json()
    steps = {step["key"]: step["html"] for step in kit["steps"]}
    steps |= {step["key"]: step["html"] for step in then["steps"] if step["html"]}
    form = {"key": str(uuid4()), "based_on": str(kit["head"]), "step": "nucleus", "found": name}
    shown = client.post(f"{HERE}/theatre/found", data=form)
    answered = re.search(r'<div class="answered".*?</div>', shown.text, re.DOTALL)
    assert answered
    assert " ".join(answered[0].split()) in " ".join(then["answered"][name].split())
    for key in ("capsulorhexis", "nucleus", "close"):
        assert bare(steps[key]) == bare(client.get(f"{HERE}/theatre", params={"step": key}).text)


def test_what_to_keep_of_a_case_is_there(client: Visitor) -> None:
    told = client.get(f"{HERE}/offline").json()
    assert told["case"] == CASE
    addresses = [*told["assets"], *told["pages"], "/worker.js", "/device"]
    assert f"{HERE}/sheet.pdf" in addresses
    for address in addresses:
        if not address.endswith(".pdf"):
            assert client.get(address).status_code == 200, address
    assert client.get(f"{HERE}/theatre/kit?finding=none").status_code == 404


def test_an_entry_that_waited_is_kept_once_with_its_own_time_and_acknowledged_in_words(
    client: Visitor, desk: Desk
) -> None:
    head = desk.open(CASE).head
    form = {"key": str(uuid4()), "based_on": str(head), "step": "hooks"}
    for _ in range(2):
        answer = client.post(f"{HERE}/theatre/done", data=form, headers=ENTERED, follow_redirects=False)
        assert answer.status_code == 200
        assert answer.json() == {"kept": True, "head": head + 2, "disagreements": []}
    done = desk.open(CASE).facts[-1].header
    assert (done.kind, done.happened_at.isoformat()) == ("done", MOMENT)


def test_findings_sent_again_and_taken_back_by_their_entry_leave_nothing_behind(client: Visitor, desk: Desk) -> None:
    key, head = str(uuid4()), str(desk.open(CASE).head)
    form = {"key": key, "based_on": head, "step": "a-step-that-the-plan-no-longer-has", "found": "rule vitreous"}
    for _ in range(2):
        assert client.post(f"{HERE}/theatre/found", data=form, headers=ENTERED).json()["kept"] is True
    assert desk.open(CASE).situation.progress.happened == ("vitreous-in-chamber",)
    # Another finding under the same identity is no repeat, and is not taken for one.
    other = client.post(f"{HERE}/theatre/found", data={**form, "found": "rule capsule-open"}, headers=ENTERED)
    assert (other.status_code, other.json()["error"]["field"]) == (422, "found")
    back = {"key": str(uuid4()), "based_on": head, "fact": key}
    for _ in range(2):
        assert client.post(f"{HERE}/theatre/back", data=back, headers=ENTERED).json()["kept"] is True
    assert desk.open(CASE).situation.progress.happened == ()
    assert desk.open(CASE).head == int(head) + 2


def test_disagreements_and_refusals_come_back_in_words(client: Visitor) -> None:
    base = str(client.get(f"{HERE}/offline").json()["head"])
    others = {"key": str(uuid4()), "based_on": base, "was_lens.grade": "", "lens.grade": "3"}
    client.post(f"{HERE}/facts/lens", data=others, headers={"X-Row": "lens.grade", "Cookie": "device=aaaaaaaa"})
    mine = {"key": str(uuid4()), "based_on": base, "was_lens.grade": "", "lens.grade": "4,5"}
    sent = {**ENTERED, "X-Row": "lens.grade", "Cookie": "device=bbbbbbbb"}
    told = client.post(f"{HERE}/facts/lens", data=mine, headers=sent).json()
    assert told["disagreements"] == [{"section": "lens", "words": "grade: 3 or 4.5"}]
    wrong = {"key": str(uuid4()), "based_on": base, "was_lens.grade": "", "lens.grade": "9"}
    refused = client.post(f"{HERE}/facts/lens", data=wrong, headers=sent)
    assert refused.status_code == 422
    assert "lens.grade is 9" in refused.text
    assert client.post("/cases/none/theatre/done", data=wrong, headers=ENTERED).json()["error"]["code"] == "not-found"
    late = client.post(f"{HERE}/facts/lens", data=mine, headers={**sent, "X-Forestay-Entered-At": "yesterday"})
    assert late.json()["error"]["field"] == "entered_at"


class House:
    """Two people on one tablet, each with a session; ``cookie`` gives what their browser sends."""

    def __init__(self, folder: Path) -> None:
        self.store = SqlFactStore(f"sqlite:///{folder}/cases.sqlite")
        keep_demo(self.store)
        self.accounts = Accounts(self.store, hasher=PasswordHash((Argon2Hasher(1, 8, 1),)))
        desk = Desk(self.store, Planner(answering_plan), Who(author="desk", device="web"))
        self.visitor = Visitor(create_app(Settings(desk, accounts=self.accounts)))
        for name in ("u-ada", "u-bo"):
            made = Account(name, name, name, ("surgeon",), None, None, None, active=True)
            self.accounts.rows.add(made, at="2026-01-01T00:00:00+00:00")

    def session(self, account: str, device: str) -> dict[str, str]:
        """Headers of a new session."""
        token, at = uuid4().hex, self.accounts._now()
        self.accounts.rows.open(Session(sha256(token.encode()).digest(), account, device, "word", at, at, by_pin=False))
        return {"Cookie": f"forestay={token}", "X-Forestay-Token": "word"}


@pytest.fixture
def house(tmp_path: Path) -> Iterator[House]:
    made = House(tmp_path)
    yield made
    made.store.close()


def test_an_entry_is_sent_by_whoever_entered_it_and_by_nobody_else(house: House) -> None:
    form = {"key": str(uuid4()), "based_on": "1", "step": "hooks"}
    waited = {"X-Forestay-Entered-At": MOMENT, "X-Forestay-Entered-By": "u-ada"}
    ada, bo = house.session("u-ada", "s-2"), house.session("u-bo", "s-3")
    refused = house.visitor.post(f"{HERE}/theatre/done", data=form, headers={**bo, **waited})
    assert (refused.status_code, refused.json()["error"]["field"]) == (403, "author")
    signed_out = house.visitor.post(f"{HERE}/theatre/done", data=form, headers=waited)
    assert signed_out.status_code == 401
    assert house.visitor.post(f"{HERE}/theatre/done", data=form, headers={**ada, **waited}).json()["kept"] is True
    assert house.visitor.get("/api/device", headers=bo).json() == {
        "author": "u-bo",
        "shown_as": "u-bo",
        "token": "word",
    }
    assert house.visitor.get("/api/device").status_code == 401


def api_facts(account: str, device: str, based_on: int, *lengths: float) -> dict[str, Any]:
    """Facts as another program sends them."""
    made = [
        new_fact(
            Measured(values={"biometry.axial_length_mm": length}),
            case=CASE,
            author=account,
            device=device,
            device_sequence=number,
            based_on=based_on,
        )
        for number, length in enumerate(lengths, start=1)
    ]
    return {"facts": [{"header": json.loads(canonical_header(f.header)), "body": f.body.decode()} for f in made]}


def test_facts_of_an_earlier_session_of_the_same_person_are_accepted_after_signing_in_again(house: House) -> None:
    house.session("u-ada", "s-1")
    now, bo = house.session("u-ada", "s-2"), house.session("u-bo", "s-3")
    sent = api_facts("u-ada", "s-1", 1, 23.1, 23.2)
    address = f"/api{HERE}/facts"
    assert house.visitor.post(address, json=sent, headers=bo).json()["error"]["field"] == "author"
    other = house.visitor.post(address, json=api_facts("u-ada", "s-3", 1, 23.3), headers=now)
    assert other.json()["error"]["field"] == "device"
    told = house.visitor.post(address, json=sent, headers=now).json()
    assert [one["server_sequence"] for one in told["facts"]] == [told["head"] - 1, told["head"]]
    assert house.visitor.post(address, json=sent, headers=now).json()["facts"] == told["facts"]
    assert told["disagreements"] == [
        {"field": "biometry.axial_length_mm", "values": ["23.71 mm", "23.1 mm", "23.2 mm"]}
    ]


def test_a_fact_of_a_case_that_lacks_its_person_is_acknowledged_beside_another_device(client: Visitor) -> None:
    for device, length_mm in (("d1", 23.1), ("d2", 23.4)):
        body = Measured(values={"biometry.axial_length_mm": length_mm})
        fact = new_fact(body, case="no-person-yet", author="a1", device=device, device_sequence=1)
        sent = {"facts": [{"header": fact.header.as_dict(), "body": fact.body.decode()}]}
        answer = client.post("/api/cases/no-person-yet/facts", json=sent)
        assert answer.status_code == 200, answer.text
    assert answer.json()["head"] == 2

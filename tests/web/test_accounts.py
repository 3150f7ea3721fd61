"""Signing in and out, sessions that the server ends, the switch by PIN, limits, and the record of reading."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import httpx
import pytest
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher
from sqlalchemy import text

from forestay.case.bodies import Decided, Measured
from forestay.case.fact import new_fact
from forestay.services.access import table
from forestay.services.accounts import Accounts
from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk, keep_demo
from forestay.store.checking import check
from forestay.store.sql import SqlFactStore
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.web.desk import CASE, invented_plan
from tests.web.visitor import Visitor

PASSWORD = "an invented sentence of length"  # noqa: S105
PIN = "294017"


class Clock:
    """A clock that the test moves."""

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


@dataclass
class Clinic:
    """An application with accounts, and what stands behind it."""

    visitor: Visitor
    accounts: Accounts
    store: SqlFactStore
    clock: Clock

    def browser(self, token: str | None = None, device: str | None = None) -> Browser:
        return Browser(self, token, device)


class Browser:
    """Keeps cookies, and sends the word of the session with each form, as a page does."""

    def __init__(self, clinic: Clinic, token: str | None, device: str | None) -> None:
        self._clinic = clinic
        self.cookies = {name: value for name, value in (("forestay", token), ("forestay-device", device)) if value}

    def get(self, address: str, **more: object) -> httpx.Response:
        return self._ask("GET", address, **more)

    def post(self, address: str, data: dict[str, object] | None = None, **more: object) -> httpx.Response:
        actor = self._clinic.accounts.actor(self.cookies.get("forestay"))
        word = {"csrf": actor.csrf} if actor else {}
        return self._ask("POST", address, data={**word, **(data or {})}, **more)

    def _ask(self, method: str, address: str, **more: object) -> httpx.Response:
        headers = {"Cookie": "; ".join(f"{k}={v}" for k, v in self.cookies.items())}
        answer = self._clinic.visitor.ask(method, address, headers=headers, follow_redirects=False, **more)
        for name, value in answer.cookies.items():
            self.cookies[name] = value
        return answer


@pytest.fixture
def clinic(tmp_path: Path) -> Iterator[Clinic]:
    store = SqlFactStore(f"sqlite:///{tmp_path}/cases.sqlite")
    keep_demo(store)
    clock = Clock()
    cheap = PasswordHash((Argon2Hasher(time_cost=1, memory_cost=8, parallelism=1),))
    accounts = Accounts(store, clock=clock, hasher=cheap)
    desk = Desk(store, Planner(invented_plan), Who(author="desk", device="web"))
    yield Clinic(Visitor(create_app(Settings(desk, accounts=accounts))), accounts, store, clock)
    store.close()


@pytest.fixture
def admin(clinic: Clinic) -> Browser:
    clinic.accounts.create_first(login="anna", shown_as="Invented Anna", password=PASSWORD)
    browser = clinic.browser()
    assert browser.post("/sign-in", {"login": "anna", "password": PASSWORD}).status_code == 303
    return browser


def signed_in(clinic: Clinic, *roles: str) -> Browser:
    """Somebody new with these roles, past the change of the first password."""
    admin = clinic.accounts.rows.all()
    assert admin
    by = clinic.accounts.actor(clinic.accounts.sign_in("anna", PASSWORD, address="a").token)
    assert by is not None
    login = f"{roles[0]}{len(admin)}"
    clinic.accounts.create(by, login=login, shown_as=login, roles=roles)
    made = clinic.accounts.rows.find(login=login)
    assert made is not None
    clinic.accounts.rows.change(made.id, password=clinic.accounts._hasher.hash(PASSWORD))
    return clinic.browser(clinic.accounts.sign_in(login, PASSWORD, address="a").token)


def test_the_first_run_creates_the_administrator_in_the_browser(clinic: Clinic) -> None:
    browser = clinic.browser()
    for address in ("/", f"/cases/{CASE}", "/sign-in", "/accounts"):
        assert browser.get(address).headers["location"] == "/first"
    form = {"login": "Anna", "shown_as": "Invented Anna", "password": PASSWORD, "again": PASSWORD}
    for wrong in ({"again": "other"}, {"password": "short", "again": "short"}, {"login": "a b"}, {"shown_as": ""}):
        answer = browser.post("/first", {**form, **wrong})
        assert answer.status_code == 422
        assert 'role="alert"' in answer.text
    assert browser.post("/first", form).headers["location"] == "/sign-in"
    assert browser.get("/first").headers["location"] == "/sign-in"
    assert browser.post("/first", {**form, "login": "eve"}).status_code == 403
    assert len(clinic.accounts.rows.all()) == 1
    assert (
        browser.post("/sign-in", {"login": "anna", "password": PASSWORD, "to": "/evidence"}).headers["location"]
        == "/evidence"
    )
    assert browser.get("/").status_code == 200


def test_where_others_can_reach_it_the_first_account_needs_the_terminals_code(clinic: Clinic) -> None:
    desk = Desk(clinic.store, Planner(invented_plan), Who(author="desk", device="web"))
    visitor = Visitor(create_app(Settings(desk, accounts=clinic.accounts, first_code="c0de")))
    form = {"login": "anna", "shown_as": "A", "password": PASSWORD, "again": PASSWORD}
    assert visitor.post("/first", data=form).status_code == 403
    assert visitor.post("/first", data={**form, "code": "c0de"}, follow_redirects=False).status_code == 303


def test_a_wrong_password_a_wrong_name_and_a_closed_account_say_the_same(clinic: Clinic, admin: Browser) -> None:
    answers = [
        clinic.browser().post("/sign-in", {"login": login, "password": password})
        for login, password in (("anna", "wrong"), ("nobody", PASSWORD), ("anna", ""), ("", ""))
    ]
    assert {answer.status_code for answer in answers} == {401}
    assert len({answer.text.count("do not belong together") for answer in answers}) == 1
    assert not any("forestay" in answer.cookies for answer in answers)


def test_attempts_are_limited_and_the_limit_ends(clinic: Clinic, admin: Browser) -> None:
    most = table().limits["attempts"]
    for _ in range(most):
        assert clinic.browser().post("/sign-in", {"login": "anna", "password": "x"}).status_code == 401
    assert clinic.browser().post("/sign-in", {"login": "anna", "password": PASSWORD}).status_code == 429
    clinic.clock.now += timedelta(minutes=table().limits["attempts_minutes"], seconds=1)
    assert clinic.browser().post("/sign-in", {"login": "anna", "password": PASSWORD}).status_code == 303


def test_the_server_ends_sessions_idle_old_and_signed_out(clinic: Clinic, admin: Browser) -> None:
    limits = table().limits
    token = admin.cookies["forestay"]
    clinic.clock.now += timedelta(minutes=limits["idle_minutes"] - 1)
    assert admin.get("/").status_code == 200
    clinic.clock.now += timedelta(minutes=limits["idle_minutes"] - 1)
    assert admin.get("/").status_code == 200
    clinic.clock.now += timedelta(minutes=limits["idle_minutes"], seconds=1)
    assert admin.get(f"/cases/{CASE}").headers["location"] == f"/sign-in?to=%2Fcases%2F{CASE}"
    # an ended session does not come back, also where the clock does
    clinic.clock.now -= timedelta(hours=2)
    assert clinic.accounts.actor(token) is None

    lasting = clinic.accounts.sign_in("anna", PASSWORD, address="a").token
    for _ in range(int(limits["absolute_hours"] * 60 / 50) + 1):
        clinic.clock.now += timedelta(minutes=50)
        clinic.accounts.actor(lasting)
    assert clinic.accounts.actor(lasting) is None

    browser = clinic.browser(clinic.accounts.sign_in("anna", PASSWORD, address="a").token)
    kept = dict(browser.cookies)
    assert browser.post("/sign-out").headers["location"] == "/sign-in"
    browser.cookies = kept
    assert browser.get("/").status_code == 303


def test_tokens_are_kept_as_hashes_and_passwords_as_argon2id(clinic: Clinic, admin: Browser) -> None:
    token = admin.cookies["forestay"]
    with clinic.store.database.reading() as connection:
        kept = connection.execute(text("SELECT token FROM session")).scalars().all()
        password = connection.execute(text("SELECT password FROM account")).scalar_one()
    assert token.encode() not in [bytes(one) for one in kept]
    assert password.startswith("$argon2id$")
    assert len(token) >= 43  # 32 bytes: twice the 128 bits that OWASP ASVS 5.0 7.2.3 asks for


def test_a_form_without_the_sessions_word_changes_nothing(clinic: Clinic, admin: Browser) -> None:
    before = len(clinic.store.facts(CASE))
    form = {"ring": "none", "reason": "x", "key": str(uuid4())}
    for word in ({}, {"csrf": ""}, {"csrf": "guess"}):
        cookie = {"Cookie": f"forestay={admin.cookies['forestay']}"}
        answer = clinic.visitor.post(f"/cases/{CASE}/decisions", data={**form, **word}, headers=cookie)
        assert answer.status_code == 403
    other = signed_in(clinic, "surgeon")
    actor = clinic.accounts.actor(other.cookies["forestay"])
    assert actor is not None
    assert admin.post(f"/cases/{CASE}/decisions", {**form, "csrf": actor.csrf}).status_code == 403
    assert len(clinic.store.facts(CASE)) == before
    assert admin.post(f"/cases/{CASE}/decisions", form).status_code == 303
    assert len(clinic.store.facts(CASE)) == before + 1


def test_every_form_of_a_page_carries_the_word_of_the_session(clinic: Clinic, admin: Browser) -> None:
    actor = clinic.accounts.actor(admin.cookies["forestay"])
    assert actor is not None
    for address in ("/", f"/cases/{CASE}", "/account", "/accounts", f"/cases/{CASE}/identity"):
        page = admin.get(address).text
        forms = page.count('method="post"')
        assert forms == page.count(f'<input type="hidden" name="csrf" value="{actor.csrf}">') > 0


def test_facts_carry_the_account_and_the_device_never_the_name(clinic: Clinic, admin: Browser) -> None:
    admin.post(f"/cases/{CASE}/decisions", {"ring": "none", "reason": "x", "key": str(uuid4())})
    actor = clinic.accounts.actor(admin.cookies["forestay"])
    assert actor is not None
    header = clinic.store.facts(CASE)[-1].header
    assert (header.author, header.device) == (actor.account, actor.device)
    assert "anna" not in header.author.lower()


def test_switching_by_pin_on_a_trusted_device_alone_and_without_signing(clinic: Clinic, admin: Browser) -> None:
    me = clinic.accounts.actor(admin.cookies["forestay"])
    assert me is not None
    for weak in ("1234", "123456", "111111", "12a456"):
        assert admin.post("/account/pin", {"password": PASSWORD, "pin": weak}).status_code == 422
    assert admin.post("/account/pin", {"password": "wrong", "pin": PIN}).status_code == 401
    assert admin.post("/account/pin", {"password": PASSWORD, "pin": PIN}).status_code == 200
    switch = {"account": me.account, "pin": PIN}
    assert clinic.browser().post("/sign-in/switch", switch).status_code == 403
    assert admin.post("/account/device", {"name": "Theatre 1"}).status_code == 303
    tablet = clinic.browser(device=admin.cookies["forestay-device"])
    assert "Invented Anna" in tablet.get("/sign-in/switch").text
    assert tablet.post("/sign-in/switch", {**switch, "pin": "999999"}).status_code == 401
    assert tablet.post("/sign-in/switch", switch).headers["location"] == "/"
    assert tablet.get("/").status_code == 200
    assert tablet.get("/accounts").status_code == 403
    assert "with the password" in tablet.get("/accounts").text
    other = clinic.browser(device=admin.cookies["forestay-device"])
    for _ in range(table().limits["pin_attempts"]):
        other.post("/sign-in/switch", {**switch, "pin": "999999"})
    assert other.post("/sign-in/switch", switch).status_code == 429
    [device] = clinic.accounts.rows.devices()
    assert admin.post(f"/accounts/devices/{device.id}").status_code == 200
    assert tablet.get("/").status_code == 303
    assert other.get("/sign-in/switch").status_code == 403


def test_the_administrator_creates_accounts_whose_first_password_opens_only_its_change(
    clinic: Clinic, admin: Browser
) -> None:
    page = admin.post("/accounts", {"login": "ben", "shown_as": "Invented Ben", "roles": ["nurse"]}).text
    password = page.partition("first sign-in: ")[2].partition("<")[0]
    nurse = clinic.browser()
    assert nurse.post("/sign-in", {"login": "ben", "password": password}).status_code == 303
    assert nurse.get("/").headers["location"] == "/account"
    assert nurse.get(f"/cases/{CASE}").headers["location"] == "/account"
    new = {"old": password, "new": PASSWORD + " too", "again": PASSWORD + " too"}
    assert nurse.post("/account/password", new).headers["location"] == "/sign-in"
    assert nurse.get("/").status_code == 303
    assert nurse.post("/sign-in", {"login": "ben", "password": PASSWORD + " too"}).status_code == 303
    assert nurse.get(f"/cases/{CASE}").status_code == 200
    assert (
        nurse.post(f"/cases/{CASE}/decisions", {"ring": "none", "reason": "x", "key": str(uuid4())}).status_code == 403
    )
    found = clinic.accounts.rows.find(login="ben")
    assert found is not None
    assert admin.post(f"/accounts/{found.id}", {"do": "close"}).status_code == 200
    assert nurse.get("/").status_code == 303
    assert admin.post(f"/accounts/{found.id}", {"do": "open"}).status_code == 200
    assert admin.post("/accounts", {"login": "ben", "shown_as": "B", "roles": ["nurse"]}).status_code == 409
    assert admin.post("/accounts", {"login": "eve", "shown_as": "E", "roles": ["queen"]}).status_code == 422
    me = clinic.accounts.actor(admin.cookies["forestay"])
    assert me is not None
    assert admin.post(f"/accounts/{me.account}", {"do": "roles", "roles": ["surgeon"]}).status_code == 403
    assert admin.post(f"/accounts/{me.account}", {"do": "close"}).status_code == 403


def test_what_was_read_is_noted_before_it_is_shown_and_the_record_is_chained(clinic: Clinic, admin: Browser) -> None:
    nurse = signed_in(clinic, "nurse")
    nurse.get(f"/cases/{CASE}")
    nurse.get("/accounts")
    actor = clinic.accounts.actor(nurse.cookies["forestay"])
    assert actor is not None
    lines = [
        (one.action, one.case_id, one.outcome)
        for one in clinic.accounts.rows.noted()
        if one.account_id == actor.account
    ]
    assert lines[:2] == [("GET /accounts", None, "refused"), ("GET /cases/{case}", CASE, "200")]
    page = admin.get(f"/accounts/reading?case={CASE}").text
    assert "GET /cases/{case}" in page
    assert PASSWORD not in page
    assert check(clinic.store.database) == []
    with clinic.store.database.writing() as connection:
        connection.execute(text("UPDATE access SET account_id = 'u-other' WHERE number = 3"))
    assert [(one.fault, one.position) for one in check(clinic.store.database)] == [("access", 3)]


def test_identity_is_in_the_band_for_those_who_may_see_it_and_in_no_fact(clinic: Clinic, admin: Browser) -> None:
    form = {"name": "Invented Person", "birth_date": "1952-03-01", "number": "0000-17"}
    assert admin.post(f"/cases/{CASE}/identity", {**form, "birth_date": "2090-01-01"}).status_code == 422
    assert admin.post(f"/cases/{CASE}/identity", {**form, "name": " "}).status_code == 422
    assert admin.post(f"/cases/{CASE}/identity", form).headers["location"] == f"/cases/{CASE}"
    band = admin.get(f"/cases/{CASE}").text.partition('<header class="band">')[2].partition("</header>")[0]
    for words in ("Invented Person", "born 1 March 1952", "number 0000-17", "Right eye"):
        assert words.lower() in band.lower()
    auditor = signed_in(clinic, "auditor")
    page = auditor.get(f"/cases/{CASE}")
    assert page.status_code == 200
    assert "Invented Person" not in page.text
    assert auditor.get(f"/cases/{CASE}/identity").status_code == 403
    assert not any(b"Invented Person" in fact.body for fact in clinic.store.facts(CASE))


def test_the_interface_for_devices_takes_facts_by_kind_and_in_ones_own_name(clinic: Clinic, admin: Browser) -> None:
    nurse = signed_in(clinic, "nurse")
    actor = clinic.accounts.actor(nurse.cookies["forestay"])
    assert actor is not None
    measured = Measured(values={"biometry.axial_length_mm": 23.5})
    decided = Decided(subject="ring", choice="none", reason="x")

    def send(body: Measured | Decided, author: str, device: str) -> int:
        fact = new_fact(body, case=CASE, author=author, device=device, device_sequence=1)
        sent = {"facts": [{"header": fact.header.as_dict(), "body": fact.body.decode()}]}
        headers = {"Cookie": f"forestay={nurse.cookies['forestay']}", "X-Forestay-Token": actor.csrf}
        return clinic.visitor.post(f"/api/cases/{CASE}/facts", json=sent, headers=headers).status_code

    assert send(measured, actor.account, actor.device) == 200
    assert send(measured, "u-other", actor.device) == 403
    assert send(measured, actor.account, "elsewhere") == 403
    assert send(decided, actor.account, actor.device) == 403


@pytest.mark.parametrize(
    "to", ["https://elsewhere.example", "//elsewhere.example", "/\\elsewhere.example", "elsewhere", "/a\nb"]
)
def test_signing_in_never_leads_to_another_site(clinic: Clinic, admin: Browser, to: str) -> None:
    answer = clinic.browser().post("/sign-in", {"login": "anna", "password": PASSWORD, "to": to})
    assert answer.headers["location"] == "/"


def test_cookies_are_out_of_reach_of_scripts_and_over_tls_bound_to_the_host(clinic: Clinic, admin: Browser) -> None:
    form = {"login": "anna", "password": PASSWORD}
    plain = clinic.visitor.post("/sign-in", data=form, follow_redirects=False).headers["set-cookie"]
    assert "HttpOnly" in plain
    assert "SameSite=lax" in plain
    desk = Desk(clinic.store, Planner(invented_plan), Who(author="desk", device="web"))
    app = create_app(Settings(desk, accounts=clinic.accounts, secure=True))
    bound = Visitor(app).post("/sign-in", data=form, follow_redirects=False).headers["set-cookie"]
    assert bound.startswith("__Host-forestay=")
    assert "Secure" in bound
    assert "Path=/" in bound
    assert "Domain" not in bound


def test_photos_are_kept_by_their_content_and_given_back_for_saving(clinic: Clinic, admin: Browser) -> None:
    png = b"\x89PNG\r\n\x1a\n" + bytes(range(200))
    address = f"/cases/{CASE}/attachments"
    for _ in range(2):
        assert admin.post(address, {"title": "pupil"}, files={"file": ("x.png", png)}).status_code == 303
    page = admin.get(address).text
    assert page.count("pupil") == 1
    link = page.partition(f'href="{address}/')[2].partition('"')[0]
    answer = admin.get(f"{address}/{link}")
    assert answer.content == png
    assert answer.headers["content-type"] == "image/png"
    assert answer.headers["content-disposition"].startswith("attachment")
    assert "sandbox" in answer.headers["content-security-policy"]
    for title, data in (("", png), ("page", b"<script>alert(1)</script>"), ("empty", b"")):
        assert admin.post(address, {"title": title}, files={"file": ("x.png", data)}).status_code == 422
    assert admin.get(f"{address}/none").status_code == 404
    assert check(clinic.store.database) == []
    with clinic.store.database.writing() as connection:
        connection.execute(text("UPDATE blob SET content = CAST('other' AS BLOB)"))
    assert admin.get(f"{address}/{link}").status_code == 409
    assert [one.fault for one in check(clinic.store.database)] == ["attachment"]

"""Every route × every role × signed out: allowed or refused as the table says, from the application's own list."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from forestay.services.access import EVERYONE, table
from forestay.services.accounts import Accounts
from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk, keep_demo
from forestay.store.accounts import Account, Session
from forestay.store.sql import SqlFactStore
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.web.desk import CASE, invented_plan
from tests.web.visitor import Visitor

VALUES = {
    "case_id": CASE,
    "name": "rate",
    "account_id": "u-nobody",
    "device_id": "t-nobody",
    "attachment_id": "none",
    "section": "biometry",
    "page": "lenses",
    "mark": "new",
}
ROLES = tuple(table().roles)
OUT = "signed out"

# Said again by hand: a change of the table must be a change here too.
KNOWN: dict[tuple[str, str], set[str]] = {
    ("GET", "/cases/{case_id}"): {"surgeon", "nurse", "trainee", "auditor"},
    ("POST", "/cases/{case_id}/decisions"): {"surgeon", "trainee"},
    ("POST", "/cases/{case_id}/withdrawals"): {"surgeon", "nurse", "trainee"},
    ("POST", "/cases/{case_id}/findings"): {"surgeon", "nurse", "trainee"},
    ("GET", "/cases/{case_id}/sheet.pdf"): {"surgeon", "nurse", "trainee", "auditor"},
    ("POST", "/cases/{case_id}/identity"): {"surgeon", "nurse", "trainee"},
    ("POST", "/api/cases/{case_id}/facts"): {"surgeon", "nurse", "trainee"},
    ("GET", "/api/cases/{case_id}/facts"): {"surgeon", "nurse", "trainee", "auditor"},
    ("POST", "/cases/{case_id}/facts/{section}"): {"surgeon", "nurse", "trainee"},
    ("POST", "/cases/{case_id}/facts/{section}/settle"): {"surgeon", "trainee"},
    ("POST", "/cases/{case_id}/follow-up"): {"surgeon", "nurse", "trainee"},
    ("POST", "/cases/{case_id}/note"): {"surgeon", "trainee"},
    ("POST", "/cases/{case_id}/note/sign"): {"surgeon"},
    ("POST", "/cases/new"): {"surgeon", "nurse", "trainee"},
    ("GET", "/day"): {"surgeon", "nurse", "trainee", "auditor"},
    ("GET", "/import"): {"surgeon", "nurse", "trainee"},
    ("POST", "/import"): {"surgeon", "nurse", "trainee"},
    ("POST", "/sort"): {"surgeon", "nurse", "trainee", "auditor"},
    ("GET", "/cases/{case_id}/consent"): {"surgeon", "nurse", "trainee", "auditor"},
    ("GET", "/settings"): set(ROLES),
    ("GET", "/settings/file"): set(ROLES),
    ("GET", "/settings/{page}"): {"surgeon", "administrator"},
    ("POST", "/settings/{page}"): {"surgeon", "administrator"},
    ("POST", "/settings/{page}/{mark}"): {"surgeon", "administrator"},
    ("POST", "/settings/import"): {"surgeon", "administrator"},
    ("GET", "/accounts"): {"administrator"},
    ("POST", "/accounts/{account_id}"): {"administrator"},
    ("GET", "/accounts/reading"): {"auditor", "administrator"},
    ("GET", "/account"): set(ROLES),
    ("POST", "/sign-in"): {*ROLES, OUT},
    ("GET", "/health"): {*ROLES, OUT},
}


def routes(app: Any) -> Iterator[tuple[str, str]]:
    """Method and path of everything that the application answers."""
    for route in app.routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            yield from routes(inner)
        elif getattr(route, "methods", None):
            yield from ((method, route.path) for method in sorted(route.methods - {"HEAD"}))


class House:
    """An application with one account for each role."""

    def __init__(self, folder: Path) -> None:
        self.store = SqlFactStore(f"sqlite:///{folder}/cases.sqlite")
        keep_demo(self.store)
        self.accounts = Accounts(self.store, hasher=PasswordHash((Argon2Hasher(1, 8, 1),)))
        desk = Desk(self.store, Planner(invented_plan), Who(author="desk", device="web"))
        self.app: FastAPI = create_app(Settings(desk, accounts=self.accounts))
        self.visitor = Visitor(self.app)
        for role in ROLES:
            made = Account(
                f"u-{role}",
                role,
                role,
                (role,),
                self.accounts._hasher.hash("an invented sentence"),
                None,
                None,
                active=True,
            )
            self.accounts.rows.add(made, at="2026-01-01T00:00:00+00:00")

    def ask(self, role: str, method: str, address: str) -> int:
        """The status for a request of this role in a session of its own, which carries the session's word."""
        headers = {}
        if role != OUT:
            from hashlib import sha256

            token, at = f"token-{role}", self.accounts._now()
            new = Session(sha256(token.encode()).digest(), f"u-{role}", "d", "word", at, at, by_pin=False)
            with self.store.database.writing() as connection:
                from forestay.store.account_tables import session

                connection.execute(session.delete().where(session.c.token == new.token))
            self.accounts.rows.open(new)
            headers = {"Cookie": f"forestay={token}", "X-Forestay-Token": "word"}
        return self.visitor.ask(method, address, headers=headers, follow_redirects=False).status_code


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    made = House(tmp_path_factory.mktemp("house"))
    yield made
    made.store.close()


def filled(path: str) -> str:
    for name, value in VALUES.items():
        path = path.replace(f"{{{name}}}", value).replace(f"{{{name}:path}}", value)
    return path


def test_every_route_is_in_the_table_and_known_ones_are_there(house: House) -> None:
    listed = set(routes(house.app))
    assert len(listed) > 20
    assert set(KNOWN) <= listed
    assert [one for one in listed if table().rule(one[0], filled(one[1])) is None] == []
    assert [path for _, path in listed if "{" in filled(path)] == [], "give VALUES a value for the new name"


@pytest.mark.parametrize("role", [*ROLES, OUT])
def test_every_route_allows_or_refuses_as_the_table_says(house: House, role: str) -> None:
    permissions = None if role == OUT else table().roles[role]
    wrong = []
    for method, path in sorted(set(routes(house.app))):
        address = filled(path)
        status = house.ask(role, method, address)
        verdict = table().verdict(method, address, permissions)
        known = KNOWN.get((method, path))
        if known is not None and (verdict == "allowed") != (role in known):
            wrong.append(("the table differs from the list", method, path, verdict))
        rule = table().rule(method, address)
        if verdict == "allowed":
            # what asks for a password refuses a request without one by itself, with the same status
            asks = path.startswith("/account/") or (rule is not None and rule.may == EVERYONE)
            right = status < 500 and (asks or status not in (401, 403))
        elif verdict == "sign in":
            right = status == 401 or (method == "GET" and status == 303)
        else:
            right = status == 403
        if not right:
            wrong.append((verdict, method, path, status))
    assert wrong == []


@pytest.mark.parametrize("role", [*ROLES, OUT])
def test_what_stands_nowhere_is_refused(house: House, role: str) -> None:
    for method, address in (("POST", "/nowhere"), ("DELETE", f"/cases/{CASE}"), ("PUT", "/accounts"), ("PATCH", "/")):
        assert house.ask(role, method, address) == (401 if role == OUT else 403)


def test_head_is_asked_like_get(house: House) -> None:
    assert house.ask("administrator", "HEAD", f"/cases/{CASE}") == 403
    assert house.ask(OUT, "HEAD", f"/cases/{CASE}") == 303

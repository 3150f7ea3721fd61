"""Requests are limited by account and by address: 429 with Retry-After, no request lost, generous for a clinic's tablets."""

from __future__ import annotations

from pathlib import Path

import pytest
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from forestay.services.access import table
from forestay.services.accounts import Accounts
from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk
from forestay.store.sql import SqlFactStore
from forestay.web.app import create_app
from forestay.web.limits import Limits, TooManyRequests
from forestay.web.settings import Settings
from tests.web.desk import invented_plan
from tests.web.visitor import Visitor

PASSWORD = "an invented sentence"  # noqa: S105


class Clock:
    """A clock that is moved by hand."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def test_a_bucket_empties_says_how_long_and_fills_evenly() -> None:
    clock = Clock()
    limits = Limits({"account": [3, 0.5], "address": [100, 1]}, clock=clock)
    for _ in range(3):
        limits.take("account", "u-a")
    with pytest.raises(TooManyRequests) as refused:
        limits.take("account", "u-a")
    assert refused.value.retry_after_s == 2  # one request every two seconds
    limits.take("account", "u-b")  # another account has its own
    limits.take("address", "u-a")  # and so has another kind
    clock.now_s = 2.0
    limits.take("account", "u-a")
    with pytest.raises(TooManyRequests):
        limits.take("account", "u-a")
    clock.now_s = 1000.0
    for _ in range(3):  # never more than it holds
        limits.take("account", "u-a")
    with pytest.raises(TooManyRequests):
        limits.take("account", "u-a")


def test_fifty_tablets_with_looks_behind_one_address_are_never_refused() -> None:
    clock = Clock()
    limits = Limits(clock=clock)
    for second in range(600):
        for tablet in range(50):
            for part in range(3):  # a fact a second, and a look or a page beside
                clock.now_s = second + part / 3
                limits.take("address", "clinic")
                limits.take("account", f"u-{tablet}")
    assert set(table().limits["requests"]) == {"account", "address", "signed_out"}


def test_over_the_web_it_is_429_with_retry_after_and_the_record_is_not_asked(tmp_path: Path) -> None:
    clock = Clock()
    store = SqlFactStore(f"sqlite:///{tmp_path}/cases.sqlite")
    accounts = Accounts(store, hasher=PasswordHash((Argon2Hasher(1, 8, 1),)))
    accounts.create_first(login="anna", shown_as="Invented Anna", password=PASSWORD)
    desk = Desk(store, Planner(invented_plan), Who("desk", "web"))
    limits = Limits({"account": [3, 1], "address": [8, 1], "signed_out": [2, 0.1]}, clock=clock)
    visitor = Visitor(create_app(Settings(desk, accounts=accounts, limits=limits)))
    assert [visitor.get("/sign-in").status_code for _ in range(3)] == [200, 200, 429]
    noted = len(accounts.rows.noted())
    headers = {"Cookie": f"forestay={accounts.sign_in('anna', PASSWORD, address='a').token}"}
    assert [visitor.get("/settings", headers=headers).status_code for _ in range(4)] == [200, 200, 200, 429]
    told = visitor.get("/api/cases/none/facts", headers=headers)
    assert (told.status_code, told.headers["retry-after"], told.json()["error"]["code"]) == (
        429,
        "1",
        "too-many-requests",
    )
    assert visitor.get("/settings", headers=headers).status_code == 429  # of the address now
    assert len(accounts.rows.noted()) == noted + 1  # the sign-in; a refusal costs no row
    clock.now_s = 5.0
    assert visitor.get("/settings", headers=headers).status_code == 200
    store.close()

"""The network cut in theatre: what was kept beforehand goes on, what is entered waits, is counted, and is sent once and in order."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from forestay.demo import demo_bytes
from forestay.services.accounts import Accounts
from forestay.services.cases import INVENTED, Who, import_case
from forestay.services.planner import Planner
from forestay.services.planning import Desk
from forestay.store.accounts import Account
from forestay.store.sql import SqlFactStore
from forestay.web.app import create_app
from forestay.web.serve import HOST, Server, listen
from forestay.web.settings import Settings
from tests.browser.test_access import violations
from tests.web.desk import CASE, answering_plan

pytestmark = pytest.mark.browser
HERE = f"/cases/{CASE}"
PLANNED_MS = 60_000
PASSWORD = "an invented sentence"  # noqa: S105 - of this test
GRADE = "#row-lens-grade"
SEND_AGAIN = """async () => {
  const db = await new Promise((done) => { const asked = indexedDB.open("forestay", 1); asked.onsuccess = () => done(asked.result); });
  const outbox = db.transaction("outbox", "readwrite").objectStore("outbox");
  const all = await new Promise((done) => { const asked = outbox.getAll(); asked.onsuccess = () => done(asked.result); });
  for (const entry of all) outbox.put({ ...entry, state: "waits" });
  await new Promise((done) => { outbox.transaction.oncomplete = done; });
  db.close();
  return all.length;
}"""


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SqlFactStore]:
    """A record of its own with one case."""
    store = SqlFactStore(f"sqlite:///{tmp_path_factory.mktemp('offline')}/cases.sqlite")
    import_case(store, demo_bytes(CASE), name=f"{CASE}.toml", author=INVENTED)
    yield store
    store.close()


@pytest.fixture(scope="module")
def accounts(store: SqlFactStore) -> Accounts:
    """Two surgeons who sign in."""
    made = Accounts(store, hasher=PasswordHash((Argon2Hasher(1, 8, 1),)))
    for name in ("ada", "bo"):
        hashed = made._hasher.hash(PASSWORD)
        made.rows.add(Account(f"u-{name}", name, name, ("surgeon",), hashed, None, None, True), at=made._now())
    return made


@pytest.fixture(scope="module")
def clinic_url(store: SqlFactStore, accounts: Accounts) -> Iterator[str]:
    """A server of its own, with a quick invented plan that answers to findings."""
    desk = Desk(store, Planner(answering_plan), Who("desk", "web"))
    settings = Settings(desk, accounts=accounts)
    with listen(0) as opened:
        server = Server(uvicorn.Config(create_app(settings), log_level="warning", access_log=False))
        running = threading.Thread(target=server.run, kwargs={"sockets": [opened]})
        running.start()
        yield f"http://{HOST}:{opened.getsockname()[1]}"
        server.should_exit = True
        running.join()


@pytest.fixture
def tablet(browser: Browser, clinic_url: str) -> Iterator[BrowserContext]:
    """A device of its own."""
    context = browser.new_context(base_url=clinic_url)
    context.set_default_navigation_timeout(2 * PLANNED_MS)
    yield context
    context.close()


@pytest.fixture
def clinic(browser: Browser, clinic_url: str) -> Iterator[Page]:
    """A page on another device."""
    context = browser.new_context(base_url=clinic_url)
    page = context.new_page()
    sign_in(page, "bo")
    yield page
    context.close()


def sign_in(page: Page, name: str) -> None:
    """Somebody signs in."""
    page.goto("/sign-in")
    page.locator('input[name="login"]').fill(name)
    page.locator('input[name="password"]').fill(PASSWORD)
    page.locator('input[name="password"]').press("Enter")
    expect(page).not_to_have_url(re.compile("sign-in"))


def facts(page: Page) -> list[dict[str, Any]]:
    """The facts that the server keeps of the case."""
    kept: list[dict[str, Any]] = page.request.get(f"/api{HERE}/facts").json()["facts"]
    return kept


def kept_on(tablet: BrowserContext) -> Page:
    """The case, kept on the tablet by its button."""
    page = tablet.new_page()
    sign_in(page, "ada")
    page.goto(HERE)
    page.get_by_role("button", name="Keep on this device").click()
    expect(page.locator("#keep-said")).to_contain_text("Kept on this device at", timeout=2 * PLANNED_MS)
    return page


def test_theatre_goes_on_without_network_and_all_is_sent_once_in_order(
    tablet: BrowserContext, clinic: Page, accounts: Accounts, axe: str
) -> None:
    mine = kept_on(tablet)
    before = facts(clinic)
    tablet.set_offline(True)
    mine.goto(f"{HERE}/theatre")
    expect(mine.locator("#net")).to_contain_text("No network")
    first = mine.locator("#step-name").inner_text()
    mine.locator('[data-press="next"]').click()
    expect(mine.locator("#step-name")).not_to_have_text(first)
    expect(mine.locator("#net")).to_contain_text("1 entry waits on this device.")

    # A finding shows the plan that was worked out for it beforehand; two together were not worked out, and say so.
    mine.goto(f"{HERE}/theatre?step=capsulorhexis")
    expect(mine.locator(".do-now")).not_to_contain_text("Slowly, two hands.")
    mine.get_by_role("button", name="radial folds").click()
    expect(mine.locator(".do-now")).to_contain_text("Slowly, two hands.")
    expect(mine.locator(".kept-notes")).to_contain_text("Worked out beforehand for this finding alone: radial folds")
    expect(mine.locator("main")).to_contain_text("more OVD")
    assert violations(mine, axe) == []
    mine.get_by_role("button", name="the lens travels").click()
    expect(mine.locator(".kept-notes")).to_contain_text("Not worked out on this device: radial folds, the lens travels")
    mine.locator('[data-press="undo"]').click()
    expect(mine.locator(".kept-notes")).to_contain_text("the lens travels (taken back)")
    expect(mine.locator(".kept-notes")).to_contain_text("for this finding alone: radial folds")

    # A field typed without network waits, and is still there after the page was loaded again.
    mine.goto(f"{HERE}/facts/lens")
    mine.locator(f"{GRADE}-field").fill("4,5")
    mine.locator(f"{GRADE}-field").press("Tab")
    expect(mine.locator(f"{GRADE} .state")).to_contain_text("kept on this device")
    mine.reload()
    expect(mine.locator(f"{GRADE}-field")).to_have_value("4,5")
    expect(mine.locator("#net")).to_contain_text("5 entries wait on this device.")
    assert facts(clinic) == before

    # Meanwhile somebody else says something else of the same field.
    clinic.goto(f"{HERE}/facts/lens")
    clinic.locator(f"{GRADE}-field").fill("3")
    clinic.locator(f"{GRADE}-field").press("Tab")
    expect(clinic.locator(f"{GRADE} .state")).to_contain_text("saved ")
    tablet.set_offline(False)
    expect(mine.locator("#net")).to_contain_text("5 entries were sent.", timeout=PLANNED_MS)
    expect(mine.locator("#net")).to_contain_text("Others entered something else meanwhile: grade")
    sent = facts(clinic)[len(before) + 1 :]
    told = [one["header"]["kind"] for one in sent]
    assert told == ["planned", "done", "found", "found", "withdrawn", "found"]
    ids = [one["header"]["id"] for one in sent]

    # Sent again, as after an answer that was lost: nothing new.
    assert mine.evaluate(SEND_AGAIN) == 5
    mine.goto("/device")
    expect(mine.locator("#net")).to_contain_text("5 entries were sent.", timeout=PLANNED_MS)
    assert [one["header"]["id"] for one in facts(clinic)[len(before) + 1 :]] == ids
    assert violations(mine, axe) == []

    # The session ends meanwhile: what waits is sent after signing in again. Signing out forgets all.
    tablet.set_offline(True)
    mine.goto(f"{HERE}/theatre")
    mine.locator('[data-press="next"]').click()
    expect(mine.locator("#net")).to_contain_text("1 entry waits")
    accounts.rows.end(at=accounts._now(), account_id="u-ada")
    tablet.set_offline(False)
    mine.goto("/sign-in")
    expect(mine.locator("#net")).to_contain_text("1 entry waits on this device. Sign in to send them.")
    sign_in(mine, "ada")
    expect(mine.locator("#net")).to_contain_text("1 entry was sent.")

    # Somebody else signs in on the device: what waits is never sent in that name unasked. It is taken over, or dropped.
    tablet.set_offline(True)
    for count in ("1 entry waits", "2 entries wait"):
        mine.goto(f"{HERE}/theatre")
        mine.locator('[data-press="next"]').click()
        expect(mine.locator("#net")).to_contain_text(count)
    accounts.rows.end(at=accounts._now(), account_id="u-ada")
    tablet.set_offline(False)
    kept = len(facts(clinic))
    sign_in(mine, "bo")
    mine.goto("/device")
    waiting = mine.locator("#waiting li")
    expect(waiting).to_have_count(2)
    expect(waiting.first).to_contain_text("Entered by somebody else who used this device.")
    assert violations(mine, axe) == []
    assert len(facts(clinic)) == kept
    waiting.first.get_by_role("button", name="Take over as mine").click()
    expect(waiting).to_have_count(1)
    taken = facts(clinic)[kept:]
    assert [(one["header"]["kind"], one["header"]["author"]) for one in taken] == [("done", "u-bo")]
    waiting.first.get_by_role("button", name="Drop").click()
    expect(waiting).to_have_count(1)
    waiting.first.get_by_role("button", name="Drop for good").click()
    expect(mine.locator("#waiting-none")).to_be_visible()
    assert len(facts(clinic)) == kept + 1
    mine.goto("/account")
    mine.locator('form[action="/sign-out"] button').click()
    expect(mine).to_have_url(re.compile("/sign-in"))
    assert mine.evaluate("caches.keys()") == []
    assert mine.evaluate("navigator.serviceWorker.getRegistrations().then((all) => all.length)") == 0

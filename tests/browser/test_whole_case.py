"""One eye from clinic to the sixth week: a nurse with a tablet by touch and a surgeon by keyboard alone, both signed in; the
network is cut while the nurse enters. At the end the record is whole, and both have read the same case."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, expect

from forestay.case.bodies import Done, Seen, Signed
from forestay.case.fact import content
from forestay.services.accounts import Accounts
from forestay.services.cases import Who
from forestay.services.keeping import verify
from forestay.services.planner import Planner
from forestay.services.planning import Desk
from forestay.services.reviewing import operated
from forestay.store.sql import SqlFactStore
from forestay.web.app import create_app
from forestay.web.serve import HOST, Server, listen
from forestay.web.settings import Settings

pytestmark = pytest.mark.browser
PASSWORD = "an invented sentence of length"  # noqa: S105
CASE = "W-1"
PLANNED_MS = 60_000
WAIT_S = 30
MOST_STEPS = 25


class Calendar(datetime):
    """The day on which somebody looks at the follow-up, so that six weeks pass in a test."""

    days = 0

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
        return datetime.now(tz) + timedelta(days=cls.days)


@dataclass
class Practice:
    """A server where people sign in, and its record."""

    address: str
    store: SqlFactStore


@pytest.fixture
def practice(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Practice]:
    monkeypatch.setattr(Calendar, "days", 0)
    monkeypatch.setattr("forestay.web.pages.after.datetime", Calendar)
    store = SqlFactStore(f"sqlite:///{tmp_path}/cases.sqlite", clock=lambda: Calendar.now(UTC))
    accounts = Accounts(store)
    accounts.create_first(login="sora", shown_as="Invented Surgeon", password=PASSWORD)
    by = accounts.actor(accounts.sign_in("sora", PASSWORD, address="here").token)
    assert by is not None
    first = accounts.create(by, login="nilo", shown_as="Invented Nurse", roles=("nurse",))
    nurse = accounts.actor(accounts.sign_in("nilo", first, address="here").token)
    assert nurse is not None
    accounts.change_password(nurse, first, PASSWORD)
    app = create_app(Settings(Desk(store, Planner(), Who(author="desk", device="web")), accounts=accounts))
    with listen(0) as opened:
        server = Server(uvicorn.Config(app, log_level="warning", access_log=False))
        running = threading.Thread(target=server.run, kwargs={"sockets": [opened]})
        running.start()
        try:
            yield Practice(f"http://{HOST}:{opened.getsockname()[1]}", store)
        finally:
            server.should_exit = True
            running.join(WAIT_S)
            store.close()


def device(browser: Browser, practice: Practice, **kind: object) -> tuple[BrowserContext, Page]:
    """A device of its own, with its own cookies."""
    context = browser.new_context(base_url=practice.address, **kind)  # type: ignore[arg-type]
    context.set_default_navigation_timeout(2 * PLANNED_MS)
    context.set_default_timeout(PLANNED_MS)
    return context, context.new_page()


def go_to(page: Page, selector: str) -> None:
    """Walk there by the tabulator, as somebody without a mouse does."""
    for _ in range(250):
        if page.evaluate("selector => document.activeElement?.matches(selector) ?? false", selector):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"The tabulator never came to {selector}.")


def press(page: Page, selector: str) -> None:
    """Walk there and press Enter."""
    go_to(page, selector)
    page.keyboard.press("Enter")


def write(page: Page, selector: str, text: str) -> None:
    """Walk there and write."""
    go_to(page, selector)
    page.keyboard.press("Control+a")
    page.keyboard.type(text)


def enter(page: Page, path: str, text: str) -> None:
    """The nurse writes a value and goes on to the next; it is kept by itself."""
    row = f"#row-{path.replace('.', '-').replace('_', '-')}"
    field = page.locator(f"{row}-field")
    field.tap()
    field.fill(text)
    field.press("Tab")


def saved(page: Page, path: str) -> None:
    row = f"#row-{path.replace('.', '-').replace('_', '-')}"
    expect(page.locator(f"{row} .state")).to_contain_text("saved ", timeout=PLANNED_MS)


def test_a_case_from_clinic_to_the_sixth_week(browser: Browser, practice: Practice) -> None:
    tablet, nurse = device(browser, practice, viewport={"width": 1024, "height": 768}, has_touch=True, locale="en")
    desktop, surgeon = device(browser, practice, viewport={"width": 1480, "height": 1140}, locale="en")
    _clinic(nurse, tablet)
    _decision(surgeon, nurse)
    _theatre(surgeon, nurse)
    _afterwards(surgeon, nurse)
    for context in (tablet, desktop):
        context.close()
    bodies = [content(fact) for fact in practice.store.facts(CASE)]
    steps = [body.step for body in bodies if isinstance(body, Done)]
    assert len(steps) == len(set(steps)) > 5
    assert [body.day for body in bodies if isinstance(body, Seen)] == [1, 7, 42]
    assert sum(isinstance(body, Signed) for body in bodies) == 1
    assert len({fact.header.author for fact in practice.store.facts(CASE)}) == 2
    assert [outcome.case_id for outcome in operated(practice.store)] == [CASE]
    assert verify(practice.store) == []


def _sign_in(page: Page, login: str) -> None:
    page.goto("/sign-in")
    write(page, "input[name=login]", login)
    write(page, "input[name=password]", PASSWORD)
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text("Cases", timeout=PLANNED_MS)


def _clinic(nurse: Page, tablet: BrowserContext) -> None:
    """The nurse opens the case and enters what was measured; the network fails for a while."""
    _sign_in(nurse, "nilo")
    nurse.get_by_role("link", name="New case").tap()
    nurse.get_by_label("Name of the case").fill(CASE)
    nurse.get_by_label("Left eye").tap()
    nurse.get_by_role("textbox", name="Age").fill("74")
    nurse.get_by_role("button", name="Open the case").tap()
    expect(nurse).to_have_url(re.compile(rf"/cases/{CASE}"))
    nurse.goto(f"/cases/{CASE}/facts/biometry")
    enter(nurse, "biometry.axial_length_mm", "23,4")
    saved(nurse, "biometry.axial_length_mm")
    tablet.set_offline(True)
    for path, text in (("biometry.k1_d", "43.5"), ("biometry.k2_d", "44.25"), ("biometry.chamber_depth_mm", "2.9")):
        enter(nurse, path, text)
    tablet.set_offline(False)
    for path in ("biometry.k1_d", "biometry.k2_d", "biometry.chamber_depth_mm"):
        saved(nurse, path)


def _decision(surgeon: Page, nurse: Page) -> None:
    """The surgeon finds the case, enters the grade, tries a size and decides; the nurse sees it without asking."""
    _sign_in(surgeon, "sora")
    press(surgeon, f"a[href='/cases/{CASE}']")
    expect(surgeon.locator("#look .known")).to_contain_text("length 23.4 mm", timeout=PLANNED_MS)
    nurse.goto(f"/cases/{CASE}")
    write(surgeon, "#control-capsulorhexis_mm", "5.6")
    surgeon.keyboard.press("Enter")
    expect(surgeon.locator(".trying")).to_contain_text("Capsulorhexis 5.6 mm", timeout=PLANNED_MS)
    write(surgeon, "input[name=reason]", "room for a large nucleus")
    surgeon.keyboard.press("Enter")
    expect(surgeon.locator("#look .known")).to_contain_text("room for a large nucleus", timeout=PLANNED_MS)
    expect(nurse.locator("#look .known")).to_contain_text("room for a large nucleus", timeout=PLANNED_MS)


def _theatre(surgeon: Page, nurse: Page) -> None:
    """The nurse ticks the checks; the surgeon goes through every step by the pedal's key; the wall follows."""
    nurse.goto(f"/cases/{CASE}/theatre/checks")
    for box in nurse.locator("label.tick").all():
        box.tap()
    nurse.get_by_role("button", name="Keep what is ticked").first.tap()
    expect(nurse.locator("input[name=kept]").first).to_be_checked(timeout=PLANNED_MS)
    nurse.goto(f"/cases/{CASE}/theatre?wall=1")
    surgeon.goto(f"/cases/{CASE}/theatre")
    before = ""
    for _ in range(MOST_STEPS):
        now = surgeon.locator("#step-name").inner_text()
        button = surgeon.locator("[data-press=next]")
        if now == before or not button.count():
            break
        last = button.inner_text().strip() == "done"
        with surgeon.expect_navigation():
            surgeon.keyboard.press("PageDown")
        before = now
        if last:
            break
    assert last
    expect(nurse.locator("#step-name")).to_have_text(surgeon.locator("#step-name").inner_text(), timeout=PLANNED_MS)


def _afterwards(surgeon: Page, nurse: Page) -> None:
    """The surgeon signs the note; the nurse keeps three visits; the review counts the eye."""
    surgeon.goto(f"/cases/{CASE}/note")
    press(surgeon, "button[formaction$='/sign']")
    expect(surgeon.locator("main")).to_contain_text("Add to it", timeout=PLANNED_MS)
    for day, refraction in ((1, "-1"), (7, "-0.75"), (42, "-0,5")):
        Calendar.days = day
        nurse.goto(f"/cases/{CASE}/follow-up")
        nurse.locator("#visit-day").fill(str(day))
        for name, text in (("refraction_d", refraction), ("pressure_mmhg", "15")):
            nurse.locator(f"#visit-{name}").fill(text)
        with nurse.expect_navigation():
            nurse.get_by_role("button", name="Keep the visit").tap()
        assert nurse.locator("main [role=alert]").all_inner_texts() == []
        expect(nurse.locator(".visits > li")).to_have_count((1, 7, 42).index(day) + 1, timeout=PLANNED_MS)
    surgeon.goto("/review")
    expect(surgeon.locator("h1")).to_contain_text("Review", timeout=PLANNED_MS)

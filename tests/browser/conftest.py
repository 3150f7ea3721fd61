"""A real browser and a real server: the invented cases, the real plan, a store of its own."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from playwright.sync_api import BrowserContext, ConsoleMessage, Page, expect

from forestay.web.serve import HOST, Server, application, listen

USUAL = "/usr/lib/chromium/chromium-headless-shell"
WAIT_S = 30
NAVIGATION_MS = 120_000
"""The first page waits for the first whole plan, on a computer that may do much else meanwhile."""
expect.set_options(timeout=WAIT_S * 1000)


def chromium() -> str:
    """The browser: the one that CHROMIUM names, else the system's. Its absence is an error, never a passed-over test."""
    named = os.environ.get("CHROMIUM", USUAL)
    if not os.access(named, os.X_OK):
        raise pytest.UsageError(
            f"The browser tests need Chromium, and {named} is not there: install it, or name it in CHROMIUM."
        )
    return named


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    """How the browser is started: without a window, without a sandbox (it may run as root), without any network."""
    return {
        "executable_path": chromium(),
        "headless": True,
        "args": ["--no-sandbox", "--disable-dev-shm-usage", "--disable-background-networking", "--no-first-run"],
    }


@pytest.fixture(scope="session")
def base_url(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a server that runs while the tests do."""
    db = tmp_path_factory.mktemp("browser") / "cases.sqlite"
    with listen(0) as opened:
        app = application(str(db), demo=True)
        server = Server(uvicorn.Config(app, log_level="warning", access_log=False))
        running = threading.Thread(target=server.run, kwargs={"sockets": [opened]})
        running.start()
        try:
            yield f"http://{HOST}:{opened.getsockname()[1]}"
        finally:
            server.should_exit = True
            running.join(WAIT_S)
    assert not running.is_alive()


@pytest.fixture
def said() -> list[str]:
    """Errors that the browser reported; a test that expects one takes it out."""
    return []


@pytest.fixture(autouse=True)
def no_errors(context: BrowserContext, said: list[str]) -> Iterator[None]:
    """Whatever the browser reports as an error or a warning fails the test."""

    def listen_to(page: Page) -> None:
        page.on("console", heard)
        page.on("pageerror", lambda error: said.append(str(error)))

    def heard(message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            said.append(message.text)

    context.on("page", listen_to)
    context.set_default_navigation_timeout(NAVIGATION_MS)
    yield
    assert said == []


@pytest.fixture(scope="session")
def axe() -> str:
    """The accessibility checker, as the packaging hook installed it."""
    found = Path(__file__).parents[2] / "frontend" / "node_modules" / "axe-core" / "axe.min.js"
    return found.read_text(encoding="utf-8")

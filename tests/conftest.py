"""Order of the whole suite."""

from __future__ import annotations

import gc
from collections.abc import Iterator

import pytest

from tests.postgresql import Server
from tests.solvers import solvers_of

gc.disable()  # until all tests are collected: what is made meanwhile stays to the end


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Browser tests come last: the browser's driver keeps an event loop running in this thread once it was opened."""
    items.sort(key=lambda item: "browser" in item.path.parts)


def pytest_collection_finish() -> None:
    """From here on the collector looks at what tests make, not at ten thousand tests."""
    gc.collect()
    gc.freeze()
    gc.enable()


@pytest.fixture(autouse=True, scope="module")
def solvers(request: pytest.FixtureRequest) -> Iterator[None]:
    """The solvers of the room that the tests are in."""
    with solvers_of(request.path.parent.name):
        yield


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Server]:
    """A PostgreSQL server for this run, started when the first test asks for it."""
    server = Server()
    yield server
    server.remove()


@pytest.fixture(autouse=True, scope="session")
def own_data_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """No test, and no program that a test starts, touches the data folder of whoever runs it."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data-home")))
        for name in ("FORESTAY_DB", "FORESTAY_KEY", "FORESTAY_PASSPHRASE"):
            patched.delenv(name, raising=False)
        yield

"""Order of the whole suite."""

from __future__ import annotations

import pytest


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Browser tests come last: the browser's driver keeps an event loop running in this thread once it was opened."""
    items.sort(key=lambda item: "browser" in item.path.parts)

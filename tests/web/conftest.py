"""An application in this process, over invented plans."""

from __future__ import annotations

import pytest
from fastapi import FastAPI

from forestay.services.planning import Desk
from forestay.web.app import create_app
from forestay.web.settings import Settings
from tests.web.desk import invented_desk
from tests.web.visitor import Visitor


@pytest.fixture
def desk() -> Desk:
    """The desk behind the application."""
    return invented_desk()


@pytest.fixture
def app(desk: Desk) -> FastAPI:
    """The application."""
    return create_app(Settings(desk))


@pytest.fixture
def client(app: FastAPI) -> Visitor:
    """A visitor of the application."""
    return Visitor(app)

"""``/health``: whether the server answers, and with which version."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import BaseModel

from forestay import __version__


class Health(BaseModel):
    """The server answers."""

    status: str
    version: str


router = APIRouter(tags=["health"])


@router.get("/health")
def health() -> Health:
    """Always ``ok`` while the server runs."""
    return Health(status="ok", version=__version__)

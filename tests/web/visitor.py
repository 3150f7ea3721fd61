"""Asks an application in this process, as a browser would, without a server."""

from __future__ import annotations

import asyncio
from typing import Any

import httpx
from fastapi import FastAPI


class Visitor:
    """One visitor of an application; a failure of the program comes back as an answer, as over the wire."""

    def __init__(self, app: FastAPI, *, address: str = "http://localhost") -> None:
        self._app = app
        self._address = address

    def get(self, address: str, **more: Any) -> httpx.Response:
        """Ask for a page."""
        return self.ask("GET", address, **more)

    def post(self, address: str, **more: Any) -> httpx.Response:
        """Send a form or a value."""
        return self.ask("POST", address, **more)

    def ask(self, method: str, address: str, **more: Any) -> httpx.Response:
        """One request; redirects are followed unless ``follow_redirects`` says otherwise."""
        return asyncio.run(self._ask(method, address, more))

    async def _ask(self, method: str, address: str, more: dict[str, Any]) -> httpx.Response:
        way = httpx.ASGITransport(app=self._app, raise_app_exceptions=False)
        async with httpx.AsyncClient(transport=way, base_url=self._address, follow_redirects=True) as client:
            return await client.request(method, address, **more)

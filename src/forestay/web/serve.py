"""Starts the web application on this computer: opens the store, keeps the invented cases once, says the address."""

from __future__ import annotations

import errno
import socket
import threading
from contextlib import suppress
from typing import Protocol

import uvicorn
from fastapi import FastAPI

from forestay.errors import ForestayError, InvalidInput
from forestay.eye.lens_shelf import LensShelf
from forestay.mechanics import fast
from forestay.optics import ray_fast
from forestay.services.planning import open_desk
from forestay.text import tr
from forestay.web.app import create_app
from forestay.web.settings import Settings

HOST = "127.0.0.1"
LARGEST_PORT = 65535


class PortTaken(ForestayError):
    """Another program listens there already."""

    code = "port-taken"


class Say(Protocol):
    """Where sentences for the person at the terminal go."""

    def __call__(self, sentence: str, /) -> None:
        """Say one sentence."""


def serve(port: int, db: str | None, demo: bool, *, say: Say = print, lenses: LensShelf | None = None) -> None:
    """Serve until interrupted. ``db``: address or path of the store, the user's own one where None."""
    listening = listen(port)
    try:
        app = application(db, demo=demo, lenses=lenses)
        address = f"http://{HOST}:{listening.getsockname()[1]}/"
        say(tr("Forestay is at {address} (stop with Ctrl+C).", address=address))
        threading.Thread(target=_quicken, daemon=True).start()
        # raised again by the server where the shell lets an interruption through; started in the background it may not
        with suppress(KeyboardInterrupt):
            uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False)).run(sockets=[listening])
        say(tr("Stopped."))
    finally:
        listening.close()


def _quicken() -> None:
    """Compile what can be compiled, one after the other."""
    fast.start()
    ray_fast.start()


def application(db: str | None, *, demo: bool, lenses: LensShelf | None = None) -> FastAPI:
    """The application over the store ``db``; with ``demo``, the invented cases are kept there once."""
    return create_app(Settings(open_desk(db, demo=demo, lenses=lenses)))


def listen(port: int) -> socket.socket:
    """A listening socket of this computer only; 0 picks a free port."""
    if not 0 <= port <= LARGEST_PORT:
        allowed = tr("0 to {largest}", largest=LARGEST_PORT)
        raise InvalidInput(
            tr("port is {port}; allowed: {allowed}.", port=port, allowed=allowed),
            field="port",
            value=port,
            allowed=allowed,
        )
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        opened.bind((HOST, port))
        opened.listen()
    except OSError as wrong:
        opened.close()
        why = tr("is taken by another program") if wrong.errno == errno.EADDRINUSE else tr("cannot be opened")
        raise PortTaken(
            tr("Port {port} {why}; choose another with --port.", port=port, why=why),
            field="port",
            value=port,
            allowed=tr("a free port"),
        ) from None
    return opened

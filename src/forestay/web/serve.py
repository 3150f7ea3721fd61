"""Starts the web application, on this computer unless said otherwise: opens the store, keeps the invented cases once, says the address."""

from __future__ import annotations

import atexit
import errno
import io
import os
import secrets
import socket
import subprocess
import sys
import threading
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from subprocess import DEVNULL
from typing import Protocol

import uvicorn
from fastapi import FastAPI

from forestay.errors import ForestayError, InvalidInput, UnreadableFile
from forestay.eye.lens_shelf import LensShelf
from forestay.mechanics import fast
from forestay.optics import ray_fast
from forestay.services.accounts import Accounts
from forestay.services.certificates import Issued
from forestay.services.planning import open_desk
from forestay.text import language, tr
from forestay.web.app import create_app
from forestay.web.settings import LOCAL_HOSTS, Settings
from forestay.web.sign_on import from_environment

HOST = "127.0.0.1"
LARGEST_PORT = 65535
DOTS = 3
EVERYWHERE = ("0.0.0.0",)  # noqa: S104 - only with TLS and accounts


class PortTaken(ForestayError):
    """Another program listens there already."""

    code = "port-taken"


class Server(uvicorn.Server):
    """A server that ends the streams of its application before it waits for the last answers, and its helpers after."""

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop."""
        app = self.config.app
        if isinstance(app, FastAPI):
            app.state.live.close()
        await super().shutdown(sockets)
        if isinstance(app, FastAPI):
            app.state.desk.close()


class Say(Protocol):
    """Where sentences for the person at the terminal go."""

    def __call__(self, sentence: str, /) -> None:
        """Say one sentence."""


@dataclass(frozen=True)
class Reach:
    """Who can reach the server: the address it listens on, the certificate for TLS, and whether people sign in."""

    host: str = HOST
    certificate: Path | None = None
    private_key: Path | None = None
    accounts: bool = False
    issued: Issued | None = None
    """The certificate that this machine made for itself."""

    @property
    def local(self) -> bool:
        """Whether only this computer reaches it."""
        return self.host in LOCAL_HOSTS or self.host.startswith("127.")

    def planners(self, asked: int | None = None) -> int:
        """How many processes make plans: as asked, else as many as cores are left over where several people work."""
        if asked is not None:
            return asked
        return 0 if self.local and not self.accounts else max(1, (os.cpu_count() or 2) - 1)

    def check(self) -> None:
        """Refuse to send passwords and cases over a network in clear."""
        if (self.certificate is None) != (self.private_key is None):
            raise InvalidInput(
                tr("A certificate needs its private key, and the key its certificate."), field="certificate"
            )
        if not self.local and self.certificate is None:
            allowed = tr("--tls, or --certificate FILE --private-key FILE")
            raise InvalidInput(
                tr(
                    "Others would reach {host} without encryption; allowed: {allowed}.", host=self.host, allowed=allowed
                ),
                field="host",
                value=self.host,
                allowed=allowed,
            )
        for file in (self.certificate, self.private_key):
            if file is not None and not file.is_file():
                raise UnreadableFile(tr("There is no file {name}.", name=file), field="certificate", value=str(file))


def serve(
    port: int,
    db: str | None,
    demo: bool,
    *,
    reach: Reach | None = None,
    lenses: LensShelf | None = None,
    planners: int | None = None,
    say: Say = print,
) -> None:
    """Serve until interrupted. ``db``: address or path of the store, the user's own one where None.

    ``planners``: processes that make plans beside this one; None takes none for one person, and with accounts one for
    each core but the one that answers.
    """
    reach = reach or Reach()
    reach.check()
    listening = listen(port, reach.host)
    try:
        app, code = build(db, demo=demo, reach=reach, lenses=lenses, planners=reach.planners(planners))
        scheme = "https" if reach.certificate else "http"
        address = f"{scheme}://{_name(reach)}:{listening.getsockname()[1]}/"
        say(tr("Forestay is at {address} (stop with Ctrl+C).", address=address))
        if reach.issued is not None:
            _invite(reach.issued, address, say)
        if code is not None:
            say(tr("Code for the first account: {code}", code=code))
        threading.Thread(target=_quicken, daemon=True).start()
        tls = {"ssl_certfile": reach.certificate, "ssl_keyfile": reach.private_key} if reach.certificate else {}
        # raised again by the server where the shell lets an interruption through; started in the background it may not
        with suppress(KeyboardInterrupt):
            Server(
                uvicorn.Config(app, log_level="warning", access_log=False, server_header=False, **tls)  # type: ignore[arg-type]
            ).run(sockets=[listening])
        say(tr("Stopped."))
    finally:
        listening.close()


def own_tls(host: str | None, *, accounts: bool) -> Reach:
    """Over TLS with a certificate of this machine's own authority, for the whole local network unless ``host`` says less."""
    from forestay.services.certificates import issue

    issued = issue()
    return Reach(host or EVERYWHERE[0], issued.certificate, issued.private_key, accounts, issued)


def _invite(issued: Issued, address: str, say: Say) -> None:
    """What a person with a tablet in hand needs: where to go, as a picture to scan, and what to compare."""
    import segno

    page = f"{address}tls"
    drawn = io.StringIO()
    segno.make(page, error="m").terminal(out=drawn, compact=True)
    say(drawn.getvalue().rstrip("\n"))
    say(tr("A tablet finds this server, and how to trust it, at {address}.", address=page))
    say(tr("Fingerprint of its authority (SHA-256): {fingerprint}", fingerprint=issued.fingerprint))


def _name(reach: Reach) -> str:
    if reach.issued is not None and reach.host in EVERYWHERE:
        # A tablet may not find a machine by its name: the address that leads outwards comes first.
        outward = [name for name in reach.issued.names if name.count(".") == DOTS and not name.startswith("127.")]
        return outward[0] if outward else socket.gethostname()
    return socket.gethostname() if reach.host in EVERYWHERE else reach.host


COMPILE = """
import os
from forestay.mechanics import fast
from forestay.optics import ray_fast
getattr(os, "nice", int)(10)
fast.start()
ray_fast.start()
"""
"""What a process of its own does: about a minute the first time, and at a low rank, so that nobody waits for a page."""


def _quicken() -> None:
    """Compile what can be compiled, in a process of its own that keeps the machine code; then take it up here."""
    if fast.available():
        with suppress(OSError):
            apart = subprocess.Popen([sys.executable, "-P", "-c", COMPILE], stdout=DEVNULL, stderr=DEVNULL)  # noqa: S603
            atexit.register(apart.terminate)
            apart.wait()
            atexit.unregister(apart.terminate)
    fast.start()
    ray_fast.start()


def application(db: str | None, *, demo: bool, lenses: LensShelf | None = None) -> FastAPI:
    """The application for one person on this machine; with ``demo``, the invented cases are kept there once."""
    return build(db, demo=demo, lenses=lenses)[0]


def build(
    db: str | None,
    *,
    demo: bool,
    reach: Reach | None = None,
    lenses: LensShelf | None = None,
    planners: int = 0,
) -> tuple[FastAPI, str | None]:
    """The application over the store ``db``, with the invented cases kept there once if ``demo``; and the code that the
    first account needs, where others can reach the server and nobody has an account."""
    reach = reach or Reach()
    desk = open_desk(db, demo=demo, lenses=lenses, planners=planners)
    if reach.local and not reach.accounts:
        return create_app(Settings(desk, language=language(), issued=reach.issued)), None
    accounts = Accounts(desk.store)
    code = None if reach.local or not accounts.first_run() else secrets.token_hex(4)
    own = socket.gethostname()
    names = (
        *LOCAL_HOSTS,
        own,
        f"{own}.local",
        *(() if reach.host in EVERYWHERE else (reach.host,)),
        *_addresses(reach),
        *(reach.issued.names if reach.issued else ()),
    )
    settings = Settings(
        desk,
        hosts=names,
        accounts=accounts,
        secure=reach.certificate is not None,
        issued=reach.issued,
        first_code=code,
        sign_on=from_environment(),
        language=language(),
    )
    return create_app(settings), code


def _addresses(reach: Reach) -> tuple[str, ...]:
    """The addresses of this machine, where it listens on all of them."""
    if reach.host not in EVERYWHERE:
        return ()
    with suppress(OSError):
        return tuple(sorted({str(info[4][0]) for info in socket.getaddrinfo(socket.gethostname(), None)}))
    return ()


def listen(port: int, host: str = HOST) -> socket.socket:
    """A listening socket, of this computer only unless said otherwise; 0 picks a free port."""
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
        opened.bind((host, port))
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

"""What the web application needs to know when it starts. Passed in, never global."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from forestay.services.accounts import Accounts
from forestay.services.certificates import Issued
from forestay.services.planning import Desk
from forestay.text import SOURCE
from forestay.web.limits import Limits
from forestay.web.sign_on import SignOn

STATIC = Path(__file__).parent / "static"
LOCAL_HOSTS = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True)
class Settings:
    """``desk`` gives the cases and their plans; ``hosts`` are the names under which the pages may be asked for."""

    desk: Desk
    hosts: tuple[str, ...] = LOCAL_HOSTS
    static: Path = STATIC
    accounts: Accounts | None = None
    """Who may sign in; None: one person on this machine, without ceremony."""
    issued: Issued | None = None
    """The certificate that this machine made for itself, where it did."""
    limits: Limits | None = None
    """How much may be asked in how short a time where people sign in; None: as the table of access says."""
    secure: bool = False
    """Whether the pages come over TLS, so that cookies may be bound to it."""
    first_code: str | None = None
    """What must be typed to create the first account, where others can reach the server."""
    language: str = SOURCE
    """The language of a page where neither the reader nor the browser asks for one that is here."""
    sign_on: SignOn | None = None
    """The hospital's own sign-on, where it is set up."""

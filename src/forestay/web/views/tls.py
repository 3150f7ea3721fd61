"""How a tablet comes to trust this machine."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class TlsView(View):
    """The way to a secure page on a tablet."""

    address: str = field(metadata=told("where a tablet finds the server; empty where it makes no certificate"))
    picture: Markup | None = field(metadata=told("the same to scan"))
    fingerprint: str = field(metadata=told("what is compared with the terminal of the server"))
    until: str = field(metadata=told("until when the server's certificate lasts"))
    caution: str = field(metadata=told("the standing caution"))

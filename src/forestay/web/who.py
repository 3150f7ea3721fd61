"""Who is at the desk: the one who signed in, or, where nobody needs to, this very browser."""

from __future__ import annotations

import re

from starlette.requests import Request

from forestay.services.cases import Who
from forestay.services.planning import Desk

USUAL = Who(author="desk", device="web")
NAME = re.compile(r"[0-9a-f]{8,32}")


def desk_for(request: Request, desk: Desk) -> Desk:
    """The desk with whoever asks at it. Two browsers are two devices: what one has not seen, it does not know."""
    who = getattr(request.state, "who", None)
    if who is None:
        device = request.cookies.get("device", "")
        who = Who(USUAL.author, f"{USUAL.device}-{device}") if NAME.fullmatch(device) else USUAL
    return desk.by(who)

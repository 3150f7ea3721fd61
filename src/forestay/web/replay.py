"""Entries that a device kept while it had no network, sent now: the very forms of the pages, with when and by whom.

The page's own script sends one after the other. An entry is acknowledged only by the words ``{"kept": true, …}``: a
way to another page is no acknowledgement. The identity that the form carries makes a repeat harmless.
"""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from forestay.errors import ForestayError
from forestay.services.access import table
from forestay.services.actor import Forbidden
from forestay.services.entered import entered, read_moment
from forestay.services.planning import Desk
from forestay.text import field_words, tr
from forestay.web.failures import ENTERED_AT, PlainJson
from forestay.web.who import desk_for

ENTERED_BY = "x-forestay-entered-by"
REFUSED = 400


class Replays:
    """Stands before the pages, behind the check of who asks."""

    def __init__(self, app: ASGIApp, *, desk: Desk) -> None:
        self.app = app
        self.desk = desk

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        request = Request(scope) if scope["type"] == "http" else None
        if request is None or request.method != "POST" or ENTERED_AT not in request.headers:
            await self.app(scope, receive, send)
            return
        desk = desk_for(request, self.desk)
        try:
            moment = read_moment(request.headers[ENTERED_AT])
            by = request.headers.get(ENTERED_BY, "")
            if by != desk.author:
                raise Forbidden(
                    tr("Somebody else entered this; it can be taken over or dropped."), field="author", value=by[:80]
                )
        except ForestayError as wrong:
            await PlainJson(wrong.as_dict(), status_code=wrong.http_status)(scope, receive, send)
            return
        answer = _Held(send)
        with entered(moment):
            await self.app(scope, receive, answer.send)
        if answer.status is None or answer.status >= REFUSED:
            return
        told = await run_in_threadpool(self._kept, table().case_in(scope["path"]))
        await PlainJson(told)(scope, receive, send)

    def _kept(self, case_id: str | None) -> dict[str, Any]:
        """The acknowledgement: the end of the case now, and what is in dispute in it."""
        if case_id is None:
            return {"kept": True, "head": 0, "disagreements": []}
        opened = self.desk.open(case_id)
        return {
            "kept": True,
            "head": opened.head,
            "disagreements": [
                {"section": d.field.partition(".")[0], "words": f"{field_words(d.field)}: {tr(' or ').join(d.values)}"}
                for d in opened.situation.disagreements
            ],
        }


class _Held:
    """Lets a refusal through, and holds any other answer back."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self.status: int | None = None

    async def send(self, message: Message) -> None:
        """Take one part of the answer."""
        if message["type"] == "http.response.start":
            self.status = message["status"]
        if self.status is not None and self.status >= REFUSED:
            await self._send(message)

"""``/cases/{id}/events``: how many facts a case has, said anew at once whenever that changes.

A stream waits without holding a thread. It is woken by this program's own appends, and looks at the end of the case once
a second for those of another program. What the facts say is not in the stream: the page asks for itself again.
"""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator
from contextlib import suppress
from dataclasses import dataclass

from fastapi import APIRouter, Query, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import StreamingResponse

from forestay.errors import ForestayError
from forestay.services.entering import by_others
from forestay.services.planning import Desk
from forestay.web.failures import PlainJson
from forestay.web.who import desk_for

LOOK_S = 1.0
"""Between two looks at the end of the case."""
SIGN_OF_LIFE_S = 15.0
LONGEST_S = 600.0
"""After this a stream ends and the page opens another, so that an ended session is noticed."""
LARGEST_HEAD = 2**31 - 1
STREAM = "text/event-stream"


@dataclass(frozen=True)
class News:
    """The end of a case, and how many facts after the reader's last came from elsewhere."""

    head: int
    others: int

    def line(self) -> bytes:
        """As an event of a stream."""
        return f"id: {self.head}\ndata: {json.dumps({'head': self.head, 'others': self.others})}\n\n".encode()


class Live:
    """The streams of one application; :meth:`close` ends them, so that the server can stop."""

    def __init__(self) -> None:
        self._waiting: set[asyncio.Event] = set()
        self._closed = False

    def close(self) -> None:
        """End every stream. Called in the server's own loop."""
        self._closed = True
        for event in self._waiting:
            event.set()

    async def stream(self, desk: Desk, case_id: str, after: int) -> AsyncIterator[bytes]:
        """Events of one case as bytes."""
        wake, loop = asyncio.Event(), asyncio.get_running_loop()

        def told(case: str) -> None:
            if case == case_id:
                with suppress(RuntimeError):  # the loop has ended
                    loop.call_soon_threadsafe(wake.set)

        self._waiting.add(wake)
        end = desk.store.listen(told)
        begun = quiet_since = time.monotonic()
        try:
            yield b"retry: 2000\n\n"
            while not self._closed and time.monotonic() - begun < LONGEST_S:
                with suppress(ForestayError):  # the database may be away for a while: the next look says
                    news = await run_in_threadpool(look, desk, case_id, after)
                    if news.head > after:
                        after, quiet_since = news.head, time.monotonic()
                        yield news.line()
                if time.monotonic() - quiet_since > SIGN_OF_LIFE_S:
                    quiet_since = time.monotonic()
                    yield b": here\n\n"
                with suppress(TimeoutError):
                    await asyncio.wait_for(wake.wait(), LOOK_S)
                wake.clear()
        finally:
            end()
            self._waiting.discard(wake)


def look(desk: Desk, case_id: str, after: int) -> News:
    """The end of the case now."""
    head = desk.store.head(case_id)
    others = by_others(desk.store, case_id, after, head, author=desk.author, device=desk.device) if head > after else 0
    return News(head, others)


def router(desk: Desk, live: Live) -> APIRouter:
    """The stream, and the same as one answer for whoever cannot read a stream."""
    routes = APIRouter(prefix="/cases/{case_id}/events", include_in_schema=False)

    @routes.get("")
    async def events(request: Request, case_id: str, after: int = Query(0, ge=0, le=LARGEST_HEAD)) -> Response:
        mine = desk_for(request, desk)
        last = request.headers.get("last-event-id", "")
        seen = int(last) if last.isdecimal() and last.isascii() and len(last) <= len(str(LARGEST_HEAD)) else after
        news = await run_in_threadpool(look, mine, case_id, seen)
        if STREAM not in request.headers.get("accept", ""):
            return PlainJson({"head": news.head, "others": news.others})
        return StreamingResponse(live.stream(mine, case_id, seen), media_type=STREAM)

    return routes

"""From an error to an answer, in one place: JSON under ``/api``, a fragment for a form of the page, else a page."""

from __future__ import annotations

import json
import logging
from collections.abc import Sequence
from pathlib import Path
from traceback import extract_tb
from typing import Any

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Match
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from forestay.errors import ForestayError, InvalidInput, NotFound
from forestay.text import tr
from forestay.web.render import Renderer, wants_part
from forestay.web.views.failure import FailureView
from forestay.web.views.shell import shell

ENTERED_AT = "x-forestay-entered-at"
"""Header of an entry that a device kept meanwhile: its sender is a script that reads JSON."""
log = logging.getLogger(__name__)
LINES_LOGGED = 6


class Unexpected(ForestayError):
    """A fault of the program. The reader gets one sentence; the log gets the kind of fault, and no value."""

    code = "unexpected"
    http_status = 500


class PlainJson(JSONResponse):
    """JSON in plain ASCII: any text that was sent, also a broken one, can be named in the answer."""

    def render(self, content: Any) -> bytes:
        """The bytes of the answer."""
        return json.dumps(content, ensure_ascii=True, allow_nan=False, separators=(",", ":")).encode("ascii")


def failure_answer(request: Request, failure: ForestayError, renderer: Renderer) -> Response:
    """The answer to one error, in the form that the asker reads; with how long to wait, where that is known."""
    answer = _answer(request, failure, renderer)
    wait_s = getattr(failure, "retry_after_s", None)
    if wait_s is not None:
        answer.headers["Retry-After"] = str(wait_s)
    return answer


def _answer(request: Request, failure: ForestayError, renderer: Renderer) -> Response:
    if request.url.path.startswith("/api/") or ENTERED_AT in request.headers:
        return PlainJson(failure.as_dict(), status_code=failure.http_status)
    view = FailureView(shell=shell(tr("That did not work")), message=failure.message, allowed=failure.allowed)
    if wants_part(request):
        fragment = renderer.text("parts/alert.html", view)
        headers = {"HX-Retarget": "#alert", "HX-Reswap": "innerHTML", "HX-Push-Url": "false"}
        return HTMLResponse(fragment, status_code=failure.http_status, headers=headers)
    return HTMLResponse(renderer.text("failure.html", view), status_code=failure.http_status)


class FaultsInOneSentence:
    """Answers a fault of the program, and logs where it happened: kind and lines, never a value, which may be a case's."""

    def __init__(self, app: ASGIApp, renderer: Renderer) -> None:
        self.app = app
        self.renderer = renderer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        begun = False

        async def noting(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, receive, noting)
        except Exception as fault:  # noqa: BLE001 - the outer edge
            lines = [
                f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in extract_tb(fault.__traceback__)[-LINES_LOGGED:]
            ]
            log.error("%s in %s", type(fault).__name__, " < ".join(reversed(lines)))
            if scope["type"] != "http" or begun:
                return
            wrong = Unexpected(tr("The program failed here; nothing was changed."))
            await failure_answer(Request(scope), wrong, self.renderer)(scope, receive, send)


def install(app: FastAPI, renderer: Renderer) -> None:
    """Tell the application how each kind of failure is answered."""

    async def expected(request: Request, failure: Exception) -> Response:
        assert isinstance(failure, ForestayError)  # noqa: S101 - registered for this class only
        return failure_answer(request, failure, renderer)

    async def malformed(request: Request, failure: Exception) -> Response:
        assert isinstance(failure, RequestValidationError)  # noqa: S101 - registered for this class only
        first = failure.errors()[0]
        field = ".".join(str(part) for part in first["loc"][1:]) or None
        words = str(first["msg"])
        wrong = InvalidInput(tr("{field}: {words}.", field=field or tr("the request"), words=words), field=field)
        return failure_answer(request, wrong, renderer)

    async def turned_away(request: Request, failure: Exception) -> Response:
        assert isinstance(failure, HTTPException)  # noqa: S101 - registered for this class only
        if failure.status_code == NotFound.http_status:
            missing = NotFound(tr("There is no page at this address."), field="address", value=request.url.path)
            return failure_answer(request, missing, renderer)
        words = InvalidInput(str(failure.detail))
        answer = failure_answer(request, words, renderer)
        answer.status_code = failure.status_code
        answer.headers.update(failure.headers or {})
        if "allow" in answer.headers:
            answer.headers["allow"] = ", ".join(_methods(app.routes, request.scope))
        return answer

    app.add_exception_handler(ForestayError, expected)
    app.add_exception_handler(RequestValidationError, malformed)
    app.add_exception_handler(HTTPException, turned_away)


def _methods(routes: Sequence[BaseRoute], scope: Scope) -> list[str]:
    """Every method that some route takes at this address: two routes may share one address."""
    found: set[str] = set()
    for route in routes:
        inner = getattr(getattr(route, "original_router", None), "routes", None)
        if inner is not None:
            found.update(_methods(inner, scope))
        elif route.matches(scope)[0] != Match.NONE:
            found.update(getattr(route, "methods", None) or ())
    return sorted(found)

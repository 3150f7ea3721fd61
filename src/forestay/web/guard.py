"""Stands before every page when there are accounts: who asks, may they, does the form come from our own page; and notes it.

What the table (``services/access.toml``) does not allow is refused, also an address that nobody has thought of.
"""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from forestay.errors import ForestayError
from forestay.services.access import EVERYONE, Rule, table
from forestay.services.accounts import Accounts
from forestay.services.actor import Actor, Forbidden, acting
from forestay.text import tr
from forestay.web.failures import failure_answer
from forestay.web.limits import Limits, TooManyRequests
from forestay.web.render import Renderer, wants_part
from forestay.web.security import SAFE_METHODS

SEE_OTHER = 303
LARGEST_FORM_BYTES = 25_000_000
TOKEN_HEADER = "x-forestay-token"  # noqa: S105 - the name of a header
BY_ITSELF = "x-forestay-by-itself"
"""A page's own script says so where nobody pressed anything: what it asks keeps no session alive."""
FIELD = "csrf"
REFUSALS = (401, 403, 429)


class NotSignedIn(ForestayError):
    """Nobody is signed in, or the session has ended."""

    code = "not-signed-in"
    http_status = 401


class BodyTooLarge(ForestayError):
    """More was sent than a form holds."""

    code = "too-large"
    http_status = 413


@dataclass(frozen=True)
class Cookies:
    """Names of the cookies; over TLS they are bound to this very host."""

    secure: bool

    @property
    def session(self) -> str:
        """The session's token."""
        return "__Host-forestay" if self.secure else "forestay"

    @property
    def device(self) -> str:
        """What makes a device a trusted one."""
        return "__Host-forestay-device" if self.secure else "forestay-device"

    @staticmethod
    def read(headers: Headers, name: str) -> str | None:
        """The value of one cookie."""
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(name)
        except CookieError:
            return None
        return found.value if found else None

    def give(self, answer: Response, name: str, value: str, seconds: int) -> None:
        """Set a cookie that no script can read."""
        answer.set_cookie(name, value, max_age=seconds, httponly=True, samesite="lax", secure=self.secure, path="/")

    def take(self, answer: Response, name: str) -> None:
        """Take a cookie back."""
        answer.delete_cookie(name, httponly=True, samesite="lax", secure=self.secure, path="/")


class Guard:
    """See the module."""

    def __init__(
        self, app: ASGIApp, *, accounts: Accounts, cookies: Cookies, renderer: Renderer, limits: Limits | None = None
    ) -> None:
        self.app = app
        self.limits = limits or Limits()
        self.accounts = accounts
        self.cookies = cookies
        self.renderer = renderer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return  # nothing else is offered
        request = Request(scope, receive)
        method, path = request.method, scope["path"]
        rule = table().rule(method, path)
        if rule is not None and path.startswith("/static/"):
            await self.app(scope, receive, send)
            return
        address = request.client.host if request.client else ""
        try:
            self.limits.take("address", address)
        except TooManyRequests as wrong:  # before the record is asked anything
            await failure_answer(request, wrong, self.renderer)(scope, receive, send)
            return
        actor = await run_in_threadpool(
            self.accounts.actor,
            self.cookies.read(request.headers, self.cookies.session),
            by_hand=not (BY_ITSELF in request.headers or (rule is not None and rule.by_itself)),
        )
        try:
            self.limits.take(*(("signed_out", address) if actor is None else ("account", actor.account)))
        except TooManyRequests as wrong:
            await failure_answer(request, wrong, self.renderer)(scope, receive, send)
            return
        with acting(actor):
            refusal = await self._refusal(request, rule, actor)
            if refusal is None and actor is not None and method not in SAFE_METHODS and not _open(rule):
                try:
                    receive = await _checked(request, actor)
                except ForestayError as wrong:
                    refusal = failure_answer(request, wrong, self.renderer)
            if refusal is not None:
                await self._note(request, rule, actor, refusal.status_code)
                await refusal(scope, receive, send)
                return
            await self.app(scope, receive, self._noting(request, rule, actor, send))

    async def _refusal(self, request: Request, rule: Rule | None, actor: Actor | None) -> Response | None:
        path = request.scope["path"]
        if not path.startswith(("/first", "/static/", "/health", "/tls")) and await run_in_threadpool(
            self.accounts.first_run
        ):
            return RedirectResponse("/first", SEE_OTHER)
        verdict = table().verdict(request.method, path, None if actor is None else actor.permissions)
        if verdict == "allowed":
            return None
        if verdict == "sign in":
            if request.method in SAFE_METHODS and not path.startswith("/api/") and not wants_part(request):
                return RedirectResponse(f"/sign-in?to={quote(_where(request), safe='')}", SEE_OTHER)
            return failure_answer(
                request, NotSignedIn(tr("Sign in first; what you typed is still on the page.")), self.renderer
            )
        if actor is not None and actor.must_change:
            return RedirectResponse("/account", SEE_OTHER)
        wanted = table().permissions.get(rule.may, rule.may) if rule else tr("what nobody may")
        by_pin = actor is not None and actor.by_pin and rule is not None and rule.may in table().not_by_pin
        words = (
            tr("sign in with the password for this") if by_pin else tr("this account may not {what}", what=tr(wanted))
        )
        return failure_answer(request, Forbidden(tr("Refused: {words}.", words=words), allowed=None), self.renderer)

    def _noting(self, request: Request, rule: Rule | None, actor: Actor | None, send: Send) -> Send:
        """A case is shown only once it is written down that it was."""

        async def noting(message: Message) -> None:
            if message["type"] == "http.response.start":
                await self._note(request, rule, actor, message["status"])
            await send(message)

        return noting

    async def _note(self, request: Request, rule: Rule | None, actor: Actor | None, status: int) -> None:
        changes = request.method not in SAFE_METHODS and not _open(rule)
        refused = status in REFUSALS
        if not (rule is not None and rule.reads) and not changes and not refused:
            return
        path = request.scope["path"]
        await run_in_threadpool(
            self.accounts.note,
            f"{request.method} {rule.path if rule else path}",
            None if actor is None else actor.account,
            None if actor is None else actor.device,
            case_id=table().case_in(path),
            outcome="refused" if refused else str(status),
        )


def _open(rule: Rule | None) -> bool:
    return rule is not None and rule.may == EVERYONE


def _where(request: Request) -> str:
    query = request.url.query
    return str(request.scope["path"]) + (f"?{query}" if query else "")


async def _checked(request: Request, actor: Actor) -> Callable[[], Awaitable[Message]]:
    """A way to read the body once more, after the session's own word was found in header or form."""
    told = request.headers.get(TOKEN_HEADER)
    if told is not None:
        _same(told, actor)
        return request.receive
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > LARGEST_FORM_BYTES:
            raise BodyTooLarge(tr("The form is too large."))
    whole = bytes(body)

    def again() -> Callable[[], Awaitable[Message]]:
        sent = False

        async def read() -> Message:
            nonlocal sent
            if sent:
                return await request.receive()
            sent = True
            return {"type": "http.request", "body": whole, "more_body": False}

        return read

    kind = request.headers.get("content-type", "")
    told = ""
    if kind.startswith(("application/x-www-form-urlencoded", "multipart/form-data")):
        form = await Request(request.scope, again()).form()
        told = str(form.get(FIELD, ""))
        await form.close()
    _same(told, actor)
    return again()


def _same(told: str, actor: Actor) -> None:
    if not hmac.compare_digest(told.encode(), actor.csrf.encode()):
        raise Forbidden(tr("This form is not from this session; open the page again."), field=FIELD)

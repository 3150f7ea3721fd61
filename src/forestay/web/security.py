"""What every answer carries for safety, and which requests are turned away before they reach a page."""

from __future__ import annotations

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from forestay.text import tr

CONTENT_SECURITY_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        "font-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
UNCHANGING = (200, 304)
"""A built file that is there never changes: its name carries a hash of it."""
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})


class SecurityHeaders:
    """Adds :data:`HEADERS` to every answer; pages and data are never kept by a cache, built files always may be."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if scope["path"].startswith("/static/") and message["status"] in UNCHANGING:
                    headers["Cache-Control"] = "public, max-age=31536000, immutable"
                else:
                    headers["Cache-Control"] = "no-store"
                    headers.add_vary_header("HX-Request, HX-Request-Type, HX-Target, X-Forestay-Unfolded")
            await send(message)

        await self.app(scope, receive, send_with_headers)


class OwnPagesOnly:
    """Refuses what another site's page tries to change here: a browser says where a request comes from."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["method"] not in SAFE_METHODS and self.foreign(Headers(scope=scope)):
            refusal = PlainTextResponse(tr("This change was asked for by a page of another site; refused."), 403)
            await refusal(scope, receive, send)
            return
        await self.app(scope, receive, send)

    @staticmethod
    def foreign(headers: Headers) -> bool:
        """True where the browser says that the request comes from elsewhere. A program sends neither header."""
        site = headers.get("sec-fetch-site")
        if site is not None:
            return site not in ("same-origin", "none")
        origin = headers.get("origin")
        return origin is not None and origin.partition("://")[2] != headers.get("host")

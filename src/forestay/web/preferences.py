"""What a reader chose for this browser, kept in cookies: the theme and the language. Neither changes by itself."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from contextvars import ContextVar
from http.cookies import CookieError, SimpleCookie
from secrets import token_hex
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from forestay.draw.palette import THEMES
from forestay.errors import ForestayError, InvalidInput
from forestay.plan.practice_settings import Shown
from forestay.text import SOURCE, languages, tr, use_language, wanted
from forestay.web.units import use_shown

USUAL_THEME = "light"
A_YEAR_S = 365 * 24 * 3600
DEVICE_COOKIE = "device={}; Max-Age={}; Path=/; HttpOnly; SameSite=strict"
"""A name by chance for this browser: two of them are two devices, and neither knows what only the other has seen."""
_theme: ContextVar[str] = ContextVar("forestay_theme", default=USUAL_THEME)


def theme() -> str:
    """The theme of the page that is being made."""
    return _theme.get()


def theme_words() -> tuple[tuple[str, str], ...]:
    """The themes by name, in words."""
    return (("light", tr("light")), ("dark", tr("dark")), ("theatre", tr("theatre")))


def known_theme(name: str) -> str:
    """``name`` where there is such a theme, else one clear error."""
    if name not in THEMES:
        allowed = ", ".join(THEMES)
        raise InvalidInput(
            tr("theme is {name!r}; allowed: {allowed}.", name=name[:40], allowed=allowed),
            field="theme",
            value=name[:40],
            allowed=allowed,
        )
    return name


def own_path(address: str | None, host: str | None) -> str:
    """The path of an address of this very site; the first page for any other."""
    parts = urlsplit(address or "")
    if not parts.path.startswith("/") or parts.path.startswith("//") or parts.netloc != (host or ""):
        return "/"
    return parts.path + (f"?{parts.query}" if parts.query else "")


class Preferences:
    """Reads the choices of a reader before a page is made, and gives the browser a name to be told apart by."""

    def __init__(
        self, app: ASGIApp, *, usual_language: str = SOURCE, shown: Callable[[], Shown | None] = lambda: None
    ) -> None:
        self.app = app
        self.usual_language = usual_language
        self.shown = shown

    def _shown(self) -> Shown | None:
        """The practice's units and language; where they cannot be read just now, those that ship."""
        with suppress(ForestayError):
            return self.shown()
        return None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        cookies = headers.get("cookie", "")
        asked = _cookie(cookies, "language")
        browsers = wanted(headers.get("accept-language", ""), languages())
        # What a device sends by itself, and what is built, speaks no units: it does not wait for the settings.
        plain = scope["path"].startswith(("/static/", "/api/"))
        shown = None if plain else await run_in_threadpool(self._shown)
        use_shown(shown)
        usual = (shown.language if shown else None) or self.usual_language
        use_language(asked if asked in languages() else browsers or usual)
        chosen = _cookie(cookies, "theme")
        _theme.set(chosen if chosen in THEMES else USUAL_THEME)
        unnamed = not _cookie(cookies, "device") and not plain

        async def naming(message: Message) -> None:
            if unnamed and message["type"] == "http.response.start":
                MutableHeaders(scope=message).append("Set-Cookie", DEVICE_COOKIE.format(token_hex(8), A_YEAR_S))
            await send(message)

        await self.app(scope, receive, naming)


def _cookie(header: str, name: str) -> str:
    try:
        found = SimpleCookie(header).get(name)
    except CookieError:
        return ""
    return found.value if found else ""

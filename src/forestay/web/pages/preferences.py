"""``/theme`` and ``/language``: the reader's choices, each kept in a cookie of this browser."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse

from forestay.text import known_language
from forestay.web.preferences import A_YEAR_S, known_theme, own_path

SEE_OTHER = 303


def router() -> APIRouter:
    """The choices of a theme and of a language."""
    routes = APIRouter(include_in_schema=False)

    @routes.post("/theme")
    async def choose(request: Request) -> RedirectResponse:
        form = await request.form()
        return _back_with(request, "theme", known_theme(str(form.get("theme", ""))))

    @routes.post("/language")
    async def speak(request: Request) -> RedirectResponse:
        form = await request.form()
        return _back_with(request, "language", known_language(str(form.get("language", ""))))

    return routes


def _back_with(request: Request, name: str, chosen: str) -> RedirectResponse:
    """Back to the page that the choice was made on, with the choice in a cookie."""
    back = RedirectResponse(own_path(request.headers.get("referer"), request.headers.get("host")), SEE_OTHER)
    back.set_cookie(name, chosen, max_age=A_YEAR_S, httponly=True, samesite="strict")
    return back

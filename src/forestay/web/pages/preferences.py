"""``/theme``: the reader's choice of light, dark or theatre, kept in a cookie of this browser."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse

from forestay.web.preferences import A_YEAR_S, known_theme, own_path

SEE_OTHER = 303


def router() -> APIRouter:
    """The choice of a theme."""
    routes = APIRouter(include_in_schema=False)

    @routes.post("/theme")
    async def choose(request: Request) -> RedirectResponse:
        form = await request.form()
        chosen = known_theme(str(form.get("theme", "")))
        back = RedirectResponse(own_path(request.headers.get("referer"), request.headers.get("host")), SEE_OTHER)
        back.set_cookie("theme", chosen, max_age=A_YEAR_S, httponly=True, samesite="strict")
        return back

    return routes

"""``/evidence``: every row of evidence, with a filter."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from forestay.web.render import Renderer
from forestay.web.views.evidence import evidence_view

LONGEST_QUESTION = 200


def router(renderer: Renderer) -> APIRouter:
    """The page of all rows."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/evidence")
    def evidence(request: Request, q: str = "", standing: str = "") -> Response:
        view = evidence_view(q[:LONGEST_QUESTION], standing)
        return renderer.page(request, "evidence.html", view)

    return routes

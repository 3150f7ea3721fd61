"""``/cases/{id}/again`` and ``/review/again``: an operated case, and an invented one, gone through with questions."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from forestay.review.again import Again
from forestay.services.again import again, invented
from forestay.services.planning import Desk, caution
from forestay.web.render import Renderer
from forestay.web.views.again import again_view

LONGEST = 3
"""Digits of a question's number that are read."""


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """Both pages; what is hidden is not in the page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/cases/{case_id}/again")
    def kept(request: Request, case_id: str) -> Response:
        return _shown(request, again(desk, case_id), f"/cases/{case_id}/again")

    @routes.get("/review/again")
    def example(request: Request) -> Response:
        return _shown(request, invented(lambda situation: desk.plan(situation, {})), "/review/again")

    def _shown(request: Request, found: Again, address: str) -> Response:
        text = request.query_params.get("question", "")[:LONGEST]
        number = int(text) if text.isascii() and text.isdigit() else 1
        view = again_view(
            found,
            question=number,
            answered=request.query_params.get("answer") == "1",
            address=address,
            caution=caution(),
        )
        return renderer.page(request, "again.html", view)

    return routes

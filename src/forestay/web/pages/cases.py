"""``/``: the cases kept here, each with the first line of its plan."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from forestay.draw.names import side_words
from forestay.errors import ForestayError
from forestay.services.planning import Desk, caution
from forestay.text import tr
from forestay.web.render import Renderer
from forestay.web.views.case_build import about, case_label
from forestay.web.views.cases import CaseLine, CasesView
from forestay.web.views.shell import shell


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The page of all cases."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/")
    def cases(request: Request) -> Response:
        lines = tuple(_line(desk, case_id) for case_id in desk.case_ids())
        return renderer.page(request, "cases.html", CasesView(shell(tr("Cases"), "/"), lines, caution()))

    return routes


def _line(desk: Desk, case_id: str) -> CaseLine:
    """One case; one that cannot be planned says why, and hides no other."""
    label, side, said = case_label(case_id), tr("Side not known"), ""
    try:
        opened = desk.open(case_id)
        side = side_words(opened.situation.case.eye.side)
        said = about(opened.situation, invented=opened.invented)
        decision = desk.plan(opened.situation, {}).decision.sentence
    except ForestayError as wrong:
        decision = tr("No plan: {why}", why=wrong.message)
    return CaseLine(case_id=case_id, label=label, side=side, about=said, decision=decision)

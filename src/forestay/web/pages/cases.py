"""``/``: the cases kept here, each with the first line of its plan."""

from __future__ import annotations

from contextlib import suppress

from fastapi import APIRouter, Request, Response

from forestay.draw.names import side_words
from forestay.errors import ForestayError
from forestay.services.planning import Desk, caution
from forestay.text import tr
from forestay.web.render import Renderer
from forestay.web.views.case_build import about, case_label
from forestay.web.views.cases import CaseLine, CasesView
from forestay.web.views.shell import shell

LONGEST_QUESTION = 200
PLANNED_AT_ONCE = 25
"""How many cases of the list are planned while the reader waits."""


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The page of all cases."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/")
    def cases(request: Request, q: str = "") -> Response:
        known = desk.case_ids()
        question = q[:LONGEST_QUESTION]
        found = [(case_id, said) for case_id in known if wanted(said := _said(desk, case_id), question)]
        lines = tuple(_line(desk, case_id, planned=n < PLANNED_AT_ONCE) for n, (case_id, _) in enumerate(found))
        view = CasesView(shell(tr("Cases"), "/"), lines, caution(), question, len(known), PLANNED_AT_ONCE)
        return renderer.page(request, "cases.html", view)

    return routes


def wanted(said: str, question: str) -> bool:
    """True where every word of the question stands in what is said of the case.

    >>> wanted("Case M-104 Right eye woman, 71", "right m-104"), wanted("Case M-104 Right eye", "left")
    (True, False)
    """
    return all(word in said.lower() for word in question.lower().split())


def _said(desk: Desk, case_id: str) -> str:
    """Name, side and findings of a case in words: what the search looks through."""
    told = [case_label(case_id)]
    with suppress(ForestayError):
        opened = desk.open(case_id)
        told += [side_words(opened.situation.case.eye.side), about(opened.situation, invented=opened.invented)]
        told += [line.words for line in opened.thread if not line.withdrawn]
    return " ".join(told)


def _line(desk: Desk, case_id: str, *, planned: bool) -> CaseLine:
    """One case; one that cannot be planned says why, and hides no other. A long list plans only its first cases."""
    label, side, said = case_label(case_id), tr("Side not known"), ""
    try:
        opened = desk.open(case_id)
        side = side_words(opened.situation.case.eye.side)
        said = about(opened.situation, invented=opened.invented)
        decision = desk.plan(opened.situation, {}).decision.sentence if planned else tr("Open it to plan it.")
    except ForestayError as wrong:
        decision = tr("No plan: {why}", why=wrong.message)
    return CaseLine(case_id=case_id, label=label, side=side, about=said, decision=decision)

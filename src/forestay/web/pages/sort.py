"""``/sort``: a table of many eyes in, the sorted day out. Nothing is kept."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from forestay.calc.core import Answer
from forestay.calc.sort_table import eyes_from_table
from forestay.calc.sorting import GROUPS, EyeSigns, SortOutput, sort_eyes
from forestay.errors import ForestayError
from forestay.services.planning import caution
from forestay.services.sorting_words import group_words, lens_words
from forestay.text import tr
from forestay.web.render import Renderer
from forestay.web.views.day import SortLine, SortView
from forestay.web.views.shell import shell

HEAD = "eye,side,light,pupil,white,brown,pseudoexfoliation,lens_moves,infection,only_eye"


def router(renderer: Renderer) -> APIRouter:
    """The page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/sort")
    def empty(request: Request) -> Response:
        return renderer.page(request, "sort.html", _view(HEAD + "\n", "", "", None, ""))

    @routes.post("/sort")
    async def sort(request: Request) -> Response:
        form = {k: v for k, v in (await request.form()).items() if isinstance(v, str)}
        given, trays, vitrector = form.get("eyes", ""), form.get("trays", ""), form.get("vitrector", "")
        payload: dict[str, Any] = {"trays": [t.strip() for t in trays.split(",") if t.strip()]}
        if vitrector in ("yes", "no"):
            payload["vitrector"] = vitrector == "yes"
        try:
            answer = sort_eyes.run({**payload, "eyes": eyes_from_table(given.encode(), tr("the table"))})
        except ForestayError as wrong:
            return renderer.page(request, "sort.html", _view(given, trays, vitrector, None, wrong.message), status=422)
        return renderer.page(request, "sort.html", _view(given, trays, vitrector, answer, ""))

    return routes


def _view(given: str, trays: str, vitrector: str, answer: Answer[SortOutput] | None, failure: str) -> SortView:
    made = answer.result if answer else None
    rows = sorted(made.rows, key=lambda r: GROUPS.index(r.group)) if made else []
    return SortView(
        shell(tr("Many eyes"), "/sort"),
        given=given,
        trays=trays,
        vitrector=vitrector,
        failure=failure,
        counts=tuple((group_words(g), made.counts[g]) for g in GROUPS) if made else (),
        lines=tuple(
            SortLine(
                eye=f"{r.eye} {tr(r.side)}",
                group=group_words(r.group),
                why=", ".join(r.why),
                tray="; ".join(s for s in (r.tray or "", ", ".join(r.tray_adds), ", ".join(r.lots)) if s),
                lens=lens_words(r),
                asked=", ".join(r.not_looked_at),
            )
            for r in rows
        ),
        order=", ".join(made.order) if made else "",
        trace=tuple(f"{t.thing} {t.lot}: {', '.join(t.eyes)}" for t in made.trace) if made else (),
        doubts=tuple(d.message for d in answer.doubts) if answer else (),
        columns=", ".join(EyeSigns.model_fields),
        caution=caution(),
    )

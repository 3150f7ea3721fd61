"""``/cases/{id}/weights`` and ``/turns``: the options under the reader's own weights, and where the plan turns."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request, Response

from forestay.errors import InvalidInput
from forestay.services.planning import Desk, caution
from forestay.services.weighing import MOST, weigh
from forestay.text import tr
from forestay.web.forms import number
from forestay.web.render import Renderer
from forestay.web.views.case_build import band, case_label
from forestay.web.views.shell import shell
from forestay.web.views.weights import TurnsView
from forestay.web.views.weights_build import weighed_view


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """Both pages. They keep nothing."""
    routes = APIRouter(prefix="/cases/{case_id}", include_in_schema=False)

    @routes.get("/weights")
    def weights(request: Request, case_id: str) -> Response:
        opened, plan = desk.planned(case_id)
        measures = [name for name, _ in weigh(plan, {}).measures]
        given = read_weights(request.query_params, measures)
        view = weighed_view(opened, weigh(plan, given), given)
        return renderer.page(request, "weights.html", view)

    @routes.get("/turns")
    def turns(request: Request, case_id: str) -> Response:
        opened = desk.open(case_id)
        found = desk.turns(opened.situation)
        view = TurnsView(
            shell(tr("Where the plan turns · {case}", case=case_label(case_id))),
            case_id=case_id,
            band=band(opened),
            now=desk.plan(opened.situation, {}).decision.sentence,
            turns=tuple(row.says for row in found.rows),
            steady=", ".join(found.steady),
            tried=found.tried,
            caution=caution(),
        )
        return renderer.page(request, "turns.html", view)

    return routes


def read_weights(query: Mapping[str, str], measures: list[str]) -> dict[str, float]:
    """The weights of a form. The field counts; the slider (``slide_NAME``) only where it alone was moved against what the
    page showed (``was_NAME``); ``step`` is a pressed button, ``NAME:+1``. An empty field is no weight."""
    given: dict[str, float] = {}
    for name in measures:
        text, was = query.get(name, "").strip(), query.get(f"was_{name}", "").strip()
        slide = query.get(f"slide_{name}", "").strip()
        if text == was and slide and number(name, slide) != number(name, was or "0"):
            text = slide
        if text:
            given[name] = number(name, text)
    name, _, by = query.get("step", "").partition(":")
    if name:
        if name not in measures:
            allowed = ", ".join(measures)
            raise InvalidInput(
                tr("{name} is not a measure of this plan; allowed: {allowed}.", name=name[:40], allowed=allowed),
                field="step",
                value=name[:40],
                allowed=allowed,
            )
        given[name] = max(0.0, min(MOST, given.get(name, 0.0) + number("step", by)))
    return given

"""``/reference``: the calculations, each with its input, its result and a live example."""

from __future__ import annotations

import json
from typing import Any

from fastapi import APIRouter, Request, Response

from forestay.calc.core import Calculation
from forestay.calc.table import CALCULATIONS, find
from forestay.errors import ForestayError
from forestay.services.answers import answer
from forestay.text import tr
from forestay.web.bodies import parse_json
from forestay.web.render import Renderer
from forestay.web.views.reference import (
    NamedRow,
    ReferenceListView,
    ReferenceView,
    input_rows,
    output_rows,
    pretty,
)
from forestay.web.views.shell import shell


def router(renderer: Renderer) -> APIRouter:
    """The list, and one page a calculation."""
    routes = APIRouter(prefix="/reference", include_in_schema=False)

    @routes.get("")
    def listed(request: Request) -> Response:
        rows = tuple(NamedRow(name, row.summary) for name, row in CALCULATIONS.items())
        view = ReferenceListView(shell=shell(tr("Calculations"), "/reference"), rows=rows)
        return renderer.page(request, "reference-list.html", view)

    @routes.get("/{name}")
    def one(request: Request, name: str, input: str | None = None) -> Response:  # noqa: A002 - key of the address
        view = _view(find(name), input)
        return renderer.page(request, "reference.html", view, status=200 if view.failure is None else 422)

    return routes


def _view(row: Calculation[Any, Any], given: str | None) -> ReferenceView:
    text = pretty(dict(row.example)) if given is None else given
    answered, failure = None, None
    try:
        answered = pretty(answer(row.name, parse_json(text)))
    except ForestayError as wrong:
        failure = wrong.message
    return ReferenceView(
        shell=shell(row.name),
        name=row.name,
        summary=row.summary,
        formula=row.formula,
        valid=row.valid,
        inputs=input_rows(row),
        outputs=output_rows(row),
        given=text,
        answered=answered,
        failure=failure,
        example=json.dumps(dict(row.example)),
    )

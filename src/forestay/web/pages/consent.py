"""``/cases/{id}/consent``: the patient's own sheet, on the screen and on paper."""

from __future__ import annotations

from datetime import datetime

from fastapi import APIRouter, Request, Response
from markupsafe import Markup

from forestay.report.consent import consent_data, consent_pdf
from forestay.services.consent import sheet_of
from forestay.services.planning import Desk, caution
from forestay.web.render import Renderer
from forestay.web.views.case_build import case_label
from forestay.web.views.day import ConsentView
from forestay.web.views.shell import shell


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The page and its paper."""
    routes = APIRouter(prefix="/cases/{case_id}", include_in_schema=False)

    @routes.get("/consent")
    def consent(request: Request, case_id: str) -> Response:
        opened = desk.open(case_id)
        sheet = sheet_of(opened.situation, desk.plan(opened.situation, {}))
        label, now = case_label(case_id), datetime.now().astimezone()
        data = consent_data(sheet, label=label, invented=opened.invented, made_at=now)
        view = ConsentView(
            shell(f"{data['title']} · {label}"),
            case_id=case_id,
            invented=opened.invented,
            sheet=data,
            icons=tuple(Markup(f["icons"]) for f in data["figures"]),  # noqa: S704 - drawn here, escaped there
            caution=caution(),
        )
        return renderer.page(request, "consent.html", view)

    @routes.get("/consent.pdf")
    def paper(case_id: str) -> Response:
        opened = desk.open(case_id)
        sheet = sheet_of(opened.situation, desk.plan(opened.situation, {}))
        now = datetime.now().astimezone()
        pdf = consent_pdf(sheet, label=case_label(case_id), invented=opened.invented, made_at=now)
        name = {"Content-Disposition": f'inline; filename="{case_id}-consent.pdf"'}
        return Response(pdf, media_type="application/pdf", headers=name)

    return routes

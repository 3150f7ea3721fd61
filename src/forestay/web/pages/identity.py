"""``/cases/{case_id}/identity``: whom a case is about, kept apart from the facts."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from forestay.errors import ForestayError
from forestay.services.identity import Identity, identify, identity
from forestay.services.planning import Desk
from forestay.text import tr
from forestay.web.guard import SEE_OTHER
from forestay.web.pages.signin import form_of
from forestay.web.render import Renderer
from forestay.web.views.forms_page import Button, FieldOfForm, Form, FormsView
from forestay.web.views.shell import Link, shell


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The page."""
    routes = APIRouter(prefix="/cases/{case_id}/identity", include_in_schema=False)

    def show(request: Request, case_id: str, now: Identity | None, wrong: ForestayError | None) -> Response:
        side = desk.open(case_id).situation.case.eye.side
        about = {"left": tr("left eye"), "right": tr("right eye")}[side]
        form = Form(
            "identity",
            tr("Person"),
            f"/cases/{case_id}/identity",
            (
                FieldOfForm("name", tr("Name"), value=now.name if now else ""),
                FieldOfForm(
                    "birth_date", tr("Date of birth"), kind="date", value=(now and now.birth_date) or "", needed=False
                ),
                FieldOfForm("number", tr("Number in the clinic"), value=(now and now.number) or "", needed=False),
            ),
            (Button(tr("Keep it")),),
            about=tr("Kept apart from the facts, and shown in the band of the page. Check it against the person."),
        )
        view = FormsView(
            shell=shell(tr("Whom case {case} is about ({side})", case=case_id, side=about)),
            lead=(),
            said=wrong.message if wrong else "",
            wrong=wrong is not None,
            forms=(form,),
            tables=(),
            ways=(Link(tr("Back to the case"), f"/cases/{case_id}"),),
        )
        return renderer.page(request, "forms.html", view, status=wrong.http_status if wrong else 200)

    @routes.get("")
    def see(request: Request, case_id: str) -> Response:
        return show(request, case_id, identity(desk.store, case_id), None)

    @routes.post("")
    async def say(request: Request, case_id: str) -> Response:
        form = await form_of(request)
        given = Identity(form.get("name", ""), form.get("birth_date") or None, form.get("number") or None)
        try:
            await run_in_threadpool(identify, desk.store, case_id, given, by=desk.author)
        except ForestayError as wrong:
            if wrong.http_status != 422:
                raise
            return await run_in_threadpool(show, request, case_id, given, wrong)
        return RedirectResponse(f"/cases/{case_id}", SEE_OTHER)

    return routes

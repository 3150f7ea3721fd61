"""``/cases/{case_id}/attachments``: photos and documents of a case. They are given back for saving, never run here."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse

from forestay.errors import ForestayError, InvalidInput
from forestay.services.attachments import attach, attached, content
from forestay.services.planning import Desk
from forestay.text import tr
from forestay.web.guard import SEE_OTHER
from forestay.web.render import Renderer
from forestay.web.views.forms_page import Button, FieldOfForm, Form, FormsView
from forestay.web.views.shell import Link, shell

ENDINGS = {"image/png": "png", "image/jpeg": "jpg", "image/tiff": "tif", "application/pdf": "pdf"}
KIB = 1024


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The page, adding, and giving back."""
    routes = APIRouter(prefix="/cases/{case_id}/attachments", include_in_schema=False)

    def show(request: Request, case_id: str, wrong: ForestayError | None = None) -> Response:
        form = Form(
            "add",
            tr("Add a photo or document"),
            f"/cases/{case_id}/attachments",
            (
                FieldOfForm("title", tr("What it shows")),
                FieldOfForm("file", tr("File"), kind="file", hint=tr("PNG, JPEG, TIFF or PDF, at most 20 MB")),
            ),
            (Button(tr("Keep it")),),
            about=tr("No name of a person in the title. The file itself goes with the case when it is erased."),
        )
        view = FormsView(
            shell=shell(tr("Photos and documents of case {case}", case=case_id)),
            lead=(),
            said=wrong.message if wrong else "",
            wrong=wrong is not None,
            forms=(form,),
            tables=(),
            ways=(*_links(desk, case_id), Link(tr("Back to the case"), f"/cases/{case_id}")),
        )
        return renderer.page(request, "forms.html", view, status=wrong.http_status if wrong else 200)

    @routes.get("")
    def listed(request: Request, case_id: str) -> Response:
        return show(request, case_id)

    @routes.post("")
    async def add(request: Request, case_id: str) -> Response:
        async with request.form() as form:
            file, title = form.get("file"), str(form.get("title", ""))
            data = await file.read() if isinstance(file, UploadFile) else b""
        try:
            if not data:
                raise InvalidInput(tr("No file was chosen."), field="file")
            await run_in_threadpool(attach, desk.store, case_id, data, title=title, by=desk.author)
        except InvalidInput as wrong:
            return await run_in_threadpool(show, request, case_id, wrong)
        return RedirectResponse(f"/cases/{case_id}/attachments", SEE_OTHER)

    @routes.get("/{attachment_id}")
    def give(case_id: str, attachment_id: str) -> Response:
        one, data = content(desk.store, case_id, attachment_id)
        name = f"{case_id}-{one.digest[:12]}.{ENDINGS[one.media_type]}"
        headers = {
            "Content-Disposition": f'attachment; filename="{name}"',
            "Content-Security-Policy": "sandbox; default-src 'none'",
        }
        return Response(data, media_type=one.media_type, headers=headers)

    return routes


def _links(desk: Desk, case_id: str) -> tuple[Link, ...]:
    return tuple(
        Link(
            tr("{title}, {day}, {size:.0f} KiB", title=one.title, day=one.added_at[:10], size=one.size / KIB),
            f"/cases/{case_id}/attachments/{one.id}",
        )
        for one in attached(desk.store, case_id)
    )

"""``/cases/{id}/follow-up`` and ``/cases/{id}/note``: the visits after surgery, and the operation note."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any
from uuid import UUID, uuid5

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from forestay.case.bodies import Body
from forestay.errors import ForestayError, InvalidInput
from forestay.services import followup, note
from forestay.services.cases import KeptCase
from forestay.services.planning import Desk
from forestay.text import tr
from forestay.web.forms import count_of, form_key, head_of, number
from forestay.web.pages.entry import Sent, sent_form
from forestay.web.render import Renderer
from forestay.web.views.after_build import FIELDS, follow_up_view, note_paper, note_view
from forestay.web.who import desk_for

SEE_OTHER = 303


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The pages after surgery."""
    routes = APIRouter(prefix="/cases/{case_id}", include_in_schema=False)

    @routes.get("/follow-up")
    def visits(request: Request, case_id: str) -> Response:
        opened = desk.open(case_id)
        view = follow_up_view(opened, desk.plan(opened.situation, {}), datetime.now(UTC))
        return renderer.page(request, "follow-up.html", view)

    @routes.post("/follow-up")
    async def visit(request: Request, case_id: str) -> Response:
        form = await sent_form(request)
        return await run_in_threadpool(_visit, _At(renderer, request, desk, case_id), form)

    @routes.get("/note")
    def shown(request: Request, case_id: str) -> Response:
        opened = desk.open(case_id)
        return renderer.page(request, "note.html", note_view(opened, desk.plan(opened.situation, {})))

    @routes.post("/note")
    async def keep(request: Request, case_id: str) -> Response:
        form = (await sent_form(request)).texts
        return await run_in_threadpool(_note, _At(renderer, request, desk, case_id), form, form.get("do", "keep"))

    @routes.post("/note/sign")
    async def sign(request: Request, case_id: str) -> Response:
        form = (await sent_form(request)).texts
        return await run_in_threadpool(_note, _At(renderer, request, desk, case_id), form, "sign")

    @routes.get("/note.pdf")
    def paper(case_id: str) -> Response:
        from forestay.report.note import render_note

        opened = desk.open(case_id)
        pdf = render_note(note_paper(opened, desk.plan(opened.situation, {})), made_at=datetime.now(UTC))
        name = {"Content-Disposition": f'inline; filename="{case_id}-note.pdf"'}
        return Response(pdf, media_type="application/pdf", headers=name)

    return routes


@dataclass(frozen=True)
class _At:
    """Where an answer is made."""

    renderer: Renderer
    request: Request
    desk: Desk
    case_id: str


def _visit(at: _At, form: Sent) -> Response:
    renderer, request, desk, case_id = at.renderer, at.request, at.desk, at.case_id
    try:
        facts = followup.seen(_values(form), form.several.get("found", []), key=form_key(form.texts))
        desk_for(request, desk).keep(case_id, facts, based_on=head_of(form.texts))
    except ForestayError as wrong:
        opened = desk.open(case_id)
        view = follow_up_view(
            opened,
            desk.plan(opened.situation, {}),
            datetime.now(UTC),
            form=form.texts,
            failure=wrong.message,
            picked=tuple(form.several.get("found", ())),
        )
        return renderer.page(request, "follow-up.html", view, status=wrong.http_status)
    return RedirectResponse(f"/cases/{case_id}/follow-up", SEE_OTHER)


def _values(form: Sent) -> dict[str, Any]:
    texts = form.texts
    day = count_of(texts.get("day", "").strip())
    if day is None:
        words = tr("a whole number of days, 0 on the day itself")
        raise InvalidInput(tr("day is needed: {words}.", words=words), field="day", allowed=words)
    values: dict[str, Any] = {"day": day}
    for name in FIELDS:
        if texts.get(name, "").strip():
            values[name] = number(name, texts[name])
    for name in ("acuity", "acuity_type"):
        if texts.get(name, "").strip():
            values[name] = texts[name].strip()
    if "acuity" not in values and "acuity_logmar" not in values:
        values.pop("acuity_type", None)
    if len(values) == 1 and not form.several.get("found"):
        raise InvalidInput(tr("The visit holds nothing yet."), field="visit", allowed=tr("at least one finding"))
    return values


def _note(at: _At, form: dict[str, str], what: str) -> Response:
    renderer, request, desk, case_id = at.renderer, at.request, at.desk, at.case_id
    opened, text = desk.open(case_id), form.get("text", "")
    try:
        _keep_note(desk_for(request, desk), opened, form, what)
    except ForestayError as wrong:
        opened = desk.open(case_id)
        typed = text if what != "add" and text and note.note_state(opened).signed_at is None else None
        added = text if what == "add" else ""
        view = note_view(
            opened,
            desk.plan(opened.situation, {}),
            failure=wrong.message,
            typed=typed,
            added=added,
            key=form.get("key"),
        )
        return renderer.page(request, "note.html", view, status=wrong.http_status)
    return RedirectResponse(f"/cases/{case_id}/note", SEE_OTHER)


def _keep_note(desk: Desk, opened: KeptCase, form: dict[str, str], what: str) -> None:
    """Keep, sign or add. What stands in the field when it is signed is kept first, so that nothing typed is lost."""
    key, seen, case_id, text = form_key(form), head_of(form), opened.case_id, form.get("text", "")
    if what == "add":
        _put(desk, case_id, note.add_text(opened, text, key=key))
        return
    if what == "sign" and note.note_state(opened).signature == key:
        return
    if text or what == "keep":
        facts = note.keep_text(opened, text, key=uuid5(key, "text"), based_on=seen)
        _put(desk, case_id, facts, seen)
        if facts:
            opened = desk.open(case_id)
            seen = opened.head
    if what == "sign":
        head = desk.chain_head(case_id, seen)
        _put(desk, case_id, note.signature(opened, head, key=key, based_on=seen), seen)


def _put(desk: Desk, case_id: str, facts: Mapping[UUID, Body], based_on: int | None = None) -> None:
    if facts:
        desk.keep(case_id, facts, based_on=based_on)

"""``/cases/{id}``: one page for one eye; looks, decisions, taking back, and the sheet for paper."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from forestay.draw.controls import BY_NAME
from forestay.errors import InvalidInput
from forestay.services.planning import Desk
from forestay.text import tr
from forestay.web.forms import look as read_look
from forestay.web.forms import sentence, typed
from forestay.web.render import Renderer, target_of, wants_part
from forestay.web.views.case_build import case_label, case_view, look_address

SEE_OTHER = 303
LONGEST_COUNT = 10


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The pages of a case."""
    routes = APIRouter(prefix="/cases/{case_id}", include_in_schema=False)

    def show(request: Request, case_id: str, look: Mapping[str, Any]) -> Response:
        opened = desk.open(case_id)
        base = desk.plan(opened.situation, {})
        plan = desk.plan(opened.situation, look) if look else base
        page = renderer.page(request, "case.html", case_view(opened, base, plan, look))
        if wants_part(request) and target_of(request) != "below":
            page.headers["HX-Replace-Url"] = look_address(case_id, look)
        return page

    @routes.get("")
    def case(request: Request, case_id: str) -> Response:
        return show(request, case_id, {})

    @routes.get("/margins")
    def margins(request: Request, case_id: str) -> Response:
        return show(request, case_id, read_look(request.query_params))

    @routes.post("/decisions")
    async def decide(request: Request, case_id: str) -> Response:
        form = await _form(request)
        choices = {name: typed(name, form[name]) for name in BY_NAME if form.get(name)}
        if not choices:
            allowed = ", ".join(BY_NAME)
            raise InvalidInput(tr("Nothing was chosen; allowed: {allowed}.", allowed=allowed), allowed=allowed)
        reason = sentence("reason", form.get("reason", ""))
        await run_in_threadpool(desk.decide, case_id, choices, reason=reason, key=_key(form), based_on=_head(form))
        return RedirectResponse(f"/cases/{case_id}", SEE_OTHER)

    @routes.post("/withdrawals")
    async def take_back(request: Request, case_id: str) -> Response:
        form = await _form(request)
        why = sentence("why", form.get("why", ""))
        fact = _uuid("fact", form.get("fact", ""))
        await run_in_threadpool(desk.take_back, case_id, fact, why=why, key=_key(form), based_on=_head(form))
        return RedirectResponse(f"/cases/{case_id}", SEE_OTHER)

    @routes.get("/sheet.pdf")
    def sheet(case_id: str, request: Request) -> Response:
        from forestay.report.sheet import render_pdf

        opened = desk.open(case_id)
        plan = desk.plan(opened.situation, read_look(request.query_params))
        pdf = render_pdf(plan, label=case_label(case_id), invented=opened.invented, made_at=datetime.now(UTC))
        name = {"Content-Disposition": f'inline; filename="{case_id}.pdf"'}
        return Response(pdf, media_type="application/pdf", headers=name)

    return routes


async def _form(request: Request) -> dict[str, str]:
    form = await request.form()
    return {name: value for name, value in form.items() if isinstance(value, str)}


def _key(form: Mapping[str, str]) -> UUID:
    return _uuid("key", form.get("key", ""))


def _head(form: Mapping[str, str]) -> int | None:
    text = form.get("based_on", "")
    return int(text) if text.isdecimal() and len(text) < LONGEST_COUNT else None


def _uuid(field: str, text: str) -> UUID:
    try:
        return UUID(text)
    except ValueError:
        words = tr("an identity as the page made it")
        raise InvalidInput(
            tr("{field} is not {words}.", field=field, words=words), field=field, value=None, allowed=words
        ) from None

"""``/cases/{id}``: one page for one eye; looks, decisions, taking back, and the sheet for paper."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from forestay.draw.controls import BY_NAME
from forestay.draw.gap_arc import arc_hours
from forestay.errors import InvalidInput
from forestay.eye.situation import FINDINGS
from forestay.plan.compare import compare
from forestay.plan.take_over import SUBJECTS
from forestay.services.planning import Desk
from forestay.text import tr
from forestay.web.forms import GAP, count_of, form_key, form_uuid, head_of, sentence, typed
from forestay.web.forms import look as read_look
from forestay.web.render import Renderer, target_of, wants_part
from forestay.web.views.case_build import case_label, case_view, look_address
from forestay.web.who import desk_for

SEE_OTHER = 303
NO_CONTENT = 204
UNFOLDED = "X-Forestay-Unfolded"
"""Which foldouts beside the drawing stand open, where the page asks for a look: closed ones are then left empty."""


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The pages of a case."""
    routes = APIRouter(prefix="/cases/{case_id}", include_in_schema=False)

    def show(request: Request, case_id: str, look: Mapping[str, Any], since: int = 0) -> Response:
        opened, base = desk.planned(case_id)
        asked = target_of(request) if wants_part(request) else ""
        # Under a moving hand only the part in sight is worked out; what lies below is asked for when the hand rests.
        plan = desk.plan(opened.situation, look, quick=asked == "look") if look else base
        changes = compare(base, plan) if look else None
        earlier = desk.before(case_id, since) if since and not look else None
        if earlier is not None:
            changes = compare(desk.plan(earlier, {}), base)
        view = case_view(opened, base, plan, look, changes)
        wanted = request.headers.get(UNFOLDED) if asked == "look" else None
        if wanted is not None:
            view = replace(view, folded=True, unfolded=frozenset(wanted.split()))
        page = renderer.page(request, "case.html", view)
        if wants_part(request) and asked != "below":
            page.headers["HX-Replace-Url"] = look_address(case_id, look)
        return page

    @routes.get("")
    def case(request: Request, case_id: str, since: str = "") -> Response:
        return show(request, case_id, {}, count_of(since) or 0)

    @routes.get("/margins")
    def margins(request: Request, case_id: str) -> Response:
        return show(request, case_id, read_look(request.query_params))

    @routes.get("/ahead")
    def ahead(request: Request, case_id: str) -> Response:
        with suppress(InvalidInput):  # whoever asks for that look is told why
            desk.ahead(case_id, read_look(request.query_params))
        return Response(status_code=NO_CONTENT)

    @routes.post("/decisions")
    async def decide(request: Request, case_id: str) -> Response:
        form = await _form(request)
        choices = {name: typed(name, form[name]) for name in BY_NAME if form.get(name)}
        choices |= {name: form[name] for name in SUBJECTS if form.get(name)}
        if not choices:
            allowed = ", ".join((*BY_NAME, *SUBJECTS))
            raise InvalidInput(tr("Nothing was chosen; allowed: {allowed}.", allowed=allowed), allowed=allowed)
        reason = sentence("reason", form.get("reason", ""))
        await run_in_threadpool(
            desk_for(request, desk).decide, case_id, choices, reason=reason, key=form_key(form), based_on=head_of(form)
        )
        return _seen_from(form, f"/cases/{case_id}")

    @routes.post("/findings")
    async def record_seen(request: Request, case_id: str) -> Response:
        form = await _form(request)
        hours = arc_hours(form.get(GAP, ""))
        await run_in_threadpool(
            desk_for(request, desk).record_seen,
            case_id,
            {FINDINGS[GAP]: list(hours)},
            key=form_key(form),
            based_on=head_of(form),
        )
        still = {name: typed(name, form[name]) for name in BY_NAME if form.get(name)}
        return _seen_from(form, look_address(case_id, still))

    @routes.post("/withdrawals")
    async def take_back(request: Request, case_id: str) -> Response:
        form = await _form(request)
        why = sentence("why", form.get("why", ""))
        fact = form_uuid("fact", form.get("fact", ""))
        await run_in_threadpool(
            desk_for(request, desk).take_back, case_id, fact, why=why, key=form_key(form), based_on=head_of(form)
        )
        return _seen_from(form, f"/cases/{case_id}")

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


def _seen_from(form: Mapping[str, str], address: str) -> RedirectResponse:
    """To the page, which says what the new facts changed against what this form had seen."""
    head = head_of(form)
    since = f"{'&' if '?' in address else '?'}since={head}" if head else ""
    return RedirectResponse(address + since, SEE_OTHER)

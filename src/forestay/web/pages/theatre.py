"""``/cases/{id}/theatre``: one step at a time; findings that plan again at once; the checks; the lens in hand."""

from __future__ import annotations

import re
from contextlib import suppress
from datetime import UTC, datetime
from urllib.parse import urlencode
from uuid import uuid5

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from forestay.errors import ForestayError, InvalidInput
from forestay.plan.compare import compare
from forestay.services import theatre
from forestay.services.actor import Forbidden
from forestay.services.beforehand import finding
from forestay.services.entered import entered_at
from forestay.services.planning import Desk
from forestay.text import tr
from forestay.web.fields import specs, value_of
from forestay.web.forms import count_of, form_key, form_uuid, head_of, number, one_of
from forestay.web.pages.entry import sent_form
from forestay.web.render import Renderer
from forestay.web.views.theatre_build import checks_view, lens_check_view, theatre_view
from forestay.web.who import desk_for

SEE_OTHER = 303
LONGEST_WORDS = 200
BY = "surgeon"
STEP = re.compile("[a-z][a-z0-9-]{0,39}")


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The pages of theatre."""
    routes = APIRouter(prefix="/cases/{case_id}/theatre", include_in_schema=False)

    @routes.get("")
    def show(request: Request, case_id: str) -> Response:
        asked = request.query_params
        opened, plan = desk.planned(case_id)
        head = count_of(asked.get("since", ""))
        earlier = desk.before(case_id, head) if head else None
        changes = compare(desk.plan(earlier, {}), plan) if earlier is not None else None
        found = asked.get("found", "")[:LONGEST_WORDS]
        at = theatre.stand(opened, plan, theatre.next_after(opened, plan, found) or asked.get("step", ""))
        view = theatre_view(opened, plan, at, wall=bool(asked.get("wall")), found=found, changes=changes)
        return renderer.page(request, "theatre.html", view)

    @routes.post("/done")
    async def done(request: Request, case_id: str) -> Response:
        form = (await sent_form(request)).texts
        await run_in_threadpool(_done, desk_for(request, desk), case_id, form)
        return _back(case_id)

    @routes.post("/found")
    async def found(request: Request, case_id: str) -> Response:
        form = (await sent_form(request)).texts
        name = form.get("found", "")[:LONGEST_WORDS]
        key = form_key(form)
        step = _step(desk, case_id, form.get("step", ""))
        rule, see = finding(name)
        answer = None
        if rule is not None and rule.ask and form.get(f"answer {name}", "").strip():
            answer = value_of(specs()[rule.ask], form[f"answer {name}"])
        opened = desk.open(case_id)
        there = desk.kept_bodies(case_id, theatre.marks(key))
        if there:
            if theatre.same(there, theatre.found(rule, see, step, answer, {}, key=key)):
                return _back(case_id, step=step, found=name)  # sent again: it is kept already
            words = tr("This page has kept another finding already; it comes anew, then press again.")
            raise InvalidInput(words, field="found", value=name[:40])
        known = {"signs.phacodonesis": opened.situation.case.signs.phacodonesis}
        facts = theatre.found(rule, see, step, answer, known, key=key)
        await run_in_threadpool(desk_for(request, desk).keep, case_id, facts, based_on=head_of(form))
        return _back(case_id, step=step, since=str(opened.head), found=name)

    @routes.post("/back")
    async def back(request: Request, case_id: str) -> Response:
        form = (await sent_form(request)).texts
        await run_in_threadpool(_take_back, desk_for(request, desk), case_id, form)
        return _back(case_id, since=form.get("based_on", ""))

    @routes.get("/checks")
    def checks(request: Request, case_id: str) -> Response:
        opened = desk.open(case_id)
        return renderer.page(request, "checks.html", checks_view(opened, desk.plan(opened.situation, {})))

    @routes.post("/checks")
    async def tick(request: Request, case_id: str) -> Response:
        form = await sent_form(request)
        facts = theatre.checks(form.several.get("check", []), key=form_key(form.texts), by=BY)
        if facts:
            await run_in_threadpool(desk_for(request, desk).keep, case_id, facts, based_on=head_of(form.texts))
        return RedirectResponse(f"/cases/{case_id}/theatre/checks", SEE_OTHER)

    @routes.get("/lens")
    def lens(request: Request, case_id: str) -> Response:
        opened = desk.open(case_id)
        view = lens_check_view(opened, desk.plan(opened.situation, {}), form={})
        return renderer.page(request, "lens-check.html", view)

    @routes.post("/lens")
    async def compare_lens(request: Request, case_id: str) -> Response:
        form = (await sent_form(request)).texts
        return await run_in_threadpool(_compared, renderer, request, desk, case_id, form)

    return routes


def _take_back(desk: Desk, case_id: str, form: dict[str, str]) -> None:
    """Take back a fact; or all that an entry kept, which is named by the entry's own identity."""
    named, key = form_uuid("fact", form.get("fact", "")), form_key(form)
    there = desk.kept(case_id, theatre.marks(named)) or theatre.of_one_press(desk.open(case_id), named)
    why = tr("taken back in theatre")
    for fact in there:
        mark = key if len(there) == 1 else uuid5(key, str(fact))
        desk.take_back(case_id, fact, why=why, key=mark, based_on=head_of(form))


def _done(desk: Desk, case_id: str, form: dict[str, str]) -> None:
    if desk.kept(case_id, (form_key(form),)):
        return
    step = _step(desk, case_id, form.get("step", ""))
    opened, plan = desk.planned(case_id)
    before = theatre.plan_as_it_stood(opened, plan, key=form_key(form))
    if before:
        with suppress(Forbidden):  # whoever may not keep plans may still keep what was done
            desk.keep(case_id, before, based_on=head_of(form))
    desk.keep(case_id, theatre.done(opened, step, BY, key=form_key(form)), based_on=head_of(form))


def _compared(renderer: Renderer, request: Request, desk: Desk, case_id: str, form: dict[str, str]) -> Response:
    opened, plan = desk.planned(case_id)
    try:
        power = number("power", form.get("power", ""))
        answer = theatre.compare_lens(
            plan,
            side=one_of("side", form.get("side", ""), ("left", "right")),
            position=one_of("position", form.get("position", ""), [p.position for p in plan.lens.positions]),
            box_power_d=power,
            model=form.get("model", ""),
            code=form.get("code", ""),
            today=datetime.now(UTC).astimezone().date(),
            case_side=opened.situation.case.eye.side,
        )
        if answer.fits:
            facts = theatre.lens_compared(power, answer.code, model=form.get("model", ""), by=BY, key=form_key(form))
            desk_for(request, desk).keep(case_id, facts, based_on=head_of(form))
    except ForestayError as wrong:
        view = lens_check_view(opened, plan, form=form, failure=wrong.message)
        return renderer.page(request, "lens-check.html", view, status=wrong.http_status)
    view = lens_check_view(desk.open(case_id), plan, form={**form, "key": ""}, lines=answer.lines, fits=answer.fits)
    return renderer.page(request, "lens-check.html", view)


def _step(desk: Desk, case_id: str, step: str) -> str:
    if entered_at() is not None and STEP.fullmatch(step):
        return step  # kept on a device: the plan may have moved on since
    _, plan = desk.planned(case_id)
    return one_of("step", step, [s.key for s in plan.steps])


def _back(case_id: str, **query: str) -> RedirectResponse:
    told = {name: value for name, value in query.items() if value}
    return RedirectResponse(f"/cases/{case_id}/theatre" + (f"?{urlencode(told)}" if told else ""), SEE_OTHER)

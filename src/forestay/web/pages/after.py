"""``/cases/{id}/follow-up`` and ``/cases/{id}/note``: the visits after surgery, and the operation note."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any
from uuid import UUID, uuid5

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse

from forestay.case.bodies import Body, Seen
from forestay.errors import ForestayError, InvalidInput
from forestay.eye.validation import validate
from forestay.services import followup, note
from forestay.services.cases import KeptCase
from forestay.services.planning import Desk
from forestay.text import tr
from forestay.web.forms import Sent, count_of, form_key, head_of, number
from forestay.web.pages.entry import sent_form
from forestay.web.render import Renderer
from forestay.web.units import UNIT, unit_called
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
    now, opened = datetime.now(UTC), desk.open(case_id)
    values, wrong = _values(form, opened, now)
    try:
        if wrong:
            raise InvalidInput(" ".join(wrong.values()), field=next(iter(wrong)))
        facts = followup.seen(values, form.several.get("found", []), key=form_key(form.texts))
        moment = followup.moment_of(opened, values["day"], now)
        desk_for(request, desk).keep(case_id, facts, based_on=head_of(form.texts), happened_at=moment)
    except ForestayError as failed:
        opened = desk.open(case_id)
        view = follow_up_view(
            opened,
            desk.plan(opened.situation, {}),
            now,
            form=form.texts,
            failure=failed.message,
            picked=tuple(form.several.get("found", ())),
            wrong=wrong,
        )
        return renderer.page(request, "follow-up.html", view, status=failed.http_status)
    return RedirectResponse(f"/cases/{case_id}/follow-up", SEE_OTHER)


def _values(form: Sent, opened: KeptCase, now: datetime) -> tuple[dict[str, Any], dict[str, str]]:
    """What was typed, and what is wrong by field: every field is looked at, so that all is said at once."""
    texts, wrong = form.texts, dict[str, str]()
    values: dict[str, Any] = {}
    try:
        values["day"] = _day(texts, opened, now)
    except InvalidInput as failed:
        wrong["day"] = failed.message
    for name in FIELDS:
        text = texts.get(name, "").strip()
        try:
            if text:
                unit = unit_called(name, texts.get(UNIT + name, ""))
                typed = number(name, text)
                values[name] = typed if unit is None else unit.kept(typed)
                validate(
                    Seen, {"day": 0, name: values[name], **({"acuity_type": "pinhole"} if "acuity" in name else {})}
                )
        except InvalidInput as failed:
            wrong[name] = failed.message
    for name in ("acuity", "acuity_type"):
        if texts.get(name, "").strip():
            values[name] = texts[name].strip()
    if "acuity" not in values and "acuity_logmar" not in values:
        values.pop("acuity_type", None)
    if not wrong and len(values) == 1 and not form.several.get("found"):
        wrong["visit"] = tr("The visit holds nothing yet.")
    return values, wrong


def _day(texts: dict[str, str], opened: KeptCase, now: datetime) -> int:
    on = texts.get("on", "").strip()
    if on:
        try:
            found = date.fromisoformat(on)
        except ValueError:
            words = tr("a day as in 2026-01-31")
            raise InvalidInput(tr("on is {on}; allowed: {words}.", on=on[:40], words=words), field="on") from None
        return followup.visit_day(opened, found, now.astimezone().date())
    day = count_of(texts.get("day", "").strip())
    if day is None:
        words = tr("a whole number of days, 0 on the day itself")
        raise InvalidInput(tr("day is needed: {words}.", words=words), field="day", allowed=words)
    latest = followup.day_of(opened, now)
    if latest is not None and day > latest:
        words = tr("0 to {latest}, which is today", latest=latest)
        raise InvalidInput(tr("day is {day}; allowed: {words}.", day=day, words=words), field="day", allowed=words)
    return day


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

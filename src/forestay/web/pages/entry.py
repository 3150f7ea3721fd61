"""``/cases/new`` and ``/cases/{id}/facts``: small forms in which facts are entered, one field or one section at a time.

Without script a section is sent with its button. With script each field is sent alone, on a pause or when it is left,
and the answer is its row.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from uuid import uuid4

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, RedirectResponse

from forestay.case.fields import SECTIONS
from forestay.errors import ForestayError, InvalidInput, NotFound
from forestay.plan.consistency import check
from forestay.services.entry import plausible
from forestay.services.planning import Desk, caution
from forestay.services.settings import Settings
from forestay.text import tr
from forestay.web.fields import FieldSpec, section_specs, specs, typed_text, value_of
from forestay.web.forms import Sent, form_key, form_uuid, head_of, number, one_of, sentence
from forestay.web.render import Renderer
from forestay.web.units import UNIT
from forestay.web.views.entry import NewCaseView, Note, RowView
from forestay.web.views.entry_build import UNKNOWN, entry_row, entry_view
from forestay.web.views.entry_words import level_words
from forestay.web.views.shell import shell
from forestay.web.who import desk_for

SEE_OTHER = 303
SIDE = "eye.side"
"""Never changed by the way: its own form asks for a reason."""
ROW = "x-row"
"""Header of the page's own script: the path of the one field that is sent, to be answered with its row."""


async def sent_form(request: Request) -> Sent:
    """The form that was sent."""
    form = await request.form()
    texts: dict[str, str] = {}
    several: dict[str, list[str]] = {}
    for name, value in form.multi_items():
        if isinstance(value, str):
            texts[name] = value
            several.setdefault(name, []).append(value)
    return Sent(texts, several)


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The forms of facts."""
    routes = APIRouter(prefix="/cases", include_in_schema=False)

    @routes.get("/new")
    def new(request: Request) -> Response:
        return renderer.page(request, "new-case.html", _new_view({}, desk.in_force.kept))

    @routes.post("/new")
    async def open_new(request: Request) -> Response:
        form = (await sent_form(request)).texts
        try:
            name = sentence("name", form.get("name", ""))
            side = one_of("side", form.get("side", ""), ("left", "right"))
            age = number("age", form.get("age", ""))
            await run_in_threadpool(
                desk_for(request, desk).open_case,
                _name(name),
                side=side,
                age_years=age,
                key=form_key(form),
                surgeon=form.get("surgeon", ""),
            )
        except ForestayError as wrong:
            return renderer.page(
                request, "new-case.html", _new_view(form, desk.in_force.kept, wrong.message), status=wrong.http_status
            )
        return RedirectResponse(f"/cases/{name}/facts", SEE_OTHER)

    @routes.get("/{case_id}/facts")
    def every(request: Request, case_id: str) -> Response:
        return _shown(renderer, request, desk, case_id, None)

    @routes.get("/{case_id}/facts/{section}")
    def one(request: Request, case_id: str, section: str) -> Response:
        return _shown(renderer, request, desk, case_id, _known(section))

    @routes.get("/{case_id}/facts/{section}/check")
    def checked(request: Request, case_id: str, section: str) -> Response:
        spec = _spec(request.headers.get(ROW, ""), _known(section))
        query = Sent(dict(request.query_params), {n: request.query_params.getlist(n) for n in request.query_params})
        opened = desk.open(case_id)
        text = typed_text(spec, query.texts, query.several) or ""
        notes: tuple[Note, ...]
        try:
            found = plausible(opened.situation, {spec.path: value_of(spec, text, _unit(spec.path, query))})
            notes = tuple(Note(level_words(f.level), f.why) for f in found)
        except ForestayError as wrong:
            notes = (Note(tr("not possible"), wrong.message),)
        row = entry_row(spec, desk.fields(opened).get(spec.path, UNKNOWN), opened, ())
        view = RowView(shell(""), case_id, spec.section, replace(row, notes=notes))
        return HTMLResponse(renderer.text("parts/entry-notes.html", view))

    @routes.post("/{case_id}/facts/{section}")
    async def keep(request: Request, case_id: str, section: str) -> Response:
        form = await sent_form(request)
        alone = request.headers.get(ROW)
        wanted = (
            (_spec(alone, _known(section)),)
            if alone
            else tuple(s for s in section_specs(_known(section)) if s.path != SIDE)
        )
        place = _Place(renderer, request, desk, case_id)
        return await run_in_threadpool(_keep, place, section, wanted, form)

    @routes.post("/{case_id}/facts/{section}/undo")
    async def undo(request: Request, case_id: str, section: str) -> Response:
        form = (await sent_form(request)).texts
        spec = _spec(form.get("path", ""), _known(section))
        await run_in_threadpool(
            desk_for(request, desk).take_back,
            case_id,
            form_uuid("fact", form.get("fact", "")),
            why=tr("undone in the form"),
            key=form_key(form),
            based_on=head_of(form),
        )
        return _Place(renderer, request, desk, case_id).row_or_page(spec)

    @routes.post("/{case_id}/facts/{section}/settle")
    async def settle(request: Request, case_id: str, section: str) -> Response:
        form = (await sent_form(request)).texts
        spec = _spec(form.get("path", ""), _known(section))
        await run_in_threadpool(
            desk_for(request, desk).settle,
            case_id,
            spec.path,
            form_uuid("fact", form.get("fact", "")),
            reason=sentence("reason", form.get("reason", "")),
            key=form_key(form),
            based_on=head_of(form),
        )
        return _Place(renderer, request, desk, case_id).row_or_page(spec)

    @routes.post("/{case_id}/side")
    async def side(request: Request, case_id: str) -> Response:
        form = (await sent_form(request)).texts
        chosen = one_of("side", form.get("side", ""), ("left", "right"))
        reason = sentence("reason", form.get("reason", ""))
        await run_in_threadpool(
            desk_for(request, desk).decide,
            case_id,
            {"eye.side": chosen},
            reason=reason,
            key=form_key(form),
            based_on=head_of(form),
        )
        return RedirectResponse(f"/cases/{case_id}/facts/eye", SEE_OTHER)

    return routes


def _shown(renderer: Renderer, request: Request, desk: Desk, case_id: str, section: str | None) -> Response:
    opened = desk.open(case_id)
    view = entry_view(opened, desk.fields(opened), check(opened.situation.case), section=section)
    return renderer.page(request, "facts.html", view)


@dataclass(frozen=True)
class _Place:
    """Where an answer is made: the request, the desk and the case."""

    renderer: Renderer
    request: Request
    desk: Desk
    case_id: str

    @property
    def alone(self) -> bool:
        """True where the page's own script sent one field."""
        return ROW in self.request.headers

    def row(self, spec: FieldSpec, *, typed: str | None = None, failure: str = "", just: bool = False) -> Response:
        """One row, as it is kept now."""
        opened = self.desk.open(self.case_id)
        state = self.desk.fields(opened).get(spec.path, UNKNOWN)
        findings = check(opened.situation.case)
        row = entry_row(spec, state, opened, findings, typed=typed, failure=failure, just=just)
        view = RowView(shell(""), self.case_id, spec.section, row)
        return HTMLResponse(self.renderer.text("parts/entry-row.html", view), status_code=422 if failure else 200)

    def row_or_page(self, spec: FieldSpec) -> Response:
        """The row for the page's script; else the way back to the forms."""
        if self.alone:
            return self.row(spec)
        return RedirectResponse(f"/cases/{self.case_id}/facts/{spec.section}", SEE_OTHER)


def _keep(place: _Place, section: str, wanted: tuple[FieldSpec, ...], form: Sent) -> Response:
    """Keep the fields of ``wanted`` that differ from what the page showed; answer with the row, or lead to the page."""
    texts = {spec.path: typed_text(spec, form.texts, form.several) for spec in wanted}
    changed = {path: text for path, text in texts.items() if text is not None and text != form.texts.get(f"was_{path}")}
    opened = place.desk.open(place.case_id)
    try:
        values = {path: value_of(specs()[path], text, _unit(path, form)) for path, text in changed.items()}
        if values:
            desk = desk_for(place.request, place.desk)
            desk.enter(place.case_id, values, key=form_key(form.texts), based_on=head_of(form.texts))
    except ForestayError as wrong:
        if place.alone:
            return place.row(wanted[0], typed=texts[wanted[0].path], failure=wrong.message)
        view = entry_view(
            opened,
            place.desk.fields(opened),
            check(opened.situation.case),
            section=section,
            typed={path: text for path, text in texts.items() if text is not None},
            failure=wrong.message,
            wrong=wrong.field,
        )
        return place.renderer.page(place.request, "facts.html", view, status=wrong.http_status)
    if place.alone:
        return place.row(wanted[0], just=bool(values))
    return RedirectResponse(f"/cases/{place.case_id}?since={opened.head}", SEE_OTHER)


def _unit(path: str, form: Sent) -> str:
    """The unit that the form names for a field; a page that is older or newer than the settings says its own."""
    return form.texts.get(UNIT + path, "")


def _known(section: str) -> str:
    if section not in SECTIONS:
        raise NotFound(tr("There is no such section of facts."), field="section", value=section[:40])
    return section


def _spec(path: str, section: str) -> FieldSpec:
    spec = specs().get(path)
    if spec is None or spec.section != section or path == SIDE:
        raise InvalidInput(
            tr("{field} is not a field of this section.", field=path[:80]), field="path", value=path[:80]
        )
    return spec


def _name(name: str) -> str:
    if name == "new":
        raise InvalidInput(tr("A case cannot be called new; choose another name."), field="name", value=name)
    return name


def _new_view(form: Mapping[str, str], kept: Settings, failure: str = "") -> NewCaseView:
    return NewCaseView(
        shell=shell(tr("New case")),
        key=form.get("key") or str(uuid4()),
        name=form.get("name", ""),
        side=form.get("side", ""),
        age=form.get("age", ""),
        surgeons=tuple(one.name for one in kept.surgeons.surgeon) if kept.surgeons else (),
        surgeon=form.get("surgeon", ""),
        taken_over=bool(kept.for_new_case()),
        failure=failure,
        caution=caution(),
    )

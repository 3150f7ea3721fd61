"""``/settings``: what the practice says of itself; small forms to change it; a file in and out. Works without script."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Query, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse

from forestay.errors import ForestayError, InvalidInput, NotFound
from forestay.eye.lens_shelf import ShelfLens
from forestay.eye.validation import validate
from forestay.plan.device_shelf import ShelfItem, drugs
from forestay.plan.practice_settings import SignRatio, Surgeon
from forestay.record import Record
from forestay.services import actor as acting
from forestay.services import settings as service
from forestay.services.accounts import Accounts
from forestay.services.cases import Who
from forestay.services.planning import Desk
from forestay.services.settings import PARTS, mark_of
from forestay.text import tr
from forestay.web.forms import Sent, count_of
from forestay.web.pages.entry import sent_form
from forestay.web.render import Renderer
from forestay.web.settings_fields import item_of, item_texts, lens_of, lens_texts, sign_of, sign_texts
from forestay.web.views.forms_page import Form, FormsView, Rows
from forestay.web.views.settings_build import settings_view
from forestay.web.views.settings_forms import (
    REMOVE,
    house_form,
    item_form,
    lens_form,
    record_typed,
    shown_form,
    sign_form,
    surgeon_form,
)
from forestay.web.views.settings_words import choice_words, labels, page_titles, ratio_words, sign_words, thing_words
from forestay.web.views.shell import Link, shell
from forestay.web.who import desk_for

SEE_OTHER = 303
LAST_CHANGE = 10**9
LARGEST_FILE = 5_000_000
NEW = "new"


@dataclass(frozen=True)
class Kind:
    """One list of the settings: which part, what an entry is, how a form says it."""

    part: str
    record: type[Record]
    form: Callable[[str, Sent], Form]
    texts: Callable[[Any], Sent]
    told: Callable[[Sent], dict[str, Any]]
    words: Callable[[Any], tuple[str, ...]]
    columns: tuple[str, ...]
    shows: Callable[[Any], bool] = lambda _: True


def _item_kind(page: str) -> Kind:
    return Kind(
        "devices",
        ShelfItem,
        lambda mark, typed: item_form(page, mark, typed),
        lambda item: Sent(item_texts(item), {}),
        lambda sent: item_of(sent.texts),
        lambda i: (thing_words(i.thing, i.size_mm), str(i.count), str(i.expires or ""), i.lot or ""),
        ("thing", "count", "expires", "lot"),
        lambda item: (item.thing in drugs()) is (page == "drugs"),
    )


KINDS = {
    "surgeons": Kind(
        "surgeons",
        Surgeon,
        surgeon_form,
        record_typed,
        lambda sent: {name: sent.texts.get(name) or None for name in Surgeon.model_fields},
        lambda s: (s.name, choice_words("surgeon_grade", s.surgeon_grade or "")),
        ("name", "surgeon_grade"),
    ),
    "lenses": Kind(
        "lenses",
        ShelfLens,
        lens_form,
        lambda lens: Sent(lens_texts(lens), {}),
        lambda sent: lens_of(sent.texts),
        lambda lens: (lens.name, choice_words("kind", lens.kind), f"{lens.optic_mm:g}"),
        ("name", "kind", "optic_mm"),
    ),
    "devices": _item_kind("devices"),
    "drugs": _item_kind("drugs"),
    "signs": Kind(
        "signs",
        SignRatio,
        sign_form,
        lambda one: Sent(sign_texts(one), {}),
        lambda sent: sign_of(sent.texts),
        lambda one: (sign_words(one.sign), ratio_words(one)),
        ("sign", "ratio"),
    ),
}
SINGLE = {"theatre": house_form, "shown": shown_form}


def router(desk: Desk, renderer: Renderer, accounts: Accounts | None) -> APIRouter:
    """The pages of the settings."""
    routes = APIRouter(prefix="/settings", include_in_schema=False)
    place = _Place(desk, renderer, accounts)

    @routes.get("")
    def show(request: Request, at: int | None = Query(None, ge=1, le=LAST_CHANGE)) -> Response:
        return place.overview(request, at=at)

    @routes.get("/file")
    def file() -> Response:
        told = service.as_toml(desk.in_force.kept)
        named = {"Content-Disposition": 'attachment; filename="settings.toml"'}
        return Response(told, media_type="application/toml", headers=named)

    @routes.post("/import")
    async def take_in(request: Request) -> Response:
        data, name = b"", ""
        async with request.form() as form:
            sent = form.get("file")
            if isinstance(sent, UploadFile):
                data, name = await sent.read(), (sent.filename or "")[-80:]
        return await run_in_threadpool(place.taken_in, request, data, name)

    @routes.get("/{page}")
    def one(request: Request, page: str) -> Response:
        return place.form_page(request, page)

    @routes.post("/{page}")
    async def keep(request: Request, page: str) -> Response:
        return await run_in_threadpool(place.keep_single, request, page, await sent_form(request))

    @routes.get("/{page}/{mark}")
    def entry(request: Request, page: str, mark: str) -> Response:
        return place.entry_page(request, page, mark)

    @routes.post("/{page}/{mark}")
    async def change(request: Request, page: str, mark: str) -> Response:
        return await run_in_threadpool(place.keep_entry, request, page, mark, await sent_form(request))

    return routes


@dataclass(frozen=True)
class _Place:
    """Where an answer is made."""

    desk: Desk
    renderer: Renderer
    accounts: Accounts | None

    def entries(self, part: str) -> tuple[Record, ...]:
        """The entries that are kept, else those of the practice's own file, which the first change takes over."""
        now = self.desk.in_force
        from_file = part == "devices" and now.devices == "file" and now.given.devices is not None
        return now.given.devices.item if from_file and now.given.devices else service.entries_of(now.kept, part)

    def who(self, request: Request) -> Who:
        """Who changes something."""
        at = desk_for(request, self.desk)
        return Who(at.author, at.device)

    def overview(
        self, request: Request, *, at: int | None = None, said: str = "", wrong: ForestayError | None = None
    ) -> Response:
        """The page of everything."""
        names = {one.id: one.shown_as for one in self.accounts.rows.all()} if self.accounts else {}
        view = settings_view(
            self.desk.in_force if at is None else self.desk.settings_then(at),
            service.history(self.desk.store),
            names=names,
            today=datetime.now().astimezone().date(),
            may_change=at is None and acting.may("configure"),
            said=wrong.message if wrong else said or _done(request),
            wrong=wrong is not None,
        )
        return self.renderer.page(request, "settings.html", view, status=wrong.http_status if wrong else 200)

    def taken_in(self, request: Request, data: bytes, name: str) -> Response:
        """Take in a file."""
        try:
            if not data or len(data) > LARGEST_FILE:
                raise InvalidInput(tr("No file was chosen."), field="file", allowed=tr("a file with something in it"))
            service.take_in(self.desk.store, data, name, who=self.who(request))
        except ForestayError as wrong:
            return self.overview(request, wrong=wrong)
        return RedirectResponse("/settings?done=1", SEE_OTHER)

    def form_page(
        self, request: Request, page: str, typed: Sent | None = None, wrong: ForestayError | None = None
    ) -> Response:
        """The form of a part, or the list of its entries."""
        kept = self.desk.in_force.kept
        if page in SINGLE:
            form = SINGLE[page](kept.seen(page), typed or record_typed(kept.part(page)))
            return self._page(request, page, (form,), wrong=wrong)
        kind = _kind(page)
        shown = [entry for entry in self.entries(kind.part) if kind.shows(entry)]
        table = Rows(
            page_titles()[page],
            tuple(labels()[name] for name in kind.columns),
            tuple(kind.words(entry) for entry in shown),
            addresses=tuple(f"/settings/{page}/{mark_of(entry)}" for entry in shown),
        )
        form = kind.form(NEW, typed or Sent({}, {}))
        return self._page(request, page, (form,), tables=(table,) if shown else (), wrong=wrong)

    def entry_page(
        self, request: Request, page: str, mark: str, typed: Sent | None = None, wrong: ForestayError | None = None
    ) -> Response:
        """The form of one entry."""
        kind = _kind(page)
        if mark == NEW:
            return self.form_page(request, page, typed, wrong)
        if typed is None:
            entry = next((one for one in self.entries(kind.part) if mark_of(one) == mark), None)
            if entry is None:
                raise NotFound(tr("This entry is not kept any more."), field="entry", value=mark[:40])
            typed = kind.texts(entry)
        return self._page(request, page, (kind.form(mark, typed),), wrong=wrong, up=page)

    def _page(
        self,
        request: Request,
        page: str,
        forms: tuple[Form, ...],
        *,
        tables: tuple[Rows, ...] = (),
        wrong: ForestayError | None = None,
        up: str = "",
    ) -> Response:
        title = page_titles()[page]
        ways = (*((Link(title, f"/settings/{page}"),) if up else ()), Link(tr("Settings"), "/settings"))
        view = FormsView(
            shell=shell(title, "/settings"),
            lead=(),
            said=wrong.message if wrong else _done(request),
            wrong=wrong is not None,
            forms=forms,
            tables=tables,
            ways=ways,
        )
        return self.renderer.page(request, "forms.html", view, status=wrong.http_status if wrong else 200)

    def keep_single(self, request: Request, page: str, sent: Sent) -> Response:
        """Keep a part that is one form; an entry of a list comes as a new one."""
        if page not in SINGLE:
            return self.keep_entry(request, page, NEW, sent)
        try:
            service.keep(
                self.desk.store,
                page,
                _single(page, sent),
                who=self.who(request),
                based_on=count_of(sent.texts.get("based_on", "")),
            )
        except ForestayError as wrong:
            return self.form_page(request, page, sent, wrong)
        return RedirectResponse("/settings?done=1", SEE_OTHER)

    def keep_entry(self, request: Request, page: str, mark: str, sent: Sent) -> Response:
        """Keep, add or remove one entry of a list."""
        kind = _kind(page)
        try:
            entry = None if sent.texts.get("do") == REMOVE else validate(kind.record, kind.told(sent))
            service.change_entry(self.desk.store, kind.part, "" if mark == NEW else mark, entry, who=self.who(request))
        except ForestayError as wrong:
            return self.entry_page(request, page, mark, sent, wrong)
        return RedirectResponse(f"/settings/{page}?done=1", SEE_OTHER)


def _done(request: Request) -> str:
    return tr("Kept.") if request.query_params.get("done") else ""


def _kind(page: str) -> Kind:
    if page not in KINDS:
        allowed = ", ".join((*KINDS, *SINGLE))
        raise NotFound(tr("There is no such page of settings."), field="page", value=page[:40], allowed=allowed)
    return KINDS[page]


def _single(page: str, sent: Sent) -> Mapping[str, Any]:
    """What the form of a part says, in the keys of its record."""
    told: dict[str, Any] = {}
    for name in PARTS[page].model_fields:
        if name == "has":
            told[name] = sent.several.get(name, []) if sent.texts.get("has_known") == "yes" else None
            if told[name] is None and sent.several.get(name):
                raise InvalidInput(
                    tr("Things are ticked, and it says that what the theatre has is not stated."),
                    field="has",
                    allowed=tr("one of the two"),
                )
        elif name in ("techniques", "anaesthesia"):
            told[name] = sent.several.get(name) or None
        else:
            told[name] = sent.texts.get(name) or None
    return told

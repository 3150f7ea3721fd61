"""``/import``: a file in. A table is mapped, looked at and kept; measurements and case files are kept at once.

Nothing waits on the server between the steps: the table goes along with the form. Exported records, which carry decisions
and signatures of others, are brought back with the command.
"""

from __future__ import annotations

import base64
import binascii
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile

from forestay.errors import ForestayError, InvalidInput
from forestay.services.cases import TABLES
from forestay.services.incoming import import_measured
from forestay.services.planning import Desk, caution
from forestay.services.tables import TableLook, import_table, look_at_table
from forestay.text import tr
from forestay.web.render import Renderer
from forestay.web.views.importing import ImportView
from forestay.web.views.importing_build import (
    Table,
    column_lines,
    mapping_as_file,
    roles,
    row_lines,
    told_mapping,
    units,
)
from forestay.web.views.shell import shell

LARGEST_TABLE = 600 * 1024
"""Beyond this a table is imported with the command: the page carries it along in its form."""


@dataclass(frozen=True, slots=True)
class _Given:
    """A form as it was sent."""

    fields: dict[str, str]
    name: str = ""
    data: bytes = b""

    def text(self, name: str) -> str:
        return self.fields.get(name, "").strip()


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The page."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/import")
    def blank(request: Request) -> Response:
        return renderer.page(request, "import.html", _empty())

    @routes.post("/import")
    async def take(request: Request) -> Response:
        given = await _given(request)

        def answered() -> Response:
            view = _empty()
            try:
                view, status = _taken(desk, given)
            except ForestayError as wrong:
                view, status = replace(_again(given), failure=wrong.message), wrong.http_status
            return renderer.page(request, "import.html", view, status=status)

        return await run_in_threadpool(answered)

    return routes


async def _given(request: Request) -> _Given:
    async with request.form() as form:
        fields = {key: value for key, value in form.items() if isinstance(value, str)}
        file = form.get("file")
        if isinstance(file, UploadFile) and file.filename:
            return _Given(fields, file.filename[-80:], await file.read())
    try:
        data = base64.b64decode(fields.get("data", ""), validate=True)
    except (binascii.Error, ValueError):
        data = b""
    return _Given(fields, fields.get("name", "")[-80:], data)


def _taken(desk: Desk, given: _Given) -> tuple[ImportView, int]:
    if not given.data:
        raise InvalidInput(tr("No file was chosen."), field="file", allowed=tr("a file with something in it"))
    if not given.name.lower().endswith(TABLES):
        return _measured(desk, given), 200
    view = _table_view(given)
    if given.text("does") not in ("look", "keep"):
        return view, 200
    mapping = told_mapping(given.fields, _table(given).headings)
    if given.text("does") == "keep":
        look = import_table(desk.store, given.data, given.name, mapping, author=desk.author)
    else:
        look = look_at_table(desk.store, given.data, given.name, mapping)
    return _with_look(view, look, mapping_as_file(mapping)), 200


def _measured(desk: Desk, given: _Given) -> ImportView:
    done = import_measured(
        desk.store,
        given.data,
        name=given.name,
        case_id=given.text("case_id") or None,
        side=given.text("side") or None,
        by=desk.author,
    )
    said = tr("Case {case}: {new} new facts, {facts} in all.", case=done.case, new=done.new, facts=done.facts)
    return replace(_empty(), done=(said, *done.notes), link=f"/cases/{done.case}")


def _table(given: _Given) -> Table:
    return Table.read(given.data, given.name, encoding=given.text("encoding") or "utf-8")


def _table_view(given: _Given) -> ImportView:
    if len(given.data) > LARGEST_TABLE:
        raise InvalidInput(
            tr("The table is too large for this page; use forestay import with a mapping."),
            field="file",
            value=len(given.data),
            allowed=tr("at most {size} bytes", size=LARGEST_TABLE),
        )
    table = _table(given)
    return replace(
        _empty(),
        name=given.name,
        data=base64.b64encode(given.data).decode(),
        columns=column_lines(table, given.fields),
        roles=roles(),
        units=units(),
        decimal="," if given.text("decimal") == "," else ".",
        date_format=given.text("date_format"),
        encoding=given.text("encoding") or "utf-8",
    )


def _with_look(view: ImportView, look: TableLook, mapping: str) -> ImportView:
    counts = tr(
        "{new} new cases, {added} rows added to cases, {unchanged} unchanged, {refused} refused.",
        **{state: look.count(state) for state in ("new", "added", "unchanged", "refused")},
    )
    if look.kept:
        return replace(_empty(), done=(tr("All rows are kept."), counts), mapping=mapping, link="/")
    ready = look.count("refused") == 0
    return replace(view, rows=row_lines(look), counts=counts, ready=ready, mapping=mapping)


def _again(given: _Given) -> ImportView:
    """The page as it was, to be mended; the empty one where the table itself cannot be read."""
    try:
        return _table_view(given) if given.data and given.name.lower().endswith(TABLES) else _empty()
    except ForestayError:
        return _empty()


def _empty() -> ImportView:
    return ImportView(shell=shell(tr("Import"), "/import"), caution=caution())

"""``/review``: what many cases teach."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from urllib.parse import urlencode

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool

from forestay.errors import ForestayError, InvalidInput
from forestay.review.groups import Selection
from forestay.review.peers import Peer, peers_from_table
from forestay.services.planning import Desk, caution
from forestay.text import tr
from forestay.web.pages.entry import sent_form
from forestay.web.render import Renderer
from forestay.web.views.review import Chooser, ReviewView
from forestay.web.views.review_build import blocks, signal_lines
from forestay.web.views.review_export import as_csv
from forestay.web.views.shell import shell

EXAMPLE = "name,operations,events\n"
"""Head of the table of peers, to begin with."""


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The page of the review; ``?practice=invented`` looks at an invented one."""
    routes = APIRouter(include_in_schema=False)

    @routes.get("/review")
    def review(request: Request) -> Response:
        return _shown(request, dict(request.query_params), "")

    @routes.get("/review.csv")
    def tables(request: Request) -> Response:
        """What the page shows, as one file; a wrong choice is refused as it is on the page."""
        asked = {key: value.strip()[:80] for key, value in request.query_params.items() if value.strip()}
        invented = asked.get("practice") == "invented"
        found, _ = desk.review(_selection(asked), invented=invented, peers=())
        above = (*found.says, *([found.withheld] if found.withheld else []))
        name = "review-invented.csv" if invented else "review.csv"
        return Response(
            as_csv(blocks(found), above, caution()),
            media_type="text/csv; charset=utf-8",
            headers={"Content-Disposition": f'attachment; filename="{name}"'},
        )

    @routes.post("/review")
    async def among_peers(request: Request) -> Response:
        form = (await sent_form(request)).texts
        return await run_in_threadpool(_shown, request, form, form.get("peers", ""))

    def _shown(request: Request, given: Mapping[str, str], table: str) -> Response:
        asked = {key: value.strip()[:80] for key, value in given.items() if value.strip() and key != "peers"}
        problem, selection = "", Selection()
        peers: tuple[Peer, ...] = ()
        try:
            selection = _selection(asked)
            peers = peers_from_table(table.encode()) if table.strip() else ()
        except ForestayError as wrong:
            problem = wrong.message
        invented = asked.get("practice") == "invented"
        found, offered = desk.review(selection, invented=invented, peers=peers)
        view = ReviewView(
            shell=shell(tr("Review"), "/review"),
            says=found.says,
            withheld=found.withheld or "",
            signals=signal_lines(found),
            choosers=(
                Chooser("since", tr("from"), asked.get("since", ""), ()),
                Chooser("until", tr("to"), asked.get("until", ""), ()),
                Chooser("surgeon", tr("surgeon"), asked.get("surgeon", ""), offered["surgeon"]),
                Chooser("technique", tr("technique"), asked.get("technique", ""), offered["technique"]),
                Chooser("lens", tr("lens"), asked.get("lens", ""), offered["lens"]),
            ),
            invented=invented,
            blocks=blocks(found),
            sources=tuple(f"{s['citation']} ({s['standing']})" for s in found.sources),
            doubts=tuple(d["message"] for d in found.doubts),
            problem=problem,
            export="/review.csv?" + urlencode(asked),
            peers=table or EXAMPLE,
            caution=caution(),
        )
        return renderer.page(request, "review.html", view, status=422 if problem else 200)

    return routes


def _selection(asked: dict[str, str]) -> Selection:
    return Selection(
        since=_day(asked, "since"),
        until=_day(asked, "until"),
        surgeon=asked.get("surgeon"),
        technique=asked.get("technique"),
        lens=asked.get("lens"),
    )


def _day(asked: dict[str, str], name: str) -> date | None:
    text = asked.get(name)
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        allowed = tr("a day as in 2026-01-31")
        raise InvalidInput(
            tr("{field} is {value}; allowed: {allowed}.", field=name, value=text[:40], allowed=allowed),
            field=name,
            value=text[:40],
            allowed=allowed,
        ) from None

"""``/day``: kept cases as the list of a theatre day, and the same on paper."""

from __future__ import annotations

from collections import OrderedDict
from datetime import date, datetime
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request, Response

from forestay.calc.day_records import minutes_of
from forestay.draw.names import side_words
from forestay.errors import ForestayError, InvalidInput
from forestay.plan.day import DayHours, DayList
from forestay.plan.device_shelf import DeviceShelf
from forestay.report.day import day_data, day_pdf
from forestay.services.daylist import day_of, demo_shelf, planner_for
from forestay.services.planner import Planner
from forestay.services.planning import Desk, caution
from forestay.text import tr
from forestay.web.render import Renderer
from forestay.web.views.case_build import case_label
from forestay.web.views.day import DayChoice, DayView
from forestay.web.views.shell import shell

MOST_CASES = 60
DAYS_KEPT = 3


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The page and its paper."""
    routes = APIRouter(include_in_schema=False)
    lists = Lists(desk)

    @routes.get("/day")
    def day(
        request: Request,
        case: list[str] = Query(default=[]),  # noqa: B008 - the framework reads it so
        on: str = "",
        start: str = "08:30",
        end: str = "",
    ) -> Response:
        made, invented, shelf = lists.made(case, on, start, end) if case else (None, False, "")
        now = datetime.now().astimezone()
        asked = [("case", c) for c in case] + [("on", on), ("start", start), ("end", end)]
        view = DayView(
            shell(tr("Theatre day"), "/day"),
            _choices(desk, case),
            on=on or now.date().isoformat(),
            start=start,
            end=end,
            shelf=shelf,
            listed=None if made is None else day_data(made, invented=invented, made_at=now),
            paper="" if made is None else f"/day.pdf?{urlencode(asked)}",
            caution=caution(),
        )
        return renderer.page(request, "day.html", view)

    @routes.get("/day.pdf")
    def paper(
        case: list[str] = Query(default=[]),  # noqa: B008 - the framework reads it so
        on: str = "",
        start: str = "08:30",
        end: str = "",
    ) -> Response:
        made, invented, _ = lists.made(case, on, start, end)
        pdf = day_pdf(made, invented=invented, made_at=datetime.now().astimezone())
        return Response(
            pdf, media_type="application/pdf", headers={"Content-Disposition": 'inline; filename="day.pdf"'}
        )

    return routes


def _choices(desk: Desk, chosen: list[str]) -> tuple[DayChoice, ...]:
    rows = []
    for case_id in desk.case_ids():
        label = case_label(case_id)
        try:
            label = f"{label}, {side_words(desk.open(case_id).situation.case.eye.side)}"
        except ForestayError as wrong:
            label = f"{label}: {wrong.message}"
        rows.append(DayChoice(case_id, label, case_id in chosen))
    return tuple(rows)


class Lists:
    """Makes lists, and keeps the plans of the last few days and shelves for a quick return."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._planners: OrderedDict[tuple[str, date], Planner] = OrderedDict()

    def made(self, cases: list[str], on: str, start: str, end: str) -> tuple[DayList, bool, str]:
        """The list, whether all of it is invented, and which shelf it was held against."""
        if not cases or len(cases) > MOST_CASES:
            words = tr("1 to {most} cases", most=MOST_CASES)
            raise InvalidInput(tr("Choose {words}.", words=words), field="case", value=len(cases), allowed=words)
        for clock in (start, end or start):
            minutes_of(clock)
        opened = [self._desk.open(case_id) for case_id in dict.fromkeys(cases)]
        invented = all(o.invented for o in opened)
        shelf = self._desk.in_force.given.devices
        if shelf is not None and shelf.invented and not invented:
            shelf = None
        said = tr("your own shelf") if shelf else tr("no shelf is kept here: shortages cannot be seen")
        if shelf is not None and shelf.invented:
            said = tr("an invented shelf, for invented cases")
        if shelf is None and invented:
            shelf, said = demo_shelf(), tr("an invented shelf, for invented cases")
        day = _day(on)
        made = day_of(
            [(o.case_id, o.situation) for o in opened],
            hours=DayHours(start, end or None),
            shelf=shelf,
            on=day,
            plan=self._planner(shelf, day).plan,
        )
        return made, invented, said

    def _planner(self, shelf: DeviceShelf | None, day: date) -> Planner:
        key = (shelf.digest if shelf else "", day)
        if key not in self._planners:
            self._planners[key] = Planner(planner_for(shelf, day))
        self._planners.move_to_end(key)
        while len(self._planners) > DAYS_KEPT:
            self._planners.popitem(last=False)
        return self._planners[key]


def _day(text: str) -> date:
    if not text:
        return datetime.now().astimezone().date()
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InvalidInput(
            tr("{value} is not a day; write YYYY-MM-DD.", value=text[:20]),
            field="on",
            value=text[:20],
            allowed="YYYY-MM-DD",
        ) from None

"""``/``: the cases kept here, each with the first line of its plan."""

from __future__ import annotations

from collections import OrderedDict
from contextlib import suppress
from dataclasses import dataclass
from threading import Lock

from fastapi import APIRouter, Query, Request, Response

from forestay.draw.names import side_words
from forestay.errors import ForestayError
from forestay.services.planning import Desk, caution
from forestay.text import language, tr
from forestay.web.render import Renderer
from forestay.web.views.case_build import about, case_label
from forestay.web.views.cases import CaseLine, CasesView
from forestay.web.views.shell import shell

LONGEST_QUESTION = 200
PLANNED_AT_ONCE = 25
"""How many cases of a page are planned while the reader waits."""
ON_A_PAGE = 100
LINES_KEPT = 20_000
"""How many lines are remembered: they are short, and a line is only read again when its case has new facts."""
LAST_PAGE = 100_000


@dataclass(slots=True)
class _Line:
    """What a case says in the list, without its plan."""

    side: str
    about: str
    said: str
    trouble: str | None = None
    decision: str | None = None


class Lines:
    """The lines of the list, each remembered until its case has more facts. Safe to use from several threads."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk
        self._lines: OrderedDict[tuple[str, int, str], _Line] = OrderedDict()
        self._lock = Lock()

    def line(self, case_id: str, sequence: int) -> _Line:
        """One case; one that cannot be read says why, and hides no other."""
        key = (case_id, sequence, language())
        with self._lock:
            known = self._lines.get(key)
            if known is not None:
                self._lines.move_to_end(key)
                return known
        made = self._read(case_id)
        with self._lock:
            self._lines[key] = made
            while len(self._lines) > LINES_KEPT:
                self._lines.popitem(last=False)
        return made

    def decision(self, case_id: str, line: _Line) -> str:
        """The first line of its plan, worked out once."""
        if line.trouble is None and line.decision is None:
            try:
                line.decision = self._desk.plan(self._desk.open(case_id).situation, {}, quick=True).decision.sentence
            except ForestayError as wrong:
                line.trouble = wrong.message
        return line.decision or tr("No plan: {why}", why=line.trouble or "")

    def _read(self, case_id: str) -> _Line:
        label = case_label(case_id)
        line = _Line(tr("Side not known"), "", label.lower())
        try:
            opened = self._desk.open(case_id)
        except ForestayError as wrong:
            line.trouble = wrong.message
            return line
        line.side = side_words(opened.situation.case.eye.side)
        line.about = about(opened.situation, invented=opened.invented)
        with suppress(ForestayError):
            told = [one.words for one in opened.thread if not one.withdrawn]
            line.said = " ".join([label, line.side, line.about, *told]).lower()
        return line


def router(desk: Desk, renderer: Renderer) -> APIRouter:
    """The page of all cases."""
    routes = APIRouter(include_in_schema=False)
    lines = Lines(desk)

    @routes.get("/")
    def cases(request: Request, q: str = "", page: int = Query(1, ge=1, le=LAST_PAGE)) -> Response:
        known = desk.sequences()
        question = q[:LONGEST_QUESTION]
        found = [c for c, n in known.items() if wanted(lines.line(c, n).said, question)] if question else list(known)
        pages = max(1, -(-len(found) // ON_A_PAGE))
        here = min(page, pages)
        shown = found[(here - 1) * ON_A_PAGE : here * ON_A_PAGE]
        listed = tuple(_listed(lines, c, known[c], planned=n < PLANNED_AT_ONCE) for n, c in enumerate(shown))
        view = CasesView(
            shell=shell(tr("Cases"), "/"),
            cases=listed,
            caution=caution(),
            q=question,
            found=len(found),
            total=len(known),
            planned=PLANNED_AT_ONCE,
            page=here,
            pages=pages,
        )
        return renderer.page(request, "cases.html", view)

    return routes


def wanted(said: str, question: str) -> bool:
    """True where every word of the question stands in what is said of the case.

    >>> wanted("case m-104 right eye woman, 71", "right M-104"), wanted("case m-104 right eye", "left")
    (True, False)
    """
    return all(word in said for word in question.lower().split())


def _listed(lines: Lines, case_id: str, sequence: int, *, planned: bool) -> CaseLine:
    """One case; a long list plans only its first cases."""
    line = lines.line(case_id, sequence)
    known = planned or line.decision is not None or line.trouble is not None
    decision = lines.decision(case_id, line) if known else tr("Open it to plan it.")
    return CaseLine(case_id, case_label(case_id), line.side, line.about, decision)

"""What a device needs to go on without network: its worker, what to keep of a case, and theatre worked out beforehand."""

from __future__ import annotations

import re
from collections import OrderedDict
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

from fastapi import APIRouter, Request, Response

from forestay.case.fields import SECTIONS
from forestay.errors import NotFound
from forestay.plan.compare import compare
from forestay.plan.model import Plan
from forestay.services import actor as acting
from forestay.services import beforehand, theatre
from forestay.services.access import table
from forestay.services.cases import KeptCase
from forestay.services.planning import caution
from forestay.text import language, tr
from forestay.web.failures import PlainJson
from forestay.web.render import Renderer, manifest
from forestay.web.settings import Settings
from forestay.web.views.case_build import case_label
from forestay.web.views.device import DeviceView
from forestay.web.views.shell import shell
from forestay.web.views.theatre import TheatreView
from forestay.web.views.theatre_build import drawn, theatre_view
from forestay.web.who import desk_for

CASES_KNOWN = 16
WORKER = "worker.js"
MAIN = re.compile(r'<main id="main".*</main>', re.DOTALL)
KEY, LAST, STARTED, ABOVE = "KEPT-KEY", "KEPT-LAST", "KEPT-STARTED", "<!--above-->"
"""What the worker puts in: identity of a press, what can be taken back, when it began, the drawing."""


def router(settings: Settings, renderer: Renderer) -> APIRouter:
    """The pages and data of a device without network."""
    routes = APIRouter(include_in_schema=False)
    desk, built = settings.desk, settings.static / "built"
    known: OrderedDict[tuple[str, int, str], tuple[beforehand.Case, ...]] = OrderedDict()

    def cases_of(opened: KeptCase, plan: Plan) -> tuple[beforehand.Case, ...]:
        """One device asks for all kits of a case in a row: what is found is looked over once."""
        name = (opened.case_id, opened.head, language())
        made = known.get(name) or beforehand.cases(opened, plan)
        known[name] = made
        while len(known) > CASES_KNOWN:
            known.popitem(last=False)
        return made

    @routes.get(f"/{WORKER}")
    def worker() -> Response:
        script = (built / manifest(settings.static)[WORKER]).read_bytes()
        return Response(script, media_type="text/javascript")

    @routes.get("/device")
    def device(request: Request) -> Response:
        return renderer.page(request, "device.html", DeviceView(shell(tr("This device"), "/device"), caution()))

    @routes.get("/api/device")
    def who(request: Request) -> PlainJson:
        actor = acting.current()
        return PlainJson(
            {
                "author": desk_for(request, desk).author,
                "shown_as": "" if actor is None else actor.shown_as,
                "token": "" if actor is None else actor.csrf,
            }
        )

    @routes.get("/cases/{case_id}/offline")
    def what(case_id: str) -> PlainJson:
        opened = desk.open(case_id)
        here = f"/cases/{case_id}"
        fonts = sorted(f"/static/fonts/{file.name}" for file in (built / "fonts").glob("*.woff2"))
        made = manifest(settings.static)
        told = cases_of(opened, desk.plan(opened.situation, {}))
        kits = [f"{here}/theatre/kit", *(f"{here}/theatre/kit?finding={one.key}" for one in told)]
        return PlainJson(
            {
                "case": case_id,
                "label": case_label(case_id),
                "head": opened.head,
                "until": (datetime.now(UTC) + timedelta(hours=table().limits["absolute_hours"])).isoformat(),
                "assets": [*(f"/static/{made[name]}" for name in sorted(made) if name != WORKER), *fonts],
                "pages": [
                    here,
                    f"{here}/facts",
                    *(f"{here}/facts/{section}" for section in SECTIONS),
                    f"{here}/theatre/checks",
                    f"{here}/sheet.pdf",
                    *kits,
                ],
            }
        )

    @routes.get("/cases/{case_id}/theatre/kit")
    def kit(case_id: str, finding: str = "") -> PlainJson:
        opened = desk.open(case_id)
        plan = desk.plan(opened.situation, {})
        told = cases_of(opened, plan)
        if not finding:
            return PlainJson(_base(renderer, opened, plan, told))
        one = next((c for c in told if c.key == finding), None)
        if one is None:
            raise NotFound(tr("There is no such finding."), field="finding", value=finding[:40])
        return PlainJson(_after(renderer, opened, plan, desk.plan(one.situation, {}), one))

    return routes


def _view(opened: KeptCase, plan: Plan, step: str) -> TheatreView:
    made = theatre_view(opened, plan, theatre.stand(opened, plan, step), wall=False, above=ABOVE)
    return replace(made, key=KEY, last=LAST, started=STARTED)


def _steps(renderer: Renderer, opened: KeptCase, plan: Plan) -> list[dict[str, str]]:
    return [
        {"key": step.key, "name": step.name, "html": renderer.text("theatre.main.html", _view(opened, plan, step.key))}
        for step in plan.steps
    ]


def _base(renderer: Renderer, opened: KeptCase, plan: Plan, told: tuple[beforehand.Case, ...]) -> dict[str, Any]:
    at = theatre.stand(opened, plan)
    page = renderer.text("theatre.html", _view(opened, plan, ""))
    return {
        "case": opened.case_id,
        "head": opened.head,
        "made_at": datetime.now(UTC).isoformat(),
        "page": MAIN.sub("<!--main-->", page),
        "none": renderer.text("theatre.main.html", _view(opened, plan, "")),
        "steps": _steps(renderer, opened, plan),
        "above": drawn(plan),
        "done": list(at.done),
        "last": str(at.last or ""),
        "started": at.entered.isoformat() if at.entered else "",
        "findings": {
            name: {"kit": key, "say": tr(beforehand.finding(name)[1])} for name, key in beforehand.by_name(told).items()
        },
        "words": {
            "kept": tr("No network: this is kept on this device, worked out at {time}."),
            "waits": tr("Kept here, not sent yet: {list}."),
            "alone": tr("Worked out beforehand for this finding alone: {finding}."),
            "together": tr(
                "Not worked out on this device: {findings} together. The steps below are those of the last one alone. "
                "Use the sheet on paper, and your own judgement."
            ),
            "figure": tr("Not worked out on this device: the figure that you gave. It is kept and counts later."),
            "unknown": tr("Not worked out on this device: {finding}. The steps below are those of the plan before it."),
            "done": tr("done: {step}"),
            "taken": tr("taken back"),
        },
    }


def _after(renderer: Renderer, opened: KeptCase, plan: Plan, then: Plan, one: beforehand.Case) -> dict[str, Any]:
    changes = compare(plan, then)
    at = theatre.stand(opened, then)
    usual = {step["key"]: step for step in _steps(renderer, opened, plan)}
    # A step that stays as it is, is not sent again.
    steps = [step | ({"html": ""} if usual.get(step["key"]) == step else {}) for step in _steps(renderer, opened, then)]
    return {
        "head": opened.head,
        "now": {name: theatre.next_after(opened, then, name) for name in one.names},
        "steps": steps,
        "above": drawn(then),
        "answered": {
            name: renderer.text(
                "parts/answered.html",
                theatre_view(opened, then, at, wall=False, found=name, changes=changes, above=""),
            )
            for name in one.names
        },
    }

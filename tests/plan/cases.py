"""Situations for tests of the plan: the invented demo cases, and changes to one field of them."""

from __future__ import annotations

import tomllib
from collections import OrderedDict
from functools import cache
from typing import Any

from forestay.demo import NAMES, demo_bytes
from forestay.eye.records import CaseFile
from forestay.eye.situation import Decisions, Progress, Situation
from forestay.eye.validation import validate
from forestay.frame import mirror_axis, mirror_hour
from forestay.plan.context import Context
from forestay.plan.make import make
from forestay.plan.model import Plan
from forestay.text import language

__all__ = ["NAMES", "changed", "mirrored", "planned", "planned_anew", "raw", "situation"]


MOST_KEPT = 64
_made: OrderedDict[tuple[str, int, str], Plan] = OrderedDict()


def raw(name: str) -> dict[str, Any]:
    """The case file of a demo as nested tables."""
    return tomllib.loads(demo_bytes(name).decode())


def situation(data: dict[str, Any], **decisions: Any) -> Situation:
    """A situation from nested tables; ``happened`` and ``done`` say how far the operation has come."""
    course = {name: tuple(decisions.pop(name)) for name in ("happened", "done") if name in decisions}
    return Situation(case=validate(CaseFile, data), decisions=Decisions(**decisions), progress=Progress(**course))


def changed(name: str, **fields: Any) -> dict[str, Any]:
    """A demo with fields changed, written ``signs__phacodonesis="none"``; ``None`` removes the field."""
    data = raw(name)
    for path, value in fields.items():
        section, field = path.split("__")
        table = data.setdefault(section, {})
        if value is None:
            table.pop(field, None)
        else:
            table[field] = value
    return data


def mirrored(data: dict[str, Any]) -> dict[str, Any]:
    """The same eye on the other side: hours, axes and the dominant hand mirrored, as the conventions say."""
    twin: dict[str, Any] = {section: dict(table) for section, table in data.items()}
    twin["eye"]["side"] = "left" if data["eye"]["side"] == "right" else "right"
    gaps = data["signs"].get("dialysis_clock_hours")
    if gaps is not None:
        twin["signs"]["dialysis_clock_hours"] = [mirror_hour(h) for h in gaps]
    for axis in ("k1_axis_deg", "k2_axis_deg"):
        if axis in data["biometry"]:
            twin["biometry"][axis] = mirror_axis(data["biometry"][axis])
    hand = data["theatre"].get("dominant_hand")
    if hand:
        twin["theatre"]["dominant_hand"] = "left" if hand == "right" else "right"
    return twin


@cache
def _context(draws: int) -> Context:
    return Context.default(draws=draws)


def planned(data: dict[str, Any], *, draws: int = 200, **decisions: Any) -> Plan:
    """The plan of nested tables; fewer draws than the full plan unless asked. Made once: a plan is never changed."""
    told = situation(data, **decisions)
    key = (told.model_dump_json(), draws, language())
    if key not in _made:
        _made[key] = planned_anew(told, draws=draws)
        while len(_made) > MOST_KEPT:
            _made.popitem(last=False)
    return _made[key]


def planned_anew(told: Situation, *, draws: int = 200) -> Plan:
    """The plan of a situation, made even where it was made before."""
    return make(told, _context(draws))

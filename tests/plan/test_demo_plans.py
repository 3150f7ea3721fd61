"""What each of the five demo plans holds: doubts in groups, none lost, what decides first; the ladders that concern the eye;
and how often its fresh plan asks the solvers."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest

from forestay.evidence import default_evidence
from forestay.evidence.loader import DOUBTFUL
from forestay.eye.condition import parse_condition
from forestay.mechanics import disc, fast, open_ring_bag, open_ring_pull
from forestay.plan.doubt_groups import TOPICS
from forestay.plan.ruleset import Rule
from forestay.report.readable import readable
from tests.plan.cases import NAMES, changed, planned, planned_anew, raw, situation

GENERAL = ("assumed", "from-memory")


def test_every_doubtful_row_has_a_topic() -> None:
    """But for those of the drawn eyes and records that no plan uses, the first word of a row's key names its topic."""
    named = {word for _, words in TOPICS.values() for word in words}
    first = {row.key.partition(".")[0] for row in default_evidence().values() if row.standing in DOUBTFUL}
    assert first == named & first
    assert len(named) == sum(len(words) for _, words in TOPICS.values())


@pytest.mark.parametrize("name", NAMES)
def test_every_doubt_stands_in_one_group_and_what_decides_comes_first(name: str) -> None:
    plan = planned(raw(name))
    grouped = [doubt for group in plan.doubt_groups for doubt in group.doubts]
    assert len(grouped) == len(set(grouped))
    assert set(grouped) == {d for d in plan.doubts if d.code in GENERAL}
    assert plan.doubt_groups[0].key == "decides"
    assert len(plan.doubt_groups[0].doubts) < len(grouped) / 2
    short = [m for m in plan.margins if m.margin < 0]
    behind = {key for m in short for source in m.origin.sources for key in source["rows"]}
    evidence = default_evidence()
    said = {evidence[key].doubt for key in behind if evidence[key].standing in DOUBTFUL}
    assert said <= {d.message for d in plan.doubt_groups[0].doubts}
    assert len(plan.doubt_groups[0].doubts) <= 20  # what a surgeon reads through before an eye
    assert [group.key for group in plan.doubt_groups[2:]] == [
        key for key in TOPICS if key in {group.key for group in plan.doubt_groups}
    ]


def test_what_more_short_margins_rest_on_is_told_first() -> None:
    plan = planned(raw("brown-pseudoexfoliation"))
    evidence = default_evidence()
    pair = [o for o in plan.options if o.technique in (plan.chosen.technique, plan.chosen.next_best)]
    short = [{k for s in m.origin.sources for k in s["rows"]} for o in pair for m in o.margins if m.margin < 0]
    keys = [{r.key for r in evidence.values() if r.doubt == d.message} for d in plan.doubt_groups[0].doubts]
    moved = [sum(bool(rows & k) for rows in short) for k in keys]
    assert moved == sorted(moved, reverse=True)
    assert moved[0] > moved[-1] == 0


def test_a_limit_that_only_rules_compare_with_which_do_not_hold_decides_nothing() -> None:
    rule = parse_condition(["person.weight_kg < @act.light_kg"], "a test")
    for weight, idle in ((80.0, True), (40.0, False)):
        use = default_evidence().reader()
        Rule("stop", {}, rule, ()).holds({"person.weight_kg": weight}, use)
        assert use.idle("act.light_kg") is idle
        merged = default_evidence().reader()
        merged.merge(use)
        assert merged.idle("act.light_kg") is idle


ALWAYS = {
    "pupil-small",
    "edge-runs-out",
    "rim-torn",
    "capsule-open",
    "vitreous",
    "nucleus-falls",
    "dark-shadow",
    "no-support",
}
"""Troubles that any extraction may meet: pupil, edge lost or torn, capsule, vitreous, nucleus, bleeding, no hold for a lens."""
WHOLE = {"opening-small", "bag-follows"}
"""Those of a nucleus that is delivered whole."""
LADDERS = {
    "brown-pseudoexfoliation": (ALWAYS | WHOLE | {"gap-grows", "ring-escapes"}, set()),
    "trauma-gap": (ALWAYS | {"gap-grows", "ring-escapes"}, WHOLE),
    "white-swollen": (ALWAYS | WHOLE, {"gap-grows", "ring-escapes"}),
    "hard-poor-endothelium": (ALWAYS | WHOLE, {"gap-grows", "ring-escapes"}),
    "long-vitrectomised-only-eye": (ALWAYS, WHOLE | {"ring-escapes"}),
}
"""Of the ten ladders, those that concern the eye and those that cannot: manual in the brown, white and hard eye, a weak
zonule with a ring in the brown and the injured one."""


@pytest.mark.parametrize("name", NAMES)
def test_each_eye_has_the_ladders_that_concern_it(name: str) -> None:
    there, not_there = LADDERS[name]
    ladders = {f.key: f for f in planned(raw(name)).fallbacks}
    assert there <= set(ladders)
    assert not not_there & set(ladders)
    for key in there:
        assert len(ladders[key].do) >= 2
        assert all(len(rung.split()) >= 2 and "{" not in rung for rung in ladders[key].do)
        assert ladders[key].signs


class Asked:
    """How often each solver is asked."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.count: Counter[str] = Counter()
        for module, name in (
            (disc, "equilibrium"),
            (fast, "minimise"),
            (open_ring_bag, "solve"),
            (open_ring_pull, "solve_on"),
        ):
            patch.setattr(module, name, self._counting(name, getattr(module, name)))

    def _counting(self, name: str, solver: Callable[..., Any]) -> Callable[..., Any]:
        def ask(*given: Any, **named: Any) -> Any:
            self.count[name] += 1
            return solver(*given, **named)

        return ask


def test_a_fresh_plan_asks_the_solvers_no_more_often_than_it_did(monkeypatch: pytest.MonkeyPatch) -> None:
    """The brown eye at an age at which no other test plans it: what its plan costs is what it asks, and a second plan asks
    nothing of them. The bounds are what it takes now, and a tenth."""
    eye = changed("brown-pseudoexfoliation", person__age_years=76.3)
    asked = Asked(monkeypatch)
    planned_anew(situation(eye), draws=200)
    bounds = {"equilibrium": 55, "minimise": 48, "solve": 8, "solve_on": 18}
    for solver, most in bounds.items():
        assert 0 < asked.count[solver] <= most, solver
    asked.count.clear()
    planned_anew(situation(eye), draws=200)
    assert asked.count["minimise"] == asked.count["solve"] == asked.count["solve_on"] == 0


def test_the_command_tells_them_in_this_order() -> None:
    plan = planned(raw("brown-pseudoexfoliation"))
    text = " ".join(readable(plan, label="x", width=100).split())
    at = [text.index(f"{group.title} ({len(group.doubts)})") for group in plan.doubt_groups]
    assert at == sorted(at)
    assert all(doubt.message in text for group in plan.doubt_groups for doubt in group.doubts)

"""The rules as a whole: none that no eye can meet, none that asks for what a stop forbids, no order in a circle.

A check that finds nothing proves nothing, so each kind of fault is also put in on purpose and must be found; and every
rule that ships is made to hold in a plan of a real case, which the check builds from what the rule asks.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from contextlib import suppress
from typing import Any

import pytest

from forestay.demo import NAMES
from forestay.errors import ForestayError
from forestay.evidence import Reader, default_evidence
from forestay.eye.condition import parse_condition
from forestay.plan.rulecheck import Fault, circles, entries, faults, shipped
from forestay.plan.rulecheck_links import links
from forestay.plan.ruleset import FILES, Rule, _rule, ruleset
from forestay.plan.ruleview import bounds_of, domains, escapes, is_field, satisfying, words_of
from tests.plan.cases import changed, planned, raw

EVIDENCE = default_evidence()


def table(**extra: str) -> dict[str, dict[str, tuple[Rule, ...]]]:
    """The rules that ship, with more written behind them: file=TOML."""
    made = {name: dict(kinds) for name, kinds in shipped().items()}
    for name, text in extra.items():
        for kind, raws in tomllib.loads(text).items():
            made[name][kind] = (*made[name].get(kind, ()), *(_rule(kind, one, f"{name}, {kind}") for one in raws))
    return made


def found(**extra: str) -> tuple[Fault, ...]:
    """What the check says of the rules with these behind them."""
    return faults(table(**extra))


def test_the_rules_that_ship_have_no_fault() -> None:
    assert faults() == ()


STOP = """
[[stop]]
key = "never"
must_not = "do it"
when = [{when}]
why = "a test"
sources = ["surgical-sequence"]
"""


@pytest.mark.parametrize(
    "when",
    [
        '"signs.trauma = true", "signs.trauma = false"',
        '"lens.grade >= @act.hard_grade", "lens.grade <= @act.soft_grade"',
        '"estimate.gap_hours > @act.ring_plain_hours", "estimate.gap_hours <= @act.ring_needed_hours"',
        '"person.allergies has latex", "person.allergies lacks latex"',
        '"eye.only_eye unknown", "eye.only_eye = true | eye.only_eye = false"',
        '"person.age_years < 0"',
        '"lens.appearance in brown, black", "lens.appearance = white | lens.appearance = clear"',
    ],
)
def test_a_rule_that_no_eye_meets_is_found(when: str) -> None:
    said = found(stops=STOP.format(when=when))
    assert [f.kind for f in said if f.where == "stops.toml, stop never"] == ["unreachable"]


@pytest.mark.parametrize(
    "when",
    [
        '"signs.trauma = true | signs.trauma unknown"',
        '"lens.grade > @act.soft_grade", "lens.grade < @act.hard_grade"',
        '"person.allergies has latex", "person.allergies has iodine"',
    ],
)
def test_a_rule_that_some_eye_meets_is_not_called_unreachable(when: str) -> None:
    assert [f for f in found(stops=STOP.format(when=when)) if f.where == "stops.toml, stop never"] == []


def test_a_word_that_the_field_never_holds_is_found() -> None:
    said = found(stops=STOP.format(when='"lens.appearance = browm"'))
    assert ("unknown word", "stops.toml, stop never") in {(f.kind, f.where) for f in said}


def test_a_dose_against_a_stop_is_found_unless_the_stop_takes_it_out() -> None:
    """Contraindication of the label: acetazolamide in sulfonamide allergy."""
    dose = """
[[dose]]
key = "again"
drug = "acetazolamide"
purpose = "pressure"
when = ["eye.pressure_mmhg > @act.pressure_treat_mmhg"]
preparation = ""
dose = "as usual"
caution = ""
sources = ["acetazolamide-label"]
"""
    said = [f for f in found(doses=dose) if f.where == "doses.toml, dose again"]
    assert {f.kind for f in said} == {"contradiction"}
    assert {"acetazolamide-sulfonamide", "acetazolamide-kidney", "acetazolamide-liver"} == {
        f.what.split("the stop ")[1].split()[0] for f in said
    }
    shielded = dose.replace(
        "purpose", 'unless_stop = "acetazolamide-sulfonamide, acetazolamide-kidney, acetazolamide-liver"\npurpose'
    )
    assert [f for f in found(doses=shielded) if f.where == "doses.toml, dose again"] == []


def test_a_step_that_asks_for_what_is_forbidden_is_found() -> None:
    step = """
[[step]]
key = "wash"
name = "Wash"
techniques = ["phacoemulsification"]
do = "Hydrodissect freely."
kit = []
level = 1
sources = ["surgical-sequence"]
[[step.cue]]
see = "it is tight"
means = "adhesions"
then = "give cefuroxime"
when = ["person.allergies has penicillin"]
"""
    said = {(f.where, f.what.split("the stop ")[1].split()[0]) for f in found(steps=step) if "wash" in f.where}
    assert said == {
        ("steps.toml, step wash", "hydrodissect-polar"),
        ("steps.toml, step wash, cue 1", "cefuroxime-allergy"),
    }


def test_a_stop_of_surgery_without_its_decision_is_found() -> None:
    stop = STOP.format(when='"signs.external_infection = true"').replace(
        "must_not", 'verdict = "do-not-operate"\nmust_not'
    )
    assert [f.kind for f in found(stops=stop) if f.where == "stops.toml, stop never"] == ["contradiction"]


STEP = """
[[step]]
key = "{key}"
name = "x"
techniques = ["phacoemulsification"]
do = "x"
kit = []
level = 1
after = [{after}]
sources = ["surgical-sequence"]
"""


def test_steps_that_wait_for_one_another_are_found() -> None:
    said = found(steps=STEP.format(key="one", after='"two"') + STEP.format(key="two", after='"one"'))
    assert [(f.kind, f.what) for f in said if f.kind == "circle"] == [("circle", "one -> two -> one")]
    lost = found(steps=STEP.format(key="one", after='"nowhere"'))
    assert ("unknown rule", "steps.toml, step one") in {(f.kind, f.where) for f in lost}


def test_a_ladder_that_leads_back_to_itself_is_found() -> None:
    ladder = """
[[fallback]]
key = "{key}"
event = "x"
signs = "x"
leads_to = ["{to}"]
when = ["option.technique known"]
sources = ["surgical-sequence"]
"""
    said = found(fallbacks=ladder.format(key="here", to="there") + ladder.format(key="there", to="here"))
    assert [f.what for f in said if f.kind == "circle"] == ["here -> there -> here"]


def test_a_key_used_twice_and_a_rule_without_source_are_found() -> None:
    twice = STOP.format(when='"person.age_years known"') * 2
    assert "twice" in {f.kind for f in found(stops=twice)}
    bare = STOP.format(when='"person.age_years known"').replace('["surgical-sequence"]', "[]")
    assert ("no source", "stops.toml, stop never") in {(f.kind, f.where) for f in found(stops=bare)}


FINDING = """
[[finding]]
key = "new"
say = "x"
{more}
"""
WINDOW = """
[[window]]
visit = "{visit}"
first_day = {first}
last_day = {last}
"""
FIGURE = """
[[figure]]
key = "new"
when = [{when}]
say = "x"
do = "{do}"
sources = [{sources}]
"""


@pytest.mark.parametrize(
    ("file", "text", "kind", "says"),
    [
        ("findings", FINDING.format(more='cues = ["the moon rises"]'), "unknown rule", "the moon rises"),
        ("findings", FINDING.format(more='cues = ["vitreous"]'), "twice", "'vitreous' means more than one"),
        ("findings", FINDING.format(more='ladder = "up"'), "unknown rule", "'up'"),
        ("findings", FINDING.format(more='set = { "signs.moon" = true }'), "unknown word", "signs.moon"),
        ("findings", FINDING.format(more='set = { "signs.phacodonesis" = "often" }'), "unknown word", "'often'"),
        ("findings", FINDING.format(more='ask = "signs.moon_mm"'), "unknown word", "signs.moon_mm"),
        ("followup", WINDOW.format(visit="never", first=1, last=2), "unknown rule", "no visit"),
        ("followup", WINDOW.format(visit="day 5 to 10", first=10, last=5), "contradiction", "before it begins"),
        (
            "followup",
            FIGURE.format(when='"seen.day < 3", "seen.day > 4"', do="x", sources='"visit-reading"'),
            "unreachable",
            "",
        ),
        ("followup", FIGURE.format(when='"seen.day > 4"', do="x", sources=""), "no source", ""),
        (
            "followup",
            FIGURE.format(when='"seen.day > 4"', do="give acetazolamide", sources='"visit-reading"'),
            "contradiction",
            "acetazolamide",
        ),
        (
            "timeout",
            '[[group]]\nkey = "new"\nname = "x"\nsources = ["checklist-npsa"]\nitem = [{ key = "consent", text = "x" }]',
            "twice",
            "consent",
        ),
        ("timeout", '[[group]]\nkey = "new"\nname = "x"\nsources = ["checklist-npsa"]', "unreachable", "no box"),
    ],
)
def test_a_fault_in_the_rules_beside_a_plan_is_found(file: str, text: str, kind: str, says: str) -> None:
    all_said = found(**{file: text}) if "[[figure]]" in text else [Fault(*one) for one in links(table(**{file: text}))]
    said = [f for f in all_said if f.where.startswith(f"{file}.toml")]
    assert {(f.kind, says in f.what) for f in said} >= {(kind, True)}


def test_a_visit_without_its_days_is_found() -> None:
    visit = """
[[visit]]
when_text = "day 99"
check = "x"
act_on = "x"
sources = ["follow-up-policy"]
"""
    assert [kind for kind, where, _ in links(table(after=visit)) if "day 99" in where] == ["unknown rule"]


def test_every_way_round_is_told_once() -> None:
    assert circles({"a": ["b"], "b": ["c"], "c": ["a"], "d": ["d"]}) == (("a", "b", "c", "a"), ("d", "d"))
    assert circles({"a": ["b", "c"], "b": ["c"], "c": []}) == ()


def test_what_always_brings_another_has_no_escape() -> None:
    use = EVIDENCE.reader()
    domain = domains(use)
    deep = parse_condition(["estimate.gap_hours > @act.bag_lost_hours"], "x")
    some = parse_condition(["estimate.gap_hours > @act.ring_plain_hours"], "x")
    assert escapes(deep, [some], domain, use) is None
    way_out = escapes(some, [deep], domain, use)
    assert way_out is not None
    assert use.number("act.ring_plain_hours") < way_out["estimate.gap_hours"] <= use.number("act.bag_lost_hours")


def test_fields_know_their_words_and_their_range() -> None:
    assert words_of("signs.phacodonesis") == ("none", "after-movement", "at-rest")
    assert "vitrector" in (words_of("theatre.has") or ())
    low, high = bounds_of("lens.grade")
    assert (low, high) == tuple(EVIDENCE["limit.grade"].value)  # type: ignore[arg-type]


def _heard(monkeypatch: pytest.MonkeyPatch) -> set[int]:
    """The rules that held in any plan made from now on, by identity. No rule looks at a margin: they are left out."""
    monkeypatch.setattr("forestay.plan.make.loads_of", lambda *_, **__: None)
    monkeypatch.setattr("forestay.plan.make._margins", lambda *_: ((), ()))
    monkeypatch.setattr("forestay.plan.make.supports_of", lambda *_: ())
    monkeypatch.setattr("forestay.plan.make.drawing_of", lambda *_: None)
    held: set[int] = set()
    real = Rule.holds

    def holds(rule: Rule, view: Mapping[str, Any], use: Reader) -> bool:
        answer = real(rule, view, use)
        if answer:
            held.add(id(rule))
        return answer

    monkeypatch.setattr(Rule, "holds", holds)
    return held


BEYOND: tuple[dict[str, Any], ...] = (
    {"theatre__techniques": ["extracapsular"]},
    {"theatre__techniques": ["intracapsular"], "signs__subluxated": True},
    {"theatre__techniques": ["intracapsular"], "signs__subluxated": False, "signs__dialysis_clock_hours": []},
    {"theatre__techniques": ["manual-small-incision"], "theatre__anaesthesia": ["topical"]},
    {"theatre__anaesthesia": ["topical"], "theatre__techniques": ["phacoemulsification"], "lens__grade": 2},
    {"theatre__anaesthesia": ["peribulbar"], "biometry__axial_length_mm": 23.5},
    {"person__allergies": None, "person__anticoagulant": None},
    {"biometry__endothelial_count_per_mm2": 1450},
    {"fellow__operated": True, "fellow__refraction_d": -2.0, "fellow__planned_refraction_d": -0.5},
    {"signs__dialysis_clock_hours": [1, 2, 3, 4, 5, 6], "theatre__has": ["vitrector", "ring-segment"]},
    {"signs__phacodonesis": "at-rest", "signs__pseudoexfoliation": True, "theatre__has": ["vitrector"]},
    {"signs__phacodonesis": "at-rest", "theatre__has": ["vitrector"], "surgery__bag_follows": True},
    {"biometry__axial_length_mm": 20.0, "fellow__axial_length_mm": 22.3},
    {"biometry__axial_length_mm": 20.0, "fellow__axial_length_mm": 20.1},
)
"""Eyes and theatres that the demo cases do not show."""
SOFT = {"lens__grade": 2, "lens__appearance": "nuclear", "signs__pupil_dilated_mm": 8.0, "signs__phacodonesis": "none"}
"""A quiet eye: what is done where nothing is difficult."""


def _as_case(base: str, wanted: Mapping[str, Any]) -> dict[str, Any]:
    """A demo with the fields set that a rule asks for; what else the rule looks at is worked out by the plan."""
    data = raw(base)
    for name, value in wanted.items():
        if not is_field(name):
            continue
        section, key = name.split(".", 1)
        if value is None:
            data.get(section, {}).pop(key, None)
        else:
            data.setdefault(section, {})[key] = list(value) if isinstance(value, tuple) else value
    if wanted.get("eye.visual_acuity"):
        data["eye"].pop("visual_acuity_logmar", None)
    gap = wanted.get("estimate.gap_hours")
    if gap:
        data["signs"]["dialysis_clock_hours"] = list(range(1, min(int(gap) + 1, 12) + 1))
    technique = wanted.get("option.technique")
    if technique is not None:
        data["theatre"]["techniques"] = [technique]
    return data


EVENTS = {str(s.data["key"]): str(s.when.lines[0][0].value).split(",")[0] for s in ruleset("events")["state"]}
"""An event of each state."""


def _course(wanted: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    """What must have happened and been done for a rule that asks for it."""
    states = wanted.get("progress.states") or ()
    happened = (*(wanted.get("progress.happened") or ()), *(EVENTS[key] for key in states))
    return {"happened": happened, "done": tuple(wanted.get("progress.done") or ())}


def _try(data: dict[str, Any], wanted: Mapping[str, Any] | None = None) -> None:
    with suppress(ForestayError):
        planned(data, draws=16, **_course(wanted or {}))


def test_every_rule_holds_in_the_plan_of_some_eye(monkeypatch: pytest.MonkeyPatch) -> None:
    use = EVIDENCE.reader()
    held = _heard(monkeypatch)
    for change in ({}, *BEYOND):
        _try(changed("white-swollen", **change))
    for name in NAMES:
        _try(raw(name))
    _try(changed("hard-poor-endothelium", **SOFT, theatre__techniques=["phacoemulsification"]))
    silent = []
    for entry in entries({name: ruleset(name) for name in FILES}):
        for name in () if id(entry.rule) in held else NAMES:
            wanted = satisfying(entry.needs, domains(use), use)
            assert wanted is not None, entry.where
            _try(_as_case(name, wanted), wanted)
            if id(entry.rule) in held:
                break
        if id(entry.rule) not in held:
            silent.append(entry.where)
    assert silent == []

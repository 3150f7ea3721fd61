"""The comparison of options: who is beaten, weights and where they turn, the measures of a plan, where the plan turns."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.calc.comparison import compare_options
from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.frame import mirror_hour
from forestay.plan.choose import Verdict, choose, risks_part
from forestay.plan.context import Context
from forestay.plan.dominance import argued, log_normal
from forestay.plan.flip import flips
from forestay.plan.make import outcome
from forestay.plan.model import Option
from forestay.plan.model_compare import Criterion
from forestay.report.words import choice_words
from forestay.statistics.dominance import Measure, beaten, goodness, lead, leader, scores, weight_flips
from tests.plan.cases import NAMES, changed, mirrored, planned, raw, situation

MEASURES = (Measure("risk", "less"), Measure("cells", "more"), Measure("time", "less"))
numbers = st.integers(0, 6).map(float)
tables = st.dictionaries(
    st.sampled_from("abcd"), st.fixed_dictionaries({m.name: numbers for m in MEASURES}), min_size=2
)


@settings(deadline=None, derandomize=True, max_examples=150)
@given(tables)
def test_who_is_beaten_is_what_pareto_dominance_says(options: dict[str, dict[str, float]]) -> None:
    """Pareto dominance as defined in any text on multi-criteria choice: at least as good in all, better in one."""
    signs = np.array([-1.0, 1.0, -1.0])
    table = {o: signs * np.array([v[m.name] for m in MEASURES]) for o, v in options.items()}
    expected = {(a, b) for a in table for b in table if (table[b] >= table[a]).all() and (table[b] > table[a]).any()}
    assert {(p.option, p.by) for p in beaten(options, MEASURES)} == expected


def test_what_is_called_the_same_is_held_against_nobody() -> None:
    risk = (Measure("risk", "less", same_ratio=1.5),)
    assert beaten({"a": {"risk": 0.010}, "b": {"risk": 0.014}}, risk) == ()
    assert beaten({"a": {"risk": 0.010}, "b": {"risk": 0.016}}, risk)[0].option == "b"
    time = (Measure("time", "less", same=3.0),)
    assert beaten({"a": {"time": 10.0}, "b": {"time": 13.0}}, time) == ()


def test_a_measure_not_known_for_both_is_left_out_and_named() -> None:
    pair = beaten({"a": {"risk": 1.0, "cells": None}, "b": {"risk": 2.0, "cells": 900.0}}, MEASURES[:2])[0]
    assert (pair.by, pair.unknown) == ("a", ("cells",))


@settings(deadline=None, derandomize=True, max_examples=150)
@given(tables, st.fixed_dictionaries({m.name: st.integers(0, 5).map(float) for m in MEASURES}))
def test_scores_are_the_weighted_mean_and_flips_turn_the_first(
    options: dict[str, dict[str, float]], weights: dict[str, float]
) -> None:
    """Weighted mean of min-max scaled values, worked out again by numpy; beyond a flip another option leads."""
    found = scores(options, MEASURES, weights)
    scaled = goodness(options, MEASURES)
    used = [n for n in next(iter(scaled.values())) if weights[n] > 0]
    if used:
        for option, score in found.items():
            again = np.average([scaled[option][n] for n in used], weights=[weights[n] for n in used])
            assert score == pytest.approx(again)
    else:
        assert found == {}
    first = leader(found)
    for flip in weight_flips(options, MEASURES, weights):
        at = scores(options, MEASURES, {**weights, flip.measure: flip.weight})
        if at:
            assert at[str(first)] == pytest.approx(at[flip.then], abs=1e-9)


def test_no_weights_no_scores() -> None:
    options = {"a": {"risk": 1.0, "time": 9.0}, "b": {"risk": 2.0, "time": 5.0}}
    assert scores(options, MEASURES, {}) == {}
    assert leader({}) is None
    assert leader({"a": 0.5, "b": 0.5}) is None


def test_a_lead_smaller_than_its_spread_is_no_clear_winner() -> None:
    options = {
        "a": {"risk": 0.10, "minutes": 10.0},
        "b": {"risk": 0.12, "minutes": 9.0},
        "c": {"risk": 0.20, "minutes": 20.0},
    }
    measures = [Measure("risk", "less"), Measure("minutes", "less")]
    weights = {"risk": 3.0, "minutes": 1.0}
    # by hand: risk scaled over 0.10 to 0.20, minutes over 9 to 20: a 3/4 x 1 + 1/4 x 10/11, b 3/4 x 0.8 + 1/4 x 1
    ahead = 0.75 + 0.25 * 10 / 11 - (0.75 * 0.8 + 0.25)
    spreads = {"a": {"risk": 0.01}, "b": {"risk": 0.02, "minutes": 2.0}}
    sd = ((0.75 / 0.1) ** 2 * (0.01**2 + 0.02**2) + (0.25 / 11) ** 2 * 2.0**2) ** 0.5
    found = lead(options, measures, weights, spreads)
    assert found is not None
    assert (found.first, found.second) == ("a", "b")
    assert found.lead == pytest.approx(ahead)
    assert found.sd == pytest.approx(sd)
    assert not found.clear
    assert found.chance == pytest.approx(NormalDist().cdf(ahead / sd))
    surely = lead(options, measures, weights, {"a": {"risk": 0.001}})
    assert surely is not None
    assert surely.clear
    tied = lead(
        {"a": {"risk": 1.0, "minutes": 2.0}, "b": {"risk": 2.0, "minutes": 1.0}},
        measures,
        {"risk": 1, "minutes": 1},
        {},
    )
    assert tied is not None
    assert not tied.clear
    assert tied.chance == 0.5
    assert lead(options, measures, {}, spreads) is None


def test_the_calculation_judges_the_lead_by_the_spreads() -> None:
    options = [dict(o) for o in compare_options.example["options"]]
    plain = compare_options.run(_payload())
    assert plain.result.first == "manual small incision"
    assert "no-spreads" in {d.code for d in plain.doubts}
    options[0]["spreads"], options[1]["spreads"] = {"risk": 0.05}, {"risk": 0.05}
    wide = compare_options.run(_payload(options=options))
    assert wide.result.first is None
    assert wide.result.ahead == "manual small incision"
    assert wide.result.chance_ahead is not None
    assert 0.5 < wide.result.chance_ahead < 0.84
    assert "no-clear-winner" in {d.code for d in wide.doubts}


def test_risks_part_two_techniques_only_beyond_their_spread() -> None:
    plan = planned(raw("brown-pseudoexfoliation"))
    by = {o.technique: o for o in plan.options}
    use = default_evidence().reader()
    # vitreous loss of one teaching house, 8.3 and 8.1 %: an odds ratio of 1.03 with 0.5 and 0.3 in log odds is no difference
    assert risks_part(by["manual-small-incision"], by["extracapsular"], use) == 0
    worse = replace(
        by["extracapsular"],
        risks=tuple(
            replace(r, probability=0.6) if r.name == "capsule-rupture" else r for r in by["extracapsular"].risks
        ),
    )
    assert risks_part(by["manual-small-incision"], worse, use) == 1
    assert risks_part(worse, by["manual-small-incision"], use) == -1


def _payload(**changes: Any) -> dict[str, Any]:
    return {**compare_options.example, **changes}


def test_the_calculation_without_weights_says_only_what_is_beaten() -> None:
    given_ = _payload()
    del given_["weights"]
    answer = compare_options.run(given_)
    assert answer.result.scores == ()
    assert answer.result.first is None
    assert {d.code for d in answer.doubts} == {"no-weights", "no-clear-winner"}
    assert {b.option for b in answer.result.beaten} == {"extracapsular"}


@pytest.mark.parametrize(
    "wrong",
    [
        {"weights": {"risk": -1}},
        {"weights": {"beauty": 1}},
        {"options": [{"name": "a", "values": {"risk": 1}}, {"name": "a", "values": {"risk": 2}}]},
        {"options": [{"name": "a", "values": {"risk": float("nan")}}, {"name": "b", "values": {}}]},
    ],
)
def test_bad_input_is_one_clear_error(wrong: dict[str, Any]) -> None:
    with pytest.raises(InvalidInput):
        compare_options.run(_payload(**wrong))


def test_quantiles_of_a_log_normal_against_draws() -> None:
    """numpy's generator with the parameters from mean and spread (8.8 and 3.4 minutes, Venkatesh 2010)."""
    median, low, high = log_normal(mean=8.8, sd=3.4)
    sigma = math.sqrt(math.log(1 + (3.4 / 8.8) ** 2))
    drawn = np.random.default_rng(7).lognormal(math.log(8.8) - sigma**2 / 2, sigma, 200_000)
    assert (drawn.mean(), drawn.std()) == pytest.approx((8.8, 3.4), rel=0.01)
    assert (median, low, high) == pytest.approx(np.percentile(drawn, [50, 5, 95]), rel=0.01)


@pytest.mark.parametrize("name", NAMES)
def test_every_option_is_compared_by_every_measure_with_unit_and_source(name: str) -> None:
    plan = planned(raw(name))
    assert plan.comparison is not None
    done = [o for o in plan.options if o.criteria]
    assert len(done) >= 2
    keys = [[c.key for c in o.criteria] for o in done]
    assert all(k == keys[0] for k in keys)
    assert {"capsule", "cells", "induced", "astigmatism", "minutes", "short", "lacking"} == set(keys[0])
    for option in done:
        for c in option.criteria:
            if c.value is None or c.key in ("short", "lacking"):
                continue
            assert c.origin is not None
            assert c.origin.sources, c.key
            assert c.unit or c.key == "capsule"
            if c.low is not None and c.high is not None:
                assert c.low <= c.value <= c.high
    assert any(b in "; ".join(plan.chosen.why) for b in ("better in", "worse in", "about the same in"))
    assert {w.state for w in plan.comparison.anaesthesia} >= {"chosen"}
    assert [w.state for w in plan.comparison.incisions].count("chosen") == 1


def test_only_what_this_theatre_can_do_is_compared() -> None:
    plan = planned(changed("trauma-gap", theatre__techniques=["manual-small-incision"]))
    assert [o.technique for o in plan.options] == ["manual-small-incision", "referral"]
    bare = planned(changed("brown-pseudoexfoliation", theatre__has=["iris-hooks"]))
    done = [o for o in bare.options if o.criteria]
    assert all({"vitrector", "dye"} <= set(o.lacks) <= set(o.kit) for o in done)
    assert all(next(c.value for c in o.criteria if c.key == "lacking") == len(o.lacks) for o in done)


def test_the_comparison_of_a_mirrored_eye_is_the_same() -> None:
    data = raw("trauma-gap")
    one, other = planned(data), planned(mirrored(data))
    assert [[(c.key, c.value, c.low, c.high) for c in o.criteria] for o in one.options] == [
        [(c.key, c.value, c.low, c.high) for c in o.criteria] for o in other.options
    ]
    assert one.comparison is not None
    assert other.comparison is not None
    assert one.comparison.beaten == other.comparison.beaten
    places = [float(w.key) for w in one.comparison.incisions]
    assert places == [mirror_hour(float(w.key)) for w in other.comparison.incisions]


@pytest.mark.parametrize(
    ("name", "change"),
    [
        *((n, {}) for n in NAMES),
        ("trauma-gap", {"lens__grade": 4}),
        ("trauma-gap", {"eye__light_projection": "none"}),
        ("trauma-gap", {"signs__dialysis_clock_hours": [1, 2, 3, 4, 5, 6, 7, 8, 9, 10]}),
        ("white-swollen", {"signs__filtering_bleb": True}),
        ("brown-pseudoexfoliation", {"signs__subluxated": True}),
    ],
)
def test_the_short_way_to_decision_and_technique_is_the_plans(name: str, change: dict[str, Any]) -> None:
    data, context = changed(name, **change), Context.default(draws=200)
    plan = planned(data)
    assert outcome(situation(data), context) == (plan.decision.decision, plan.chosen.technique)


def test_where_the_plan_turns_is_where_its_rules_say() -> None:
    """The hard nucleus from grade 4, the pressure above 30 mmHg, the bag given up beyond 8 clock hours."""
    use = default_evidence().reader()
    found = flips(situation(raw("trauma-gap")), Context.default(draws=50))
    rows = {r.field: r for r in found.rows}
    assert rows["lens.grade"].value == pytest.approx(use.number("act.hard_grade"), abs=0.01)
    assert rows["lens.grade"].technique == "manual-small-incision"
    assert rows["eye.pressure_mmhg"].value == pytest.approx(use.number("act.pressure_treat_mmhg"), abs=0.1)
    assert rows["eye.pressure_mmhg"].decision == "operate-later"
    assert rows["signs.dialysis_clock_hours"].value == use.number("act.bag_lost_hours") + 1
    assert found.steady
    for row in found.rows[:2]:
        data = raw("trauma-gap")
        section, key = row.field.split(".")
        data[section][key] = row.value
        assert outcome(situation(data), Context.default(draws=50)) == (row.decision, row.technique)


def test_the_two_that_a_surgeon_chooses_between_are_argued() -> None:
    """A brown lens: extracapsular extraction ranks between them, phacoemulsification is the rival."""
    plan = planned(raw("brown-pseudoexfoliation"), draws=50)
    assert [o.technique for o in plan.options[:2]] == ["manual-small-incision", "extracapsular"]
    assert plan.chosen.next_best == "phacoemulsification"
    assert plan.chosen.why[-1].startswith("Beside phacoemulsification: better in cells left")
    assert "extracapsular" not in " ".join(plan.chosen.why)


def option(technique: str, *criteria: Criterion) -> Option:
    measured = (*criteria,)
    return Option(technique, technique, None, (), (), 0, (), available=True, criteria=measured)


@pytest.mark.parametrize(
    ("sd", "said"), [(0.2, "worse in astigmatism left 1.94 v 1.60 D"), (0.5, "apart by less than the spread")]
)
def test_nothing_is_called_worse_where_its_spread_covers_the_difference(sd: float, said: str) -> None:
    """1.94 v 1.60 D: 0.34 D apart; the spread of both together is 0.28 D or 0.71 D."""
    one, two = (
        option(name, Criterion("astigmatism", "astigmatism left", left, None, None, "D", "less", counts=True, origin=None, same=0.25, apart_sd=sd))
        for name, left in (("a", 1.94), ("b", 1.60))
    )  # fmt: skip
    assert said in argued(one, two)


@pytest.mark.parametrize(
    ("points", "said"), [((1, 1), "as much speaks for either"), ((0, 1), "little more speaks for b")]
)
def test_an_option_about_as_good_is_argued_in_a_sentence(points: tuple[int, int], said: str) -> None:
    verdicts = {name: Verdict(n, (), None) for name, n in zip("ab", points, strict=True)}
    chosen = choose((option("a"), option("b")), verdicts, "a", default_evidence().reader())
    assert not chosen.clear
    assert chosen.why[0] == "Decided by the surgeon"
    assert chosen.why[1].startswith(f"B is about as good: {said}, and the risks differ")


def test_what_speaks_for_the_choice_is_said_once_and_in_sentences() -> None:
    plan = planned(raw("hard-poor-endothelium"), draws=50)
    said = choice_words(plan)
    assert said.startswith("Manual small incision. For: hard or brown nucleus")
    assert said.count("For: ") == 1
    assert "for: " not in said
    assert "; hard nucleus over a low count" in said

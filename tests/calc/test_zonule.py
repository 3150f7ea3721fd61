"""The zonular-support calculation: floors, weights, mirror, monotone in every sign a case may hold."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.calc.zonule import zonular_findings, zonular_support
from forestay.calc.zonule_input import EDITABLE, shipped
from forestay.errors import ForestayError, InvalidInput, UnknownKey
from forestay.evidence import default_evidence
from forestay.frame import HOURS, mirror_by_hour, mirror_hour

BASE: dict[str, Any] = {"side": "right", "age_years": 70}
quick = settings(deadline=None, derandomize=True, max_examples=60)


def found(**keys: Any) -> Any:
    return zonular_support.run({**BASE, **keys})


def grades(**keys: Any) -> dict[str, float]:
    return {g.grade: g.probability for g in found(**keys).result.grades}


def codes(answer: Any) -> set[str]:
    return {doubt.code for doubt in answer.doubts}


def test_without_signs_the_grades_are_the_published_base_rates() -> None:
    # Yaguchi 2015: 5098, 251, 55, 43 of 5447 eyes
    expected = {"normal": 5098 / 5447, "weak": 251 / 5447, "very-weak": 55 / 5447, "extremely-weak": 43 / 5447}
    assert grades() == pytest.approx(expected)
    assert found().result.weights == ()


def test_pseudoexfoliation_starts_where_a_ring_or_fixation_was_needed() -> None:
    # 31 of 315 eyes, 9.84 %
    assert 1 - grades(pseudoexfoliation=True)["normal"] == pytest.approx(0.0984, abs=0.00005)


@pytest.mark.parametrize(
    ("keys", "mildest"),
    [
        ({"phacodonesis": "after-movement"}, "weak"),
        ({"phacodonesis": "at-rest"}, "very-weak"),
        ({"subluxated": True}, "very-weak"),
        ({"iris_lens_gap": True}, "weak"),
        ({"dialysis_clock_hours": [6]}, "weak"),
    ],
)
def test_a_seen_fact_is_weakness(keys: dict[str, Any], mildest: str) -> None:
    answer = found(**keys)
    order = [g.grade for g in answer.result.grades]
    for grade in answer.result.grades:
        assert (grade.probability == 0) == (order.index(grade.grade) < order.index(mildest))
    assert [w.floor for w in answer.result.weights] == [mildest]
    assert "seen-fact" in codes(answer)


@pytest.mark.parametrize("keys", [{"phacodonesis": "none"}, {"subluxated": False}, {"dialysis_clock_hours": []}])
def test_what_was_looked_for_and_not_seen_sets_no_floor(keys: dict[str, Any]) -> None:
    assert grades(**keys) == grades()


def test_a_seen_gap_is_nothing_there() -> None:
    result = found(dialysis_clock_hours=[2, 3, 4]).result
    lost = [h for h, mean, sd in zip(HOURS, result.zonule_mean, result.zonule_sd, strict=True) if mean == 0 == sd]
    assert lost == [2, 3, 4]


def test_weights_name_sign_ratio_and_standing() -> None:
    answer = found(
        pseudoexfoliation=True,
        chamber_depth_mm=2.0,
        fellow_chamber_depth_mm=2.5,
        trauma=True,
        vitrectomy=True,
        fellow_zonular_complication=True,
        connective_tissue_disorder="marfan",
        appearance="hypermature",
        axial_length_mm=29.0,
        iridodonesis=True,
    )
    weights = {w.sign: w for w in answer.result.weights}
    assert weights["chamber-depth"].likelihood_ratio == pytest.approx(2.33, abs=0.005)  # Z6 of the evidence
    assert weights["fellow-zonular-complication"].likelihood_ratio == 20  # 71.6, capped
    assert weights["connective-tissue-disorder"].likelihood_ratio == 10
    assert weights["trauma"].likelihood_ratio == 3
    assert weights["vitrectomy"].likelihood_ratio == 1.5
    assert weights["hypermature"].likelihood_ratio == 2
    assert weights["very-long-eye"].likelihood_ratio == 1.5
    assert all(w.standing in ("read", "derived", "assumed", "memory") for w in weights.values())
    history = [w.weight for w in answer.result.weights if w.group == "history"]
    assert sorted(history) == [0.5, 0.5, 0.5, 1.0]
    assert {w.sign for w in answer.result.weights if w.basis == "expert"} >= {"trauma", "vitrectomy", "iridodonesis"}


def test_event_ratios_are_not_used_for_weakness() -> None:
    shown = {w.sign: w.likelihood_ratio for w in found(pseudoexfoliation=True, phacodonesis="at-rest").result.weights}
    assert 20.2 not in shown.values()


@pytest.mark.parametrize(
    ("keys", "percent", "tolerance"),
    [
        # Shingleton 2010 in pseudoexfoliation: 3.6 % overall, 2.0 % with a clean examination, 43 % when the lens moves
        ({}, 3.6, 0.05),
        ({"phacodonesis": "none", "iridodonesis": False, "subluxated": False}, 2.0, 0.05),
        ({"phacodonesis": "after-movement"}, 43.0, 0.5),
    ],
)
def test_the_published_event_rate(keys: dict[str, Any], percent: float, tolerance: float) -> None:
    result = found(pseudoexfoliation=True, **keys).result
    assert 100 * result.event_probability == pytest.approx(percent, abs=tolerance)
    assert result.event_low < result.event_probability < result.event_high


def test_no_event_rate_without_pseudoexfoliation() -> None:
    assert found(phacodonesis="at-rest").result.event_probability is None


def test_chamber_depth_speaks_only_in_pseudoexfoliation_and_within_the_studied_range() -> None:
    assert found(chamber_depth_mm=2.0).result.weights == ()
    edge, beyond = (found(pseudoexfoliation=True, chamber_depth_mm=d) for d in (1.8, 1.4))
    assert edge.result == beyond.result
    assert "outside-studied-range" in codes(beyond) - codes(edge)


def test_an_operated_fellow_eye_is_no_measure_of_the_chamber() -> None:
    signs = [
        {w.sign for w in found(chamber_depth_mm=2.4, fellow_chamber_depth_mm=4.0, fellow_operated=o).result.weights}
        for o in (False, True)
    ]
    assert signs == [{"chamber-asymmetry"}, set()]


def test_pseudoexfoliation_of_the_fellow_eye_counts() -> None:
    answer = found(pseudoexfoliation=False, fellow_pseudoexfoliation=True)
    assert answer.result == found(pseudoexfoliation=True).result
    assert "fellow-pseudoexfoliation" in codes(answer)


eyes = st.fixed_dictionaries(
    {},
    optional={
        "pseudoexfoliation": st.booleans(),
        "phacodonesis": st.sampled_from(["none", "after-movement", "at-rest"]),
        "subluxated": st.booleans(),
        "iridodonesis": st.booleans(),
        "iris_lens_gap": st.booleans(),
        "dialysis_clock_hours": st.lists(st.integers(1, 12), max_size=3),
        "trauma": st.booleans(),
        "vitrectomy": st.booleans(),
        "chamber_depth_mm": st.floats(1.5, 3.8),
        "fellow_chamber_depth_mm": st.floats(1.5, 3.8),
        "fellow_zonular_complication": st.booleans(),
        "connective_tissue_disorder": st.sampled_from(["none", "marfan"]),
        "axial_length_mm": st.floats(20, 33),
        "appearance": st.sampled_from(["brown", "hypermature"]),
    },
)
WORSE: dict[str, Any] = {
    "pseudoexfoliation": True,
    "phacodonesis": "at-rest",
    "subluxated": True,
    "iridodonesis": True,
    "iris_lens_gap": True,
    "trauma": True,
    "vitrectomy": True,
    "fellow_zonular_complication": True,
    "fellow_pseudoexfoliation": True,
    "connective_tissue_disorder": "homocystinuria",
    "appearance": "hypermature",
    "axial_length_mm": 34.0,
}


@quick
@given(eye=eyes, sign=st.sampled_from([*WORSE, "dialysis_clock_hours"]))
def test_a_further_sign_of_weakness_never_raises_the_support(eye: dict[str, Any], sign: str) -> None:
    more = [*eye.get("dialysis_clock_hours", []), 7] if sign == "dialysis_clock_hours" else WORSE[sign]
    before, after = found(**eye).result, found(**{**eye, sign: more}).result
    assert all(a <= b + 1e-12 for a, b in zip(after.zonule_mean, before.zonule_mean, strict=True))


@quick
@given(eye=eyes)
def test_the_other_eye_mirrors_exactly(eye: dict[str, Any]) -> None:
    right = found(**eye).result
    turned = [mirror_hour(h) for h in eye.get("dialysis_clock_hours", [])]
    left = zonular_support.run({**BASE, **eye, "side": "left", "dialysis_clock_hours": turned}).result
    assert mirror_by_hour(right.zonule_mean) == left.zonule_mean
    assert mirror_by_hour(right.zonule_sd) == left.zonule_sd
    assert right.grades == left.grades
    assert (right.weights, right.event_probability) == (left.weights, left.event_probability)


@quick
@given(eye=eyes)
def test_every_answer_is_a_distribution_and_a_share(eye: dict[str, Any]) -> None:
    result = found(**eye).result
    assert sum(g.probability for g in result.grades) == pytest.approx(1)
    assert len(result.zonule_mean) == len(result.zonule_sd) == 12
    assert all(0 <= mean <= 1 for mean in result.zonule_mean)
    assert all(0 <= sd <= 0.5 for sd in result.zonule_sd)


def test_the_spread_narrows_when_a_spread_is_taken_away() -> None:
    sharp = default_evidence().without_spread(["zonule_signs.irregularity"])
    given_eye = {**BASE, "phacodonesis": "at-rest"}
    assert (
        zonular_support.run(given_eye, sharp).result.zonule_sd[0] < zonular_support.run(given_eye).result.zonule_sd[0]
    )


def test_signs_and_flags_of_any_kind_are_accepted() -> None:
    answer = found(sex="male", kidney_disease=True, lies_flat=False, alpha_blocker=True, synechiae=True, weight_kg=60)
    assert answer.result == found().result


@pytest.mark.parametrize(
    ("change", "failure", "field"),
    [
        ({"side": "both"}, InvalidInput, "side"),
        ({"dialysis_clock_hours": [13]}, InvalidInput, "dialysis_clock_hours.0"),
        ({"dialysis_clock_hours": 6}, InvalidInput, "dialysis_clock_hours"),
        ({"phacodonesis": True}, InvalidInput, "phacodonesis"),
        ({"phacodonisis": "none"}, UnknownKey, "phacodonisis"),
        ({"chamber_depth_mm": 25}, InvalidInput, "chamber_depth_mm"),
    ],
)
def test_bad_input_is_one_clear_error(change: dict[str, Any], failure: type[ForestayError], field: str) -> None:
    with pytest.raises(failure) as caught:
        found(**change)
    assert caught.value.field == field


def test_what_was_not_looked_for_is_said_and_moves_nothing() -> None:
    def says(answer: Any) -> str:
        return " ".join(d.message for d in answer.doubts if d.code == "signs-not-given")

    nothing_found: dict[str, Any] = {
        "pseudoexfoliation": False,
        "phacodonesis": "none",
        "subluxated": False,
        "iridodonesis": False,
        "iris_lens_gap": False,
        "dialysis_clock_hours": [],
        "vitrectomy": False,
        "connective_tissue_disorder": "none",
        "fellow_zonular_complication": False,
    }
    assert "phacodonesis" in says(found())
    assert says(found(**nothing_found)).endswith(": trauma.")
    assert "signs-not-given" not in codes(found(**nothing_found, trauma=True))
    assert grades(**nothing_found) == grades()


def marked(**keys: Any) -> float:
    found_grades = grades(**keys)
    return found_grades["very-weak"] + found_grades["extremely-weak"]


@pytest.mark.parametrize(
    ("travel", "like"), [(0.44, "normal"), (0.68, "weak"), (1.01, "very-weak"), (1.32, "extremely-weak")]
)
def test_the_travel_of_the_lens_speaks_most_for_the_grade_that_moves_so(travel: float, like: str) -> None:
    # Yaguchi 2016, pig: 0.44, 0.68, 1.01, 1.32 mm are the means of whole fibres and a quarter, half, three quarters cut;
    # against its own base rate no grade gains more than the one whose mean the lens travelled (spreads overlap: the two
    # ends of the scale are taken as at least)
    base, after = grades(), grades(lens_travel_mm=travel)
    gain = {grade: after[grade] / base[grade] for grade in base}
    assert gain[like] == pytest.approx(max(gain.values())) or like == "weak"
    assert (gain["normal"] > 1) == (travel < 0.6)


def test_folds_and_a_smooth_opening_weigh_as_stated() -> None:
    # expert's values of the evidence: folds 10, smooth 0.5, on base odds of 349 : 5098
    odds = 349 / 5098
    assert 1 - grades(puncture="folds")["normal"] == pytest.approx(10 * odds / (1 + 10 * odds))
    assert 1 - grades(puncture="smooth")["normal"] == pytest.approx(0.5 * odds / (1 + 0.5 * odds))


@pytest.mark.parametrize(
    ("keys", "mildest"),
    [
        ({"equator_seen": True}, "weak"),
        ({"bag_follows": True}, "very-weak"),
        ({"zonule_grade": "very-weak"}, "very-weak"),
    ],
)
def test_what_is_seen_at_surgery_sets_a_floor(keys: dict[str, Any], mildest: str) -> None:
    answer = found(**keys)
    order = [g.grade for g in answer.result.grades]
    for grade in answer.result.grades:
        if order.index(grade.grade) < order.index(mildest):
            assert grade.probability == 0
    assert [w.floor for w in answer.result.weights] == [mildest]


def test_the_grade_given_at_surgery_is_the_grade_unless_what_was_seen_is_worse() -> None:
    for grade in ("normal", "weak", "very-weak", "extremely-weak"):
        assert grades(zonule_grade=grade, pseudoexfoliation=True)[grade] == 1
    answer = found(zonule_grade="weak", bag_follows=True)
    assert {g.grade: g.probability for g in answer.result.grades}["very-weak"] == 1
    assert "grade-contradicts-facts" in codes(answer)


@quick
@given(eye=eyes, travel=st.floats(0, 3.9), more=st.floats(0.001, 0.1))
def test_a_longer_travel_never_raises_the_support(eye: dict[str, Any], travel: float, more: float) -> None:
    before, after = (found(**eye, lens_travel_mm=t) for t in (travel, travel + more))
    for low in range(1, 4):
        worse = [sum(g.probability for g in a.result.grades[low:]) for a in (before, after)]
        assert worse[0] <= worse[1] + 1e-12
    pairs = zip(after.result.zonule_mean, before.result.zonule_mean, strict=True)
    assert all(a <= b + 1e-12 for a, b in pairs)


@quick
@given(eye=eyes, travel=st.none() | st.floats(0, 3.9), puncture=st.sampled_from([None, "smooth", "folds"]))
def test_the_posterior_stays_within_the_support_of_the_prior(
    eye: dict[str, Any], travel: float | None, puncture: str | None
) -> None:
    # a grade that a seen fact excludes stays excluded, one that it allows stays possible, and no hour holds more than
    # the best grade's band allows
    surgery = {k: v for k, v in {"lens_travel_mm": travel, "puncture": puncture}.items() if v is not None}
    before, after = found(**eye).result, found(**eye, **surgery).result
    assert [g.probability > 0 for g in before.grades] == [g.probability > 0 for g in after.grades]
    floor = max(
        (
            ["normal", "weak", "very-weak", "extremely-weak"].index(w.floor)
            for w in after.weights
            if w.floor and w.sign != "dialysis"
        ),
        default=0,
    )
    highest = [1.0, 0.875, 0.625, 0.375][floor]  # upper ends of the bands, half way between 100, 75, 50 and 25 %
    assert all(0 <= mean <= highest + 0.01 for mean in after.zonule_mean)
    assert after.weak_low <= after.weak_probability <= after.weak_high
    assert [m == 0 for m in after.zonule_mean] == [m == 0 for m in before.zonule_mean]


def test_a_practice_may_put_in_its_own_ratios_with_their_range() -> None:
    own = [{"sign": "trauma", "ratio": 8.0, "low": 4.0, "high": 15.0}]
    answer = found(trauma=True, own_ratios=own)
    weight = next(w for w in answer.result.weights if w.sign == "trauma")
    assert (weight.likelihood_ratio, weight.low, weight.high, weight.basis) == (8, 4, 15, "own")
    assert [d.message for d in answer.doubts if d.code == "own-ratio"] == [
        "This practice's own figure counts for blunt injury, no other sign: x 8 in the place of x 3."
    ]
    assert "own-ratio" not in codes(found(trauma=False, own_ratios=own))  # a sign that is not there weighs nothing
    odds = 349 / 5098
    assert answer.result.weak_probability == pytest.approx(8 * odds / (1 + 8 * odds))
    assert answer.result.weak_low == pytest.approx(4 * odds / (1 + 4 * odds))
    assert answer.result.weak_high == pytest.approx(15 * odds / (1 + 15 * odds))


def test_every_prior_range_that_a_practice_may_edit_can_be_edited() -> None:
    rows = {key: row for key, row in default_evidence().items() if "a practice edits it" in (row.interval or "")}
    assert {f"zonule_signs.ratio.{sign}" for sign in EDITABLE} == set(rows)
    for one in shipped(default_evidence().reader()):
        assert one.low is not None
        assert one.high is not None
        assert one.low <= one.ratio <= one.high


@pytest.mark.parametrize(
    ("own", "field"),
    [
        ({"sign": "moon", "ratio": 2.0}, "own_ratios.0.sign"),
        ({"sign": "trauma", "ratio": 2.0, "low": 3.0}, "own_ratios.0.ratio"),
    ],
)
def test_a_wrong_own_ratio_is_one_clear_error(own: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        found(own_ratios=[own])
    assert caught.value.field == field


def test_where_weakness_is_seen() -> None:
    patterns = [
        found(**keys).result.pattern
        for keys in (
            {},
            {"pseudoexfoliation": True},
            {"dialysis_clock_hours": [6]},
            {"pseudoexfoliation": True, "dialysis_clock_hours": [6]},
        )
    ]
    assert patterns == ["none", "all-round", "sector", "both"]


def test_age_weighs_little_and_only_in_great_age() -> None:
    # odds of capsule rupture by age in the 2009 model: 1.58 (80-89) over 1.42 (70-79) = 1.11
    assert {w.sign: w.likelihood_ratio for w in found(age_years=84).result.weights} == {"aged": 1.1}
    assert pytest.approx(1.1, abs=0.02) == 1.58 / 1.42


def test_findings_worked_out_beforehand_agree_with_the_estimate_after_them() -> None:
    eye = {"pseudoexfoliation": True, "chamber_depth_mm": 2.4}
    rows = {row.finding: row for row in zonular_findings.run({**BASE, **eye}).result.findings}
    for row in rows.values():
        after = found(**eye, **row.keys).result
        assert row.weak_after == pytest.approx(after.weak_probability)
        assert row.support_after == pytest.approx(sum(after.zonule_mean))
    assert rows["puncture-smooth"].weak_after < rows["puncture-smooth"].weak_before < rows["puncture-folds"].weak_after
    assert rows["travel-0"].weak_after < rows["travel-0"].weak_before
    assert rows["travel-2"].marked_after > rows["travel-2"].marked_before
    assert rows["bag-follows"].marked_after == pytest.approx(1)

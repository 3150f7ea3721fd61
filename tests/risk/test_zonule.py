"""Zonular support: published base rates, floors, gaps, monotone in every sign, mirrored exactly."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from forestay.evidence import default_evidence
from forestay.frame import HOURS, mirror_by_hour, mirror_hour
from forestay.risk import zonule as engine
from forestay.risk.bayes import Sign

quick = settings(deadline=None, derandomize=True, max_examples=80)
USE = default_evidence().reader()
CONSTANTS = USE.constants(engine.ZonuleConstants)
ROWS = [USE.row(f"zonule_signs.share.{grade}") for grade in engine.GRADES]
BANDS = engine.Bands(tuple(row.low or 0.0 for row in ROWS), tuple(row.high or 0.0 for row in ROWS))

hours = st.lists(st.floats(0.01, 12).map(lambda h: round(h, 2)), max_size=5)
ratios = st.lists(st.floats(0.1, 30), max_size=4)
floors = st.sampled_from(engine.GRADES)


def find(
    *,
    ratios: list[float] | None = None,
    floor: engine.Grade = "normal",
    elsewhere: engine.Grade | None = None,
    gaps: list[float] | None = None,
    pseudoexfoliation: bool = False,
    irregularity: float | None = None,
    ceiling: engine.Grade = "extremely-weak",
    within: tuple[float, ...] | None = None,
) -> engine.ZonularEstimate:
    signs = [Sign(f"s{i}", f"g{i % 2}", ratio) for i, ratio in enumerate(ratios or [])]
    return engine.estimate(
        signs=signs,
        seen=engine.SeenFacts(
            floor=floor,
            floor_elsewhere=floor if elsewhere is None else elsewhere,
            gap_hours=tuple(gaps or ()),
            pseudoexfoliation=pseudoexfoliation,
            ceiling=ceiling,
            within=within,
        ),
        bands=BANDS,
        irregularity=USE.sd("zonule_signs.irregularity") if irregularity is None else irregularity,
        constants=CONSTANTS,
    )


def test_an_eye_without_signs_has_the_published_grades() -> None:
    # Yaguchi 2015: 93.6, 4.6, 1.0, 0.8 % of 5447 eyes
    assert find().probabilities == pytest.approx((0.936, 0.046, 0.010, 0.008), abs=0.0005)


def test_a_floor_takes_all_probability_from_the_milder_grades() -> None:
    found = find(floor="very-weak").probabilities
    assert found[:2] == (0.0, 0.0)
    assert found[2] == pytest.approx(55 / 98)  # counts of Yaguchi 2015: 55 very weak, 43 extremely weak
    assert sum(found) == pytest.approx(1)


def test_signs_alone_stay_between_the_limits() -> None:
    assert 1 - find(ratios=[20.0] * 4).probabilities[0] == pytest.approx(0.95)
    assert 1 - find(ratios=[0.05] * 4).probabilities[0] == pytest.approx(0.005)


def test_a_seen_gap_is_nothing_with_certainty_at_its_hours() -> None:
    found = find(gaps=[6, 7], floor="weak")
    for hour, mean, sd in zip(HOURS, found.mean, found.sd, strict=True):
        assert (mean == 0) == (hour in (6, 7))
        assert (sd == 0) == (hour in (6, 7))


def test_a_gap_alone_does_not_weaken_the_other_hours() -> None:
    # a seen gap is a fact about its own hours; the grade of the eye is weak, the sound hours are as sound as before
    whole, gap = find(), find(gaps=[6], floor="weak", elsewhere="normal")
    assert gap.probabilities[0] == 0
    assert all(g == w for g, w, hour in zip(gap.mean, whole.mean, HOURS, strict=True) if hour != 6)


def test_a_gap_between_hours_takes_half_of_each() -> None:
    held = dict(zip(HOURS, engine.held_by_hour([11.5]), strict=True))
    assert held[11] == pytest.approx(0.5)
    assert held[12] == pytest.approx(0.5)
    assert sum(held.values()) == pytest.approx(11)


@quick
@given(gaps=hours)
def test_the_held_part_agrees_with_counting_fine_steps(gaps: list[float]) -> None:
    fine = (np.arange(12_000) + 0.5) / 1000
    covered = np.zeros(fine.size, dtype=bool)
    for gap in gaps:
        away = np.abs(fine - gap) % 12
        covered |= np.minimum(away, 12 - away) < 0.5
    for hour, held in zip(HOURS, engine.held_by_hour(gaps), strict=True):
        away = np.abs(fine - hour) % 12
        cell = np.minimum(away, 12 - away) < 0.5
        assert held == pytest.approx(1 - covered[cell].mean(), abs=0.003)


@quick
@given(gaps=hours, floor=floors, ratios=ratios)
def test_the_other_eye_gives_the_mirrored_numbers_exactly(
    gaps: list[float], floor: engine.Grade, ratios: list[float]
) -> None:
    right = find(gaps=gaps, floor=floor, ratios=ratios)
    left = find(gaps=[mirror_hour(gap) for gap in gaps], floor=floor, ratios=ratios)
    assert mirror_by_hour(right.mean) == left.mean
    assert mirror_by_hour(right.sd) == left.sd


@quick
@given(
    gaps=hours,
    floor=floors,
    ratios=ratios,
    pseudoexfoliation=st.booleans(),
    more=st.one_of(
        st.tuples(st.just("gap"), st.floats(0.01, 12)),
        st.tuples(st.just("ratio"), st.floats(1, 30)),
        st.tuples(st.just("floor"), floors),
        st.tuples(st.just("pseudoexfoliation"), st.none()),
    ),
)
def test_a_further_sign_of_weakness_never_raises_the_support(
    gaps: list[float], floor: engine.Grade, ratios: list[float], pseudoexfoliation: bool, more: tuple[str, object]
) -> None:
    before = find(gaps=gaps, floor=floor, ratios=ratios, pseudoexfoliation=pseudoexfoliation)
    kind, value = more
    worse = engine.GRADES[max(engine.GRADES.index(floor), engine.GRADES.index(value))] if kind == "floor" else floor
    after = find(
        gaps=[*gaps, value] if kind == "gap" else gaps,  # type: ignore[list-item]
        floor=worse,
        ratios=[*ratios, value] if kind == "ratio" else ratios,  # type: ignore[list-item]
        pseudoexfoliation=pseudoexfoliation or kind == "pseudoexfoliation",
    )
    assert all(a <= b + 1e-12 for a, b in zip(after.mean, before.mean, strict=True))


def draws(n: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(11)
    return rng.standard_normal(n), rng.standard_normal((12, n))


@pytest.mark.parametrize("floor", engine.GRADES)
def test_draws_have_the_stated_mean_and_spread(floor: engine.Grade) -> None:
    found = find(floor=floor, gaps=[3.0, 8.5], pseudoexfoliation=True)
    level_z, hour_z = draws(20_000)
    support = engine.support_draws(found, level_z=level_z, hour_z=hour_z)
    assert support.shape == (12, 20_000)
    assert support.min() >= 0
    assert support.max() <= 1
    assert np.all(support[HOURS.index(3)] == 0)
    np.testing.assert_allclose(support.mean(axis=1), found.mean, atol=0.006)
    np.testing.assert_allclose(support.std(axis=1), found.sd, atol=0.012)


def test_draws_fall_into_the_grades_with_their_probabilities() -> None:
    # without unevenness a draw lies in the band of its grade: shares of Yaguchi 2015 come back
    found = find(irregularity=0.0)
    level_z = norm.ppf((np.arange(20_000) + 0.5) / 20_000)
    support = engine.support_draws(found, level_z=level_z, hour_z=np.zeros((12, level_z.size)))[0]
    for grade, low, high, p in zip(engine.GRADES, BANDS.low, BANDS.high, found.probabilities, strict=True):
        inside = (support >= low) & (support <= high if grade == "normal" else support < high)
        assert inside.mean() == pytest.approx(p, abs=0.001), grade


@quick
@given(floor=floors, ratios=ratios, pseudoexfoliation=st.booleans(), gaps=hours)
def test_a_better_draw_never_holds_less(
    floor: engine.Grade, ratios: list[float], pseudoexfoliation: bool, gaps: list[float]
) -> None:
    found = find(floor=floor, ratios=ratios, pseudoexfoliation=pseudoexfoliation, gaps=gaps)
    level_z = np.linspace(-4, 4, 101)
    hour_z = np.broadcast_to(np.linspace(-3, 3, 12)[:, np.newaxis], (12, 101))
    support = engine.support_draws(found, level_z=level_z, hour_z=hour_z)
    assert np.all(np.diff(support, axis=1) >= -1e-12)

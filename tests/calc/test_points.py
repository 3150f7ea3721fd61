"""Published point tables: the worked eye of the evidence, groups, and agreement with the odds-ratio model."""

from __future__ import annotations

import pytest

from forestay.calc.points import difficulty_points
from forestay.calc.risk import complication_risk
from forestay.errors import UnknownKey

EYE = {"dense": True, "pseudoexfoliation": True, "very_small_pupil": True, "poor_pupil": True, "shallow_chamber": True}


def test_the_worked_eye_in_three_tables() -> None:
    # M1 to M3 of the evidence: brown, pseudoexfoliation, pupil 2.8, chamber 2.3: 8 points, group 4 (32.0 %, 8.0 %,
    # 25 eyes); 8 points, consultant; 6 points
    result = difficulty_points(**EYE).result
    assert (result.points_2004, result.group_2004, result.eyes) == (8, 4, 25)
    assert (result.any_complication, result.capsule_rupture) == (0.32, 0.08)
    assert (result.points_2020, result.consultant) == (8, True)
    assert result.points_2006 == 6


@pytest.mark.parametrize(
    ("signs", "group"),
    [({}, 1), ({"very_old": True}, 2), ({"dense": True}, 3), ({"dense": True, "phacodonesis": True}, 4)],
)
def test_the_groups(signs: dict[str, bool], group: int) -> None:
    # 0, 1 to 2, 3 to 5, 6 and more points
    assert difficulty_points(**signs).result.group_2004 == group


def test_the_group_and_the_odds_ratios_agree_within_a_factor_of_two() -> None:
    # consistency guard of the evidence: group 8 % against 15 % (2009) or 8 % (now) for a man of 70 to 79
    by_group = difficulty_points(**EYE).result.capsule_rupture
    eye = {"age_years": 75, "sex": "male", "pseudoexfoliation": True, "brown_or_white": True, "pupil": "small"}
    for model in ("uk-2009", "uk-2009-updated"):
        assert 0.5 < complication_risk(model=model, **eye).result.probability / by_group < 2


def test_an_unknown_sign_is_one_clear_error() -> None:
    with pytest.raises(UnknownKey):
        difficulty_points(moon=True)

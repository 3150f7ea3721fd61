"""Times of operations, the order of a list, its kit and clashes."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from forestay.calc.day import theatre_day
from forestay.calc.day_records import clock_of, minutes_of
from forestay.calc.duration import Minutes, operating_time
from forestay.errors import InvalidInput


def case(name: str, difficulty: float, minutes: float = 20, **more: Any) -> dict[str, Any]:
    return {"name": name, "mean_minutes": minutes, "sd_minutes": minutes / 4, "difficulty": difficulty, **more}


def day(*cases: dict[str, Any], **more: Any) -> Any:
    return theatre_day.run({"cases": list(cases), **more}).result


def names(made: Any) -> list[str]:
    return [row.name for row in made.rows]


def test_times_read_in_the_trial() -> None:
    # white cataract, randomised: manual small incision 8.8 (3.4), phacoemulsification 12.2 (4.6) minutes
    manual = operating_time(technique="manual-small-incision").result
    phaco = operating_time(technique="phacoemulsification").result
    assert (manual.mean_minutes, manual.sd_minutes) == (8.8, 3.4)
    assert (phaco.mean_minutes, phaco.sd_minutes) == (12.2, 4.6)


def test_quantiles_are_those_of_a_log_normal_of_that_mean_and_spread() -> None:
    # numpy's own log-normal with the same first two moments
    mean, sd = 30.0, 12.0
    s2 = math.log1p((sd / mean) ** 2)
    drawn = np.random.default_rng(1).lognormal(math.log(mean) - s2 / 2, math.sqrt(s2), 400_000)
    time = Minutes(mean, sd)
    for z, share in ((-1.2815515655, 0.1), (0.0, 0.5), (1.2815515655, 0.9)):
        assert time.quantile(z) == pytest.approx(np.quantile(drawn, share), rel=0.01)
    assert time.chance_over(45) == pytest.approx(np.mean(drawn > 45), abs=0.003)


def test_trouble_by_chance_has_the_moments_of_a_coin_times_a_time() -> None:
    # E = p m, Var = p (s^2 + m^2) - (p m)^2
    drawn = np.random.default_rng(2).normal(25, 12, 400_000) * (np.random.default_rng(3).random(400_000) < 0.2)
    found = Minutes(25, 12).maybe(0.2)
    assert found.mean == pytest.approx(drawn.mean(), rel=0.01)
    assert found.sd == pytest.approx(drawn.std(), rel=0.01)


@pytest.mark.parametrize("more", ["iris_hooks", "capsule_hooks", "ring", "dye", "weak_zonule", "general"])
def test_each_difficulty_takes_longer(more: str) -> None:
    plain = operating_time(technique="manual-small-incision", surgeon_grade="consultant").result
    longer = operating_time(technique="manual-small-incision", surgeon_grade="consultant", **{more: True}).result
    assert longer.median_minutes > plain.median_minutes
    assert longer.sd_minutes > plain.sd_minutes


def test_a_hard_nucleus_takes_longer_and_a_usual_one_does_not() -> None:
    # 2 minutes for each grade over 3 (rows time.hard_grade, time.usual_grade), half as much again in a consultant's hands
    def mean(**more: float) -> float:
        given = {"technique": "manual-small-incision", "surgeon_grade": "consultant", **more}
        return operating_time(**given).result.mean_minutes

    assert mean(grade=3) == mean()
    assert mean(grade=5) == pytest.approx(mean() + 2 * 2 * 1.5)


def test_a_time_that_nobody_measured_says_so() -> None:
    answer = operating_time(technique="intracapsular", surgeon_grade="consultant")
    assert "assumed" in {d.code for d in answer.doubts}


def test_hardest_first_then_by_length() -> None:
    assert names(day(case("a", 0.01), case("b", 0.2), case("c", 0.05), case("d", 0.05, 40))) == ["b", "d", "c", "a"]


def test_latex_first_infection_last() -> None:
    made = day(case("hard", 0.3), case("latex", 0.01, latex_allergy=True), case("pus", 0.5, infected=True))
    assert names(made) == ["latex", "hard", "pus"]
    assert "latex" in made.rows[0].why
    assert "infection" in made.rows[-1].why


def test_times_follow_one_another_with_the_change_between() -> None:
    made = day(case("a", 0.2, 30), case("b", 0.1, 20), start="08:00")
    first = made.rows[0].median_minutes
    assert made.rows[0].start == "08:00"
    # ten minutes between two patients (house choice)
    assert minutes_of(made.rows[1].start) == pytest.approx(480 + first + 10, abs=1)


def test_two_eyes_need_the_only_ring() -> None:
    ring = [{"thing": "tension-ring", "size_mm": 11}]
    made = day(
        case("a", 0.2, needs=ring),
        case("b", 0.1, needs=ring),
        shelf=[{"thing": "tension-ring", "size_mm": 11, "count": 1}],
    )
    clash = next(c for c in made.clashes if c.code == "kit")
    assert clash.cases == ("b",)
    assert "tension ring 11 mm: 1 there, 2 needed; too few for b" in clash.says
    assert not day(
        case("a", 0.2, needs=ring),
        case("b", 0.1, needs=ring),
        shelf=[{"thing": "tension-ring", "size_mm": 11, "count": 2}],
    ).clashes


def test_a_ring_of_another_size_does_not_do() -> None:
    made = day(
        case("a", 0.2, needs=[{"thing": "tension-ring", "size_mm": 12}]),
        shelf=[{"thing": "tension-ring", "size_mm": 11, "count": 5}],
    )
    assert "No tension ring 12 mm" in made.clashes[0].says


def test_what_lies_ready_serves_the_whole_list() -> None:
    ready = [{"thing": "vitrector", "standby": True}]
    made = day(case("a", 0.2, needs=ready), case("b", 0.1, needs=ready), shelf=[{"thing": "vitrector", "count": 1}])
    assert not made.clashes
    assert made.kit[0].needed == 1


def test_a_tray_that_is_being_cleaned_lets_an_easier_eye_pass() -> None:
    tray = [{"thing": "tray"}]
    shelf = [{"thing": "tray", "count": 1, "reusable": True, "ready_again_minutes": 30}]
    made = day(case("hard", 0.3, needs=tray), case("middle", 0.2, needs=tray), case("easy", 0.1), shelf=shelf)
    assert names(made) == ["hard", "easy", "middle"]
    assert "middle" in made.rows[1].why
    # 19.4 min of the hard one, 30 of cleaning; the easy one fills 10 + 19.4 + 10 of them
    alone = day(case("hard", 0.3, needs=tray), case("middle", 0.2, needs=tray), shelf=shelf)
    assert alone.rows[1].waits_minutes == pytest.approx(20, abs=0.1)
    assert any(c.code == "wait" for c in alone.clashes)


def test_the_anaesthetist_who_comes_late_or_leaves_early() -> None:
    sleep = case("sleep", 0.3, 40, anaesthetic="general")
    late = day(sleep, case("b", 0.1), start="08:00", anaesthetist={"since": "08:20", "until": "12:00"})
    assert names(late) == ["b", "sleep"]
    early = day(sleep, case("b", 0.1), start="08:00", anaesthetist={"since": "08:00", "until": "08:20"})
    assert [c.code for c in early.clashes] == ["anaesthetist"]


def test_a_list_that_is_too_long_says_so() -> None:
    made = day(*(case(str(i), 0.1, 30) for i in range(8)), start="08:30", end="11:00")
    assert made.overrun_probability is not None
    assert made.overrun_probability > 0.99
    assert any(c.code == "overrun" for c in made.clashes)


def test_without_a_shelf_nothing_is_missed_and_that_is_said() -> None:
    answer = theatre_day.run({"cases": [case("a", 0.1, needs=[{"thing": "tension-ring"}])]})
    assert answer.result.kit[0].there is None
    assert "shelf-unknown" in {d.code for d in answer.doubts}


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"start": "25:00"}, "start"),
        ({"cases": []}, "cases"),
        ({"cases": [case("a", 0.1), case("a", 0.1)]}, "Two cases are called a"),
        ({"cases": [case("a", 1.2)]}, "difficulty"),
    ],
)
def test_bad_input_is_one_clear_error(more: dict[str, Any], words: str) -> None:
    with pytest.raises(InvalidInput, match=words):
        theatre_day.run({"cases": [case("a", 0.1)], **more})


def test_clocks() -> None:
    assert clock_of(minutes_of("23:50") + 20) == "00:10"

"""Signals that stop a list, against their definitions and a general library, with their false-alarm rate simulated."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy.stats import binom, hypergeom, poisson_binom

from forestay.evidence import default_evidence
from forestay.review import signals
from forestay.review.invented import Truth, outcomes
from forestay.review.outcome import Outcome
from forestay.statistics import tails


@pytest.fixture(scope="module")
def calm() -> list[Outcome]:
    made = outcomes(240, seed=31, truth=Truth(infection=0.0, odds_ratio=0.2, last_odds_ratio=0.2))
    return [replace(o, events=(), lots=(f"L{i % 6}",), trays=(f"T{i % 12}",)) for i, o in enumerate(made)]


def with_infection(cases: list[Outcome], *places: int) -> list[Outcome]:
    return [replace(o, events=("endophthalmitis",)) if i in places else o for i, o in enumerate(cases)]


def test_a_calm_practice_has_no_signal(calm: list[Outcome]) -> None:
    assert signals.signals(calm, default_evidence().reader()) == ()


def test_two_infections_within_the_window_stop_the_list_and_outside_it_do_not(calm: list[Outcome]) -> None:
    use = default_evidence().reader()
    (found,) = signals.clusters(with_infection(calm, 0, 100), use)  # 100 cases are 12 days
    assert found.cases == (calm[0].case_id, calm[100].case_id)
    assert found.do.startswith("Stop the list")
    far = with_infection(
        [replace(o, operated_on=o.operated_on + timedelta(days=i)) for i, o in enumerate(calm)], 0, 100
    )
    assert signals.clusters(far, use) == ()


def test_the_stated_false_alarm_of_a_cluster_is_the_binomial_tail(calm: list[Outcome]) -> None:
    (found,) = signals.clusters(with_infection(calm, 0, 1), default_evidence().reader())
    assert f"{binom.sf(1, 240, 0.0004):.3%}" in found.false_alarm


def test_a_lot_in_common_is_named_with_its_chance(calm: list[Outcome]) -> None:
    sick = with_infection(calm, 1, 7, 13)  # all of lot L1, trays T1, T7, T1
    found = signals.in_common(sick, default_evidence().reader())
    assert [signal.rule for signal in found] == ["lot-in-common", "tray-in-common"]
    assert found[0].cases == (calm[1].case_id, calm[7].case_id, calm[13].case_id)
    assert f"{hypergeom.sf(2, 240, 3, 40):.2%}" in found[0].false_alarm


@pytest.mark.parametrize("events", [0, 1, 2, 5])
def test_the_tail_of_unequal_chances_is_that_of_a_general_library(events: int) -> None:
    p = [0.01, 0.02, 0.3, 0.05, 0.6, 0.12]
    assert tails.unequal(events, p) == pytest.approx(poisson_binom(p).sf(events - 1))


def test_a_run_of_ruptures_is_called(calm: list[Outcome]) -> None:
    mine = [o for o in calm if o.surgeon == "surgeon-1"]
    hit = [
        replace(o, events=("posterior-capsule-tear",)) if i in (10, 12, 13, 15, 17) else o for i, o in enumerate(mine)
    ]
    hit = [replace(o, risks={"capsule-rupture": 0.03}) for o in hit]
    (found,) = signals.runs(hit, default_evidence().reader())
    assert found.rule == "run"
    assert len(found.cases) == 5


def test_a_run_is_rarely_called_where_nothing_is_wrong() -> None:
    # The rule speaks below 0.1 % for one window. A chart of 60 cases has at most 41 windows, which overlap: the chance
    # for a whole chart lies below the sum of them.
    generator = np.random.default_rng(101)
    use = default_evidence().reader()
    base = outcomes(60, seed=3, truth=Truth(surgeons=1))
    called = 0
    for _ in range(300):
        y = generator.random(60) < 0.03
        cases = [
            replace(o, events=("posterior-capsule-tear",) if hit else (), risks={"capsule-rupture": 0.03})
            for o, hit in zip(base, y, strict=True)
        ]
        called += bool(signals.runs(cases, use))
    assert called / 300 < 41 * 0.001

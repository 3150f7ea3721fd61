"""Risk-adjusted sums: the arithmetic by hand, an independent loop, and run lengths against simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from forestay.statistics import cusum

EXPECTED = [0.02, 0.02, 0.05, 0.10, 0.02, 0.01, 0.05, 0.20, 0.02, 0.02]
OBSERVED = [0, 0, 1, 0, 0, 1, 0, 1, 0, 0]


@pytest.mark.parametrize(
    ("points", "event", "none"),
    [(0, 0.668843, -0.024305), (7, 0.652536, -0.040611), (20, 0.593058, -0.100089), (50, 0.259809, -0.433338),
     (71, 0.074422, -0.618725)],
)  # fmt: skip
def test_scores_of_the_published_cardiac_model(points: float, event: float, none: float) -> None:
    # Steiner and others 2000: logit p = -3.68 + 0.077 x points (coefficients from memory); odds ratio 2.
    p = 1 / (1 + math.exp(3.68 - 0.077 * points))
    found = cusum.score(expected=p, observed=[1, 0], odds_ratio=2)
    assert found.tolist() == pytest.approx([event, none], abs=1e-6)


def test_scores_of_the_same_model_for_improvement() -> None:
    p = 1 / (1 + math.exp(3.68))
    assert p == pytest.approx(0.024602, abs=1e-6)
    found = cusum.score(expected=p, observed=[1, 0], odds_ratio=0.5)
    assert found.tolist() == pytest.approx([-0.680770, 0.012378], abs=1e-6)


@pytest.mark.parametrize(("p", "limit", "chain"), [(0.01, 3.5, 12335), (0.50, 6.0, 8768)])
def test_run_lengths_of_another_markov_chain(p: float, limit: float, chain: float) -> None:
    # Worked out apart with a coarser grid of states, and simulated: 11 800 (SE 250) and 9090 (SE 200); told to 10 %.
    found = cusum.run_length(expected=p, odds_ratio=2, limit=limit, true_odds_ratio=1)
    assert found == pytest.approx(chain, rel=0.10)


@pytest.mark.parametrize(
    ("ratio", "path"),
    [
        (2, [0, 0, 0.644357, 0.549047, 0.529244, 1.212441, 1.163651, 1.674477, 1.654674, 1.634871]),
        (0.5, [0.010050, 0.020101, 0, 0.051293, 0.061344, 0, 0.025318, 0, 0.010050, 0.020101]),
    ],
)
def test_a_path_worked_by_hand(ratio: float, path: list[float]) -> None:
    found = cusum.risk_adjusted(expected=EXPECTED, observed=OBSERVED, odds_ratio=ratio, limit=10)
    assert found.path.tolist() == pytest.approx(path, abs=1e-6)
    assert found.signals.size == 0


def test_the_balance_worked_by_hand() -> None:
    found = cusum.balance(expected=EXPECTED, observed=OBSERVED)
    assert found.tolist() == pytest.approx([0.02, 0.04, -0.91, -0.81, -0.79, -1.78, -1.73, -2.53, -2.51, -2.49])


@given(
    steps=st.lists(st.tuples(st.floats(0.001, 0.6), st.booleans()), min_size=1, max_size=80),
    ratio=st.sampled_from([0.5, 1.5, 2.0, 3.0]),
)
def test_the_path_is_that_of_the_plain_recursion(steps: list[tuple[float, bool]], ratio: float) -> None:
    p, y = [s[0] for s in steps], [int(s[1]) for s in steps]
    total, plain, crossed = 0.0, [], []
    for number, (risk, event) in enumerate(zip(p, y, strict=True)):
        before = total
        total = max(0.0, total + event * math.log(ratio) - math.log(1 - risk + ratio * risk))
        plain.append(total)
        if total >= 1 > before:
            crossed.append(number)
    found = cusum.risk_adjusted(expected=p, observed=y, odds_ratio=ratio, limit=1)
    assert found.path.tolist() == pytest.approx(plain, abs=1e-12)
    assert found.signals.tolist() == crossed


def test_a_second_rise_to_the_limit_is_a_second_signal_and_staying_above_is_none() -> None:
    y = [1, 1, 1, *[0] * 150, 1, 1, 1]
    found = cusum.risk_adjusted(expected=[0.02] * len(y), observed=y, odds_ratio=2, limit=1.5)
    assert found.signals.tolist() == [2, len(y) - 1]


@pytest.mark.parametrize(("p", "limit", "published"), [(0.01, 3.5, 14290), (0.50, 6.0, 8900)])
def test_run_lengths_of_published_settings(p: float, limit: float, published: float) -> None:
    # Neuburger J and others. BMJ Qual Saf 2017;26:919 gives 14 290 and 8900 by simulation. For the rare event the sum
    # moves in a few large steps, so that the limit's last digit matters; an own simulation of 12 000 runs gave 11 800
    # with a standard error of 250.
    found = cusum.run_length(expected=p, odds_ratio=2, limit=limit, true_odds_ratio=1)
    assert found == pytest.approx(published, rel=0.15)


@pytest.mark.parametrize("true", [1.0, 2.0])
def test_the_run_length_is_that_of_a_simulation(true: float) -> None:
    generator = np.random.default_rng(20_000_411)
    risks = np.array([0.01, 0.03, 0.08])
    worked_out = cusum.run_length(expected=risks, odds_ratio=2, limit=2.0, true_odds_ratio=true)
    runs, longest = 1500, 8000
    p = generator.choice(risks, (runs, longest))
    y = generator.random((runs, longest)) < true * p / (1 - p + true * p)
    above = cusum.reflected(cusum.score(expected=p, observed=y, odds_ratio=2)) >= 2.0
    assert above.any(axis=1).all()
    lengths = above.argmax(axis=1) + 1
    assert worked_out == pytest.approx(lengths.mean(), abs=4 * lengths.std() / math.sqrt(runs))


def test_a_higher_limit_waits_longer_and_a_worse_practice_signals_sooner() -> None:
    lengths = [cusum.run_length(expected=0.0195, odds_ratio=2, limit=h, true_odds_ratio=1) for h in (2.5, 3.5, 4.5)]
    assert lengths == sorted(lengths)
    assert lengths == pytest.approx([2021, 6397, 18764], rel=0.01)  # a Markov chain of our own, written apart
    assert cusum.run_length(expected=0.0195, odds_ratio=2, limit=3.5, true_odds_ratio=2) == pytest.approx(385, rel=0.01)

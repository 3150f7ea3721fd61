"""Funnel limits against the definition by an independent sum, a table, and their nominal false-alarm rate."""

from __future__ import annotations

import math

import numpy as np
import pytest

from forestay.statistics import funnel


def tail_limit(n: int, target: float, q: float) -> float:
    """The interpolated limit (Spiegelhalter 2005) by plain sums of binomial terms."""
    total, r = 0.0, -1
    while total < q:
        r += 1
        term = math.comb(n, r) * target**r * (1 - target) ** (n - r)
        total += term
    return max(0.0, (r - (total - q) / term) / n)


@pytest.mark.parametrize(("n", "target"), [(100, 0.0195), (500, 0.0195), (1000, 0.0069), (200, 0.05), (500, 0.074)])
@pytest.mark.parametrize("level", [0.95, 0.998])
def test_limits_are_those_of_the_definition(n: int, target: float, level: float) -> None:
    found = funnel.limits(n=n, target=target, level=level)
    assert float(found.low) == pytest.approx(tail_limit(n, target, (1 - level) / 2), abs=1e-10)
    assert float(found.high) == pytest.approx(tail_limit(n, target, (1 + level) / 2), abs=1e-10)


@pytest.mark.parametrize(
    ("n", "target", "limits"),
    [
        (100, 0.0195, (0, 0, 4.658, 6.925)),
        (500, 0.0195, (0.232, 0.724, 3.155, 4.012)),
        (1000, 0.0195, (0.700, 1.090, 2.799, 3.383)),
        (500, 0.0069, (0, 0, 1.397, 1.986)),
        (1000, 0.0069, (0, 0.172, 1.196, 1.582)),
        (200, 0.05, (0.654, 1.958, 7.971, 10.118)),
        (500, 0.074, (3.932, 5.083, 9.678, 11.154)),
    ],
)
def test_limits_worked_apart(n: int, target: float, limits: tuple[float, ...]) -> None:
    wide, narrow = funnel.limits(n=n, target=target, level=0.998), funnel.limits(n=n, target=target, level=0.95)
    found = [100 * float(v) for v in (wide.low, narrow.low, narrow.high, wide.high)]
    assert found == pytest.approx(limits, abs=6e-4)


def test_false_alarms_come_as_often_as_promised() -> None:
    generator = np.random.default_rng(1185)
    n, target, trials = 900, 0.05, 40_000
    rates = generator.binomial(n, target, trials) / n
    ends = funnel.limits(n=n, target=target, level=0.95)
    # Counts are whole: the share outside interpolated limits is nominal only to within one binomial term at each end.
    outside = np.mean((rates < ends.low) | (rates > ends.high))
    step = 2 * max(math.comb(n, r) * target**r * (1 - target) ** (n - r) for r in (32, 33, 58, 59))
    assert abs(outside - 0.05) < step


def test_series_of_one_practice_show_no_more_than_chance() -> None:
    found = funnel.dispersion(events=[1, 4, 2, 9, 0, 3, 6, 2], n=[60, 150, 90, 160, 50, 120, 200, 110], winsorised=0)
    assert found.pooled == pytest.approx(27 / 940)
    assert found.pooled == pytest.approx(0.028723, abs=1e-6)
    assert found.z.tolist() == pytest.approx(
        [-0.5591, -0.1508, -0.3693, 2.0846, -1.2160, -0.2442, 0.1081, -0.6619], abs=5e-5
    )
    assert found.phi == pytest.approx(0.850675, abs=1e-6)
    assert found.tau2 == 0


def test_spread_between_series_is_recovered() -> None:
    generator = np.random.default_rng(45)
    true_sd, n = 0.02, np.full(4000, 600)
    rates = np.clip(generator.normal(0.10, true_sd, n.size), 0.001, 1)
    found = funnel.dispersion(events=generator.binomial(n, rates), n=n, winsorised=0)
    assert math.sqrt(found.tau2) == pytest.approx(true_sd, rel=0.05)
    drawn = funnel.dispersion(events=generator.binomial(n, rates), n=n, winsorised=0.1)
    assert 1 < drawn.phi < found.phi

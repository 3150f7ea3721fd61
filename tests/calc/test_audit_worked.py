"""Every worked figure of audit through its public calculation: published examples, and values worked apart.

Sources: Newcombe, Stat Med 1998;17:857 (intervals); Steiner and others, Biostatistics 2000;1:441 (sums; coefficients from
memory); Spiegelhalter, Stat Med 2005;24:1185 (funnel); Montgomery's data for sums and weighted means; NIST/SEMATECH
handbook 6.3.2.4 (weighted mean); Benneyan 2001 (gaps); Wald 1947 (sequential test). The rest was worked out apart with
SciPy and statsmodels.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from forestay.calc.astigmatism import astigmatism_centroid_calculation
from forestay.calc.audit import funnel_limits, own_rate, rate, risk_adjusted_cusum
from forestay.calc.audit_charts import calibration, learning, measured_chart, prediction_errors, rare_events
from forestay.calc.biometry import ultrasound_length_calculation
from forestay.optics.cornea import power_d


@pytest.mark.parametrize(
    ("events", "n", "wilson", "exact"),
    [
        (81, 263, (0.255289, 0.366210), (0.252737, 0.367622)),
        (15, 148, (0.062386, 0.160487), (0.057844, 0.161650)),
        (0, 20, (0, 0.161125), (0, 0.168433)),
        (1, 29, (0.006113, 0.171755), (0.000873, 0.177644)),
        (5, 25, None, (0.068311, 0.407037)),
        (2, 100, (0.005502, 0.070012), None),
        (10, 500, (0.010899, 0.036420), None),
        (0, 100, (0, 0.036993), None),
    ],
)
def test_intervals(events: int, n: int, wilson: tuple[float, float] | None, exact: tuple[float, float] | None) -> None:
    found = rate(events=events, n=n, level=0.95).result
    assert wilson is None or found.wilson == pytest.approx(wilson, abs=1e-6)
    assert exact is None or found.exact == pytest.approx(exact, abs=1e-6)


@pytest.mark.parametrize(
    ("target", "n", "limits"),
    [
        (0.0195, 100, (0, 0, 4.658, 6.925)),
        (0.0195, 500, (0.232, 0.724, 3.155, 4.012)),
        (0.0195, 1000, (0.700, 1.090, 2.799, 3.383)),
        (0.0069, 500, (0, 0, 1.397, 1.986)),
        (0.0069, 1000, (0, 0.172, 1.196, 1.582)),
        (0.05, 200, (0.654, 1.958, 7.971, 10.118)),
        (0.074, 500, (3.932, 5.083, 9.678, 11.154)),
    ],
)
def test_funnel(target: float, n: int, limits: tuple[float, ...]) -> None:
    found = funnel_limits(n=n, target=target).result
    wide, narrow = found.limits_998, found.limits_95
    assert [100 * v for v in (wide[0], narrow[0], narrow[1], wide[1])] == pytest.approx(limits, abs=6e-4)


EXPECTED = [0.02, 0.02, 0.05, 0.10, 0.02, 0.01, 0.05, 0.20, 0.02, 0.02]
OBSERVED = [0, 0, 1, 0, 0, 1, 0, 1, 0, 0]


@pytest.mark.parametrize(
    ("ratio", "path"),
    [
        (2, [0, 0, 0.644357, 0.549047, 0.529244, 1.212441, 1.163651, 1.674477, 1.654674, 1.634871]),
        (0.5, [0.010050, 0.020101, 0, 0.051293, 0.061344, 0, 0.025318, 0, 0.010050, 0.020101]),
    ],
)
def test_sums(ratio: float, path: list[float]) -> None:
    found = risk_adjusted_cusum(expected=EXPECTED, observed=OBSERVED, odds_ratio=ratio, limit=10).result
    assert found.path == pytest.approx(path, abs=1e-6)


def test_one_event_against_clean_cases_at_the_published_rate() -> None:
    # 0.673835 up for an event, 0.019312 down for a clean case: 34.9 of them cancel it.
    found = risk_adjusted_cusum(expected=[0.0195] * 36, observed=[1] + [0] * 35, odds_ratio=2, limit=10).result
    assert found.path[0] == pytest.approx(0.673835, abs=1e-6)
    assert found.path[1] - found.path[0] == pytest.approx(-0.019312, abs=1e-6)
    assert found.path[34] > 0
    assert found.path[35] == 0


MONTGOMERY = [
    9.45, 7.99, 9.29, 11.66, 12.16, 10.18, 8.04, 11.46, 9.20, 10.34, 9.03, 11.47, 10.51, 9.40, 10.08, 9.37, 10.62, 10.31,
    8.52, 10.84, 10.90, 9.33, 12.29, 11.50, 10.60, 11.08, 10.38, 11.62, 11.31, 10.52,
]  # fmt: skip


def test_measured_values() -> None:
    found = measured_chart(
        values=MONTGOMERY, centre=10, sd=1, weight=0.1, width=2.7, allowance_sd=0.5, limit_sd=5
    ).result
    assert found.below[1:3] == pytest.approx((1.56, 1.77))
    assert found.above[27:30] == pytest.approx((4.47, 5.28, 5.30))
    assert found.signals == (28,)  # the 29th value, counted from 0
    assert (found.weighted_mean[0], found.weighted_mean[1]) == pytest.approx((9.945, 9.7495))
    assert (found.weighted_mean[27], found.weighted_mean[28]) == pytest.approx((10.573137, 10.646823), abs=1e-6)
    assert (found.low[0], found.high[0]) == pytest.approx((9.73, 10.27))
    assert (found.low[28], found.high[28]) == pytest.approx((9.38127, 10.61873), abs=1e-5)
    assert found.outside == (28, 29)


def test_weighted_mean_of_the_handbook() -> None:
    values = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
              53.6, 52.1]  # fmt: skip
    means = [50.6, 49.52, 50.564, 50.1848, 50.1594, 49.2116, 49.7481, 49.8537, 50.2576, 50.3303, 50.1112, 49.3578, 49.5205,
             50.0543, 49.378, 49.9246, 50.7272, 51.2291, 51.9403, 51.9882]  # fmt: skip
    found = measured_chart(values=values, centre=50, sd=2.0539, weight=0.3, width=3).result
    assert found.weighted_mean == pytest.approx(means, abs=1e-4)
    assert (found.low[-1], found.high[-1]) == pytest.approx((47.4116, 52.5884), abs=1e-3)
    assert found.outside == ()


@pytest.mark.parametrize(
    ("share", "mean", "upper", "quantiles"),
    [(0.01, 99, 397.496, (0, 68, 657)), (0.0195, 50.2821, 202.621, (0, 35, 335))],
)
def test_gaps(share: float, mean: float, upper: float, quantiles: tuple[float, float, float]) -> None:
    found = rare_events(rate=share).result
    assert (found.mean, found.upper) == pytest.approx((mean, upper), abs=1e-3)
    assert (found.low, found.median, found.high) == quantiles


def test_scores() -> None:
    four = calibration(predicted=[0.1, 0.2, 0.3, 0.8], observed=[0, 0, 1, 1]).result
    assert (four.brier, four.scaled_brier, four.spiegelhalter_z) == pytest.approx((0.145, 0.42, -0.088045), abs=1e-6)
    rows = (4, 9, 19, 27, 39, 46, 68, 69, 88, 99, 108, 119, 129, 137, 149, 159, 167, 179, 189, 199)
    p = [0.01, 0.02, 0.02, 0.03, 0.05, 0.05, 0.08, 0.10, 0.15, 0.20] * 20
    found = calibration(predicted=p, observed=[int(i in rows) for i in range(200)]).result
    assert (found.events, found.expected, found.ratio) == pytest.approx((20, 14.2, 1.408451), abs=1e-6)
    assert (found.intercept, found.slope, found.slope_intercept) == pytest.approx(
        (0.399147, 2.726450, 3.835565), abs=1e-4
    )
    assert found.brier == pytest.approx(0.07577, abs=1e-6)


def test_sequential_test() -> None:
    found = learning(observed=[1, 0], acceptable=0.05, unacceptable=0.10, error=0.1).result
    assert (found.path[0], found.path[1] - found.path[0]) == pytest.approx((1 - 0.072358, -0.072358), abs=1e-6)
    assert (found.accept_at, found.reject_at) == pytest.approx((-2.940554, 2.940554), abs=1e-6)
    assert found.clean_cases == 41


@pytest.mark.parametrize(
    ("own", "published", "mean", "ends"),
    [
        ((3, 50), (0.0195, 100), 0.033, (0.010795, 0.066836)),
        ((0, 20), (0.0195, 100), 0.01625, (0.001912, 0.045221)),
        ((6, 100), (0.02, 200), 0.033333, (0.016152, 0.056369)),
    ],
)
def test_shrinking(
    own: tuple[int, int], published: tuple[float, float], mean: float, ends: tuple[float, float]
) -> None:
    (events, n), (prior, weight) = own, published
    given: dict[str, Any] = {
        "events": events,
        "n": n,
        "published_rate": prior,
        "published_weight": weight,
        "level": 0.95,
    }
    found = own_rate(**given).result
    assert found.rate == pytest.approx(mean, abs=1e-6)
    assert found.interval == pytest.approx(ends, abs=1e-6)
    if events == 3:
        assert found.above_published == pytest.approx(0.826195, abs=1e-6)


ERRORS = [-0.62, -0.35, -0.20, -0.10, 0.05, 0.12, 0.25, 0.40, 0.55, 1.20]


def test_errors_before_and_after_zeroing() -> None:
    found = prediction_errors(errors=ERRORS, bands=[0.25, 0.5, 0.75, 1]).result
    assert (found.mean, found.sd) == pytest.approx((0.13, 0.513138), abs=1e-6)
    assert (found.mean_absolute, found.median_absolute) == pytest.approx((0.384, 0.30))
    assert found.within == pytest.approx((0.5, 0.7, 0.9, 0.9))
    zeroed = prediction_errors(errors=[e - 0.13 for e in ERRORS], bands=[0.25, 0.5, 0.75, 1]).result
    assert (zeroed.sd, zeroed.mean_absolute, zeroed.median_absolute) == pytest.approx((0.513138, 0.376, 0.30), abs=1e-6)
    assert zeroed.root_mean_square == pytest.approx(0.486806, abs=1e-6)
    assert zeroed.within == pytest.approx((0.4, 0.8, 0.9, 0.9))  # the error of -0.75 D lies on its edge, and inside


def test_centroid_of_induced_astigmatism() -> None:
    vectors = [(0.40, 180), (0.30, 170), (0.50, 155), (0.20, 85)]
    found = astigmatism_centroid_calculation(vectors=[{"magnitude_d": m, "axis_deg": a} for m, a in vectors]).result
    assert (found.magnitude_d, found.axis_deg, found.mean_magnitude_d) == pytest.approx(
        (0.230962, 165.393, 0.35), abs=1e-3
    )
    double = math.radians(2 * found.axis_deg)
    parts = found.magnitude_d * math.cos(double), found.magnitude_d * math.sin(double)
    assert parts == pytest.approx((0.201585, -0.112725), abs=1e-6)
    (xx, _), (_, yy) = found.covariance
    assert (xx**0.5, yy**0.5) == pytest.approx((0.270194, 0.189396), abs=1e-6)


def test_segments_of_a_length() -> None:
    # 337.5 / 7.85 and / 7.67 D; 2.90 + 4.80 + 15.75 mm, and what one velocity of 1550 m/s would have made of it.
    powers = [power_d(radius_mm=radius, index=1.3375) for radius in (7.85, 7.67)]
    assert powers == pytest.approx([42.9936, 44.0026], abs=1e-4)
    reading = (18.65 / 1532 + 4.80 / 1641) * 1550
    assert reading == pytest.approx(23.4029, abs=1e-4)
    found = ultrasound_length_calculation(
        measured_mm=reading,
        assumed_velocity_m_s=1550,
        eye_state="phakic",
        lens_thickness_mm=4.80,
        method="immersion",
    ).result
    segments = next(way for way in found.ways if way.way == "segments")
    assert segments.axial_length_mm == pytest.approx(23.45, abs=1e-3)

"""Astigmatism vectors. Expected values: evidence on incisions, section 9 (computed there; tolerance 1e-4 D, 0.01 degrees)."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import ncx2

from forestay.frame import mirror_axis
from forestay.optics import astigmatism
from forestay.optics.astigmatism import DoubleAngle, vector

CHANGES = [
    # before, after, x, y, magnitude, meridian, flattening and torque at 90 (9.1)
    ((1.00, 90), (0.50, 180), 1.5000, 0.0, 1.5000, 180.0, -1.5000, 0.0),
    ((1.00, 90), (0.25, 100), 0.7651, -0.0855, 0.7698, 176.81, -0.7651, 0.0855),
    ((1.50, 10), (0.75, 30), -1.0345, 0.1365, 1.0435, 86.24, 1.0345, -0.1365),
    ((0.75, 85), (1.00, 175), 1.7234, -0.3039, 1.7500, 175.00, -1.7234, 0.3039),
    ((0.50, 45), (0.50, 135), 0.0, -1.0000, 1.0000, 135.0, 0.0, 1.0000),
    ((1.25, 170), (0.50, 160), -0.7916, 0.1061, 0.7987, 86.18, 0.7916, -0.1061),
]
PLANS = [
    # before, flattening, incision, after, break-even (9.2)
    ((1.00, 90), 1.11, 90, (0.1100, 180.0), 28.14),
    ((1.00, 180), 0.48, 180, (0.5200, 180.0), 38.06),
    ((1.00, 180), 1.11, 90, (2.1100, 180.0), None),
    ((1.50, 170), 0.48, 180, (1.0617, 165.55), 40.40),
    ((0.75, 60), 0.80, 45, (0.4041, 100.93), 28.88),
    ((1.50, 45), 0.70, 90, (1.6553, 32.49), 38.25),
    ((0.50, 180), 0.62, 180, (0.1200, 90.0), 25.84),
    ((2.50, 5), 1.20, 180, (1.3346, 9.49), 38.06),
]
CHANCES = [
    # residual of the mean, then the chance of at most 0.50, 0.75, 1.00, 1.50 D at 0.45 D a component (9.5)
    (0.11, (0.451, 0.740, 0.909, 0.996)),
    (0.02, (0.460, 0.750, 0.915, 0.996)),
    (0.52, (0.283, 0.544, 0.769, 0.973)),
    (2.11, (0.000, 0.001, 0.004, 0.069)),
    (0.89, (0.108, 0.273, 0.498, 0.877)),
]
BEFORE = "1.00@90 0.75@80 1.50@100 0.50@10 1.25@85 0.25@45 0.90@95 2.00@90 0.60@170 1.10@75"
AFTER = "0.25@170 0.50@20 0.60@110 1.60@5 0.40@60 0.90@15 0.50@150 1.10@95 1.40@175 0.30@30"


def parsed(text: str) -> DoubleAngle:
    pairs = np.array([[float(part) for part in one.split("@")] for one in text.split()])
    return vector(magnitude_d=pairs[:, 0], axis_deg=pairs[:, 1])


@pytest.mark.parametrize(("before", "after", "x", "y", "magnitude", "axis", "flat", "torque"), CHANGES)
def test_change_between_two_corneas(
    *,
    before: tuple[float, float],
    after: tuple[float, float],
    x: float,
    y: float,
    magnitude: float,
    axis: float,
    flat: float,
    torque: float,
) -> None:
    change = vector(magnitude_d=after[0], axis_deg=after[1]) - vector(magnitude_d=before[0], axis_deg=before[1])
    assert (change.x_d, change.y_d) == pytest.approx((x, y), abs=1e-4)
    assert change.magnitude_d == pytest.approx(magnitude, abs=1e-4)
    assert change.axis_deg == pytest.approx(axis, abs=0.01)
    assert astigmatism.along_d(change, meridian_deg=90.0) == pytest.approx(flat, abs=1e-4)
    assert astigmatism.torque_d(change, meridian_deg=90.0) == pytest.approx(torque, abs=1e-4)
    cosine_law = np.sqrt(
        before[0] ** 2 + after[0] ** 2 - 2 * before[0] * after[0] * np.cos(np.deg2rad(2 * (before[1] - after[1])))
    )
    assert change.magnitude_d == pytest.approx(cosine_law, abs=1e-12)


@pytest.mark.parametrize(
    ("magnitude", "steep", "meridian", "first", "second"),
    [(1.5, 20, 90, -1.1491, -0.9642), (1.0, 100, 120, 0.7660, -0.6428), (2.0, 75, 90, 1.7321, -1.0000)],
)
def test_polar_values(magnitude: float, steep: float, meridian: float, first: float, second: float) -> None:
    # evidence on incisions 9.1, last lines: KP(phi) and KP(phi + 45)
    v = vector(magnitude_d=magnitude, axis_deg=steep)
    assert astigmatism.along_d(v, meridian_deg=meridian) == pytest.approx(first, abs=1e-4)
    assert astigmatism.along_d(v, meridian_deg=meridian + 45) == pytest.approx(second, abs=1e-4)


@pytest.mark.parametrize(("before", "flat", "at", "after", "even"), PLANS)
def test_what_an_incision_leaves(
    before: tuple[float, float], flat: float, at: float, after: tuple[float, float], even: float | None
) -> None:
    magnitude, axis = astigmatism.after_incision(
        magnitude_d=before[0], axis_deg=before[1], flattening_d=flat, meridian_deg=at
    )
    assert magnitude == pytest.approx(after[0], abs=1e-4)
    assert axis == pytest.approx(after[1], abs=0.01)
    if even is not None:
        found = astigmatism.break_even_deg(magnitude_d=before[0], flattening_d=flat)
        assert found == pytest.approx(even, abs=0.01)
        turned = astigmatism.after_incision(
            magnitude_d=before[0], axis_deg=at + float(found), flattening_d=flat, meridian_deg=at
        )
        assert turned[0] == pytest.approx(before[0], abs=1e-9)


def test_break_even_at_the_ends() -> None:
    assert astigmatism.break_even_deg(magnitude_d=0.5, flattening_d=1.2) == 0
    assert astigmatism.break_even_deg(magnitude_d=0.0, flattening_d=0.0) == 0
    assert astigmatism.break_even_deg(magnitude_d=1.0, flattening_d=0.0) == 45


@pytest.mark.parametrize(("mean", "chances"), CHANCES)
def test_chance_of_a_small_residual(mean: float, chances: tuple[float, ...]) -> None:
    found = astigmatism.probability_within(mean_d=mean, sd_d=0.45, limit_d=np.array([0.5, 0.75, 1.0, 1.5]))
    assert found == pytest.approx(chances, abs=1e-3)


@settings(deadline=None, derandomize=True, max_examples=200)
@given(mean=st.floats(0.0, 6.0), sd=st.floats(0.02, 2.0), limit=st.floats(0.01, 4.0))
def test_the_chance_agrees_with_the_noncentral_distribution(mean: float, sd: float, limit: float) -> None:
    expected = ncx2.cdf((limit / sd) ** 2, 2, (mean / sd) ** 2)
    found = astigmatism.probability_within(mean_d=mean, sd_d=sd, limit_d=limit)
    assert found == pytest.approx(expected, abs=1e-9)


def test_without_spread_the_chance_is_yes_or_no() -> None:
    found = astigmatism.probability_within(mean_d=np.array([0.4, 0.5, 0.6]), sd_d=0.0, limit_d=0.5)
    assert found.tolist() == [1.0, 1.0, 0.0]  # type: ignore[union-attr]


def test_the_chance_grows_with_the_limit_and_falls_with_the_mean() -> None:
    grid = np.linspace(0, 3, 61)
    assert (np.diff(astigmatism.probability_within(mean_d=0.8, sd_d=0.45, limit_d=grid)) > 0).all()
    assert (np.diff(astigmatism.probability_within(mean_d=grid, sd_d=0.45, limit_d=1.0)) < 0).all()


def test_centroid_of_ten_eyes() -> None:
    # evidence on incisions 9.3, an invented set
    changes = parsed(AFTER) - parsed(BEFORE)
    assert changes.magnitude_d == pytest.approx(
        [1.2379, 1.0897, 0.9584, 1.1110, 1.0391, 0.8047, 1.1695, 0.9364, 0.8158, 1.1402], abs=1e-4
    )
    found = astigmatism.centroid(changes)
    assert (found.mean.x_d, found.mean.y_d) == pytest.approx((1.01595, -0.02529), abs=1e-5)
    assert found.mean.magnitude_d == pytest.approx(1.0163, abs=1e-4)
    assert found.mean.axis_deg == pytest.approx(179.29, abs=0.01)
    assert found.mean_magnitude_d == pytest.approx(1.0303, abs=1e-4)
    assert found.covariance is not None
    covariance = np.array(found.covariance)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.1468, 0.1789], abs=1e-4)
    assert covariance[0, 1] == covariance[1, 0] == pytest.approx(-0.01001, abs=1e-5)
    assert np.linalg.eigvalsh(covariance) == pytest.approx([0.01549, 0.03809], abs=1e-5)
    assert np.sqrt(np.trace(covariance)) == pytest.approx(0.2315, abs=1e-4)


def test_a_single_vector_has_no_scatter() -> None:
    found = astigmatism.centroid(vector(magnitude_d=np.array([1.0]), axis_deg=np.array([30.0])))
    assert found.covariance is None
    assert found.mean.axis_deg == pytest.approx(30.0, abs=1e-9)


magnitudes = st.floats(0.01, 8.0)
axes = st.floats(0.0, 180.0)


@settings(deadline=None, derandomize=True)
@given(magnitude=magnitudes, axis=axes, other=magnitudes, other_axis=axes)
def test_what_must_hold_of_any_change(magnitude: float, axis: float, other: float, other_axis: float) -> None:
    before, after = vector(magnitude_d=magnitude, axis_deg=axis), vector(magnitude_d=other, axis_deg=other_axis)
    assert (before - before).magnitude_d == 0
    there, back = after - before, before - after
    assert there.magnitude_d == back.magnitude_d
    if there.magnitude_d > 1e-6:
        assert abs(float(there.axis_deg) - float(back.axis_deg)) == pytest.approx(90, abs=1e-6)
    turned = vector(magnitude_d=magnitude, axis_deg=axis + 180)
    assert (turned.x_d, turned.y_d) == pytest.approx((before.x_d, before.y_d), abs=1e-12)
    again = astigmatism.from_vector(x_d=before.x_d, y_d=before.y_d)
    assert again[0] == pytest.approx(magnitude, abs=1e-12)
    assert float(again[1]) % 180 == pytest.approx(axis % 180, abs=1e-9) or abs(axis - 180) < 1e-9 or axis < 1e-9


@settings(deadline=None, derandomize=True)
@given(magnitude=magnitudes, axis=st.integers(1, 180), flat=st.floats(-1.0, 2.0), at=st.integers(1, 180))
def test_the_other_eye_gives_the_mirrored_numbers(magnitude: float, axis: int, flat: float, at: int) -> None:
    one = astigmatism.after_incision(magnitude_d=magnitude, axis_deg=axis, flattening_d=flat, meridian_deg=at)
    two = astigmatism.after_incision(
        magnitude_d=magnitude, axis_deg=mirror_axis(axis), flattening_d=flat, meridian_deg=mirror_axis(at)
    )
    assert two[0] == one[0]
    assert two[1] == pytest.approx(mirror_axis(float(one[1])), abs=1e-12)


def test_readings_in_either_order_and_nearly_perpendicular() -> None:
    v = astigmatism.of_readings(k1_d=43.25, k1_axis_deg=95, k2_d=44.5, k2_axis_deg=5)
    w = astigmatism.of_readings(k1_d=44.5, k1_axis_deg=5, k2_d=43.25, k2_axis_deg=95)
    assert (v.x_d, v.y_d) == pytest.approx((w.x_d, w.y_d), abs=1e-15)
    assert (v.magnitude_d, v.axis_deg) == pytest.approx((1.25, 5.0), abs=1e-9)
    skew = astigmatism.of_readings(k1_d=44.5, k1_axis_deg=8, k2_d=43.25, k2_axis_deg=92)
    assert skew.axis_deg == pytest.approx(5.0, abs=1e-9)  # the middle of 8 and 92 - 90
    assert skew.magnitude_d == pytest.approx(1.25 * np.cos(np.deg2rad(6)), abs=1e-9)


def test_a_superior_cut_turns_the_cornea_against_the_rule() -> None:
    # sanity rule of the evidence (5.1): a superior unsutured cut must steepen the horizontal
    change = astigmatism.of_incision(flattening_d=1.1, meridian_deg=90.0)
    assert change.axis_deg == 180
    assert change.magnitude_d == pytest.approx(1.1)
    assert change.x_d > 0


def test_a_power_vector_and_back() -> None:
    # evidence on lens power 8.3: -2.00 -1.50 x 20 -> M -2.75, J0 +0.57453, J45 +0.48209, B 2.85044
    found = astigmatism.power_vector(sphere_d=-2.0, cylinder_d=-1.5, axis_deg=20.0)
    assert (found.m_d, found.j0_d, found.j45_d) == pytest.approx((-2.75, 0.57453, 0.48209), abs=5e-6)
    assert found.blur_d == pytest.approx(2.85044, abs=5e-6)
    assert found.refraction() == pytest.approx((-2.0, -1.5, 20.0), abs=1e-12)
    # the same lens written with plus cylinder
    plus = astigmatism.power_vector(sphere_d=-3.5, cylinder_d=1.5, axis_deg=110.0)
    assert (plus.m_d, plus.j0_d, plus.j45_d) == pytest.approx((found.m_d, found.j0_d, found.j45_d), abs=1e-12)


@pytest.mark.parametrize(
    ("turned", "share"),
    # evidence on lens power 6.4
    [(1, 0.0349), (3, 0.1047), (5, 0.1743), (10, 0.3473), (15, 0.5176), (20, 0.684), (30, 1.000), (45, 1.414)],
)
def test_what_a_turned_lens_leaves(turned: float, share: float) -> None:
    assert astigmatism.left_by_rotation(rotation_deg=turned) == pytest.approx(share, abs=5.1e-4)
    # by vectors: the cornea's cylinder less the same lens, turned
    cornea = astigmatism.vector(magnitude_d=1.0, axis_deg=90.0)
    lens = astigmatism.vector(magnitude_d=1.0, axis_deg=90.0 + turned)
    assert (cornea - lens).magnitude_d == pytest.approx(
        float(astigmatism.left_by_rotation(rotation_deg=turned)), abs=1e-12
    )
    assert astigmatism.left_by_rotation(rotation_deg=-turned) == astigmatism.left_by_rotation(rotation_deg=turned)

"""The open ring: published spring constants, overlaps by hand, and the large deflection of a thin ring."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_bvp
from scipy.optimize import brentq

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.mechanics.ring import RingConstants, force_mn, overlap_mm, require_closing

CONSTANTS = default_evidence().reader().constants(RingConstants)
RADIUS_MM = 5.5
steady = settings(deadline=None, derandomize=True)


@pytest.mark.parametrize(
    ("spring", "force"),
    [(0.8162, 2.285), (4.5501, 12.740)],  # ring of 13.0 in a bag of 10.2 mm, softest and stiffest published spring
)
def test_the_linear_law(spring: float, force: float) -> None:
    ours = force_mn(free_diameter_mm=13.0, bag_diameter_mm=10.2, spring_mn_per_mm=spring)
    assert ours == pytest.approx(force, abs=0.001)


@pytest.mark.parametrize(
    ("closed", "overlaps"),
    [  # pi (closed - bag) in bags of 10.0, 10.37, 10.5, 11.0, 11.5 mm, printed to 0.01
        (10.0, (0.00, -1.16, -1.57, -3.14, -4.71)),
        (11.0, (3.14, 1.98, 1.57, 0.00, -1.57)),
        (12.0, (6.28, 5.12, 4.71, 3.14, 1.57)),
    ],
)
def test_the_overlap(closed: float, overlaps: tuple[float, ...]) -> None:
    ours = overlap_mm(closed_diameter_mm=closed, bag_diameter_mm=np.array([10.0, 10.37, 10.5, 11.0, 11.5]))
    np.testing.assert_allclose(ours, overlaps, atol=0.0051)


def squeeze(load: float) -> float:
    """Shortening / radius of a thin ring of radius 1 squeezed by two points at ``load`` = W R^2 / EI.

    Half a ring carries the load, its ends free of moment. From the middle of that half (angle 0) to the loaded point:
    curvature 1 + load (y_end - y).
    """

    def slope(_: np.ndarray, at: np.ndarray) -> np.ndarray:
        turned, _x, y, end = at
        return np.vstack([1 + load * (end - y), np.cos(turned), np.sin(turned), np.zeros_like(y)])

    def ends(first: np.ndarray, last: np.ndarray) -> np.ndarray:
        return np.array([first[0], first[1], first[2], last[2] - last[3]])

    along = np.linspace(0, np.pi / 2, 101)
    guess = np.vstack([along, np.sin(along), 1 - np.cos(along), np.ones_like(along)])
    solved = solve_bvp(slope, ends, along, guess, tol=1e-9, max_nodes=50_000)
    assert solved.success
    return float(2 * (1 - solved.y[1, -1]))


def test_a_thin_ring_starts_at_the_linear_law() -> None:
    # closed form: shortening (pi / 2) W R^3 / EI, so k = 2 EI / (pi R^3)
    assert squeeze(1e-4) / 1e-4 == pytest.approx(np.pi / 2, rel=2e-4)


@pytest.mark.parametrize(
    ("shortening", "spring"),
    [(0.51, 0.788), (1.05, 0.763), (2.22, 0.722), (3.46, 0.694)],  # secant springs of a ring of 0.816 mN/mm
)
def test_a_thin_ring_softens(shortening: float, spring: float) -> None:
    share = softened(shortening)
    assert 0.8162 * share == pytest.approx(spring, abs=5e-4)


def softened(shortening_mm: float) -> float:
    """Force over that of the linear law."""
    load = brentq(lambda w: squeeze(w) * RADIUS_MM - shortening_mm, 1e-3, 2.0)
    return float(load / (2 / np.pi * shortening_mm / RADIUS_MM))


def test_the_row_on_softening_is_the_elastica() -> None:
    assert softened(CONSTANTS.softened_squeeze_mm) == pytest.approx(CONSTANTS.softened_share, abs=5e-4)


@steady
@given(free=st.floats(min_value=6, max_value=20), bag=st.floats(min_value=6, max_value=14))
def test_a_ring_never_pulls(free: float, bag: float) -> None:
    ours = float(force_mn(free_diameter_mm=free, bag_diameter_mm=bag, spring_mn_per_mm=1.0))
    assert ours == max(free - bag, 0.0)


def test_arrays_missing_values_and_impossible_ones() -> None:
    ours = force_mn(free_diameter_mm=13.0, bag_diameter_mm=np.array([10.0, np.nan]), spring_mn_per_mm=1.0)
    assert isinstance(ours, np.ndarray)
    assert np.isnan(ours).tolist() == [False, True]
    with pytest.raises(InvalidInput) as raised:
        overlap_mm(closed_diameter_mm=-1.0, bag_diameter_mm=10.0)
    assert raised.value.field == "closed_diameter_mm"
    with pytest.raises(InvalidInput) as raised:
        require_closing(free_diameter_mm=11.0, closed_diameter_mm=13.0)
    assert raised.value.field == "closed_diameter_mm"
    require_closing(free_diameter_mm=13.0, closed_diameter_mm=11.0)

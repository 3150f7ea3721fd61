"""The rigid disc on the zonule against printed tables, closed forms and a general minimiser."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import scipy.optimize
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import InvalidInput
from forestay.frame import HOURS, angle_deg
from forestay.mechanics.disc import DiscState, equilibrium
from forestay.mechanics.zonule import Hold, ZonuleParameters

K = 10.6


def springs(fibre: float = 1.5, prestretch: float = 0.2, stiffness: Any = K) -> ZonuleParameters:
    return ZonuleParameters(5.0, fibre, prestretch, stiffness, 0.1)


def rest(support: Any, x: Any = 0.0, y: Any = 0.0, turn: Any = 0.0, **more: Any) -> DiscState:
    more.setdefault("parameters", springs())
    return equilibrium(support=support, load_x_mn=x, load_y_mn=y, torque_mn_mm=turn, **more)


def lost(count: int, first: int = 0) -> np.ndarray:
    share = np.ones(12)
    share[(first + np.arange(count)) % 12] = 0
    return share


# Table of adjacent lost clock hours, exact springs, tension only, disc radius 5.0, fibre 1.5 with 0.2 mm stretch:
# displacement / pre-stretch, tension next to the gap, lowest tension (both / resting tension)
TABLE = [
    (1, 0.172, 1.150, 0.828),
    (2, 0.394, 1.283, 0.620),
    (3, 0.653, 1.347, 0.347),
    (4, 0.916, 1.288, 0.119),
    (5, 1.204, 1.096, 0.0),
    (6, 1.941, 0.744, 0.0),
]


@pytest.mark.parametrize(("count", "displacement", "beside", "lowest"), TABLE)
def test_table_of_lost_clock_hours(count: int, displacement: float, beside: float, lowest: float) -> None:
    found = rest(lost(count))
    load = found.tension_mn / springs().resting_load_mn
    assert found.state == "held"
    assert float(found.displacement_mm) / 0.2 == pytest.approx(displacement, abs=0.001)
    assert load[count] == pytest.approx(beside, abs=0.001)
    assert load[11] == pytest.approx(beside, abs=0.001)
    assert load[lost(count) > 0].min() == pytest.approx(lowest, abs=0.001)


@pytest.mark.parametrize(
    ("fibre", "prestretch", "displacements"),
    # printed beside the table: displacement / pre-stretch for 1 .. 6 lost hours
    [(1.0, 0.2, (0.161, 0.365, 0.602, 0.849, 1.096, 1.510)), (1.5, 0.4, (0.152, 0.340, 0.558, 0.789, 1.003, 1.344))],
)
def test_table_with_other_fibres(fibre: float, prestretch: float, displacements: tuple[float, ...]) -> None:
    share = np.stack([lost(m) for m in range(1, 7)], axis=-1)
    found = rest(share, parameters=springs(fibre, prestretch))
    assert found.displacement_mm / prestretch == pytest.approx(displacements, abs=0.001)


def test_bag_moves_away_from_the_gap() -> None:
    found = rest(lost(3, first=11))  # hours 11, 12, 1
    assert float(found.y_mm) < -0.1
    assert float(found.x_mm) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(("torque", "degrees"), [(1, 1.22), (5, 4.79), (10, 7.47), (20, 11.10)])
def test_turning_stiffens(torque: float, degrees: float) -> None:
    # printed: rotation of the rigid bag, 10.6 mN/mm in all, against 1.25, 6.24, 12.5, 25 deg of the linear form
    found = rest(np.ones(12), turn=torque)
    assert np.degrees(found.rotation_rad) == pytest.approx(degrees, abs=0.006)


def test_small_motion_stiffness() -> None:
    # n equal fibres of length s: lateral K = (k + T/s) / 2; rotation K = T R (1 + R/s); derived by hand from the energy
    tension = K * 0.2
    found = rest(np.ones(12), x=1e-5, turn=1e-5)
    assert float(found.x_mm) == pytest.approx(1e-5 / (0.5 * (K + tension / 1.5)), rel=1e-4)
    assert float(found.rotation_rad) == pytest.approx(1e-5 / (tension * 5 * (1 + 5 / 1.5)), rel=1e-4)


def _energy(unknowns: np.ndarray, share: np.ndarray, force: tuple[float, float, float]) -> float:
    """The same energy written out again, hour by hour."""
    x, y, turn = unknowns
    total = -force[0] * x - force[1] * y - force[2] * turn
    for hour, weight in zip(HOURS, share, strict=True):
        angle = np.radians(angle_deg(hour))
        dx = x + 5 * np.cos(angle + turn) - 6.5 * np.cos(angle)
        dy = y + 5 * np.sin(angle + turn) - 6.5 * np.sin(angle)
        total += 0.5 * weight * K / 12 * max(np.hypot(dx, dy) - 1.3, 0) ** 2
    return float(total)


@pytest.mark.parametrize("seed", range(6))
def test_rest_is_the_minimum_that_a_general_minimiser_finds(seed: int) -> None:
    # reference: scipy.optimize.minimize, Nelder-Mead (no derivatives), on the energy written out again above
    draw = np.random.default_rng(seed)
    share, force = draw.uniform(0, 1, 12), tuple(draw.normal(size=3))
    found = rest(share, *force)
    best = scipy.optimize.minimize(
        _energy,
        np.zeros(3),
        args=(share, force),
        method="Nelder-Mead",
        options={"xatol": 1e-9, "fatol": 1e-15, "maxiter": 20000, "maxfev": 20000},
    )
    assert [float(found.x_mm), float(found.y_mm), float(found.rotation_rad)] == pytest.approx(best.x, abs=2e-6)


def test_draws_equal_single_answers() -> None:
    draw = np.random.default_rng(5)
    share, force = draw.uniform(0, 1, (12, 2500)), draw.normal(size=(3, 2500))
    stiffness = draw.uniform(5, 20, 2500)
    found = rest(share, *force, parameters=springs(stiffness=stiffness))
    assert found.x_mm.shape == (2500,)
    assert found.tension_mn.shape == (12, 2500)
    assert found.converged.all()
    for n in (0, 1023, 1024, 2499):
        alone = rest(share[:, n], *force[:, n], parameters=springs(stiffness=stiffness[n]))
        assert alone.x_mm.shape == ()
        assert float(found.x_mm[n]) == pytest.approx(float(alone.x_mm), abs=1e-9)
        assert found.stretch_mm[:, n] == pytest.approx(alone.stretch_mm, abs=1e-9)
        assert found.state[n] == alone.state


def test_support_is_broadcast_against_loads() -> None:
    found = rest(np.ones(12), x=np.array([0.0, 0.1, 0.2]))
    assert found.x_mm.shape == (3,)
    assert np.all(np.diff(found.x_mm) > 0)


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    share=st.lists(st.floats(0, 1), min_size=12, max_size=12),
    x=st.floats(-20, 20),
    y=st.floats(-20, 20),
    turn=st.floats(-40, 40),
    per_hour=st.sampled_from([1, 2, 3, 6]),
)
def test_mirror_is_exact_and_nothing_is_ever_nan(
    share: list[float], x: float, y: float, turn: float, per_hour: int
) -> None:
    right = np.array(share)
    left = np.concatenate([right[:1], right[:0:-1]])
    one = rest(right, x, y, turn, fibres_per_hour=per_hour)
    other = rest(left, -x, y, -turn, fibres_per_hour=per_hour)
    assert (float(other.x_mm), float(other.y_mm)) == (-float(one.x_mm), float(one.y_mm))
    assert float(other.rotation_rad) == -float(one.rotation_rad)
    assert np.array_equal(other.tension_mn, np.concatenate([one.tension_mn[:1], one.tension_mn[:0:-1]]))
    assert other.state == one.state
    assert np.isfinite(one.tension_mn).all()
    assert np.isfinite([one.x_mm, one.y_mm, one.rotation_rad]).all()


@settings(deadline=None, derandomize=True, max_examples=40)
@given(
    share=st.lists(st.floats(0.05, 1), min_size=12, max_size=12),
    x=st.floats(-5, 5),
    y=st.floats(-5, 5),
    turn=st.floats(-10, 10),
)
def test_forces_and_moments_balance(share: list[float], x: float, y: float, turn: float) -> None:
    found = rest(np.array(share), x, y, turn)
    assert bool(found.converged)
    net, moment = np.zeros(2), 0.0
    for row, hour in enumerate(HOURS):
        angle = np.radians(angle_deg(hour))
        arm = 5 * np.array([np.cos(angle + found.rotation_rad), np.sin(angle + found.rotation_rad)])
        reach = 6.5 * np.array([np.cos(angle), np.sin(angle)]) - arm - np.array([found.x_mm, found.y_mm])
        pull = found.tension_mn[row] * reach / np.hypot(*reach)
        net, moment = net + pull, moment + arm[0] * pull[1] - arm[1] * pull[0]
    assert net == pytest.approx((-x, -y), abs=1e-6)
    assert moment == pytest.approx(-turn, abs=1e-5)


def test_displacement_grows_with_the_gap_and_ratios_do_not_depend_on_stiffness() -> None:
    share = np.stack([lost(m) for m in range(7)], axis=-1)
    soft, stiff = rest(share), rest(share, parameters=springs(stiffness=8 * K))
    assert np.all(np.diff(soft.displacement_mm) > 0)
    assert soft.displacement_mm == pytest.approx(stiff.displacement_mm, abs=1e-9)
    assert 8 * soft.tension_mn == pytest.approx(stiff.tension_mn, abs=1e-8)


@pytest.mark.parametrize("count", [7, 8, 9, 10, 11, 12])
def test_more_than_half_lost_holds_nothing(count: int) -> None:
    found = rest(lost(count))
    assert found.state == "unsupported"
    assert np.isfinite(float(found.displacement_mm))


def test_weak_but_even_support_holds() -> None:
    found = rest(np.full(12, 0.1))
    assert found.state == "held"
    assert float(found.displacement_mm) == pytest.approx(0, abs=1e-12)
    assert found.tension_mn / springs().resting_load_mn == pytest.approx(np.full(12, 0.1), rel=1e-9)


def test_a_hold_in_the_gap_brings_the_disc_back() -> None:
    free = rest(lost(3, first=11))
    held = rest(lost(3, first=11), holds=(Hold(12.0, 20.0, 1.5, 0.0, 0.0),))
    assert float(held.displacement_mm) < 0.3 * float(free.displacement_mm)
    assert float(held.hold_tension_mn[0]) > 0


@pytest.mark.parametrize(
    "support", [[1.0] * 11, [1.0] * 11 + [1.2], [1.0] * 11 + [-0.1], [1.0] * 11 + [float("nan")], 1.0]
)
def test_support_that_cannot_be_is_refused(support: Any) -> None:
    with pytest.raises(InvalidInput, match="support"):
        rest(support)

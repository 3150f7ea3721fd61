"""Which clock hours pay when the bag is lifted: closed form, a general minimiser, balance, mirror, and tipping over."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq, minimize

from forestay.frame import mirror_by_hour
from forestay.mechanics.sector_lift import sector_lift
from forestay.mechanics.zonule import ZonuleParameters, directions

SPRINGS = ZonuleParameters(5.0, 1.5, 0.2, 10.6, 0.1)
WEAK = (0.0, 0.3, 1.0, 0.8, 0.9, 1.0, 0.6, 0.7, 1.0, 0.9, 0.8, 0.2)


def test_an_even_zonule_rises_by_the_closed_form() -> None:
    """One equation: F = K (1 - L0 / s) w, s^2 = L^2 + w^2."""
    found = sector_lift(support=(1.0,) * 12, push_mn=3.0, at_mm=(0.0, 0.0), parameters=SPRINGS)
    lift = brentq(lambda w: 10.6 * (1 - 1.3 / np.hypot(1.5, w)) * w - 3.0, 0.0, 5.0, xtol=1e-13)
    assert found.lift_mm == pytest.approx(np.full(12, lift), rel=1e-8)


@pytest.mark.parametrize("at_mm", [(0.0, 0.0), (1.2, -0.8)])
def test_a_general_minimiser_finds_the_same_rest(at_mm: tuple[float, float]) -> None:
    found = sector_lift(support=WEAK, push_mn=2.0, at_mm=at_mm, parameters=SPRINGS)
    x, y = directions(np.arange(12.0))
    stiff = np.array(WEAK) * 10.6 / 12

    def energy(u: np.ndarray) -> float:
        rise = u[0] + 5 * (u[1] * x + u[2] * y)
        stretch = np.maximum(np.hypot(1.5, rise) - 1.3, 0)
        return float(0.5 * (stiff * stretch**2).sum() - 2.0 * (u[0] + u[1] * at_mm[0] + u[2] * at_mm[1]))

    theirs = minimize(energy, np.zeros(3), method="BFGS", options={"gtol": 1e-9}).x
    assert found.held
    assert found.lift_mm == pytest.approx(theirs[0] + 5 * (theirs[1] * x + theirs[2] * y), abs=1e-5)


def test_forces_and_moments_balance() -> None:
    found = sector_lift(support=WEAK, push_mn=2.0, at_mm=(1.2, -0.8), parameters=SPRINGS)
    upright = found.load_mn * found.lift_mm / (found.stretch_mm + 1.3)
    x, y = directions(np.arange(12.0))
    assert upright.sum() == pytest.approx(2.0, abs=1e-8)
    assert (5 * x * upright).sum() == pytest.approx(2.0 * 1.2, abs=1e-8)
    assert (5 * y * upright).sum() == pytest.approx(2.0 * -0.8, abs=1e-8)


def test_the_weak_side_rises_most_and_the_fibres_beside_the_gap_pay() -> None:
    found = sector_lift(support=WEAK, push_mn=2.0, at_mm=(0.0, 0.0), parameters=SPRINGS)
    assert int(found.lift_mm.argmax()) == 0  # 12 o'clock, where nothing holds
    assert found.pays(WEAK) == (11,)  # 11 o'clock: beside the gap, and with less left than 1 o'clock
    even = sector_lift(support=(sum(WEAK) / 12,) * 12, push_mn=2.0, at_mm=(0.0, 0.0), parameters=SPRINGS)
    assert found.stretch_mm[found.pays(WEAK)[0]] > even.stretch_mm[0]


def test_the_other_eye_answers_the_same() -> None:
    one = sector_lift(support=WEAK, push_mn=2.0, at_mm=(0.7, 0.4), parameters=SPRINGS)
    other = sector_lift(support=mirror_by_hour(WEAK), push_mn=2.0, at_mm=(-0.7, 0.4), parameters=SPRINGS)
    assert tuple(other.stretch_mm) == mirror_by_hour(tuple(one.stretch_mm))


def test_fibres_on_one_side_only_hold_no_push_in_the_middle() -> None:
    half = (1.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0, 1.0)
    assert not sector_lift(support=half, push_mn=2.0, at_mm=(0.0, 0.0), parameters=SPRINGS).held
    assert not sector_lift(support=(0.0,) * 12, push_mn=2.0, at_mm=(0.0, 0.0), parameters=SPRINGS).held
    assert sector_lift(support=half, push_mn=2.0, at_mm=(0.0, 3.5), parameters=SPRINGS).held

"""Bag and ring together: derivatives, and the rigid bag against a general optimiser with hard constraints."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize

from forestay.evidence import default_evidence
from forestay.mechanics.bag_model import Bag, BagConstants
from forestay.mechanics.open_ring import Arc, ArcAssembly
from forestay.mechanics.open_ring_bag import Setting, rest
from forestay.mechanics.open_ring_bag import bag_chain as chain_of
from forestay.mechanics.open_ring_joint import At, Grip, Joint, Pin, Problem
from forestay.mechanics.open_ring_model import OpenRingConstants, whole_ring
from forestay.mechanics.open_ring_solver import solve
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.zonule import ZonuleParameters

READER = default_evidence().reader()
SETTING = Setting(
    READER.constants(BagConstants), READER.constants(RingConstants), READER.constants(OpenRingConstants), 0.0, 144
)
HIGH = ZonuleParameters(5.0, 1.5, 0.2, 84.8, 0.1)


def _joint(seed: int, moving: bool) -> tuple[Joint, At]:
    """Bag and ring somewhere out of rest, with friction, a suture and a grip."""
    setting = replace(SETTING, stations=24)
    chain, circle = chain_of(Bag((1.0,) * 12, HIGH, "empty"), setting)
    arc = Arc(22.0, 13.0, 213.3, 25, 9, 12)
    pin = Pin(0, 6, np.array([5.0, 4.0]), 20.0, 0.5)
    grip = Grip(0, np.array([0.1, -4.5, 3.0]), 7.0, 5.0)
    joint = Joint(Problem(chain, (arc,), (pin,), (grip,), 0.3, moving, 1.0))
    draw = np.random.default_rng(seed)
    laid = ArcAssembly(arc).laid(centre_mm=(0, 0), radius_mm=4.99, middle_rad=-1.5)
    at = joint.at(circle, [laid])
    joint.lay(at, [np.full(25, 0.2)])
    wall = circle + 0.01 * draw.normal(size=circle.shape)
    now = joint.at(wall, [laid + 0.01 * draw.normal(size=laid.shape)])
    assert (joint.pushed(0, now.feet[0])[1] > 0).any()
    return joint, now


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("moving", [False, True])
def test_gradient_and_hessian_equal_central_differences(seed: int, moving: bool) -> None:
    joint, now = _joint(seed, moving)
    gradient, hessian = joint.derivatives(now)
    step = 1e-6

    def moved(unknown: int, by: float) -> At:
        change = np.zeros(joint.size)
        change[unknown] = by
        wall = now.wall + change[:48].reshape(-1, 2).T
        return joint.at(wall, [now.unknowns[0] + change[joint.rows[0]]], now.feet)

    slope, curve = np.zeros(joint.size), np.zeros((joint.size, joint.size))
    for unknown in range(joint.size):
        up, down = moved(unknown, step), moved(unknown, -step)
        slope[unknown] = (joint.energy(up) - joint.energy(down)) / (2 * step)
        curve[:, unknown] = (joint.derivatives(up)[0] - joint.derivatives(down)[0]) / (2 * step)
    assert np.abs(slope - gradient).max() <= 1e-6 * np.abs(gradient).max()
    assert np.abs(curve - hessian).max() <= 1e-5 * np.abs(hessian).max()
    assert np.abs(hessian - hessian.T).max() <= 1e-10 * np.abs(hessian).max()


def test_growth_of_friction_equals_central_differences() -> None:
    joint, now = _joint(3, True)
    joint.rub(now)
    matrix = joint.derivatives(now)[1]
    drag = joint.drag(now)
    assert drag is not None
    step = 1e-6
    push_limits = joint.friction[0].limit_mn.copy()
    worst = 0.0
    for unknown in range(0, joint.size, 5):
        sides = []
        for by in (step, -step):
            change = np.zeros(joint.size)
            change[unknown] = by
            there = joint.at(
                now.wall + change[:48].reshape(-1, 2).T, [now.unknowns[0] + change[joint.rows[0]]], now.feet
            )
            limit = 0.3 * joint.pushed(0, there.feet[0])[1]
            joint.friction[0] = replace(joint.friction[0], limit_mn=limit)
            sides.append(joint.derivatives(there)[0])
        joint.friction[0] = replace(joint.friction[0], limit_mn=push_limits)
        slope = (sides[0] - sides[1]) / (2 * step)
        worst = max(worst, float(np.abs(slope - (matrix + drag)[:, unknown]).max()))
    assert worst <= 1e-5 * np.abs(matrix).max()


@pytest.mark.parametrize("seed", [3, 4])
def test_friction_that_follows_push_and_wall_has_the_exact_slope(seed: int) -> None:
    """Gradient with friction brought up to date, against central differences of itself: without the part that turns with
    the wall the steps would swing to and fro for ever in some bags."""
    joint, now = _joint(seed, False)
    joint.rub(now)
    known = list(joint.friction)
    matrix = joint.derivatives(now)[1]
    drag = joint.drag(now)
    assert drag is not None
    step, worst = 1e-6, 0.0
    for unknown in range(0, joint.size, 3):
        sides = []
        for by in (step, -step):
            change = np.zeros(joint.size)
            change[unknown] = by
            wall = now.wall + change[:48].reshape(-1, 2).T
            there = joint.at(wall, [now.unknowns[0] + change[joint.rows[0]]], now.feet)
            joint.rub(there)
            sides.append(joint.derivatives(there)[0])
            joint.friction = list(known)
        slope = (sides[0] - sides[1]) / (2 * step)
        worst = max(worst, float(np.abs(slope - (matrix + drag)[:, unknown]).max()))
    assert worst <= 1e-6 * np.abs(matrix).max()


def general_optimiser(count: int) -> tuple[float, float, float]:
    """The softest published ring in a rigid bag of 10 mm, written anew: nodes joined by links of fixed length, inside
    a circle, by scipy's SLSQP with the constraints themselves (no penalty). Energy, push of an end, stand-off."""
    radius, free, bending, length = 5.0, 6.5, 213.3, np.pi * 11
    link = length / (count - 1)
    start = np.pi / 2 - (np.arange(count) - (count - 1) / 2) * link / (radius - 0.02)
    first = (radius - 0.02) * np.concatenate([np.cos(start), np.sin(start)])
    chord = 2 * free * np.sin(0.5 * link / free)

    def links(x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return np.diff(x[:count]), np.diff(x[count:])

    def energy(x: np.ndarray) -> tuple[float, np.ndarray]:
        dx, dy = links(x)
        turn = np.arctan2(dx[:-1] * dy[1:] - dy[:-1] * dx[1:], dx[:-1] * dx[1:] + dy[:-1] * dy[1:])
        off = turn + link / free
        moment = bending / link * off
        square = dx**2 + dy**2
        by_x, by_y = np.zeros(count - 1), np.zeros(count - 1)
        by_x[1:] -= moment * dy[1:] / square[1:]
        by_y[1:] += moment * dx[1:] / square[1:]
        by_x[:-1] += moment * dy[:-1] / square[:-1]
        by_y[:-1] -= moment * dx[:-1] / square[:-1]
        gradient = np.zeros(2 * count)
        for offset, by in ((0, by_x), (count, by_y)):
            gradient[offset + 1 : offset + count] += by
            gradient[offset : offset + count - 1] -= by
        return 0.5 * float(moment @ off), gradient

    def stretch(x: np.ndarray) -> np.ndarray:
        dx, dy = links(x)
        return (dx**2 + dy**2 - chord**2) / chord

    def stretch_slope(x: np.ndarray) -> np.ndarray:
        dx, dy = links(x)
        out = np.zeros((count - 1, 2 * count))
        row = np.arange(count - 1)
        out[row, row], out[row, row + 1] = -2 * dx / chord, 2 * dx / chord
        out[row, count + row], out[row, count + row + 1] = -2 * dy / chord, 2 * dy / chord
        return out

    def room(x: np.ndarray) -> np.ndarray:
        return (radius**2 - x[:count] ** 2 - x[count:] ** 2) / (2 * radius)

    def room_slope(x: np.ndarray) -> np.ndarray:
        return np.concatenate([-np.diag(x[:count]), -np.diag(x[count:])], axis=1) / radius

    found = minimize(
        energy,
        first,
        jac=True,
        method="SLSQP",
        constraints=[
            {"type": "eq", "fun": stretch, "jac": stretch_slope},
            {"type": "ineq", "fun": room, "jac": room_slope},
        ],
        options={"maxiter": 300, "ftol": 1e-10},
    )
    assert found.success, found.message
    # the pushes are the multipliers of the constraints that are met
    touching = np.flatnonzero(room(found.x) < 1e-6)
    rows = np.concatenate([stretch_slope(found.x), room_slope(found.x)[touching]])
    forces = np.linalg.lstsq(rows.T, energy(found.x)[1], rcond=None)[0][count - 1 :]
    assert touching[0] == 0
    return float(found.fun), float(forces[0]), float(room(found.x).max())


def test_rigid_bag_equals_a_general_optimiser_with_hard_constraints() -> None:
    one = whole_ring(free_diameter_mm=13.0, closed_diameter_mm=11.0, spring_mn_per_mm=0.8162, gap_clock=6.0)
    found = rest(bag=Bag((1.0,) * 12, HIGH, "lens"), pieces=(one,), setting=SETTING)
    energy, end, off = general_optimiser(61)
    assert found.energy_mn_mm - _resting_energy() == pytest.approx(energy, rel=5e-3)
    assert found.pieces[0].end_push_mn[0] == pytest.approx(end, rel=0.02)
    assert found.pieces[0].stand_off_mm == pytest.approx(off, rel=0.05)


def test_moving_bag_equals_a_general_optimiser_on_the_same_energy() -> None:
    # scipy's BFGS, from where the ring is laid, with gradient only; a suture keeps the ring from turning
    chain, circle = chain_of(Bag((0.0, 0.0, *(1.0,) * 9, 0.0), HIGH, "empty"), replace(SETTING, stations=24))
    arc = Arc(np.pi * 11, 13.0, 213.3, 41, 11, 20)
    pin = Pin(0, 20, np.array([0.3, -6.5]), 20.0, 1.5)
    problem = Problem(chain, (arc,), (pin,), (), 0.0, False, 17.0)
    laid = ArcAssembly(arc).laid(centre_mm=(0, 0), radius_mm=4.99, middle_rad=-np.pi / 2)
    found = solve(problem, wall_mm=circle, unknowns=(laid,), first_push_mn=(np.zeros(41),))
    assert found.bag.converged
    joint = Joint(problem)
    joint.lay(joint.at(circle, [laid]), [np.zeros(41)])
    joint.lead = [np.where(found.push_mn[0] > 0, found.lead_mm[0], 0.0)]

    def at(x: np.ndarray) -> At:
        return joint.at(circle + x[:48].reshape(-1, 2).T, [laid + x[48:]])

    general = minimize(
        lambda x: (at(x).energy, joint.derivatives(at(x))[0]),
        np.zeros(joint.size),
        jac=True,
        method="BFGS",
        options={"maxiter": 4000, "gtol": 1e-6},
    )
    reached = at(general.x)
    assert reached.wall == pytest.approx(found.bag.at_mm, abs=2e-4)
    assert reached.shapes[0].points_mm == pytest.approx(found.points_mm[0], abs=2e-4)


def _resting_energy() -> float:
    """Energy that the healthy zonule stores at rest."""
    return 0.5 * 84.8 * 0.2**2

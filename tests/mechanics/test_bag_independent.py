"""The bag against a general-purpose physics engine: bodies on tendons that pull only when taut, let go until at rest.

The engine knows nothing of this model: it moves point masses by Newton's law. Its tendons with a dead band are
tension-only springs. A force that no longer changes the shape is rest; masses and time do not matter to that.
"""

from __future__ import annotations

from dataclasses import replace

import mujoco
import numpy as np
import pytest

from forestay.mechanics import bag as mechanics
from forestay.mechanics import disc
from forestay.mechanics.bag_model import Load
from tests.mechanics.rim_cases import CONSTANTS, HIGH, LOW, RINGS, bag, lost

STATIONS = 48
RADIUS, LENGTH, STRETCH = 5.0, 1.5, 0.2
"""Bag, fibre and stretch at rest [mm] of the bags shared by these tests."""

SHARP = replace(CONSTANTS, toe_strain=1e-8, load_spread_hours=1.0)
"""The equator without its soft beginning, so that it is a plain tension-only spring."""

REST_MN = 1e-9
"""Largest force on a body that counts as rest."""

XY = '<joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 1 0"/>'
MASS = '<inertial pos="0 0 0" mass="1" diaginertia="10 10 10"/>'


def place(at: np.ndarray) -> str:
    """A point in the plane, to the last digit."""
    return f'pos="{float(at[0])!r} {float(at[1])!r} 0"'


def tendon(first: str, last: str, stiffness: float, dead_band: tuple[float, float]) -> str:
    """A spring between two sites that is slack inside ``dead_band``."""
    low, high = dead_band
    return (
        f'<spatial stiffness="{float(stiffness)!r}" springlength="{float(low)!r} {float(high)!r}">'
        f'<site site="{first}"/><site site="{last}"/></spatial>'
    )


def outward() -> np.ndarray:
    """Directions (2, N) of the stations: clockwise from 12, half a spacing off it."""
    angle = np.pi / 2 - (2 * np.arange(STATIONS) + 1) * np.pi / STATIONS
    return np.stack([np.cos(angle), np.sin(angle)])


def zonule(stiffness: float) -> tuple[str, str]:
    """Fixed sites at 6.5 mm and fibres from them to the sites ``n0``, ``n1`` ...; hours 12 and 1 are lost."""
    clock = (2 * np.arange(STATIONS) + 1) * 12 / (2 * STATIONS)
    sites, tendons = "", ""
    for n in range(STATIONS):
        sites += f'<site name="c{n}" {place((RADIUS + LENGTH) * outward()[:, n])}/>'
        if 1.5 < clock[n] < 11.5:
            tendons += tendon(f"c{n}", f"n{n}", stiffness / STATIONS, (0.0, LENGTH - STRETCH))
    return sites, tendons


def let_go(world: str, tendons: str, force: np.ndarray, step: float) -> np.ndarray:
    """Places (as joints) when everything has come to rest; at each peak of motion the velocities are taken away."""
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option gravity="0 0 0" timestep="{step}"><flag contact="disable"/></option>'
        f"<worldbody>{world}</worldbody><tendon>{tendons}</tendon></mujoco>"
    )
    data = mujoco.MjData(model)
    data.qfrc_applied[:] = force
    fastest = 0.0
    for _ in range(60_000):
        mujoco.mj_step(model, data)
        speed = float(data.qvel @ data.qvel)
        if speed < fastest:
            data.qvel[:] = 0.0
            speed = 0.0
            mujoco.mj_forward(model, data)
            if np.abs(data.qfrc_passive + force).max() < REST_MN:
                return np.array(data.qpos)
        fastest = speed
    raise AssertionError(f"still out of balance by {np.abs(data.qfrc_passive + force).max()} mN")


@pytest.mark.parametrize("stiffness", [LOW, HIGH])
def test_empty_bag_with_two_hours_lost_under_a_pull(stiffness: float) -> None:
    # a trial of the same pair, with a margin as well, differed by 1.6e-6 mm at 1.22 mm largest displacement
    one = bag(lost(0, 1), stiffness, rim=None, load=Load("radial", 6.0, 1.0, inward=False))
    ours = mechanics.rest(bag=one, constants=SHARP, ring_constants=RINGS, stations=STATIONS)
    start = RADIUS * outward()
    sites, tendons = zonule(stiffness)
    world = sites + "".join(f'<body {place(start[:, n])}>{MASS}{XY}<site name="n{n}"/></body>' for n in range(STATIONS))
    half = np.sin(np.pi / STATIONS)
    pull = stiffness * STRETCH / STATIONS / (2 * half)  # of the equator, that balances the healthy zonule
    free = 2 * RADIUS * half / (1 + pull / (SHARP.hoop_stiffness_mn * (1 + SHARP.slack_resistance)))
    taut = SHARP.hoop_stiffness_mn / free
    for n in range(STATIONS):
        after = f"n{(n + 1) % STATIONS}"
        tendons += tendon(f"n{n}", after, taut, (0.0, free))
        tendons += tendon(f"n{n}", after, taut * SHARP.slack_resistance, (free, free))
    force = np.zeros((STATIONS, 2))
    force[STATIONS // 2 - 2 : STATIONS // 2 + 2, 1] = -0.25  # 1 mN, over the clock hour of 6
    theirs = start + let_go(world, tendons, force.ravel(), 0.02).reshape(-1, 2).T
    assert ours.state == "held"
    assert np.abs(theirs - start).max() > 1
    assert np.abs(theirs - ours.outline_mm).max() < 1e-6


@pytest.mark.parametrize(("right", "up", "torque"), [(0.0, 0.0, 0.0), (0.4, -0.3, 0.0), (0.5, 0.2, 2.0)])
def test_rigid_bag_with_two_hours_lost(right: float, up: float, torque: float) -> None:
    one = bag(lost(0, 1), contents="lens", rim=None)
    ours = disc.equilibrium(
        support=one.support,
        load_x_mn=right,
        load_y_mn=up,
        torque_mn_mm=torque,
        parameters=one.springs,
        fibres_per_hour=4,
    )
    sites, tendons = zonule(LOW)
    rim = "".join(f'<site name="n{n}" {place(RADIUS * outward()[:, n])}/>' for n in range(STATIONS))
    turn = '<joint type="hinge" axis="0 0 1"/>'
    theirs = let_go(f"{sites}<body>{MASS}{XY}{turn}{rim}</body>", tendons, np.array([right, up, torque]), 0.05)
    assert ours.state == "held"
    assert float(ours.displacement_mm) > 0.05
    assert theirs == pytest.approx([float(ours.x_mm), float(ours.y_mm), float(ours.rotation_rad)], abs=1e-7)

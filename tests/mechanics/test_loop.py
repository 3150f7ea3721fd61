"""The flexible loop against finite differences, ring theory, boundary-value solutions and the rigid table."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from forestay.mechanics.banded import dense_matrix
from forestay.mechanics.loop import LoopState, solve, station_clocks, station_directions
from forestay.mechanics.loop_assembly import Assembly, Chain, Hoop, Springs, strain_at, toe_law

STIFF = 1e5  # hoop stiffness of a ring that does not stretch, in units of its bending stiffness / R^2


def circle(stations: int, radius: float, offset: float = 0.0) -> np.ndarray:
    """Stations clockwise from the top; ``offset`` in spacings."""
    angle = np.pi / 2 - 2 * np.pi * (np.arange(stations) + offset) / stations
    return radius * np.stack([np.cos(angle), np.sin(angle)])


def no_springs() -> Springs:
    return Springs(np.zeros(0, dtype=np.int64), np.zeros((2, 0)), np.zeros(0), np.zeros(0))


def ring(at: np.ndarray, bending: float, **more: Any) -> Chain:
    """A closed ring of bending stiffness ``bending`` that does not stretch, free of stress as it stands."""
    stations = at.shape[1]
    spacing = float(np.hypot(*(at[:, 1] - at[:, 0])))
    radius = float(np.hypot(*at[:, 0]))
    hoop = Hoop(STIFF * bending / radius**2, 0.01, 1e-3, spacing, spacing, np.ones(stations))
    values: dict[str, Any] = {
        "springs": no_springs(),
        "bending_mn_mm": np.full(stations, bending / spacing),
        "free_turn_rad": -2 * np.pi / stations,
        "force_mn": np.zeros((2, stations)),
        "torque_mn_mm": 0.0,
    }
    return Chain(hoop=hoop, **{**values, **more})


def two_pulls(stations: int, force: float) -> tuple[Chain, np.ndarray]:
    """Unit ring pulled outwards at top and bottom."""
    at = circle(stations, 1.0)
    load = np.zeros((2, stations))
    load[1, 0], load[1, stations // 2] = force, -force
    return ring(at, 1.0, force_mn=load), at


# ---------------------------------------------------------------- derivatives


def _anything(seed: int) -> tuple[Chain, np.ndarray]:
    draw = np.random.default_rng(seed)
    at = circle(24, 5.0, 0.5)
    anchors = circle(24, 6.5, 0.5)
    spacing = float(np.hypot(*(at[:, 1] - at[:, 0])))
    covered = draw.uniform(0, 1, 24)
    chain = Chain(
        hoop=Hoop(150.0, 0.01, 1e-3, spacing / 1.005, spacing / 1.002, covered),
        springs=Springs(np.arange(24), anchors, draw.uniform(0, 1, 24), np.full(24, 1.3)),
        bending_mn_mm=covered * 213 / spacing,
        free_turn_rad=-0.2,
        force_mn=draw.normal(size=(2, 24)),
        torque_mn_mm=3.0,
    )
    return chain, at + 0.05 * draw.normal(size=at.shape)


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_gradient_and_hessian_equal_central_differences(seed: int) -> None:
    # accepted: relative error 1e-8 of the gradient, 1e-7 of the Hessian
    chain, at = _anything(seed)
    assembly = Assembly(chain)
    gradient, blocks = assembly.derivatives(at)
    matrix = dense_matrix(*blocks.pairs())
    step, slope, curve = 1e-5, np.zeros_like(at), np.zeros_like(matrix)
    for station in range(24):
        for row in range(2):
            up, down = at.copy(), at.copy()
            up[row, station] += step
            down[row, station] -= step
            slope[row, station] = (assembly.energy(up) - assembly.energy(down)) / (2 * step)
            change = (assembly.derivatives(up)[0] - assembly.derivatives(down)[0]) / (2 * step)
            curve[:, 2 * station + row] = change.T.ravel()
    assert np.abs(slope - gradient).max() <= 1e-8 * np.abs(gradient).max()
    assert np.abs(curve - matrix).max() <= 1e-7 * np.abs(matrix).max()
    assert np.abs(matrix - matrix.T).max() <= 1e-14 * np.abs(matrix).max()


def test_toe_law_is_the_slope_of_its_energy_and_is_inverted() -> None:
    strain = np.linspace(-0.05, 0.05, 41)
    step = 1e-6
    tension, _, slope = toe_law(strain, 0.01, 1e-3)
    up, down = toe_law(strain + step, 0.01, 1e-3), toe_law(strain - step, 0.01, 1e-3)
    assert (up[1] - down[1]) / (2 * step) == pytest.approx(tension, abs=1e-9)
    smooth = (np.abs(strain) > 2 * step) & (np.abs(strain - 0.01) > 2 * step)
    assert ((up[0] - down[0]) / (2 * step))[smooth] == pytest.approx(np.minimum(slope, 1.001)[smooth], abs=1e-7)
    for one, pull in zip(strain, tension, strict=True):
        if one >= 0:
            assert strain_at(float(pull), 0.01, 1e-3) == pytest.approx(one, abs=1e-12)


# ---------------------------------------------------------------- rings of the handbooks


def _roark_errors(stations: int) -> tuple[float, float]:
    """Relative errors of growth along the pull and shortening across, at a small pull."""
    chain, at = two_pulls(stations, 1e-3)
    found = solve(chain, start_mm=at, force_scale_mn=1e-3)
    assert found.converged
    along = found.at_mm[1, 0] - found.at_mm[1, stations // 2] - 2
    across = 2 - (found.at_mm[0, stations // 4] - found.at_mm[0, 3 * stations // 4])
    # Roark, thin closed ring under two opposite loads W: (pi/4 - 2/pi) and (2/pi - 1/2) times W R^3 / EI
    return abs(along / 1e-3 / 0.148779 - 1), abs(across / 1e-3 / 0.136620 - 1)


def test_closed_ring_under_two_loads_and_its_convergence() -> None:
    coarse, fine = _roark_errors(72), _roark_errors(144)
    assert max(fine) <= 3e-3
    assert coarse[0] / fine[0] >= 3


def _elastica(force: float) -> float:
    """Half-width of the unit ring under two outward pulls ``force``, inextensible, by scipy.solve_bvp.

    A quarter from the top (s = 0) to the side: theta' = -1 + m, m' = (W/2) cos theta, x' = cos theta.
    """

    def rod(_: np.ndarray, y: np.ndarray) -> np.ndarray:
        return np.stack([-1 + y[1], 0.5 * force * np.cos(y[0]), np.cos(y[0])])

    def ends(start: np.ndarray, stop: np.ndarray) -> np.ndarray:
        return np.array([start[0], stop[0] + np.pi / 2, start[2]])

    s = np.linspace(0, np.pi / 2, 60)
    found = solve_bvp(rod, ends, s, np.stack([-s, 0 * s, np.sin(s)]), tol=1e-9)
    assert found.success
    return float(found.y[2, -1])


@pytest.mark.parametrize(("force", "accepted"), [(1.0, 2e-4), (2.0, 5e-4), (4.0, 2e-3)])
def test_large_pulls_on_a_ring(force: float, accepted: float) -> None:
    chain, at = two_pulls(144, force)
    found = solve(chain, start_mm=at, force_scale_mn=force)
    assert found.converged
    half_width = (found.at_mm[0, 36] - found.at_mm[0, 108]) / 2  # nothing keeps the free ring from drifting sideways
    assert half_width == pytest.approx(_elastica(force), rel=accepted)


@pytest.mark.parametrize(("spring", "bending"), [(0.8162, 213.3), (4.5501, 1189.1)])
def test_open_ring_has_the_spring_constant_of_the_split_ring(spring: float, bending: float) -> None:
    # k = 2 EI / (pi R^3), R = 5.5, squeezed at right angles to the gap; EI as printed beside the published constants
    stations, force = 144, 0.01
    at = circle(stations, 5.5, 0.5)
    load = np.zeros((2, stations))
    quarter = stations // 4
    load[0, [quarter - 1, quarter]] = -force / 2
    load[0, [3 * quarter - 1, 3 * quarter]] = force / 2
    chain = ring(at, bending, force_mn=load)
    stiff, covered = chain.bending_mn_mm.copy(), np.ones(stations)
    stiff[[0, -1]] = 0  # the ends bear no moment,
    covered[-1] = 0  # and nothing joins them: the segment between them is slack
    free = Hoop(
        chain.hoop.stiffness_mn, 0.01, 0.0, 2 * chain.hoop.rest_length_mm, chain.hoop.bilateral_length_mm, covered
    )
    # a squeezed free ring turns round: long tight guides, up and down, at one station beside each load
    where = np.array([quarter, quarter, 3 * quarter - 1, 3 * quarter - 1])
    anchors = at[:, where] + 1e5 * np.array([[0, 0, 0, 0], [1, -1, 1, -1]])
    guides = Springs(where, anchors, np.ones(4), np.full(4, 1e5 - 0.1))
    chain = Chain(free, guides, stiff, chain.free_turn_rad, load, 0.0)
    found = solve(chain, start_mm=at, force_scale_mn=force)
    assert found.converged
    width = at[0, quarter] - at[0, 3 * quarter] - (found.at_mm[0, quarter] - found.at_mm[0, 3 * quarter])
    assert force / width == pytest.approx(spring, rel=2e-3)


def _on_foundation(stations: int, radius: float, per_mm2: float, force: float, bending: float) -> np.ndarray:
    """Outward displacement per force at the load, 90 degrees away and opposite: ring on radial springs that bear both
    ways (each a pair of long, tightly stretched ones, so that they stay radial and never go slack)."""
    at = circle(stations, radius)
    outward = at / radius
    far, tight = 1e3 * radius, 0.01 * radius
    per_station = per_mm2 * 2 * np.pi * radius / stations
    station = np.tile(np.arange(stations), 2)
    anchors = np.concatenate([at + far * outward, at - far * outward], axis=1)
    pairs = Springs(station, anchors, np.full(2 * stations, per_station / 2), np.full(2 * stations, far - tight))
    load = np.zeros((2, stations))
    load[1, 0] = force
    found = solve(ring(at, bending, springs=pairs, force_mn=load), start_mm=at, force_scale_mn=force)
    assert found.converged
    moved = ((found.at_mm - at) * outward).sum(axis=0) / force
    return moved[[0, stations // 4, stations // 2]]


# Hetenyi 1946, closed inextensible ring on radial springs k (mN per mm2), one outward load; series and closed form
# agree: stations, R, k, EI, force, displacement per force at the load, at 90 degrees, opposite
FOUNDATION = [
    (144, 1.0, 1.0, 1.0, 1e-3, (0.35765, -0.030624, -0.290348)),
    (288, 1.0, 8.0, 1.0, 1e-3, (0.065495, None, None)),
    (288, 1.0, 100.0, 1.0, 1e-3, (0.010118, None, None)),
    (144, 5.1, 0.44314, 213.3, 1e-2, (0.16452, -0.01828, -0.12421)),
    (144, 5.1, 0.44314, 1189.1, 1e-2, (0.14553, -0.00370, -0.13744)),
]


@pytest.mark.parametrize("case", FOUNDATION)
def test_ring_on_an_elastic_foundation(case: tuple[Any, ...]) -> None:
    stations, radius, per_mm2, bending, force, expected = case
    found = _on_foundation(stations, radius, per_mm2, force, bending)
    for value, printed in zip(found, expected, strict=True):
        if printed is not None:
            assert value == pytest.approx(printed, rel=1e-3, abs=2e-5)


# ---------------------------------------------------------------- bag


def bag(support: np.ndarray, stations: int, stiffness: float, hoop: float, bending: float) -> tuple[Chain, np.ndarray]:
    """Equator of radius 5 on fibres of 1.5 mm, 0.2 mm of it stretch; ``support`` by station."""
    at = circle(stations, 5.0, 0.5)
    spacing = 10 * np.sin(np.pi / stations)
    pull = stiffness * 0.2 / stations / (2 * np.sin(np.pi / stations))
    covered = np.full(stations, 1.0 if bending else 0.0)
    law = Hoop(
        hoop, 0.01, 1e-3, spacing / (1 + strain_at(pull / hoop, 0.01, 1e-3)), spacing / (1 + pull / hoop), covered
    )
    fibres = Springs(np.arange(stations), 1.3 * at, support * stiffness / stations, np.full(stations, 1.3))
    return Chain(law, fibres, np.full(stations, bending / spacing), 0.0, np.zeros((2, stations)), 0.0), at


def solved(chain: Chain, at: np.ndarray) -> tuple[LoopState, np.ndarray]:
    found = solve(chain, start_mm=at, force_scale_mn=1.0)
    assert found.converged
    stretch = Assembly(chain).spring_stretch(found.at_mm) * (chain.springs.stiffness_mn_per_mm > 0)
    return found, stretch


@pytest.mark.parametrize(
    ("count", "displacement", "beside", "lowest"),
    # the table of the rigid disc (see test_disc), here by a very stiff loop on twelve fibres
    [
        (1, 0.172, 1.150, 0.828),
        (2, 0.394, 1.283, 0.620),
        (3, 0.653, 1.347, 0.347),
        (4, 0.916, 1.288, 0.119),
        (5, 1.204, 1.096, 0.0),
        (6, 1.941, 0.744, 0.0),
    ],
)
def test_a_very_stiff_ring_is_the_rigid_disc(count: int, displacement: float, beside: float, lowest: float) -> None:
    at = circle(72, 5.0)
    hours = np.arange(0, 72, 6)
    share = (np.arange(12) >= count).astype(float)
    fibres = Springs(hours, 1.3 * at[:, hours], share * 10.6 / 12, np.full(12, 1.3))
    found = solve(ring(at, 1e6, springs=fibres), start_mm=at, force_scale_mn=2.12)
    assert found.converged
    load = Assembly(ring(at, 1e6, springs=fibres)).spring_stretch(found.at_mm) / 0.2
    assert np.hypot(*found.centre_mm) / 0.2 == pytest.approx(displacement, abs=0.001)
    assert load[count] == pytest.approx(beside, abs=0.001)
    assert load[share > 0].min() == pytest.approx(lowest, abs=0.001)


def _ring_with_gap() -> tuple[float, float, float]:
    """Inextensible ring (EI 213.3 mN mm2, R 5) on a tension-only foundation of 10.6 mN/mm, three clock hours lost at
    the top, by scipy.solve_bvp on the half from top to bottom: mean height, height of the bottom, stretch at the gap.

    States theta, m, x, y, nx, ny on the gap's part and on the rest, each on its own unit interval.
    """
    radius, bending, edge = 5.0, 213.3, np.pi / 4
    per_mm = 10.6 / (2 * np.pi * radius)
    spans = (edge * radius, (np.pi - edge) * radius)

    def part(y: np.ndarray, angle: np.ndarray, share: float) -> np.ndarray:
        reach_x, reach_y = y[2] - 6.5 * np.sin(angle), y[3] - 6.5 * np.cos(angle)
        length = np.hypot(reach_x, reach_y)
        pull = share * per_mm * np.maximum(length - 1.3, 0) / length
        moment = -(np.cos(y[0]) * y[5] - np.sin(y[0]) * y[4])
        return np.stack(
            [y[1] / bending - 1 / radius, moment, np.cos(y[0]), np.sin(y[0]), pull * reach_x, pull * reach_y]
        )

    def rod(t: np.ndarray, y: np.ndarray) -> np.ndarray:
        gap = part(y[:6], t * edge, 0.0) * spans[0]
        rest = part(y[6:], edge + t * (np.pi - edge), 1.0) * spans[1]
        return np.concatenate([gap, rest])

    def ends(start: np.ndarray, stop: np.ndarray) -> np.ndarray:
        outer = [start[0], start[2], start[5], stop[6] + np.pi, stop[8], stop[11]]
        return np.concatenate([outer, stop[:6] - start[6:]])

    t = np.linspace(0, 1, 80)
    guess = [
        np.stack([-a, 0 * a, radius * np.sin(a), radius * np.cos(a), 0 * a, 0 * a])
        for a in (t * edge, edge + t * (np.pi - edge))
    ]
    found = solve_bvp(rod, ends, t, np.concatenate(guess), tol=1e-8, max_nodes=20000)
    assert found.success
    fine = np.linspace(0, 1, 2001)
    y = found.sol(fine)
    mean = (np.trapezoid(y[3], fine) * spans[0] + np.trapezoid(y[9], fine) * spans[1]) / (np.pi * radius)
    stretch = np.hypot(y[8, 0] - 6.5 * np.sin(edge), y[9, 0] - 6.5 * np.cos(edge)) - 1.3
    return float(mean), float(y[9, -1]), float(stretch)


def test_ring_with_a_gap_against_a_boundary_value_solution() -> None:
    centre, far, stretch = _ring_with_gap()
    # printed when the model was tried: centre -0.13310, far point -5.12320, peak fibre stretch 0.2967
    assert (centre, far, stretch) == pytest.approx((-0.13310, -5.12320, 0.2967), abs=1e-4)
    hour = np.mod(np.floor(station_clocks(144) + 0.5), 12)
    chain, at = bag((~np.isin(hour, [11, 0, 1])).astype(float), 144, 10.6, 1e6, 213.3)
    found, _ = solved(chain, at)
    assert found.centre_mm[1] == pytest.approx(centre, abs=5e-4)
    assert found.at_mm[1].min() == pytest.approx(far, abs=2e-3)  # no station lies at the very bottom


# Two lists printed when the model was tried (loop of 72 stations, gap of 6 m - 1 stations): ring bending stiffness,
# lost hours, decentration, peak and lowest fibre stretch (of resting). An independent program.
TRIED = [
    (0.0, 2, 0.219, 2.15, 0.65),
    (0.0, 3, 0.517, 1.61, 0.31),
    (213.3, 2, 0.088, 1.57, 0.79),
    (213.3, 3, 0.164, 1.75, 0.59),
    (213.3, 4, 0.245, 1.73, 0.35),
    (213.3, 5, 0.313, 1.55, 0.10),
    (1189.1, 2, 0.077, 1.45, 0.74),
    (1189.1, 3, 0.140, 1.65, 0.51),
    (1189.1, 4, 0.211, 1.74, 0.25),
    (1189.1, 5, 0.280, 1.67, 0.00),
]


@pytest.mark.parametrize(("bending", "count", "displacement", "peak", "lowest"), TRIED)
def test_an_independent_program_gave_the_same(
    bending: float, count: int, displacement: float, peak: float, lowest: float
) -> None:
    support = (np.arange(72) >= 6 * count - 1).astype(float)
    chain, at = bag(support, 72, 84.8, 150.0, bending)
    found, stretch = solved(chain, at)
    assert np.hypot(*found.centre_mm) == pytest.approx(displacement, abs=0.003)
    assert stretch.max() / 0.2 == pytest.approx(peak, rel=0.01)  # its toe is not printed to the digit
    assert stretch[support > 0].min() / 0.2 == pytest.approx(lowest, abs=0.011)


def test_forces_on_the_bag_balance() -> None:
    # accepted: 1e-3 mN; the zonule's pulls must cancel the load, since ring and hoop are inner forces
    support = np.random.default_rng(4).uniform(0.2, 1, 144)
    chain, at = bag(support, 144, 84.8, 150.0, 213.3)
    chain.force_mn[:, 10:20] = 0.3
    found, stretch = solved(chain, at)
    reach = chain.springs.anchor_mm - found.at_mm
    pulls = (stretch * chain.springs.stiffness_mn_per_mm * reach / np.hypot(*reach)).sum(axis=1)
    assert pulls + chain.force_mn.sum(axis=1) == pytest.approx((0, 0), abs=1e-6)


def test_symmetric_bag_stays_symmetric() -> None:
    # accepted: mirror difference of the pulls below 1e-6 mN
    hour = np.mod(np.floor(station_clocks(144) + 0.5), 12)
    for bending in (0.0, 213.3):
        chain, at = bag((~np.isin(hour, [11, 0, 1])).astype(float), 144, 84.8, 150.0, bending)
        _, stretch = solved(chain, at)
        pull = stretch * chain.springs.stiffness_mn_per_mm
        assert pull == pytest.approx(pull[::-1], abs=1e-6)


def test_a_turning_load_turns_like_the_rigid_disc() -> None:
    # printed for the rigid bag at 10 mN mm: 7.47 degrees; a stiff ring on 144 fibres must do the same
    chain, at = bag(np.ones(144), 144, 10.6, 1e6, 1e6)
    turned = Chain(chain.hoop, chain.springs, chain.bending_mn_mm, 0.0, chain.force_mn, 10.0)
    found, _ = solved(turned, at)
    angle = np.degrees(np.arctan2(*found.at_mm[::-1]) - np.arctan2(*at[::-1]))
    assert np.mod(angle + 180, 360) - 180 == pytest.approx(np.full(144, 7.47), abs=0.02)


@pytest.mark.parametrize("stations", [24, 72, 144, 288])
def test_stations_are_their_own_mirror_image_to_the_last_bit(stations: int) -> None:
    x, y = station_directions(stations)
    assert np.array_equal(x, -x[::-1])
    assert np.array_equal(y, y[::-1])
    assert np.stack([x, y]) == pytest.approx(circle(stations, 1.0, 0.5), abs=1e-14)


def test_a_chain_that_finds_no_rest_says_so() -> None:
    # a free ring under one dead load runs away: the answer ends, finite, and is marked as not at rest
    at = circle(24, 1.0)
    load = np.zeros((2, 24))
    load[1, 0] = 1.0
    found = solve(ring(at, 1.0, force_mn=load), start_mm=at, force_scale_mn=1.0)
    assert not found.converged
    assert found.residual_mn > 1e-3
    assert np.isfinite(found.at_mm).all()

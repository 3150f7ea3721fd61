"""Exact rays against optiland (a general-purpose optics package), against textbook lenses, and against a general solver."""

from __future__ import annotations

from typing import get_args

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from forestay.calc.biometry import ROWS, EyeName, schematic_eye
from forestay.evidence import default_evidence
from forestay.optics import ray_fast, ray_trace, schematic
from forestay.optics.ray_surface import GradientMedium, Surface, Train, conic, schematic_train, spin, tip
from forestay.optics.ray_trace import Rays, directed, losses, trace
from forestay.optics.schematic import SchematicEye
from tests.optics import reference_rays as reference

EYES = get_args(EyeName)


def eye(name: str) -> SchematicEye:
    return schematic_eye(default_evidence()[ROWS[name]].value)  # type: ignore[index, arg-type]


def beam(half_mm: float = 2.5, count: int = 40, *, slope: float = 0.0) -> Rays:
    """Rays in front of an eye, none of them in a plane of symmetry."""
    turn = np.arange(count) * 2.4
    radius = half_mm * np.sqrt((np.arange(count) + 0.5) / count)
    return directed(at_mm=(radius * np.cos(turn), radius * np.sin(turn), -1.0), slope_x=slope, slope_y=-0.5 * slope)


def displaced(train: Train) -> Train:
    """The last two surfaces (the lens) off the axis and tilted."""
    names = frozenset(s.name for s in train.surfaces[-2:])
    depth = float(train.surfaces[-2].vertex_mm[2]) + 2.0
    return train.moved(
        names, shift_mm=(0.4, -0.25, 0.3), turn=tip(tilt_deg=8.0, toward_deg=205.0), about_mm=(0, 0, depth)
    )


# --------------------------------------------------------------------------------------- the reference package


@pytest.mark.parametrize("name", [n for n in EYES if n != "liou-brennan"])
@pytest.mark.parametrize("slope", [0.0, 0.08])
def test_conic_eyes_agree_with_optiland_ray_by_ray(name: str, slope: float) -> None:
    train = schematic_train(eye(name))
    rays = beam(slope=slope)
    point, direction = reference.traced(reference.optic(train, image_mm=24.0), rays)
    ours = trace(train, rays)
    x, y = ours.on_plane(depth_mm=24.0)
    assert np.abs(np.array([x, y]) - point[:2]).max() < 1e-12
    assert np.abs(ours.along - direction).max() < 1e-13


def test_a_displaced_and_tilted_lens_agrees_with_optiland() -> None:
    train = displaced(schematic_train(eye("navarro")))
    rays = beam()
    point, direction = reference.traced(reference.optic(train, image_mm=24.0), rays)
    ours = trace(train, rays)
    x, y = ours.on_plane(depth_mm=24.0)
    assert np.abs(np.array([x, y]) - point[:2]).max() < 1e-12
    assert np.abs(ours.along - direction).max() < 1e-13


def test_an_astigmatic_turned_surface_agrees_with_optiland() -> None:
    # with k = 0 the surface is the elliptic paraboloid, which optiland's biconic of conics -1 is too
    front = Surface("front", 1 / 7.5, 1 / 7.9, 0.0, (0.0, 0.0, 0.0), 1.376, turn=spin(meridian_deg=30.0))
    back = conic(name="back", curvature_per_mm=1 / 6.4, asphericity=-0.6, depth_mm=0.5, behind=1.336)
    train = Train((front, back), 1.0)
    rays = beam()
    # at this surface optiland searches and stops a few 1e-9 short; the next test holds it to rounding
    point, direction = reference.traced(reference.optic(train, image_mm=1.5), rays)
    ours = trace(train, rays)
    x, y = ours.on_plane(depth_mm=1.5)
    assert np.abs(np.array([x, y]) - point[:2]).max() < 1e-8
    assert np.abs(ours.along - direction).max() < 1e-8


def test_an_astigmatic_ellipsoid_against_a_root_finder_and_snells_law() -> None:
    cx, cy, k, n = 1 / 7.5, 1 / 7.9, 0.82 / 7.7, 1.376
    rays = beam(slope=0.1)
    out = trace(Train((Surface("front", cx, cy, k, (0.0, 0.0, 0.0), n),), 1.0), rays)

    def off(point: np.ndarray) -> float:
        x, y, z = point
        return float(cx * x * x + cy * y * y + k * z * z - 2 * z)

    for i in range(rays.at_mm.shape[1]):
        start, way = rays.at_mm[:, i], rays.along[:, i]
        reach = brentq(lambda s, p=start, d=way: off(p + s * d), 0.0, 3.0, xtol=1e-15)
        met = start + reach * way
        normal = np.array([cx * met[0], cy * met[1], k * met[2] - 1])
        normal /= np.linalg.norm(normal)
        assert np.abs(out.at_mm[:, i] - met).max() < 1e-13
        # the tangential part of n d is kept, and the ray goes on
        kept = np.cross(normal, n * out.along[:, i]) - np.cross(normal, way)
        assert np.abs(kept).max() < 1e-14
        assert np.linalg.norm(out.along[:, i]) == pytest.approx(1, abs=1e-14)
        assert (out.along[:, i] @ normal) * (way @ normal) > 0


# --------------------------------------------------------------------------------------- textbook surfaces


def test_an_ellipsoid_has_one_sharp_focus() -> None:
    # Descartes: parallel light through an ellipsoid of Q = -1/n^2 meets in one point, n R / (n - 1) behind its vertex
    lens = conic(name="ellipsoid", curvature_per_mm=1 / 7.8, asphericity=-1 / 1.336**2, depth_mm=0.0, behind=1.336)
    x, y = trace(Train((lens,), 1.0), beam(5.0)).on_plane(depth_mm=1.336 * 7.8 / 0.336)
    assert np.hypot(x, y).max() < 1e-12


def test_a_hyperboloid_behind_glass_has_one_sharp_focus() -> None:
    # Descartes again, from glass into air: Q = -n^2, focus R / (n - 1) behind; the surface is convex backwards
    lens = conic(name="hyperboloid", curvature_per_mm=-1 / 9.0, asphericity=-(1.5**2), depth_mm=0.0, behind=1.0)
    x, y = trace(Train((lens,), 1.5), beam(4.0)).on_plane(depth_mm=9.0 / 0.5)
    assert np.hypot(x, y).max() < 1e-11


def test_a_sphere_has_aplanatic_points() -> None:
    # Huygens: rays that aim at n R behind the centre of a sphere leave it as from R / n, for every aperture
    radius, n = 8.0, 1.5
    sphere = conic(name="sphere", curvature_per_mm=1 / radius, asphericity=0.0, depth_mm=0.0, behind=n)
    target = radius * (1 + n)
    height = np.array([0.5, 2.0, 4.0])
    rays = directed(at_mm=(height, 0.0, -2.0), slope_x=-height / (target + 2.0), slope_y=0.0)
    x, _ = trace(Train((sphere,), 1.0), rays).on_plane(depth_mm=radius * (1 + 1 / n))
    assert np.abs(x).max() < 1e-12


def test_a_plane_follows_snell() -> None:
    plane = conic(name="plane", curvature_per_mm=0.0, asphericity=0.0, depth_mm=3.0, behind=1.5)
    out = trace(Train((plane,), 1.0), directed(at_mm=(0.0, 0.0, 0.0), slope_x=np.tan(np.radians(40.0)), slope_y=0.0))
    assert float(out.along[0]) == pytest.approx(np.sin(np.radians(40.0)) / 1.5, abs=1e-15)
    assert float(out.at_mm[0]) == pytest.approx(3 * np.tan(np.radians(40.0)), abs=1e-14)


# --------------------------------------------------------------------------------------- properties of the trace


@pytest.mark.parametrize("name", EYES)
def test_light_runs_back_on_its_own_path(name: str) -> None:
    train = displaced(schematic_train(eye(name))) if name == "navarro" else schematic_train(eye(name))
    rays = beam()
    there = trace(train, rays)
    back = trace(train, Rays(there.at_mm, -there.along))
    x, y = back.on_plane(depth_mm=-1.0)
    assert np.abs(back.along + rays.along).max() < 1e-11
    assert np.abs(np.array([x, y]) - rays.at_mm[:2]).max() < 1e-11


@pytest.mark.parametrize("name", EYES)
def test_skew_is_kept_in_an_eye_of_revolution(name: str) -> None:
    # n (x d_y - y d_x) is constant along a ray of a system of revolution, gradients included
    rays = beam(slope=0.05)
    out = trace(schematic_train(eye(name)), rays)
    before = rays.at_mm[0] * rays.along[1] - rays.at_mm[1] * rays.along[0]
    after = 1.336 * (out.at_mm[0] * out.along[1] - out.at_mm[1] * out.along[0])
    behind = eye(name).indices[-1]
    assert np.abs(after * behind / 1.336 - before).max() < 1e-10


@pytest.mark.parametrize("name", EYES)
def test_rays_near_the_axis_meet_at_the_paraxial_length(name: str) -> None:
    given = eye(name)
    out = trace(schematic_train(given), directed(at_mm=(1e-4, 0.0, -1.0), slope_x=0.0, slope_y=0.0))
    focus = out.at_mm[2] - out.at_mm[0] * out.along[2] / out.along[0]
    assert float(focus) == pytest.approx(schematic.cardinal(given, steps=4000).paraxial_length_mm, abs=1e-8)


def test_draws_stand_on_the_last_axis_and_say_the_same_as_one_by_one() -> None:
    radii = np.array([7.4, 7.8, 8.2])
    rays = beam(count=7)
    many = Rays(rays.at_mm[..., None], rays.along[..., None])

    def cornea(curvature: float | np.ndarray) -> Train:
        front = conic(name="front", curvature_per_mm=curvature, asphericity=-0.2, depth_mm=0.0, behind=1.376)
        return Train(
            (front, conic(name="back", curvature_per_mm=1.1 * curvature, asphericity=0, depth_mm=0.5, behind=1.336)),
            1.0,
        )

    together = trace(cornea(1 / radii), many).along
    assert together.shape == (3, 7, 3)
    for i, radius in enumerate(radii):
        assert np.abs(together[..., i] - trace(cornea(1 / float(radius)), rays).along).max() < 1e-15


def test_draws_of_tilt_say_the_same_as_one_by_one() -> None:
    train = schematic_train(eye("navarro"))
    names = frozenset(s.name for s in train.surfaces[-2:])
    tilts = np.array([0.0, 5.0, 12.0])
    rays = beam(count=5)
    many = Rays(rays.at_mm[..., None], rays.along[..., None])

    def tilted(tilt: float | np.ndarray) -> Train:
        return train.moved(
            names, shift_mm=(0.1, 0.0, 0.0), turn=tip(tilt_deg=tilt, toward_deg=70.0), about_mm=(0, 0, 5.6)
        )

    together = trace(tilted(tilts), many).along
    for i, tilt in enumerate(tilts):
        assert np.abs(together[..., i] - trace(tilted(float(tilt)), rays).along).max() < 1e-14


# --------------------------------------------------------------------------------------- lost rays


def test_a_lost_ray_carries_surface_reason_and_point() -> None:
    ball = conic(name="ball", curvature_per_mm=1 / 4.0, asphericity=0.0, depth_mm=1.0, behind=1.5)
    glass = conic(name="way out", curvature_per_mm=0.0, asphericity=0.0, depth_mm=9.0, behind=1.0, clear_radius_mm=0.5)
    train = Train((ball, glass), 1.0)
    rays = directed(at_mm=(np.array([0.1, 4.5, 2.0, 3.99]), 0.0, 0.0), slope_x=0.0, slope_y=0.0)
    out = trace(train, rays)
    assert np.isfinite(out.along[2]).tolist() == [True, False, False, False]
    found = {loss.ray: loss for loss in losses(train, rays)}
    assert (found[1].surface, found[1].reason, found[1].at_mm) == ("ball", "misses", (4.5, 0.0, 0.0))
    assert (found[2].surface, found[2].reason) == ("way out", "beside")
    assert found[2].at_mm[2] == pytest.approx(9.0)
    assert found[2].at_mm[0] > 0.5
    assert 0 not in found


def test_total_reflection_is_told_from_a_miss() -> None:
    out = conic(name="out", curvature_per_mm=0.0, asphericity=0.0, depth_mm=1.0, behind=1.0)
    rays = directed(at_mm=(0.0, 0.0, 0.0), slope_x=np.array([0.5, 2.0]), slope_y=0.0)
    (loss,) = losses(Train((out,), 1.5), rays)  # the critical angle of 1.5 is 41.8 degrees, slope 0.894
    assert (loss.ray, loss.reason) == (1, "totally-reflected")
    assert loss.at_mm == pytest.approx((2.0, 0.0, 1.0))


# --------------------------------------------------------------------------------------- gradients


def test_the_gradient_steps_are_of_fourth_order() -> None:
    train = schematic_train(eye("liou-brennan"))
    rays = beam()
    exact = trace(train, rays, gradient_steps=256).along
    errors = [np.abs(trace(train, rays, gradient_steps=n).along - exact).max() for n in (1, 2, 4)]
    assert np.log2(errors[0] / errors[1]) == pytest.approx(4, abs=0.3)
    assert np.log2(errors[1] / errors[2]) == pytest.approx(4, abs=0.3)
    assert np.abs(trace(train, rays).along - exact).max() < 1e-12


def test_a_gradient_agrees_with_a_general_solver_up_to_the_surface() -> None:
    train = schematic_train(eye("liou-brennan"))
    medium = train.surfaces[3].behind
    assert isinstance(medium, GradientMedium)
    last = train.surfaces[4]
    start = np.array([1.2, -0.7, medium.start_mm])
    way = np.array([-0.05, 0.08, 1.0]) / np.linalg.norm([-0.05, 0.08, 1.0])

    def right(_: float, state: np.ndarray) -> np.ndarray:
        x, y, z = state[:3]
        depth = z - medium.start_mm
        n = 1.407 - 0.006605 * depth**2 - 0.001978 * (x * x + y * y)
        return np.array([*state[3:], n * -0.003956 * x, n * -0.003956 * y, n * -0.01321 * depth])

    def reached(_: float, state: np.ndarray) -> float:
        x, y, z = state[:3]
        z = z - float(last.vertex_mm[2])
        return float((x * x + y * y) / -8.1 + 1.96 / -8.1 * z * z - 2 * z)

    reached.terminal = True  # type: ignore[attr-defined]
    n0 = 1.407 - 0.001978 * float(start[:2] @ start[:2])
    found = solve_ivp(right, (0, 5), [*start, *(n0 * way)], events=reached, rtol=1e-12, atol=1e-13, method="DOP853")
    end = found.y_events[0][0]
    sent = Rays(start.reshape(3, 1), way.reshape(3, 1))
    ours = trace(Train((last,), medium), sent)
    assert np.abs(ours.at_mm[:, 0] - end[:3]).max() < 1e-9


def test_the_gradient_eye_has_the_aberration_of_its_series() -> None:
    # between the conic eyes: below Navarro's, whose lens is uniform; both positive (edge of the pupil too strong)
    out = {}
    for name in ("navarro", "liou-brennan"):
        rays = directed(at_mm=(np.array([1e-3, 2.0]), 0.0, -1.0), slope_x=0.0, slope_y=0.0)
        ends = trace(schematic_train(eye(name)), rays)
        focus = ends.at_mm[2] - ends.at_mm[0] * ends.along[2] / ends.along[0]
        out[name] = float(focus[1] - focus[0])
    assert out["navarro"] < out["liou-brennan"] < 0


# --------------------------------------------------------------------------------------- compiled


def test_the_compiled_trace_says_the_same() -> None:
    trains = [schematic_train(eye("navarro")), displaced(schematic_train(eye("navarro")))]
    rays = beam()
    plain = [trace(t, rays) for t in trains] + [
        trace(trains[1], Rays(r.at_mm, -r.along)) for r in [trace(trains[1], rays)]
    ]
    wild = directed(at_mm=(np.array([0.5, 20.0]), 0.0, -1.0), slope_x=0.0, slope_y=0.0)
    assert ray_fast.start()
    try:
        assert ray_fast.in_use()
        quick = [trace(t, rays) for t in trains]
        quick.append(trace(trains[1], Rays(plain[1].at_mm, -plain[1].along)))
        lost = trace(trains[0], wild)
    finally:
        ray_fast.stop()
    for one, two in zip(plain, quick, strict=True):
        assert np.abs(one.along - two.along).max() < 1e-14
        assert np.abs(one.at_mm - two.at_mm).max() < 1e-13
    assert np.isfinite(lost.along[2]).tolist() == [True, False]


def test_without_the_compiler_numpy_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ray_fast, "COMPILER", "no_such_compiler")
    assert not ray_fast.start()
    assert not ray_fast.in_use()
    assert np.isfinite(ray_trace.trace(schematic_train(eye("le-grand")), beam()).along).all()

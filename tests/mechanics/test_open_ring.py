"""The elastic arc against split-ring theory and finite differences."""

from __future__ import annotations

import numpy as np
import pytest

from forestay.mechanics.open_ring import Arc, ArcAssembly


def bent(seed: int, base: int = 20) -> tuple[ArcAssembly, np.ndarray]:
    """An arc out of its free shape."""
    arc = Arc(length_mm=20.0, free_diameter_mm=13.0, bending_mn_mm2=213.3, points=41, knots=11, base=base)
    draw = np.random.default_rng(seed)
    return ArcAssembly(arc), draw.normal(size=arc.unknowns) * 0.1


@pytest.mark.parametrize("base", [0, 20, 40])
def test_points_follow_their_jacobian(base: int) -> None:
    assembly, at = bent(1, base)
    jacobian, step = assembly.jacobian(assembly.shape(at)), 1e-6
    for unknown in range(at.size):
        move = np.zeros_like(at)
        move[unknown] = step
        slope = (assembly.shape(at + move).points_mm - assembly.shape(at - move).points_mm) / (2 * step)
        assert pytest.approx(jacobian[:, :, unknown], abs=1e-8) == slope.T


@pytest.mark.parametrize("base", [0, 20])
def test_gradient_and_hessian_of_point_forces_equal_central_differences(base: int) -> None:
    assembly, at = bent(2, base)
    force = np.random.default_rng(3).normal(size=(2, 41))
    gradient, hessian = assembly.gradient(assembly.shape(at), force)
    jacobian = assembly.jacobian(assembly.shape(at))
    assert gradient == pytest.approx(np.einsum("dp,pdu->u", force, jacobian), abs=1e-10)
    step = 1e-6
    for unknown in range(at.size):
        move = np.zeros_like(at)
        move[unknown] = step
        up = assembly.gradient(assembly.shape(at + move), force)[0]
        down = assembly.gradient(assembly.shape(at - move), force)[0]
        assert (up - down) / (2 * step) == pytest.approx(hessian[:, unknown], abs=1e-6)


def test_free_arc_is_a_circle_without_energy() -> None:
    assembly, _ = bent(0)
    shape = assembly.shape(np.zeros(assembly.arc.unknowns))
    assert assembly.energy(np.zeros(assembly.arc.unknowns)) == 0
    # base at the origin, running to the right: the circle's centre lies a free radius below
    assert np.hypot(shape.points_mm[0], shape.points_mm[1] + 6.5) == pytest.approx(np.full(41, 6.5), abs=1e-9)


def test_laid_arc_lies_on_the_circle_with_the_energy_of_even_bending() -> None:
    assembly, _ = bent(0)
    at = assembly.laid(centre_mm=(0.3, -0.2), radius_mm=5.0, middle_rad=1.0)
    points = assembly.shape(at).points_mm
    assert np.hypot(points[0] - 0.3, points[1] + 0.2) == pytest.approx(np.full(41, 5.0), abs=2e-3)
    # E = EI/2 (1/R - 1/R_free)^2 L
    assert assembly.energy(at) == pytest.approx(0.5 * 213.3 * (1 / 5 - 1 / 6.5) ** 2 * 20, rel=1e-9)


def squeezed(bending: float, radius: float) -> float:
    """Force per squeeze [mN/mm] of a ring split at 12, pressed together between 3 and 9, for a small force."""
    arc = Arc(2 * np.pi * radius, 2 * radius, bending, 161, 81, 80)
    assembly = ArcAssembly(arc)
    rest = np.zeros(arc.unknowns)
    shape = assembly.shape(rest)
    force = np.zeros((2, 161))
    right, left = int(shape.points_mm[0].argmax()), int(shape.points_mm[0].argmin())
    force[0, right], force[0, left] = -1.0, 1.0
    gradient = assembly.gradient(shape, force)[0]
    moved = np.linalg.pinv(assembly.bending, rcond=1e-10) @ gradient
    change = assembly.jacobian(shape) @ moved
    return 1 / float(change[left, 0] - change[right, 0])


@pytest.mark.parametrize(
    ("bending", "printed"),
    # k = 2 EI / (pi R^3) at R = 5.5, by the unit-load method; EI of the softest and stiffest published ring
    # (doi:10.1016/j.jcrs.2003.12.031: 0.8162 and 4.5501 mN/mm), and of round wire of E 3000 MPa, d 0.20 and 0.30 mm
    # (EI = E pi d^4 / 64): 0.9016 and 4.564
    [
        (213.3, 0.8162),
        (1189.1, 4.5501),
        (3e6 * np.pi * 0.2**4 / 64, 0.9016),
        (3e6 * np.pi * 0.3**4 / 64, 4.564),
    ],
)
def test_split_ring_has_the_published_spring_constants(bending: float, printed: float) -> None:
    assert squeezed(bending, 5.5) == pytest.approx(printed, rel=2e-3)
    assert squeezed(bending, 5.5) == pytest.approx(2 * bending / (np.pi * 5.5**3), rel=2e-3)

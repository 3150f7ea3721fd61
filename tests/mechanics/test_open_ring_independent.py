"""The split and the closed ring against a general-purpose finite-element library.

Thin-ring theory as a beam on an arch: w is how far the ring moves outwards, by the angle. An arch that does not stretch
has the energy EI / (2 R^3) times the integral of (w'' + w)^2; cubic Hermite elements hold w and its slope. The engine
under test knows neither the elements nor the small-motion theory: it bends a line of points in the plane.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import skfem
from skfem.helpers import dd

from forestay.mechanics.loop import solve
from tests.mechanics.test_loop import two_pulls
from tests.mechanics.test_open_ring import squeezed

ELEMENTS = 64


class Arch:
    """Half or quarter of a ring of radius and bending stiffness 1, over the angle from 0 to ``end``."""

    def __init__(self, end: float) -> None:
        mesh = skfem.MeshLine(np.linspace(0, end, ELEMENTS + 1))
        self.basis = skfem.Basis(mesh, skfem.ElementLineHermite(), intorder=6)

        @skfem.BilinearForm
        def bending(one: Any, other: Any, _: Any) -> Any:
            return (dd(one)[0, 0] + one) * (dd(other)[0, 0] + other)

        @skfem.LinearForm
        def whole(one: Any, _: Any) -> Any:
            return 1.0 * one

        self.stiffness = bending.assemble(self.basis).toarray()
        self.whole = whole.assemble(self.basis)

    def at(self, share: float, what: str) -> int:
        """The unknown ``u`` (motion outwards) or ``u_x`` (its slope) at a node."""
        nodes = self.basis.get_dofs(lambda x: np.isclose(x[0], share * self.basis.mesh.p.max())).nodal
        return int(nodes[what][0])

    def rest(self, load: np.ndarray, fixed: list[int], *, closed: bool) -> np.ndarray:
        """Motion under a load, some unknowns held; of a ``closed`` ring the mean motion is nothing: it does not stretch."""
        rows = [np.eye(load.size)[one] for one in fixed] + ([self.whole] if closed else [])
        bound = np.array(rows)
        none = np.zeros((len(rows), len(rows)))
        matrix = np.block([[self.stiffness, bound.T], [bound, none]])
        return np.linalg.solve(matrix, np.concatenate([load, np.zeros(len(rows))]))[: load.size]


def test_closed_ring_between_two_pulls() -> None:
    arch = Arch(np.pi / 2)  # a quarter, from the load to the side
    top, side = arch.at(0, "u"), arch.at(1, "u")
    load = np.zeros(arch.stiffness.shape[0])
    load[top] = 0.5  # a quarter carries half of the load
    theirs = arch.rest(load, [arch.at(0, "u_x"), arch.at(1, "u_x")], closed=True)
    stations, pull = 144, 1e-3
    chain, start = two_pulls(stations, pull)
    found = solve(chain, start_mm=start, force_scale_mn=pull)
    assert found.converged
    moved = (found.at_mm - start) / pull
    assert moved[1, 0] == pytest.approx(theirs[top], rel=5e-3)
    assert moved[0, stations // 4] == pytest.approx(theirs[side], rel=5e-3)


@pytest.mark.parametrize(("bending", "radius"), [(213.3, 5.5), (1189.1, 5.5), (213.3, 6.5)])
def test_split_ring_squeezed_beside_its_gap(bending: float, radius: float) -> None:
    arch = Arch(np.pi)  # half a ring, from the gap to the point opposite, pressed inwards half-way
    side = arch.at(0.5, "u")
    load = np.zeros(arch.stiffness.shape[0])
    load[side] = -1.0
    theirs = arch.rest(load, [arch.at(1, "u"), arch.at(1, "u_x")], closed=False)
    shorter = -2 * theirs[side] * radius**3 / bending  # mm per mN
    assert squeezed(bending, radius) == pytest.approx(1 / shorter, rel=5e-3)

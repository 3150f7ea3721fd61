"""An open ring, or a piece of one, as an elastic arc that bends and does not stretch.

The arc is told by the place and direction of one of its points and by its curvature, which is linear between knots:

    theta(s) = theta_b + int kappa ds,    r(s) = r_b + int (cos theta, sin theta) ds,
    E = 1/2 EI int (kappa - kappa_free)^2 ds

so that it cannot stretch, its ends bear no moment by themselves, and few unknowns describe it well. It runs clockwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from forestay.mechanics.zonule import Floats

SIXTH = 1 / 6  # integral of the product of two neighbouring hats
POSE = 3  # unknowns of the point that carries the arc: right, up, direction


@dataclass(frozen=True)
class Arc:
    """One elastic arc. ``length_mm`` [mm]; ``free_diameter_mm`` [mm] outside the eye; ``bending_mn_mm2`` EI [mN mm2];
    ``points`` along it, ends included, where it can touch; ``knots`` of its curvature; ``base`` index of the point that
    carries it."""

    length_mm: float
    free_diameter_mm: float
    bending_mn_mm2: float
    points: int
    knots: int
    base: int

    @property
    def unknowns(self) -> int:
        """How many numbers tell its shape and place."""
        return POSE + self.knots

    @property
    def along_mm(self) -> Floats:
        """Length from the first end to each point (P,) [mm]."""
        return np.linspace(0.0, self.length_mm, self.points)


@dataclass(frozen=True)
class Shape:
    """An arc laid out: ``points_mm`` (2, P) and ``direction`` (2, P - 1), the unit vectors of its pieces."""

    points_mm: Floats
    direction: Floats


class ArcAssembly:
    """Shape, energy and derivatives of one arc, as functions of its unknowns (right, up, direction, curvatures).

    ``piece_mm`` chord of a piece [mm]; ``free_rad`` (P - 1,) direction of the pieces of the free arc; ``turn``
    (P - 1, 1 + knots) how they turn with direction and curvatures; ``bending`` Hessian of the bending energy."""

    def __init__(self, arc: Arc) -> None:
        self.arc = arc
        count, knots = arc.points, arc.knots
        along = arc.along_mm
        piece = arc.length_mm / (count - 1)
        curved = 2 / arc.free_diameter_mm
        self.piece_mm = float(np.sin(0.5 * curved * piece) * 2 / curved)  # chord of a piece
        middles = (along[1:] + along[:-1]) * 0.5
        base = along[arc.base]
        self.free_rad = -curved * (middles - base)
        width = arc.length_mm / (knots - 1)
        place = (np.stack([middles, np.full_like(middles, base)])[:, :, None] / width) - np.arange(knots)
        rise, fall = np.clip(place + 1, 0.0, 1.0), np.clip(place, 0.0, 1.0)
        hats = width * (0.5 * rise * rise + fall - 0.5 * fall * fall)
        self.turn = np.concatenate([np.ones((count - 1, 1)), hats[0] - hats[1]], axis=1)  # d theta / d unknowns
        ends = np.ones(knots)
        ends[1:-1] = 2
        neighbour = np.eye(knots, k=1)
        mass = SIXTH * width * (2 * np.diag(ends) + neighbour + neighbour.T)
        self.bending = np.zeros((arc.unknowns, arc.unknowns))
        self.bending[POSE:, POSE:] = arc.bending_mn_mm2 * mass
        self._before = np.arange(count - 1)[:, None] < arc.base

    def shape(self, unknowns: Floats) -> Shape:
        """Points and directions."""
        theta = self.free_rad + self.turn @ unknowns[POSE - 1 :]
        direction = np.stack([np.cos(theta), np.sin(theta)])
        return Shape(self._sum(direction.T).T + unknowns[:2, None], direction)

    def energy(self, unknowns: Floats) -> float:
        """Bending energy [mN mm]."""
        return 0.5 * float(unknowns @ self.bending @ unknowns)

    def jacobian(self, shape: Shape) -> Floats:
        """Derivative (P, 2, U) of the points by the unknowns."""
        across = np.stack([-shape.direction[1], shape.direction[0]], axis=1)
        count = self.arc.points
        out = np.zeros((count, 2, self.arc.unknowns))
        out[:, 0, 0] = out[:, 1, 1] = 1
        terms = (across[:, :, None] * self.turn[:, None, :]).reshape(count - 1, -1)
        out[:, :, POSE - 1 :] = self._sum(terms).reshape(count, 2, -1)
        return out

    def gradient(self, shape: Shape, force: Floats) -> tuple[Floats, Floats]:
        """What point gradients ``force`` (2, P) [mN] mean for the unknowns, and the Hessian of that through the arc's
        own turning."""
        total = np.cumsum(force, axis=1)
        whole = total[:, -1]
        beyond = np.where(self._before.T, -total[:, :-1], whole[:, None] - total[:, :-1])
        across = np.stack([-shape.direction[1], shape.direction[0]])
        gradient = np.concatenate([whole, self.turn.T @ (self.piece_mm * (beyond * across).sum(axis=0))])
        weight = -self.piece_mm * (beyond * shape.direction).sum(axis=0)
        hessian = np.zeros((self.arc.unknowns, self.arc.unknowns))
        hessian[POSE - 1 :, POSE - 1 :] = self.turn.T @ (weight[:, None] * self.turn)
        return gradient, hessian

    def laid(self, *, centre_mm: tuple[float, float], radius_mm: float, middle_rad: float) -> Floats:
        """Unknowns of the arc lying on a circle, its middle at the angle ``middle_rad`` (counter-clockwise from the
        right)."""
        arc = self.arc
        unknowns = np.zeros(arc.unknowns)
        ahead = (arc.along_mm[arc.base] - 0.5 * arc.length_mm) / radius_mm
        angle = middle_rad - ahead
        unknowns[0] = centre_mm[0] + radius_mm * np.cos(angle)
        unknowns[1] = centre_mm[1] + radius_mm * np.sin(angle)
        unknowns[2] = angle - 0.5 * np.pi
        unknowns[POSE:] = 2 / arc.free_diameter_mm - 1 / radius_mm
        return unknowns

    def _sum(self, pieces: Floats) -> Floats:
        """Sums of pieces (P - 1, m) from the base to each point (P, m), times the length of a piece."""
        total = np.zeros((self.arc.points, pieces.shape[1]))
        np.cumsum(pieces, axis=0, out=total[1:])
        return np.asarray(self.piece_mm * (total - total[self.arc.base]), dtype=np.float64)


@lru_cache(maxsize=64)
def assembled(arc: Arc) -> ArcAssembly:
    """The assembly of an arc, made once: rings and segments come in few sizes."""
    return ArcAssembly(arc)

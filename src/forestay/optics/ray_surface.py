"""Surfaces and media that light passes, and a train of them: what :mod:`forestay.optics.ray_trace` sends rays through.

The eye's frame: x to the examiner's right, y up, z from the cornea to the retina, all in millimetres; the corneal front
has its vertex at the origin. In its own frame (vertex at the origin, axis along z) every surface is

    c_x x^2 + c_y y^2 + k z^2 - 2 z = 0

with the vertex curvatures c_x, c_y [1/mm] and k = (1 + Q) c for a conic of asphericity Q. With c_x = c_y it is the
conic of revolution, with c_x and c_y apart an ellipsoid that is toric at its vertex, with k = 0 a paraboloid, with all
three 0 a plane. So one closed form meets a ray with each of them.

A surface may be moved (its vertex) and turned (a rotation matrix). Every number may be an array of draws.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from forestay.optics.angles import cos_sin_deg
from forestay.optics.schematic import Gradient, SchematicEye
from forestay.optics.values import Number

Floats: TypeAlias = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GradientMedium:
    """A gradient that begins at the depth ``start_mm`` of the eye's frame and lies about the z axis."""

    part: Gradient
    start_mm: float

    def index(self, at_mm: Floats) -> Floats:
        """Refractive index at points [mm, first axis x y z]."""
        x, y, z = at_mm
        axis: Floats = np.polynomial.polynomial.polyval(z - self.start_mm, np.array(self.part.axis))
        index: Floats = axis + self.part.radial_per_mm2 * (x * x + y * y)
        return index


Medium: TypeAlias = Number | GradientMedium


@dataclass(frozen=True, slots=True)
class Surface:
    """One refracting surface and the medium behind it (on the side of larger z).

    ``axis_per_mm`` is k, ``vertex_mm`` where its vertex lies, ``turn`` the rotation whose columns are its own axes in
    the eye's frame (None: not turned), ``clear_radius_mm`` the radius beyond which it ends (None: it does not).
    """

    name: str
    curvature_x_per_mm: Number
    curvature_y_per_mm: Number
    axis_per_mm: Number
    vertex_mm: tuple[Number, Number, Number]
    behind: Medium
    turn: Floats | None = None
    clear_radius_mm: float | None = None


def conic(
    *,
    name: str,
    curvature_per_mm: Number,
    asphericity: Number,
    depth_mm: Number,
    behind: Medium,
    clear_radius_mm: float | None = None,
) -> Surface:
    """A surface of revolution on the axis: curvature [1/mm], asphericity Q, depth of its vertex [mm]."""
    return Surface(
        name=name,
        curvature_x_per_mm=curvature_per_mm,
        curvature_y_per_mm=curvature_per_mm,
        axis_per_mm=(1 + asphericity) * curvature_per_mm,
        vertex_mm=(0.0, 0.0, depth_mm),
        behind=behind,
        clear_radius_mm=clear_radius_mm,
    )


@dataclass(frozen=True, slots=True)
class Train:
    """Surfaces in the order of z, and the medium in front of the first. ``kept`` is what tracing works out once."""

    surfaces: tuple[Surface, ...]
    before: Medium
    kept: dict[int, Floats | None] = field(default_factory=dict, compare=False, repr=False)

    def media(self) -> tuple[Medium, ...]:
        """The medium in front of the first surface, then the one behind each."""
        return (self.before, *(surface.behind for surface in self.surfaces))

    def moved(
        self,
        names: frozenset[str],
        *,
        shift_mm: tuple[Number, Number, Number],
        turn: Floats | None,
        about_mm: tuple[Number, Number, Number],
    ) -> Train:
        """The train with some surfaces turned together about a point and then shifted [mm], as one rigid body."""

        def one(surface: Surface) -> Surface:
            if surface.name not in names:
                return surface
            arm = [np.asarray(v - a, dtype=float) for v, a in zip(surface.vertex_mm, about_mm, strict=True)]
            if turn is not None:
                arm = [sum(turn[i, j] * arm[j] for j in range(3)) for i in range(3)]
            x, y, z = (a + r + s for a, r, s in zip(about_mm, arm, shift_mm, strict=True))
            own = surface.turn
            whole = own if turn is None else turn if own is None else np.einsum("ij...,jk...->ik...", turn, own)
            return replace(surface, vertex_mm=(x, y, z), turn=whole)

        return Train(tuple(one(surface) for surface in self.surfaces), self.before)


def spin(*, meridian_deg: Number) -> Floats:
    """Rotation about z that brings a surface's own x axis onto a meridian [degrees, from the examiner's right]."""
    c, s = (np.asarray(v, dtype=float) for v in cos_sin_deg(meridian_deg))
    nil, one = np.zeros_like(c), np.ones_like(c)
    return np.array([[c, -s, nil], [s, c, nil], [nil, nil, one]])


def tip(*, tilt_deg: Number, toward_deg: Number) -> Floats:
    """Rotation by which the edge in the direction ``toward_deg`` goes back, towards the retina, by ``tilt_deg``."""
    across, along = (np.asarray(v, dtype=float) for v in cos_sin_deg(toward_deg))
    c, s = (np.asarray(v, dtype=float) for v in cos_sin_deg(tilt_deg))
    less = 1 - c
    across, along, c, s, less = np.broadcast_arrays(across, along, c, s, less)
    return np.array(
        [
            [1 - less * across * across, -less * across * along, -s * across],
            [-less * across * along, 1 - less * along * along, -s * along],
            [s * across, s * along, c],
        ]
    )


def schematic_train(eye: SchematicEye) -> Train:
    """A schematic eye as surfaces; between two gradients lies a plane that does not bend light."""
    names = [f"surface {i + 1}" for i in range(len(eye.radii_mm))]
    quality = eye.asphericities or (0.0,) * len(eye.radii_mm)
    found: list[Surface] = []
    depth = 0.0
    last = len(eye.radii_mm) - 1
    for i, (radius, q) in enumerate(zip(eye.radii_mm, quality, strict=True)):
        if eye.gradients and i == last:
            front, rear = (part.thickness_mm for part in eye.gradients)
            found[-1] = replace(found[-1], behind=GradientMedium(eye.gradients[0], depth))
            middle = depth + front
            rest = GradientMedium(eye.gradients[1], middle)
            found.append(
                conic(name="between gradients", curvature_per_mm=0.0, asphericity=0.0, depth_mm=middle, behind=rest)
            )
            depth = middle + rear
        behind = eye.indices[min(i, len(eye.indices) - 1)]
        found.append(conic(name=names[i], curvature_per_mm=1 / radius, asphericity=q, depth_mm=depth, behind=behind))
        depth += eye.gaps_mm[i] if i < len(eye.gaps_mm) else 0.0
    return Train(tuple(found), 1.0)

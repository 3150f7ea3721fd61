"""Exact rays through conic surfaces, in either direction, with no iteration at a surface.

A ray q + s d meets the surface c_x x^2 + c_y y^2 + k z^2 - 2 z = 0 of its own frame where A s^2 + 2 B s + C = 0,

    A = c_x d_x^2 + c_y d_y^2 + k d_z^2,   B = c_x x d_x + c_y y d_y + k z d_z - d_z,   C = c_x x^2 + c_y y^2 + k z^2 - 2 z

whose root on the sheet of the vertex is s = C / (t - B), t = +-sqrt(B^2 - A C) with the sign of the light along z; it
holds for planes as for spheres and loses no digits in flat surfaces. With g = (0, 0, 1) - (c_x x, c_y y, k z) there,
g.d = t, and Snell's law for indices n before and n' behind, m = n / n', is

    d' = m d + G g,   G = (+-sqrt(g.g (1 - m^2) + m^2 t^2) - m t) / g.g

In a gradient the ray equation d(n d)/ds = grad n is integrated by Runge-Kutta steps of fourth order in z, up to the
surface, which the last steps meet to rounding.

A ray that misses a surface, is totally reflected or passes beside a surface that ends is lost: NaN from there on, and
:func:`losses` says at which surface and where.

References: closed form of the quadric and vector Snell law, e.g. Welford, Aberrations of Optical Systems, ch. 4.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias, cast

import numpy as np
from numpy.typing import NDArray

from forestay.optics import ray_fast
from forestay.optics.ray_surface import Floats, GradientMedium, Medium, Surface, Train
from forestay.optics.values import Number

GRADIENT_STEPS = 24
"""Runge-Kutta steps through each gradient: the focus of the gradient lens is then exact to about 1e-10 mm."""
CLOSING_STEPS = 3
"""Steps that meet the surface behind a gradient, each from a straight line: the error is squared each time."""

Reason: TypeAlias = Literal["misses", "totally-reflected", "beside"]


@dataclass(frozen=True, slots=True)
class Rays:
    """Rays: points [mm] and unit directions, first axis x, y, z; the other axes are rays and, last, draws."""

    at_mm: Floats
    along: Floats

    def on_plane(self, *, depth_mm: Floats | float) -> tuple[Floats, Floats]:
        """Where the rays cross the plane z = ``depth_mm`` [mm]: x and y."""
        x, y, z = self.at_mm
        a, b, c = self.along
        reach = (depth_mm - z) / c
        return x + reach * a, y + reach * b


@dataclass(frozen=True, slots=True)
class Loss:
    """A ray that was lost: its number (flat), the surface, why, and the point [mm] from which it was on its way
    (or at which it met the surface, where it did)."""

    ray: int
    surface: str
    reason: Reason
    at_mm: tuple[float, float, float]


def directed(
    *, at_mm: Sequence[Floats | float], slope_x: Floats | float, slope_y: Floats | float, way: int = 1
) -> Rays:
    """Rays from points [mm] with slopes dx/dl and dy/dl for each step l along ``way`` (1: with z, -1: against it)."""
    x, y, z, u, v = np.broadcast_arrays(*at_mm, slope_x, slope_y)
    scale = 1 / np.sqrt(1 + u * u + v * v)
    return Rays(np.array([x, y, z], dtype=float), np.array([u * scale, v * scale, way * scale]))


def trace(train: Train, rays: Rays, *, gradient_steps: int = GRADIENT_STEPS) -> Rays:
    """The rays behind the last surface (in front of the first, for rays that run against z). Lost rays are NaN.

    >>> from forestay.optics.ray_surface import conic
    >>> lens = conic(name="ellipsoid", curvature_per_mm=1 / 8, asphericity=-1 / 1.5**2, depth_mm=0.0, behind=1.5)
    >>> sent = directed(at_mm=(np.array([0.5, 3.0]), 0.0, -1.0), slope_x=0.0, slope_y=0.0)
    >>> x, y = trace(Train((lens,), 1.0), sent).on_plane(depth_mm=24.0)
    >>> bool(np.abs(x).max() < 1e-12)  # Descartes: this ellipsoid has one sharp focus, at n R / (n - 1) = 24 mm
    True
    """
    if ray_fast.in_use():
        way = _way(rays)
        rows = ray_fast.table(train, way)
        found = None if rows is None else ray_fast.trace(rays.at_mm, rays.along, rows, way)
        if found is not None:
            return Rays(*found)
    for reached in _stages(train, rays, gradient_steps):
        rays = reached.after
    return rays


def _way(rays: Rays) -> int:
    """1 where the light runs with z, -1 against it; all rays of a trace run one way, lost ones apart."""
    along = rays.along[2].ravel()
    if np.isnan(along[0]):
        along = along[np.isfinite(along)]
    return -1 if along.size and along[0] < 0 else 1


def losses(train: Train, rays: Rays, *, gradient_steps: int = GRADIENT_STEPS) -> tuple[Loss, ...]:
    """The rays that are lost on their way, each with surface, reason and point."""
    found: dict[int, Loss] = {}
    for stage in _stages(train, rays, gradient_steps):
        shape = (3, -1)
        start, met = stage.before.at_mm.reshape(shape), stage.met_mm.reshape(shape)
        after = stage.after.along.reshape(shape)
        beside = np.zeros(after.shape[1], dtype=bool) if stage.beside is None else stage.beside.ravel()
        for ray in np.flatnonzero(np.isnan(after[2])):
            if int(ray) in found:
                continue
            hit = bool(np.isfinite(met[2, ray]))
            reason: Reason = ("beside" if beside[ray] else "totally-reflected") if hit else "misses"
            point = met if hit else start
            x, y, z = (float(v) for v in point[:, ray])
            found[int(ray)] = Loss(int(ray), stage.name, reason, (x, y, z))
    return tuple(found[ray] for ray in sorted(found))


@dataclass(frozen=True, slots=True)
class _Stage:
    """One surface passed: rays before it, where they met it, which of them were beside its edge, rays behind it."""

    name: str
    before: Rays
    met_mm: Floats
    beside: NDArray[np.bool_] | None
    after: Rays


def _stages(train: Train, rays: Rays, gradient_steps: int) -> Iterator[_Stage]:
    """The surfaces in the order in which the light meets them."""
    way = _way(rays)
    media = train.media()
    order = range(len(train.surfaces))[::way]
    for i in order:
        near, far = (media[i], media[i + 1])[::way]
        with np.errstate(invalid="ignore", divide="ignore"):
            stage = _pass(train.surfaces[i], rays, (near, far), way, gradient_steps)
        yield stage
        rays = stage.after


def _pass(surface: Surface, rays: Rays, media: tuple[Medium, Medium], way: int, gradient_steps: int) -> _Stage:
    before = rays
    near, far = media
    if isinstance(near, GradientMedium):
        rays = _through(near, surface, rays, way, gradient_steps)
    local = _Local(surface, rays)
    met = local.meet(way)
    ratio = _index(near, local) / _index(far, local)
    along = local.bend(ratio, way)
    beside = None
    if surface.clear_radius_mm is not None:
        beside = local.q[0] ** 2 + local.q[1] ** 2 > surface.clear_radius_mm**2
        along = np.where(beside, np.nan, along)
    return _Stage(surface.name, before, met, beside, Rays(met, along))


def _index(medium: Medium, local: _Local) -> Floats | float:
    if isinstance(medium, GradientMedium):
        return medium.index(local.outside(local.q) + local.vertex)
    return medium


class _Local:
    """Rays in the frame of one surface: ``q`` the points, ``d`` the directions."""

    __slots__ = ("curve", "d", "q", "root", "turn", "vertex")

    def __init__(self, surface: Surface, rays: Rays) -> None:
        dims = rays.at_mm.ndim
        self.vertex = _column(surface.vertex_mm, dims)
        self.curve = _column((surface.curvature_x_per_mm, surface.curvature_y_per_mm, surface.axis_per_mm), dims)
        self.turn = surface.turn
        self.q = self._inside(rays.at_mm - self.vertex)
        self.d = self._inside(rays.along)
        self.root = self.q

    def _inside(self, v: Floats) -> Floats:
        if self.turn is None:
            return v
        if self.turn.ndim == 2:
            return (self.turn.T @ v.reshape(3, -1)).reshape(v.shape)
        return cast(Floats, np.einsum("ji...,j...->i...", _square(self.turn, v.ndim), v))

    def outside(self, v: Floats) -> Floats:
        """A vector of this frame in the eye's frame."""
        if self.turn is None:
            return v
        if self.turn.ndim == 2:
            return (self.turn @ v.reshape(3, -1)).reshape(v.shape)
        return cast(Floats, np.einsum("ij...,j...->i...", _square(self.turn, v.ndim), v))

    def reach(self, way: int) -> Floats:
        """Distance along the ray to the surface [mm]; NaN where it is missed."""
        bent = self.curve * self.q
        b = _dot(bent, self.d) - self.d[2]
        c = _dot(bent, self.q) - 2 * self.q[2]
        a = _dot(self.curve * self.d, self.d)
        self.root = way * np.sqrt(b * b - a * c)
        distance: Floats = c / (self.root - b)
        return distance

    def meet(self, way: int) -> Floats:
        """Go to the surface; the points met in the eye's frame [mm]."""
        self.q = self.q + self.reach(way) * self.d
        return self.outside(self.q) + self.vertex

    def bend(self, ratio: Floats | float, way: int) -> Floats:
        """Directions behind the surface, in the eye's frame."""
        normal = -self.curve * self.q
        normal[2] += 1
        square = _dot(normal, normal)
        turned = ratio * self.root
        along = (way * np.sqrt(square * (1 - ratio * ratio) + turned * turned) - turned) / square
        return self.outside(ratio * self.d + along * normal)


def _dot(a: Floats, b: Floats) -> Floats:
    return cast(Floats, np.einsum("i...,i...->...", a, b))


def _column(values: tuple[Number, Number, Number], dims: int) -> Floats:
    """Three numbers, or draws of them, that broadcast against rays of ``dims`` axes."""
    stack: Floats = np.array(np.broadcast_arrays(*values) if any(np.ndim(v) for v in values) else values, dtype=float)
    return stack.reshape(3, *(1,) * (dims - stack.ndim), *stack.shape[1:])


def _square(turn: Floats, dims: int) -> Floats:
    return turn.reshape(3, 3, *(1,) * (dims + 1 - turn.ndim), *turn.shape[2:])


def _through(medium: GradientMedium, surface: Surface, rays: Rays, way: int, steps: int) -> Rays:
    """Rays brought through a gradient to the surface at its end."""
    optical = medium.index(rays.at_mm) * rays.along
    state = np.array([*rays.at_mm, optical[0], optical[1]])
    for part in (steps, *(1,) * CLOSING_STEPS):
        here = _rays(medium, state, way)
        depth = _Local(surface, here).reach(way) * here.along[2]
        for _ in range(part):
            state = _runge_kutta(medium, state, depth / part, way)
    return _rays(medium, state, way)


def _rays(medium: GradientMedium, state: Floats, way: int) -> Rays:
    index = medium.index(state[:3])
    a, b = state[3] / index, state[4] / index
    return Rays(state[:3], np.array([a, b, way * np.sqrt(1 - a * a - b * b)]))


def _runge_kutta(medium: GradientMedium, state: Floats, step: Floats, way: int) -> Floats:
    """One step of fourth order in z [mm] of points and of n times the direction across."""
    one = _slope(medium, state, way)
    two = _slope(medium, state + 0.5 * step * one, way)
    three = _slope(medium, state + 0.5 * step * two, way)
    four = _slope(medium, state + step * three, way)
    return state + step / 6 * (one + 2 * (two + three) + four)


def _slope(medium: GradientMedium, state: Floats, way: int) -> Floats:
    x, y, _, p, q = state
    index = medium.index(state[:3])
    forward = way * np.sqrt(index * index - p * p - q * q)
    pull = 2 * medium.part.radial_per_mm2 * index / forward
    return np.array([p / forward, q / forward, np.ones_like(x), pull * x, pull * y])

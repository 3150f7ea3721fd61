"""What an eye needs to see sharply, from rays sent out of it: refraction at best focus, prism, aberrations.

Light from the fovea leaves through lens and cornea. In the plane of the corneal vertex each ray has a place (x, y) [mm]
and an outward slope (u, v); for a perfect correcting lens of power matrix F [D] at the cornea and a prism p

    (u, v) = p + F (x, y) / 1000,    F = [[M + J0, J45], [J45, M - J0]]

Best focus of a finite pupil is the F and p that leave the least mean square of slope over the pupil: the smallest spot.
The same slopes fitted by gradients of Zernike polynomials give the wavefront and, from its terms of second order, the
best focus by wavefront:  M = -4 sqrt(3) c20 / r^2,  J0 = -2 sqrt(6) c22 / r^2,  J45 = -2 sqrt(6) c2-2 / r^2.

The pupil is the entrance pupil, as one looking at the eye sees it, taken in the plane of the corneal vertex. Its rays
stand on Gauss rings, so that sums over rays are integrals over the pupil. Rays are aimed at their places twice, by the
linear map of the eye and by its error.

References: Thibos, Hong, Bradley, Applegate, J Vis 2004;4:329 (refraction from Zernike terms); ANSI Z80.28 (order and
norm of the polynomials); Forbes, J Opt Soc Am A 1988;5:1943 (rings).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import factorial

import numpy as np

from forestay.optics import ray_trace
from forestay.optics.angles import cos_sin_deg
from forestay.optics.ray_surface import Floats, Train
from forestay.optics.ray_trace import GRADIENT_STEPS, Rays, directed
from forestay.optics.values import Number

RING_NODES = 5
"""Gauss rings of the pupil: exact for aberrations up to the ninth power of the radius, squared."""
SPOKE_NODES = 12
"""Rays on each ring."""
PROBE_SMALLEST = 1e-4
"""Slope of the rays that find the linear map of the eye, and radius [mm] of the pupil that stands for none."""
ORDER_LIMIT = 6
"""Highest order of the Zernike polynomials fitted."""


@dataclass(frozen=True, slots=True)
class Bundle:
    """Rays out of the eye: places [mm] in the plane of the corneal vertex, outward slopes, and weights of the pupil."""

    x_mm: Floats
    y_mm: Floats
    slope_x: Floats
    slope_y: Floats
    weight: Floats


@dataclass(frozen=True, slots=True)
class Focus:
    """Refraction at the cornea as a power vector [D], prism as slope (x to the right, y up), and the blur it leaves.

    ``blur`` is the root mean square of the slopes that are left [radians]: the angular radius of the smallest spot.
    """

    mean_d: Number
    j0_d: Number
    j45_d: Number
    prism_x: Number
    prism_y: Number
    blur: Number


@cache
def pupil_grid() -> tuple[Floats, Floats, Floats]:
    """Places on the unit circle and their weights, which sum to 1; mirrored places have the same weight."""
    node, share = np.polynomial.legendre.leggauss(RING_NODES)
    radius = np.sqrt(0.5 * (1 + node))
    across, along = cos_sin_deg(360 / SPOKE_NODES * np.arange(SPOKE_NODES, dtype=np.float64))
    x = np.outer(radius, across).ravel()
    y = np.outer(radius, along).ravel()
    weight = np.repeat(0.5 * share / SPOKE_NODES, SPOKE_NODES)
    return x, y, weight


def bundle(
    train: Train, *, fovea_mm: tuple[Number, Number, Number], pupil_mm: Number, gradient_steps: int = GRADIENT_STEPS
) -> Bundle:
    """Rays from the fovea [mm] that leave through an entrance pupil of diameter ``pupil_mm`` [mm].

    Draws stand on the last axis. Lost rays are NaN.
    """
    shape = np.broadcast_shapes(np.shape(pupil_mm), _draws(train, fovea_mm))
    unit_x, unit_y, weight = (v.reshape(-1, *(1,) * len(shape)) for v in pupil_grid())
    half = 0.5 * np.asarray(pupil_mm, dtype=float)
    return outward(
        train,
        fovea_mm=fovea_mm,
        x_mm=half * unit_x,
        y_mm=half * unit_y,
        weight=weight,
        gradient_steps=gradient_steps,
    )


def outward(
    train: Train,
    *,
    fovea_mm: tuple[Number, Number, Number],
    x_mm: Floats,
    y_mm: Floats,
    weight: Floats,
    gradient_steps: int = GRADIENT_STEPS,
) -> Bundle:
    """Rays from the fovea [mm] that leave at given places [mm] of the plane of the corneal vertex, rays first."""
    draws = np.broadcast_shapes(x_mm.shape[1:], y_mm.shape[1:], _draws(train, fovea_mm))
    aim = _Aim(train, tuple(np.broadcast_to(v, draws) for v in fovea_mm), gradient_steps)
    slope = wanted = aim.slopes(x_mm, y_mm)
    place = aim.out(*slope).on_plane(depth_mm=0.0)
    found = aim.slopes(*place)
    slope = (slope[0] + wanted[0] - found[0], slope[1] + wanted[1] - found[1])
    out = aim.out(*slope)
    place = out.on_plane(depth_mm=0.0)
    u, v, w = out.along
    return Bundle(place[0], place[1], -u / w, -v / w, np.broadcast_to(weight, place[0].shape))


def _draws(train: Train, fovea_mm: tuple[Number, Number, Number]) -> tuple[int, ...]:
    """Shape of the draws of an eye."""
    parts = [np.shape(v) for v in fovea_mm]
    parts += [
        np.shape(v)
        for s in train.surfaces
        for v in (s.curvature_x_per_mm, s.curvature_y_per_mm, s.axis_per_mm, *s.vertex_mm)
    ]
    parts += [s.turn.shape[2:] for s in train.surfaces if s.turn is not None]
    return np.broadcast_shapes(*parts)


class _Aim:
    """The linear map of an eye from the slope at the fovea to the place in the plane of the cornea, and its inverse."""

    __slots__ = ("fovea", "inverse", "origin", "steps", "train")

    def __init__(self, train: Train, fovea_mm: tuple[Floats, ...], steps: int) -> None:
        self.train, self.fovea, self.steps = train, fovea_mm, steps
        draws = (1,) * fovea_mm[0].ndim
        probe = PROBE_SMALLEST * np.array([[0, 1, -1, 0, 0], [0, 0, 0, 1, -1]], dtype=float).reshape(2, 5, *draws)
        x, y = self.out(probe[0], probe[1]).on_plane(depth_mm=0.0)
        self.origin = (x[0], y[0])
        per = 2 * PROBE_SMALLEST
        a, b, c, d = ((x[1] - x[2]) / per, (x[3] - x[4]) / per, (y[1] - y[2]) / per, (y[3] - y[4]) / per)
        whole = a * d - b * c
        self.inverse = (d / whole, -b / whole, -c / whole, a / whole)

    def out(self, slope_x: Floats, slope_y: Floats) -> Rays:
        """Rays of these slopes, outside the eye."""
        sent = directed(at_mm=self.fovea, slope_x=slope_x, slope_y=slope_y, way=-1)
        return ray_trace.trace(self.train, sent, gradient_steps=self.steps)

    def slopes(self, x_mm: Floats, y_mm: Floats) -> tuple[Floats, Floats]:
        """Slopes at the fovea for places in the plane of the cornea."""
        a, b, c, d = self.inverse
        x, y = x_mm - self.origin[0], y_mm - self.origin[1]
        return a * x + b * y, c * x + d * y


def least_blur(rays: Bundle) -> Focus:
    """Best focus by the smallest spot: weighted least squares of the slopes."""
    half = np.sqrt((rays.weight * (rays.x_mm**2 + rays.y_mm**2)).sum(axis=0))
    x, y, nil, one = rays.x_mm / half, rays.y_mm / half, np.zeros_like(rays.x_mm), np.ones_like(rays.x_mm)
    # columns: prism x, prism y, M, J0, J45 (powers per half, in slope)
    across = np.array([one, nil, x, x, y])
    along = np.array([nil, one, y, -y, x])
    found, left = _fit(across, along, rays)
    scale = 1000 / half
    return Focus(
        mean_d=found[2] * scale,
        j0_d=found[3] * scale,
        j45_d=found[4] * scale,
        prism_x=found[0],
        prism_y=found[1],
        blur=np.sqrt(left),
    )


def _fit(across: Floats, along: Floats, rays: Bundle) -> tuple[Floats, Floats]:
    """Weighted least squares of both slopes at once: coefficients, and the mean square that is left."""
    weight = rays.weight
    square = np.einsum("ir...,jr...,r...->...ij", across, across, weight)
    square = square + np.einsum("ir...,jr...,r...->...ij", along, along, weight)
    side = np.einsum("ir...,r...->...i", across, rays.slope_x * weight)
    side = side + np.einsum("ir...,r...->...i", along, rays.slope_y * weight)
    found = np.moveaxis(np.linalg.solve(square, side[..., None])[..., 0], -1, 0)
    u = rays.slope_x - np.einsum("ir...,i...->r...", across, found)
    v = rays.slope_y - np.einsum("ir...,i...->r...", along, found)
    return found, (weight * (u * u + v * v)).sum(axis=0)


@dataclass(frozen=True, slots=True)
class Wavefront:
    """Zernike coefficients [micrometres] by (order n, frequency m) over a pupil of radius ``radius_mm`` [mm]."""

    radius_mm: Number
    terms_um: dict[tuple[int, int], Number]

    def focus(self) -> tuple[Number, Number, Number]:
        """Best focus by wavefront at the cornea: M, J0, J45 [D]."""
        square = self.radius_mm**2
        two = -2 * np.sqrt(6) / square
        return (
            -4 * np.sqrt(3) * self.terms_um[2, 0] / square,
            two * self.terms_um[2, 2],
            two * self.terms_um[2, -2],
        )


def wavefront(rays: Bundle, *, pupil_mm: Number) -> Wavefront:
    """The wavefront that leaves the eye, fitted to the slopes by all polynomials up to order :data:`ORDER_LIMIT`."""
    radius = 0.5 * np.asarray(pupil_mm, dtype=float)
    rho = np.hypot(rays.x_mm, rays.y_mm) / radius
    theta = np.arctan2(rays.y_mm, rays.x_mm)
    names = [(n, m) for n in range(1, ORDER_LIMIT + 1) for m in range(-n, n + 1, 2)]
    slopes = np.array([_gradient(n, m, rho, theta) for n, m in names]) / radius
    found, _ = _fit(-slopes[:, 0], -slopes[:, 1], rays)
    return Wavefront(float(radius) if radius.ndim == 0 else radius, dict(zip(names, 1000 * found, strict=True)))


def _gradient(n: int, m: int, rho: Floats, theta: Floats) -> Floats:
    """Slope of a Zernike polynomial over the unit circle, x and y."""
    order = abs(m)
    norm = np.sqrt((n + 1) * (1 if m == 0 else 2))
    value, slope = np.zeros_like(rho), np.zeros_like(rho)
    for s in range((n - order) // 2 + 1):
        power = n - 2 * s
        share = (-1) ** s * factorial(n - s)
        share /= factorial(s) * factorial((n + order) // 2 - s) * factorial((n - order) // 2 - s)
        value = value + share * rho ** (power - 1) if power else value  # R / rho
        slope = slope + share * power * rho ** max(power - 1, 0)
    turn, pull = (np.cos, -order * np.sin(order * theta)) if m >= 0 else (np.sin, order * np.cos(order * theta))
    radial, round_ = norm * slope * turn(order * theta), norm * value * pull
    c, s_ = np.cos(theta), np.sin(theta)
    return np.array([c * radial - s_ * round_, s_ * radial + c * round_])

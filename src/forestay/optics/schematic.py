"""Schematic eyes by paraxial matrices, gradient lenses included.

A ray is (y, u) with u = n times its slope. A surface of power F = (n2 - n1) / r turns u by -F y; a gap t moves y by
t u / n. A gradient n(y, z) = n0(z) + n2 y^2 is a stack of thin slabs: within a slab of thickness h and mid index n0,

    y'' = -w^2 y,  w^2 = -2 n2 / n0:   y -> y cos(wh) + u sin(wh) / (n0 w),   u -> -n0 w y sin(wh) + u cos(wh)

which is of second order in h. With the whole matrix [[A, B], [C, D]] the power is -C, and parallel light meets
-n A / C behind the last surface. Radii, gaps [mm]; powers [D].

References: Liou and Brennan, J Opt Soc Am A 1997;14:1684 (60.35 D, 23.95 mm); others as their evidence rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Matrix: TypeAlias = NDArray[np.float64]

GRADIENT_STEPS = 400
"""Slabs in each half of a gradient lens: the power is then exact to about 1e-6 D."""


@dataclass(frozen=True, slots=True)
class Gradient:
    """Half a gradient lens: thickness [mm], polynomial of the index on the axis, index per squared mm off it."""

    thickness_mm: float
    axis: tuple[float, ...]
    radial_per_mm2: float


@dataclass(frozen=True, slots=True)
class SchematicEye:
    """Surfaces front to back [mm], index behind each, gaps between them [mm], and the gradients of the lens if any.

    ``gaps_mm`` holds the uniform gaps; gradients fill the space in front of the last surface. The last index is that of
    the vitreous. ``corneal_surfaces`` says how many surfaces are cornea. ``asphericities`` are the Q of the surfaces,
    which exact rays need; empty means spheres.
    """

    radii_mm: tuple[float, ...]
    indices: tuple[float, ...]
    gaps_mm: tuple[float, ...]
    corneal_surfaces: int
    gradients: tuple[Gradient, ...] = ()
    asphericities: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Cardinal:
    """Power of the eye, its cornea and its lens in situ [D]; length at which parallel light is sharp [mm]."""

    power_d: float
    corneal_power_d: float
    lens_power_d: float
    paraxial_length_mm: float


def surface(*, radius_mm: float, index_before: float, index_behind: float) -> Matrix:
    """Refraction at a surface."""
    return np.array([[1.0, 0.0], [-(index_behind - index_before) / radius_mm, 1.0]])


def gap(*, thickness_mm: float, index: float) -> Matrix:
    """Passage through a uniform gap."""
    return np.array([[1.0, thickness_mm / index], [0.0, 1.0]])


def gradient(part: Gradient, *, steps: int = GRADIENT_STEPS) -> Matrix:
    """Passage through a gradient whose index falls away from the axis, as a stack of thin slabs."""
    h = part.thickness_mm / steps
    depth = h * (np.arange(steps) + 0.5)
    index = np.polynomial.polynomial.polyval(depth, np.array(part.axis))
    w = np.sqrt(-2 * part.radial_per_mm2 / index)
    cosine, sine = np.cos(w * h), np.sin(w * h)
    whole: Matrix = np.eye(2)
    for c, s, nw in zip(cosine, sine, index * w, strict=True):
        whole = np.array([[c, s / nw], [-nw * s, c]]) @ whole
    return whole


def index_on_axis(part: Gradient, *, depth_mm: float) -> float:
    """Index on the axis of a gradient at a depth [mm]."""
    return float(np.polynomial.polynomial.polyval(depth_mm, np.array(part.axis)))


def cardinal(eye: SchematicEye, *, steps: int = GRADIENT_STEPS) -> Cardinal:
    """Power and sharp length of a schematic eye.

    >>> eye = SchematicEye((7.8, 10.0, -6.0), (4 / 3, 1.416, 4 / 3), (3.6, 3.6), 1)
    >>> found = cardinal(eye)
    >>> round(found.power_d, 3), round(found.paraxial_length_mm, 3)
    (60.483, 23.896)
    """
    cornea, behind = _run(eye, range(eye.corneal_surfaces), 1.0, steps)
    lens, vitreous = _run(eye, range(eye.corneal_surfaces, len(eye.radii_mm)), behind, steps)
    chamber = gap(thickness_mm=eye.gaps_mm[eye.corneal_surfaces - 1], index=behind)
    whole = lens @ chamber @ cornea
    depth = sum(eye.gaps_mm) + sum(part.thickness_mm for part in eye.gradients)
    return Cardinal(
        power_d=-1000 * float(whole[1, 0]),
        corneal_power_d=-1000 * float(cornea[1, 0]),
        lens_power_d=-1000 * float(lens[1, 0]),
        paraxial_length_mm=float(depth - vitreous * whole[0, 0] / whole[1, 0]),
    )


def _run(eye: SchematicEye, surfaces: Sequence[int], index: float, steps: int) -> tuple[Matrix, float]:
    """Matrix from the first to the last of ``surfaces``, and the index behind the last."""
    whole: Matrix = np.eye(2)
    last = len(eye.radii_mm) - 1
    for i in surfaces:
        behind = _behind(eye, i)
        whole = surface(radius_mm=eye.radii_mm[i], index_before=index, index_behind=behind) @ whole
        index = behind
        if i == surfaces[-1]:
            break
        if eye.gradients and i == last - 1:
            for part in eye.gradients:
                whole = gradient(part, steps=steps) @ whole
            index = index_on_axis(eye.gradients[-1], depth_mm=eye.gradients[-1].thickness_mm)
        else:
            whole = gap(thickness_mm=eye.gaps_mm[i], index=index) @ whole
    return whole, index


def _behind(eye: SchematicEye, i: int) -> float:
    """Index just behind surface ``i``; the gradients' own where they follow."""
    last = len(eye.radii_mm) - 1
    if not eye.gradients:
        return eye.indices[i]
    if i == last - 1:
        return index_on_axis(eye.gradients[0], depth_mm=0.0)
    return eye.indices[-1] if i == last else eye.indices[i]

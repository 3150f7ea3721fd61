"""The exact ray trace compiled, for a process that traces much: the same closed forms as numpy's, ray by ray.

It is an extra (``fast``, which brings the compiler numba) and never needed. Nothing is compiled, or even imported, until
:func:`start` is called once in the process, as a server does. Trains with a gradient, or with draws, stay with numpy.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from math import inf, nan, sqrt
from typing import Any

import numpy as np

from forestay.optics.ray_surface import Floats, GradientMedium, Train

COMPILER = "numba"
"""The library of the extra ``fast``: optional, and imported nowhere else in this room."""
COLUMN_GRID = 18
"""Numbers that stand for a surface: vertex 3, curvatures 3, turned or not 1, rotation 9, index ratio 1, clear radius 1."""

_started: dict[str, Callable[..., None]] = {}


def available() -> bool:
    """Whether the compiler is installed."""
    return find_spec(COMPILER) is not None


def start() -> bool:
    """Compile the trace and use it from now on; whether it is in use. Safe to call more than once."""
    if not available():
        return False
    kernel = _compiled()
    nothing = np.zeros((3, 1))
    kernel(nothing.copy(), nothing.copy(), np.zeros((0, COLUMN_GRID)), 1.0)
    _started["trace"] = kernel
    return True


def stop() -> None:
    """Go back to numpy."""
    _started.clear()


def in_use() -> bool:
    """Whether the compiled trace is in use."""
    return bool(_started)


@cache
def _compiled() -> Callable[..., None]:
    numba = import_module(COMPILER)
    try:
        made: Callable[..., None] = numba.njit(nogil=True, cache=True, error_model="numpy")(_run)
    except RuntimeError:  # no place to keep it: compiled anew in each process
        made = numba.njit(nogil=True, error_model="numpy")(_run)
    return made


def table(train: Train, way: int) -> Floats | None:
    """The surfaces as rows of numbers, in the order in which the light meets them; None where numpy is needed.

    Worked out once for each train and direction.
    """
    if way not in train.kept:
        train.kept[way] = _table(train, way)
    return train.kept[way]


def _table(train: Train, way: int) -> Floats | None:
    media = train.media()
    if any(isinstance(medium, GradientMedium) or np.ndim(medium) for medium in media):
        return None
    rows = np.empty((len(train.surfaces), COLUMN_GRID))
    for i, surface in enumerate(train.surfaces):
        turn = surface.turn
        if turn is not None and turn.ndim > 2:
            return None
        near, far = (media[i], media[i + 1])[::way]
        try:
            rows[i, :6] = (
                *surface.vertex_mm,
                surface.curvature_x_per_mm,
                surface.curvature_y_per_mm,
                surface.axis_per_mm,
            )
        except ValueError:  # draws
            return None
        rows[i, 6] = 0.0 if turn is None else 1.0
        rows[i, 7:16] = 0.0 if turn is None else turn.ravel()
        rows[i, 16] = near / far  # type: ignore[operator]
        rows[i, 17] = inf if surface.clear_radius_mm is None else surface.clear_radius_mm**2
    return rows[::way].copy()


def trace(at_mm: Floats, along: Floats, rows: Floats, way: int) -> tuple[Floats, Floats] | None:
    """Points and directions behind the surfaces of a :func:`table`; None where the compiled trace is not in use."""
    kernel: Any = _started.get("trace")
    if kernel is None:
        return None
    shape = np.broadcast_shapes(at_mm.shape, along.shape)
    at = np.array(np.broadcast_to(at_mm, shape), dtype=float).reshape(3, -1)
    to = np.array(np.broadcast_to(along, shape), dtype=float).reshape(3, -1)
    kernel(at, to, rows, float(way))
    return at.reshape(shape), to.reshape(shape)


def _run(at: Floats, to: Floats, rows: Floats, way: float) -> None:
    """All rays through each surface in turn, in place; the inner loop has no branch, so that it runs several at once."""
    x, y, z = at[0], at[1], at[2]
    a, b, c = to[0], to[1], to[2]
    for i in range(rows.shape[0]):
        x0, y0, z0 = rows[i, 0], rows[i, 1], rows[i, 2]
        cx, cy, k = rows[i, 3], rows[i, 4], rows[i, 5]
        m, edge = rows[i, 16], rows[i, 17]
        less = 1.0 - m * m
        turned = rows[i, 6] != 0.0
        r = rows[i, 7:16]
        for ray in range(x.size):
            x[ray] -= x0
            y[ray] -= y0
            z[ray] -= z0
        if turned:
            for ray in range(x.size):
                p, q, s = x[ray], y[ray], z[ray]
                x[ray] = r[0] * p + r[3] * q + r[6] * s
                y[ray] = r[1] * p + r[4] * q + r[7] * s
                z[ray] = r[2] * p + r[5] * q + r[8] * s
                p, q, s = a[ray], b[ray], c[ray]
                a[ray] = r[0] * p + r[3] * q + r[6] * s
                b[ray] = r[1] * p + r[4] * q + r[7] * s
                c[ray] = r[2] * p + r[5] * q + r[8] * s
        for ray in range(x.size):
            p, q, s = x[ray], y[ray], z[ray]
            f, g, h = a[ray], b[ray], c[ray]
            u, v, w = cx * p, cy * q, k * s
            half = u * f + v * g + w * h - h
            whole = u * p + v * q + w * s - 2.0 * s
            root = way * sqrt(half * half - (cx * f * f + cy * g * g + k * h * h) * whole)
            reach = whole / (root - half)
            p, q, s = p + reach * f, q + reach * g, s + reach * h
            u, v, w = -cx * p, -cy * q, 1.0 - k * s
            norm = u * u + v * v + w * w
            bent = m * root
            more = (way * sqrt(norm * less + bent * bent) - bent) / norm
            more = nan if p * p + q * q > edge else more
            x[ray], y[ray], z[ray] = p, q, s
            a[ray], b[ray], c[ray] = m * f + more * u, m * g + more * v, m * h + more * w
        if turned:
            for ray in range(x.size):
                p, q, s = x[ray], y[ray], z[ray]
                x[ray] = r[0] * p + r[1] * q + r[2] * s
                y[ray] = r[3] * p + r[4] * q + r[5] * s
                z[ray] = r[6] * p + r[7] * q + r[8] * s
                p, q, s = a[ray], b[ray], c[ray]
                a[ray] = r[0] * p + r[1] * q + r[2] * s
                b[ray] = r[3] * p + r[4] * q + r[5] * s
                c[ray] = r[6] * p + r[7] * q + r[8] * s
        for ray in range(x.size):
            x[ray] += x0
            y[ray] += y0
            z[ray] += z0

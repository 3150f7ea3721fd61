"""The same eye in optiland, a general-purpose optics package: built from our surfaces, traced by its own code."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np

from forestay.optics.ray_surface import Surface, Train
from forestay.optics.ray_trace import Rays

WAVELENGTH = 0.55


def _quiet(work: Any) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return work()


def optic(train: Train, *, image_mm: float, way: int = 1) -> Any:
    """The train as an optiland system in absolute coordinates, with its image plane; ``way`` -1 runs it backwards.

    Running backwards turns the whole eye about: z becomes -z, so that curvatures change sign.
    """
    return _quiet(lambda: _optic(train, image_mm, way))


def _optic(train: Train, image_mm: float, way: int) -> Any:
    from optiland.optic import Optic

    made = Optic()
    behind = train.media()
    first, last = (behind[0], behind[-1])[::way]
    made.surfaces.add(index=0, z=-np.inf, **_material(first))
    order = range(len(train.surfaces))[::way]
    for place, i in enumerate(order):
        medium = behind[i + 1] if way > 0 else behind[i]
        made.surfaces.add(index=place + 1, is_stop=place == 0, **_geometry(train.surfaces[i], way), **_material(medium))
    made.surfaces.add(index=len(train.surfaces) + 1, z=way * image_mm, **_material(last))
    made.set_aperture(aperture_type="EPD", value=3.0)
    made.fields.set_type(field_type="angle")
    made.fields.add(y=0)
    made.wavelengths.add(value=WAVELENGTH, is_primary=True)
    return made


def _material(medium: Any) -> dict[str, Any]:
    from optiland.materials import IdealMaterial

    return {"material": IdealMaterial(n=float(medium))}


def _geometry(surface: Surface, way: int) -> dict[str, Any]:
    """Radii, conics and pose. Rotations are optiland's: intrinsic about x, then y, then z of the surface."""
    x, y, z = (float(v) for v in surface.vertex_mm)
    pose: dict[str, Any] = {"x": x, "y": y, "z": way * z}
    if surface.turn is not None:
        turn = np.array(surface.turn) * (np.array([[1, 1, way], [1, 1, way], [way, way, 1]]))
        pose |= _angles(turn)
    cx, cy, k = (float(v) for v in (surface.curvature_x_per_mm, surface.curvature_y_per_mm, surface.axis_per_mm))
    if cx == cy:
        return {"radius": way / cx if cx else np.inf, "conic": k / cx - 1 if cx else 0.0, **pose}
    return {
        "surface_type": "biconic",
        "radius_x": way / cx,
        "radius_y": way / cy,
        "conic_x": k / cx - 1,
        "conic_y": k / cy - 1,
        **pose,
    }


def _angles(turn: np.ndarray) -> dict[str, float]:
    """Euler angles of a rotation, found by asking optiland itself for its matrix."""
    from optiland.coordinate_system import CoordinateSystem
    from scipy.optimize import least_squares

    def miss(v: np.ndarray) -> np.ndarray:
        return (np.asarray(CoordinateSystem(rx=v[0], ry=v[1], rz=v[2]).get_rotation_matrix()) - turn).ravel()

    found = min(
        (
            least_squares(miss, start, xtol=1e-15, ftol=1e-15, gtol=1e-15)
            for start in ([0, 0, 0], [0, 0, 1.5], [0, 0, -1.5])
        ),
        key=lambda r: r.cost,
    )
    assert found.cost < 1e-24
    return dict(zip(("rx", "ry", "rz"), (float(v) for v in found.x), strict=True))


def traced(system: Any, rays: Rays, way: int = 1) -> tuple[np.ndarray, np.ndarray]:
    """Points on the image plane and directions there, by optiland, in our frame."""
    return _quiet(lambda: _traced(system, rays, way))


def real_rays(rays: Rays, way: int = 1) -> Any:
    """Our rays as optiland's."""
    from optiland.rays import RealRays

    x, y, z = np.array(rays.at_mm)
    u, v, w = np.array(rays.along)
    one = np.ones_like(x)
    return RealRays(
        x=x.copy(), y=y.copy(), z=way * z, L=u.copy(), M=v.copy(), N=way * w, intensity=one, wavelength=WAVELENGTH * one
    )


def _traced(system: Any, rays: Rays, way: int) -> tuple[np.ndarray, np.ndarray]:
    out = real_rays(rays, way)
    system.surfaces.trace(out)
    return np.array([out.x, out.y, way * out.z]), np.array([out.L, out.M, way * out.N])

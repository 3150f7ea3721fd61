"""How steeply a hook comes down on the pupil's edge from its port, and what share of its pull lifts the iris.

The cornea is a sphere through the limbus. A port that enters it further forward stands higher above the plane of the
pupil; the hook then comes down at a steeper angle, and the sine of that angle of its pull lifts the edge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forestay.mechanics.geometry import Numbers, plain, require, require_positive
from forestay.text import tr


@dataclass(frozen=True)
class Attack:
    """One hook's approach; each a number, or draws on the last axis."""

    port_height_mm: Numbers
    """Height of the port above the plane of the pupil; below 0, behind it."""
    angle_deg: Numbers
    """Angle between hook and plane of the pupil; below 0, the hook presses the edge down on the lens."""
    lift_fraction: Numbers
    """Share of the pull that lifts the edge: the sine of the angle."""


def corneal_radius_mm(*, k_mean_d: Numbers, keratometric_index: float) -> Numbers:
    """Radius of the corneal front from its power: 1000 (n - 1) / K [mm], n the keratometer's own index.

    >>> round(float(corneal_radius_mm(k_mean_d=43.27, keratometric_index=1.3375)), 2)
    7.8
    """
    require_positive(k_mean_d=k_mean_d)
    return plain(1000 * (keratometric_index - 1) / np.asarray(k_mean_d))


def dome_depth_mm(*, radius_mm: Numbers, half_width_mm: Numbers) -> Numbers:
    """Depth of a sphere below its vertex at a distance from its axis: R - sqrt(R^2 - r^2).

    Parameters: ``radius_mm`` R [mm] above 0, ``half_width_mm`` r [mm] 0 to R. Result: depth [mm].

    >>> round(float(dome_depth_mm(radius_mm=7.8, half_width_mm=5.85)), 3)
    2.641
    """
    require_positive(radius_mm=radius_mm)
    radius, half = np.asarray(radius_mm, dtype=np.float64), np.asarray(half_width_mm, dtype=np.float64)
    require(
        holds=(half >= 0) & ~(half > radius),
        field="half_width_mm",
        value=half,
        allowed=tr("0 to the radius of the cornea, {radius:g} mm", radius=float(np.min(radius))),
    )
    return plain(radius - np.sqrt(radius**2 - half**2))


def attack(
    *,
    radius_mm: Numbers,
    white_to_white_mm: Numbers,
    pupil_plane_depth_mm: Numbers,
    port_inside_limbus_mm: Numbers,
    margin_radius_mm: Numbers,
) -> Attack:
    """Angle at which a hook meets the pupil's edge, and the share of its pull that lifts.

    The port stands at r = W / 2 - e from the axis, R - sqrt(R^2 - r^2) below the vertex; the edge at r_m, h_0 below
    the vertex. angle = atan((h_0 - depth) / (r - r_m)); lift = sin(angle).

    Parameters: ``radius_mm`` of the cornea R [mm], ``white_to_white_mm`` W [mm], ``pupil_plane_depth_mm`` h_0 from the
    corneal vertex, with what viscosurgical device adds [mm], ``port_inside_limbus_mm`` e [mm] 0 or more, where the
    hook enters the chamber, ``margin_radius_mm`` r_m [mm] of the pulled edge, less than r. Result: :class:`Attack`.
    Range: a sphere out to the limbus; a straight hook. An angled hook lifts less where the angle is steep (four
    globes, no numbers). How far the iris rises is not given: its stiffness under such a pull is unknown.

    >>> port = {"radius_mm": 7.8, "white_to_white_mm": 11.7, "pupil_plane_depth_mm": 3.1, "margin_radius_mm": 2.0}
    >>> steep = attack(**port, port_inside_limbus_mm=1.0)
    >>> round(steep.angle_deg, 1), round(steep.lift_fraction, 2)
    (26.3, 0.44)
    """
    require_positive(
        white_to_white_mm=white_to_white_mm,
        pupil_plane_depth_mm=pupil_plane_depth_mm,
        margin_radius_mm=margin_radius_mm,
    )
    inside = np.asarray(port_inside_limbus_mm, dtype=np.float64)
    require(holds=inside >= 0, field="port_inside_limbus_mm", value=inside, allowed=tr("0 or more"))
    port = np.asarray(white_to_white_mm, dtype=np.float64) / 2 - inside
    require(
        holds=~(np.asarray(margin_radius_mm) >= port),
        field="margin_radius_mm",
        value=margin_radius_mm,
        allowed=tr("less than the port's distance from the axis, {port:g} mm", port=float(np.min(port))),
    )
    height = np.asarray(pupil_plane_depth_mm) - dome_depth_mm(radius_mm=radius_mm, half_width_mm=plain(port))
    angle = np.arctan2(height, port - np.asarray(margin_radius_mm))
    return Attack(plain(height), plain(np.degrees(angle)), plain(np.sin(angle)))

"""Room for the nucleus under the dome of the cornea, with viscosurgical device in front of it and behind it.

The back of the cornea is a sphere of radius R, its vertex at depth 0; the plane of the capsulorhexis lies at the
depth ``room`` (chamber depth less cornea, plus what viscosurgical device adds: :func:`forestay.mechanics.chamber.room_mm`).
The nucleus is an ellipsoid D x D x T, tilted by q about a horizontal axis. It fits at a place if its farthest point
from the sphere's centre is no farther than R; what is left is the layer in front of it at the narrowest place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forestay.mechanics.geometry import Floats, Numbers, plain, require, require_positive
from forestay.text import tr

NEWTON_STEPS = 9
"""Steps to the multiplier of the farthest point; the digits double at each."""
TERNARY_STEPS = 32
"""Narrowings of the sideways place with most room, to a few micrometres of place and much less of room."""
TILT_STEPS = 91
"""Tilts tried from flat to on edge, a degree apart."""
SMALLEST = 1e-12
"""Length [mm] below which the nucleus counts as standing on the sphere's axis."""


@dataclass(frozen=True)
class DomeFit:
    """What a whole nucleus in the filled chamber leaves, lying flat and tilted; each a number, or draws."""

    flat_mm: Numbers
    """Narrowest layer in front of the nucleus lying flat [mm]; below 0 it does not fit."""
    steepest_deg: Numbers
    """Steepest tilt at which it still fits with the layers asked for [degrees]; NaN if not even flat."""
    turns_freely: Numbers
    """1 where it can be turned through every tilt up to on edge, else 0."""
    edge_in_opening_mm: Numbers
    """Narrowest layer in front of it tipped on edge, its centre still in the plane of the opening [mm]."""


def inner_radius_mm(*, outer_radius_mm: Numbers, corneal_thickness_um: Numbers) -> Numbers:
    """Radius of the back of the cornea, taken as concentric with its front: R - t / 1000 [mm].

    >>> round(float(inner_radius_mm(outer_radius_mm=7.8, corneal_thickness_um=535)), 3)
    7.265
    """
    require_positive(outer_radius_mm=outer_radius_mm, corneal_thickness_um=corneal_thickness_um)
    return plain(np.asarray(outer_radius_mm) - np.asarray(corneal_thickness_um) / 1000)


def half_height_mm(*, nucleus_diameter_mm: Numbers, nucleus_thickness_mm: Numbers, tilt_deg: Numbers) -> Numbers:
    """Half the height of a tilted ellipsoid: sqrt((D/2)^2 sin^2 q + (T/2)^2 cos^2 q) [mm]."""
    require_positive(nucleus_diameter_mm=nucleus_diameter_mm, nucleus_thickness_mm=nucleus_thickness_mm)
    tilt = np.radians(tilt_deg)
    across, along = np.asarray(nucleus_diameter_mm) / 2, np.asarray(nucleus_thickness_mm) / 2
    return plain(np.hypot(across * np.sin(tilt), along * np.cos(tilt)))


def clearance_mm(
    *,
    nucleus_diameter_mm: Numbers,
    nucleus_thickness_mm: Numbers,
    dome_radius_mm: Numbers,
    centre_depth_mm: Numbers,
    tilt_deg: Numbers,
    sideways_mm: Numbers = 0,
) -> Numbers:
    """Narrowest layer between the nucleus and the back of the cornea.

    R less the greatest distance of a point of the ellipsoid from the sphere's centre. With v from the sphere's centre
    to that of the nucleus, seen in the nucleus's own axes, and half-axes a, c, the farthest point is
    u_i = e_i v_i / (m - e_i^2) with m the greatest root of |u| = 1 (Lagrange's condition; on the axis the equator).

    Parameters: ``nucleus_diameter_mm`` D, ``nucleus_thickness_mm`` T, ``dome_radius_mm`` R [mm] above 0,
    ``centre_depth_mm`` of the nucleus below the back of the cornea [mm], 0 or more, ``tilt_deg`` 0 flat to 90 on edge,
    ``sideways_mm`` of its centre towards its raised edge [mm]. Result: layer [mm]; below 0 it does not fit. Range: in
    front of the plane of the iris, where the sphere is the wall; deeper than its middle the room is that at the middle.

    >>> place = {"dome_radius_mm": 7.25, "centre_depth_mm": 2.0, "tilt_deg": 0.0}
    >>> round(clearance_mm(nucleus_diameter_mm=4.0, nucleus_thickness_mm=4.0, **place), 12)  # a ball touches
    0.0
    """
    require_positive(
        nucleus_diameter_mm=nucleus_diameter_mm,
        nucleus_thickness_mm=nucleus_thickness_mm,
        dome_radius_mm=dome_radius_mm,
    )
    require(
        holds=np.asarray(centre_depth_mm) >= 0, field="centre_depth_mm", value=centre_depth_mm, allowed=tr("0 or more")
    )
    wide, thick, radius, depth, tilt, side = np.broadcast_arrays(
        *(
            np.asarray(v, dtype=np.float64)
            for v in (
                nucleus_diameter_mm,
                nucleus_thickness_mm,
                dome_radius_mm,
                centre_depth_mm,
                np.radians(tilt_deg),
                sideways_mm,
            )
        )
    )
    up = np.maximum(radius - depth, 0)  # behind the sphere's middle the wall widens no more, and never closes again
    sine, cosine = np.sin(tilt), np.cos(tilt)
    across, along = side * cosine + up * sine, up * cosine - side * sine
    return plain(radius - _farthest(np.abs(across), np.abs(along), wide / 2, thick / 2))


def _farthest(across: Floats, along: Floats, a: Floats, c: Floats) -> Floats:
    """Greatest distance from the origin of an ellipsoid with half-axes a, a, c centred at (across, along), both >= 0."""
    large = np.maximum(a, c) ** 2
    pull_a, pull_c = a * across, c * along
    gap_a, gap_c = large - a**2, large - c**2
    more = np.maximum(np.maximum(pull_a - gap_a, pull_c - gap_c), 0)  # of m over the largest axis squared; |u| >= 1
    tiny = np.finfo(np.float64).tiny
    for _ in range(NEWTON_STEPS):  # on 1 / |u|, which is nearly straight: from below, without overshoot
        far_a, far_c = np.maximum(more + gap_a, tiny), np.maximum(more + gap_c, tiny)
        u_a, u_c = pull_a / far_a, pull_c / far_c
        length = u_a**2 + u_c**2
        slope = np.maximum(u_a**2 / far_a + u_c**2 / far_c, tiny)
        more = more + np.maximum(np.sqrt(length) - 1, 0) * length / slope
    u_a = np.minimum(pull_a / np.maximum(more + gap_a, tiny), 1)
    u_c = np.minimum(pull_c / np.maximum(more + gap_c, tiny), 1)
    # Where the multiplier meets the largest axis itself, what is missing of |u| = 1 lies along that axis.
    missing = np.sqrt(np.maximum(1 - u_a**2 - u_c**2, 0))
    u_a, u_c = np.where(a >= c, np.hypot(u_a, missing), u_a), np.where(a >= c, u_c, np.hypot(u_c, missing))
    in_plane = np.where(a >= c, np.where(across > SMALLEST, u_a, 0), u_a)
    beside = np.sqrt(np.maximum(u_a**2 - in_plane**2, 0))
    x, y, z = across + a * in_plane, a * beside, along + c * u_c
    far: Floats = np.sqrt(x**2 + y**2 + z**2)
    return far


def best_sideways_mm(
    *,
    nucleus_diameter_mm: Numbers,
    nucleus_thickness_mm: Numbers,
    dome_radius_mm: Numbers,
    centre_depth_mm: Numbers,
    tilt_deg: Numbers,
    furthest_mm: Numbers,
) -> tuple[Numbers, Numbers]:
    """The sideways place of the nucleus with most room in front of it, and that room.

    The greatest distance of a body from a point is a convex function of where the body stands, so that the place is
    found by narrowing between -``furthest_mm`` and ``furthest_mm`` [mm]. Other parameters as :func:`clearance_mm`.
    Result: (sideways [mm], layer [mm]).
    """
    require(holds=np.asarray(furthest_mm) >= 0, field="furthest_mm", value=furthest_mm, allowed=tr("0 or more"))
    shape = np.broadcast_shapes(
        *(
            np.shape(v)
            for v in (
                nucleus_diameter_mm,
                nucleus_thickness_mm,
                dome_radius_mm,
                centre_depth_mm,
                tilt_deg,
                furthest_mm,
            )
        )
    )
    high = np.array(np.broadcast_to(np.asarray(furthest_mm, dtype=np.float64), shape))
    low = -high

    def layer(side: Floats) -> Floats:
        return np.asarray(
            clearance_mm(
                nucleus_diameter_mm=nucleus_diameter_mm,
                nucleus_thickness_mm=nucleus_thickness_mm,
                dome_radius_mm=dome_radius_mm,
                centre_depth_mm=centre_depth_mm,
                tilt_deg=tilt_deg,
                sideways_mm=side,
            )
        )

    for _ in range(TERNARY_STEPS):
        third = (high - low) / 3
        left, right = low + third, high - third
        at_left, at_right = layer(np.stack([left, right]))
        better = at_left >= at_right
        low, high = np.where(better, low, left), np.where(better, right, high)
    middle = (low + high) / 2
    return plain(middle), plain(layer(middle))


def fit(
    *,
    nucleus_diameter_mm: Numbers,
    nucleus_thickness_mm: Numbers,
    dome_radius_mm: Numbers,
    room_mm: Numbers,
    front_layer_mm: Numbers,
    behind_layer_mm: Numbers,
    furthest_mm: Numbers,
) -> DomeFit:
    """A whole nucleus in the filled chamber: flat, at every tilt, and tipped on edge through the opening.

    The nucleus rests on a layer of viscosurgical device ``behind_layer_mm`` [mm] thick over the plane of the opening
    at depth ``room_mm`` [mm] and needs ``front_layer_mm`` [mm] to the cornea; it may stand up to ``furthest_mm`` [mm]
    to one side. Its centre is then at depth room - behind - H(q), H its half height. Tipped on edge with the centre
    still in the opening it needs D / 2 above. Result: :class:`DomeFit`.

    >>> found = fit(nucleus_diameter_mm=7.13, nucleus_thickness_mm=3.05, dome_radius_mm=7.25, room_mm=3.4,
    ...             front_layer_mm=0.0, behind_layer_mm=0.0, furthest_mm=1.0)
    >>> round(found.flat_mm, 2), found.turns_freely, round(found.edge_in_opening_mm, 2)
    (0.32, 0.0, -0.17)
    """
    for name, layer in (("front_layer_mm", front_layer_mm), ("behind_layer_mm", behind_layer_mm), ("room_mm", room_mm)):
        require(holds=np.asarray(layer) >= 0, field=name, value=layer, allowed=tr("0 or more"))
    wide, thick, radius, room, front, behind, furthest = (
        np.asarray(v, dtype=np.float64)[..., np.newaxis]
        for v in np.broadcast_arrays(
            *(
                np.asarray(v, dtype=np.float64)
                for v in (
                    nucleus_diameter_mm,
                    nucleus_thickness_mm,
                    dome_radius_mm,
                    room_mm,
                    front_layer_mm,
                    behind_layer_mm,
                    furthest_mm,
                )
            )
        )
    )
    tilts = np.linspace(0, 90, TILT_STEPS)
    half = np.asarray(half_height_mm(nucleus_diameter_mm=wide, nucleus_thickness_mm=thick, tilt_deg=tilts))
    depth = room - behind - half
    body = {"nucleus_diameter_mm": wide, "nucleus_thickness_mm": thick, "dome_radius_mm": radius}
    _, found = best_sideways_mm(**body, centre_depth_mm=np.maximum(depth, 0), tilt_deg=tilts, furthest_mm=furthest)
    layer = np.where(depth < 0, np.minimum(found, depth), found)
    fits = layer >= front
    unbroken = np.logical_and.accumulate(fits, axis=-1)
    steepest = np.where(unbroken[..., 0], tilts[np.maximum(unbroken.sum(axis=-1) - 1, 0)], np.nan)
    known = ~np.isnan(layer).any(axis=-1)
    edge = clearance_mm(**body, centre_depth_mm=room, tilt_deg=np.full(1, 90.0))
    return DomeFit(
        flat_mm=plain(layer[..., 0]),
        steepest_deg=plain(np.where(known, steepest, np.nan)),
        turns_freely=plain(np.where(known, np.where(fits.all(axis=-1), 1.0, 0.0), np.nan)),
        edge_in_opening_mm=plain(np.asarray(edge)[..., 0]),
    )

"""The zonule's fibres in sheets: in front of the equator, at it, and behind it.

In an empty bag the capsule lies flat: the anterior sheet pulls at the flap, ``anterior_inset_mm`` inside the equator,
and the posterior sheet pulls at the equator through the capsule behind it. With the lens inside the capsule is round:
walking the same way along it gives where a sheet lies in the plane, and how far in front of or behind it.

What is left out is said: the bag stays in its plane (no tilt, no depth). A sheet's pull in depth is worked out
(:func:`axial_pull_mn`) but moves nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.loop_assembly import strain_at
from forestay.mechanics.zonule import HOUR_COUNT, Floats, ZonuleParameters, directions

ARC_STEPS = 400  # steps of the walk along the capsule


@dataclass(frozen=True)
class FibreConstants:
    """``share_anterior``, ``share_equator``, ``share_posterior`` of the zonule's stiffness; ``anterior_inset_mm`` and
    ``posterior_inset_mm`` [mm], from the equator along the capsule; ``lens_half_thickness_mm`` [mm]."""

    PREFIX: ClassVar[str] = "fibres"
    share_anterior: float
    share_equator: float
    share_posterior: float
    anterior_inset_mm: float
    posterior_inset_mm: float
    lens_half_thickness_mm: float


@dataclass(frozen=True)
class Sheet:
    """``share`` of the zonule's stiffness; ``inset_mm`` [mm] of its attachment inside the equator, in the plane;
    ``height_mm`` [mm] of the attachment in front of (or, negative, behind) the plane of the ciliary ring."""

    side: Literal["anterior", "equator", "posterior"]
    share: float
    inset_mm: float
    height_mm: float

    def length_mm(self, fibre_length_mm: float) -> float:
        """Length at rest [mm], of a sheet whose bag and ciliary ring lie ``fibre_length_mm`` apart."""
        return float(np.hypot(fibre_length_mm + self.inset_mm, self.height_mm))


AT_EQUATOR = (Sheet("equator", 1.0, 0.0, 0.0),)
"""One sheet, all of it at the equator: the model without sheets."""


def sheets(*, contents: Literal["empty", "lens"], bag_radius_mm: float, constants: FibreConstants) -> tuple[Sheet, ...]:
    """The three sheets of a bag.

    Parameters: ``contents``; ``bag_radius_mm`` [mm]; ``constants``. The empty bag is flat. With the lens in it the
    capsule is an ellipsoid of that radius and the given half thickness.

    >>> known = FibreConstants(0.6, 0.1, 0.3, 1.42, 1.0, 2.26)
    >>> [round(s.inset_mm, 2) for s in sheets(contents="empty", bag_radius_mm=5.0, constants=known)]
    [1.42, 0.0, 1.0]
    >>> [round(s.height_mm, 2) for s in sheets(contents="lens", bag_radius_mm=5.0, constants=known)]
    [1.17, 0.0, -0.89]
    """
    walked = {"anterior": constants.anterior_inset_mm, "equator": 0.0, "posterior": constants.posterior_inset_mm}
    made = []
    for side, share, sign in (
        ("anterior", constants.share_anterior, 1),
        ("equator", constants.share_equator, 0),
        ("posterior", constants.share_posterior, -1),
    ):
        inset, height = walked[side], 0.0
        if contents == "lens":
            inset, height = _on_the_lens(walked[side], bag_radius_mm, constants.lens_half_thickness_mm)
        made.append(Sheet(side, share, inset, sign * height))  # type: ignore[arg-type]
    return tuple(made)


def _on_the_lens(arc_mm: float, radius_mm: float, half_thickness_mm: float) -> tuple[float, float]:
    """Inset and height [mm] after ``arc_mm`` along an ellipse from its equator."""
    angle = np.linspace(0, np.pi * 0.5, ARC_STEPS + 1)
    across, up = radius_mm * np.cos(angle), half_thickness_mm * np.sin(angle)
    walked = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(across), np.diff(up)))])
    return radius_mm - float(np.interp(arc_mm, walked, across)), float(np.interp(arc_mm, walked, up))


def rest_share(sheet: Sheet, fibre_length_mm: float) -> float:
    """Part of a fibre's resting pull that lies in the plane."""
    return (fibre_length_mm + sheet.inset_mm) / sheet.length_mm(fibre_length_mm)


def axial_pull_mn(*, sheets: tuple[Sheet, ...], springs: ZonuleParameters, hour_load_mn: Floats) -> Floats:
    """Pull in depth of each clock hour [mN], forward positive, at its whole pull ``hour_load_mn`` (12,) [mN].

    The bag is pulled forward by the sheets that lie behind the ciliary ring and back by those in front of it; the
    directions are those at rest. Range: small displacement. The planar model does not act on it.
    """
    fibre = float(np.mean(springs.fibre_length_mm))
    slope = sum(-s.share * s.height_mm / s.length_mm(fibre) for s in sheets)
    return np.asarray(slope * hour_load_mn, dtype=np.float64)


def released_diameter_mm(*, springs: ZonuleParameters, hoop_stiffness_mn: float, toe_strain: float) -> float:
    """Diameter to which an empty bag shrinks when its whole zonule is cut [mm].

    Equation: the equator's hoop carries ``T = k d / (2 pi)`` at rest, k and d the zonule's stiffness and pre-stretch;
    cut loose it loses the strain of that tension. Parameters: ``springs``, plain numbers; ``hoop_stiffness_mn`` EA [mN]
    and ``toe_strain`` of the equator. Range: a hoop whose law holds to that strain. The other way round,
    a measured pair of diameters tells the resting pull: in donor eyes 10.20 mm with zonule and 9.12 mm without.

    >>> round(released_diameter_mm(springs=ZonuleParameters(5.1, 1.5, 0.2, 84.8, 0.1), hoop_stiffness_mn=40.0,
    ...                            toe_strain=0.01), 2)
    9.51
    """
    pull = float(springs.total_stiffness_mn_per_mm) * float(springs.prestretch_mm) / (2 * np.pi)
    return 2 * float(springs.bag_radius_mm) / (1 + strain_at(pull / hoop_stiffness_mn, toe_strain, 0.0))


def resting_stretch_mm(
    *, held_mm: float, released_mm: float, springs: ZonuleParameters, hoop_stiffness_mn: float, toe_strain: float
) -> float:
    """Pre-stretch [mm] that a pair of bag diameters implies: the inverse of :func:`released_diameter_mm`.

    Parameters: ``held_mm`` and ``released_mm`` [mm], with and without zonule (held the larger by more than the toe);
    the rest as there; the springs' own pre-stretch is set aside.
    """
    strain = held_mm / released_mm - 1
    pull = hoop_stiffness_mn * (strain - toe_strain * 0.5)
    return float(2 * np.pi * pull / float(springs.total_stiffness_mn_per_mm))


def hours_of(clock: Floats) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """Row of the clock hour (0 for 12) that each clock position belongs to."""
    return np.mod(np.floor(clock + 0.5).astype(np.int64), HOUR_COUNT)


def fibre_order(per_hour: int, sheets: int) -> tuple[NDArray[np.int64], Floats, int, NDArray[np.int64]]:
    """Row of the clock hour, clock position and sheet of each fibre: right half, left half mirrored, the 12-6 line."""
    rows = np.repeat(np.arange(HOUR_COUNT), per_hour)
    offsets = np.tile((2 * np.arange(per_hour) + 1 - per_hour) / (2 * per_hour), HOUR_COUNT)
    rows, offsets = np.tile(rows, sheets), np.tile(offsets, sheets)
    sheet = np.repeat(np.arange(sheets), per_hour * HOUR_COUNT)
    clock = np.mod(rows + offsets, HOUR_COUNT)
    half = HOUR_COUNT * 0.5
    right = np.flatnonzero((clock > 0) & (clock < half))
    middle = np.flatnonzero((clock == 0) | (clock == half))
    left_rows = np.mod(-rows[right], HOUR_COUNT)
    order_rows = np.concatenate([rows[right], left_rows, rows[middle]])
    order_clock = np.concatenate([clock[right], HOUR_COUNT - clock[right], clock[middle]])
    return order_rows, order_clock, len(right), np.concatenate([sheet[right], sheet[right], sheet[middle]])


def outward_of(clock: Floats, pairs: int) -> tuple[Floats, Floats]:
    """Outward unit vectors of the fibres, the left half that of the right, mirrored."""
    x, y = directions(clock)
    x[pairs : 2 * pairs], y[pairs : 2 * pairs] = -x[:pairs], y[:pairs]
    return x, y

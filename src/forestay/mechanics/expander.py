"""Ring expanders of the pupil by shape, in general terms: a round one, and a square one that holds at four points.

The nominal opening is the diameter of the circle that is seen through the expander, whichever its shape: the
diameter of a round one, the side of a square one. Where the pupil is wider than that, the expander holds nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np

from forestay.errors import InvalidInput
from forestay.frame import wrap_hour
from forestay.mechanics.expander_view import circle_about_mm, reach_towards_mm
from forestay.mechanics.geometry import Numbers, plain, require, require_positive
from forestay.mechanics.pupil import evenly_spaced_clocks, opening
from forestay.text import tr

Shape = Literal["round", "square"]
SHAPES: tuple[str, ...] = ("round", "square")
CORNER_COUNT = 4


@dataclass(frozen=True)
class ExpanderConstants:
    """Nominal openings in use, from the evidence."""

    PREFIX: ClassVar[str] = "expander"
    small_opening_mm: float
    large_opening_mm: float


@dataclass(frozen=True)
class Expansion:
    """What an expander makes of the pupil; each a number, or draws on the last axis."""

    area_mm2: Numbers
    largest_circle_mm: Numbers
    """Diameter of the largest circle inside, centred anywhere."""
    circle_about_lens_mm: Numbers
    """Diameter of the largest circle inside about the lens's centre."""
    margin_mm: Numbers
    """Length of the pupil's edge."""
    margin_stretch: Numbers
    """The same over the length of the round edge; no limit of it was ever measured."""
    reach_to_incision_mm: Numbers
    """How far the opening reaches from the pupil's centre towards the incision."""
    holds: Numbers
    """1 where the expander stretches the pupil, 0 where the pupil is already as wide."""


def corner_reach_mm(*, nominal_opening_mm: Numbers) -> Numbers:
    """Distance of a square expander's corners from its centre: side / sqrt 2, the side being the nominal opening.

    >>> round(float(corner_reach_mm(nominal_opening_mm=5.0)), 4)
    3.5355
    """
    require_positive(nominal_opening_mm=nominal_opening_mm)
    return plain(np.asarray(nominal_opening_mm) / np.sqrt(2))


def expansion(
    *,
    shape: str,
    nominal_opening_mm: Numbers,
    pupil_mm: Numbers,
    first_corner_clock: float,
    incision_clock: float,
    lens_clock: float = 12,
    lens_offset_mm: Numbers = 0,
) -> Expansion:
    """The opening that a ring expander makes of a round pupil.

    round: a circle of the nominal opening (or the pupil, if wider). square: four corners at side / sqrt 2, the edge
    straight between them where it is as long as the round edge, else the hull of pupil and corners.

    Parameters: ``shape`` round or square; ``nominal_opening_mm`` diameter of the circle seen through it [mm] and
    ``pupil_mm`` before it [mm], both above 0, numbers or draws; ``first_corner_clock`` of one corner and
    ``incision_clock`` [hours]; ``lens_offset_mm`` [mm], 0 or more, towards ``lens_clock`` [hours]: a displaced lens.
    Result: :class:`Expansion`. Range: geometry of an edge that neither tears nor slips off.

    >>> ring = expansion(shape="round", nominal_opening_mm=6.25, pupil_mm=3.0, first_corner_clock=1.5, incision_clock=12)
    >>> [round(float(v), 3) for v in (ring.largest_circle_mm, ring.margin_stretch, ring.reach_to_incision_mm)]
    [6.25, 2.083, 3.125]
    >>> square = expansion(shape="square", nominal_opening_mm=5, pupil_mm=3, first_corner_clock=1.5, incision_clock=12)
    >>> [round(float(v), 3) for v in (square.area_mm2, square.margin_mm, square.margin_stretch)]
    [25.0, 20.0, 2.122]
    """
    if shape not in SHAPES:
        known = ", ".join(SHAPES)
        message = tr("{field} is {value}; allowed: {words}.", field="shape", value=shape, words=known)
        raise InvalidInput(message, field="shape", value=shape, allowed=known)
    require_positive(nominal_opening_mm=nominal_opening_mm, pupil_mm=pupil_mm)
    if shape == "round":
        return _round(nominal_opening_mm, pupil_mm, lens_offset_mm)
    nominal, pupil, offset = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (nominal_opening_mm, pupil_mm, lens_offset_mm))
    )
    clocks = evenly_spaced_clocks(CORNER_COUNT, wrap_hour(first_corner_clock))
    reach = np.broadcast_to(np.asarray(corner_reach_mm(nominal_opening_mm=nominal)), (CORNER_COUNT, *nominal.shape))
    wide: Numbers = plain(pupil)
    found = opening(clocks=clocks, reach_mm=reach, pupil_mm=wide, corner_radius_mm=0.0)
    about = circle_about_mm(
        clocks=clocks, reach_mm=reach, pupil_mm=wide, centre_clock=lens_clock, centre_offset_mm=plain(offset)
    )
    far = reach_towards_mm(clocks=clocks, reach_mm=reach, pupil_mm=wide, towards_clock=incision_clock)
    holding = np.asarray(found.holding).all(axis=0)
    return Expansion(
        area_mm2=found.area_mm2,
        largest_circle_mm=found.largest_circle_mm,
        circle_about_lens_mm=about,
        margin_mm=found.margin_mm,
        margin_stretch=found.margin_stretch,
        reach_to_incision_mm=far,
        holds=plain(np.where(holding, 1.0, 0.0)),
    )


def _round(nominal_opening_mm: Numbers, pupil_mm: Numbers, lens_offset_mm: Numbers) -> Expansion:
    require(
        holds=np.asarray(lens_offset_mm) >= 0, field="lens_offset_mm", value=lens_offset_mm, allowed=tr("0 or more")
    )
    nominal, pupil, offset = np.broadcast_arrays(
        *(np.asarray(v, dtype=np.float64) for v in (nominal_opening_mm, pupil_mm, lens_offset_mm))
    )
    wide = np.maximum(nominal, pupil)
    return Expansion(
        area_mm2=plain(np.pi / 4 * wide**2),
        largest_circle_mm=plain(wide),
        circle_about_lens_mm=plain(np.maximum(wide - 2 * offset, 0)),
        margin_mm=plain(np.pi * wide),
        margin_stretch=plain(wide / pupil),
        reach_to_incision_mm=plain(wide / 2),
        holds=plain(np.where(nominal > pupil, 1.0, 0.0)),
    )

"""Will the nucleus pass the capsulorhexis: flat, or tipped on its edge.

The nucleus is an oblate ellipsoid of diameter D and thickness T. Lying flat it needs an opening of girth pi D; tipped
on its edge, one of girth P, the perimeter of an ellipse D x T. The round opening of diameter d has girth pi d.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.mechanics.geometry import Numbers, ellipse_perimeter_mm, plain, require, require_positive
from forestay.text import tr


@dataclass(frozen=True)
class CapsulorhexisConstants:
    """What a rim bears, from the evidence."""

    PREFIX: ClassVar[str] = "capsulorhexis"
    lowest_tear_stretch: float
    """Stretch [length / length at rest] at which the weakest tested rims tore."""
    mean_tear_stretch: float
    """Stretch at which human rims tore, mean."""
    clearance_mm: float
    """To add to the least opening for the soft shell and an opening off centre [mm]."""


def stretch_flat(*, nucleus_diameter_mm: Numbers, capsulorhexis_mm: Numbers) -> Numbers:
    """Stretch of the rim when the nucleus passes lying flat: D / d.

    Parameters: ``nucleus_diameter_mm`` D [mm], ``capsulorhexis_mm`` d [mm], both above 0. Result: girth needed over
    girth there [-]; 1 or less needs no stretch. Holds for a round opening and an ellipsoid nucleus without its shell.

    >>> round(float(stretch_flat(nucleus_diameter_mm=7.13, capsulorhexis_mm=5.5)), 4)
    1.2964
    """
    require_positive(nucleus_diameter_mm=nucleus_diameter_mm, capsulorhexis_mm=capsulorhexis_mm)
    return plain(np.divide(nucleus_diameter_mm, capsulorhexis_mm))


def stretch_tipped(
    *, nucleus_diameter_mm: Numbers, nucleus_thickness_mm: Numbers, capsulorhexis_mm: Numbers
) -> Numbers:
    """Stretch of the rim when the nucleus passes tipped on its edge: P / (pi d).

    Parameters: ``nucleus_diameter_mm`` D [mm], ``nucleus_thickness_mm`` T [mm], ``capsulorhexis_mm`` d [mm], all
    above 0. Result: girth needed over girth there [-]. The chamber must have the room to tip (see ``chamber``). For
    a body thicker than wide (T > D) the flat way is the shorter girth.

    >>> round(float(stretch_tipped(nucleus_diameter_mm=7.13, nucleus_thickness_mm=3.05, capsulorhexis_mm=5.5)), 4)
    0.963
    """
    require_positive(capsulorhexis_mm=capsulorhexis_mm)
    girth = ellipse_perimeter_mm(diameter_mm=nucleus_diameter_mm, thickness_mm=nucleus_thickness_mm)
    return plain(girth / (np.pi * np.asarray(capsulorhexis_mm)))


def minimum_flat_mm(*, nucleus_diameter_mm: Numbers, tolerated_stretch: Numbers) -> Numbers:
    """Least opening through which the nucleus passes flat: D / s.

    Parameters: ``nucleus_diameter_mm`` D [mm] above 0, ``tolerated_stretch`` s [-] 1 or more. Result: diameter [mm].

    >>> round(float(minimum_flat_mm(nucleus_diameter_mm=7.89, tolerated_stretch=1.35)), 2)
    5.84
    """
    require_positive(nucleus_diameter_mm=nucleus_diameter_mm)
    _require_stretch(tolerated_stretch)
    return plain(np.divide(nucleus_diameter_mm, tolerated_stretch))


def minimum_tipped_mm(
    *, nucleus_diameter_mm: Numbers, nucleus_thickness_mm: Numbers, tolerated_stretch: Numbers
) -> Numbers:
    """Least opening through which the nucleus passes tipped: P / (pi s), never more than the flat way needs.

    Parameters: ``nucleus_diameter_mm`` D, ``nucleus_thickness_mm`` T [mm] above 0, ``tolerated_stretch`` s [-] 1 or
    more. Result: diameter [mm].

    >>> round(float(minimum_tipped_mm(nucleus_diameter_mm=7.89, nucleus_thickness_mm=3.53, tolerated_stretch=1.0)), 2)
    5.92
    """
    _require_stretch(tolerated_stretch)
    girth = ellipse_perimeter_mm(diameter_mm=nucleus_diameter_mm, thickness_mm=nucleus_thickness_mm)
    flat = minimum_flat_mm(nucleus_diameter_mm=nucleus_diameter_mm, tolerated_stretch=tolerated_stretch)
    return plain(np.minimum(flat, girth / (np.pi * np.asarray(tolerated_stretch))))


def _require_stretch(tolerated_stretch: Numbers) -> None:
    require(
        holds=np.asarray(tolerated_stretch) >= 1,
        field="tolerated_stretch",
        value=tolerated_stretch,
        allowed=tr("1 or more"),
    )

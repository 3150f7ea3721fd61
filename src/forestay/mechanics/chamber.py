"""Is there room in front of the opening to tip the nucleus on its edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.mechanics.geometry import Numbers, plain, require, require_positive
from forestay.text import tr

UM_PER_MM = 1000


@dataclass(frozen=True)
class ChamberConstants:
    """What tipping needs and what viscosurgical device gives, from the evidence."""

    PREFIX: ClassVar[str] = "chamber"
    ovd_gain_mm: float
    """Deepening by viscosurgical device [mm]."""
    tipping_extra_mm: float
    """Room beyond half the nucleus diameter for tipping without extra stretch [mm]."""


def room_mm(*, chamber_depth_mm: Numbers, corneal_thickness_um: Numbers, ovd_gain_mm: Numbers) -> Numbers:
    """Free room between cornea and lens once the chamber is filled: depth - cornea / 1000 + gain.

    Parameters: ``chamber_depth_mm`` from the corneal front, before surgery [mm], ``corneal_thickness_um`` [um],
    ``ovd_gain_mm`` 0 or more [mm]. Result: room [mm], never below 0. A depth of 0 or less is refused.

    >>> round(float(room_mm(chamber_depth_mm=2.55, corneal_thickness_um=535, ovd_gain_mm=0.9)), 3)
    2.915
    """
    require_positive(chamber_depth_mm=chamber_depth_mm, corneal_thickness_um=corneal_thickness_um)
    require(holds=np.asarray(ovd_gain_mm) >= 0, field="ovd_gain_mm", value=ovd_gain_mm, allowed=tr("0 or more"))
    room = np.asarray(chamber_depth_mm) - np.asarray(corneal_thickness_um) / UM_PER_MM + np.asarray(ovd_gain_mm)
    return plain(np.maximum(room, 0))


def needed_to_tip_mm(
    *, nucleus_diameter_mm: Numbers, nucleus_thickness_mm: Numbers, constants: ChamberConstants
) -> Numbers:
    """Room in which a nucleus tips on its edge and out without more stretch than its own girth asks.

    max(D / 2 + extra, T): while one pole leaves, the centre still lies in the opening, so half the diameter plus a
    little must fit above; and a whole nucleus in the chamber needs its thickness. The extra (0.4 to 0.5 mm) comes
    from a search over all ways of turning and lifting an ellipsoid through a round opening with 6 mm below it.

    Parameters: ``nucleus_diameter_mm`` D, ``nucleus_thickness_mm`` T [mm] above 0, ``constants``. Result: room [mm].
    Worked out for 7.1 to 8.7 mm wide, 3.0 to 4.0 mm thick; outside it is an extrapolation of the same rule.

    >>> c = ChamberConstants(ovd_gain_mm=0.9, tipping_extra_mm=0.45)
    >>> round(float(needed_to_tip_mm(nucleus_diameter_mm=7.13, nucleus_thickness_mm=3.05, constants=c)), 3)
    4.015
    """
    require_positive(nucleus_diameter_mm=nucleus_diameter_mm, nucleus_thickness_mm=nucleus_thickness_mm)
    turning = np.asarray(nucleus_diameter_mm) / 2 + constants.tipping_extra_mm
    return plain(np.maximum(turning, nucleus_thickness_mm))

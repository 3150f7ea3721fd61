"""A tension ring inside the bag, as a sleeve: bending stiffness on the part of the equator that it covers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.mechanics.zonule import HOUR_COUNT, Floats


@dataclass(frozen=True)
class RingConstants:
    """``test_diameter_mm`` [mm] at which spring constants of rings were measured; ``free_sizes_mm`` and
    ``closed_sizes_mm`` [mm], published pairs of diameter outside the eye and with the ends together."""

    PREFIX: ClassVar[str] = "bag_ring"
    test_diameter_mm: float
    free_sizes_mm: tuple[float, ...]
    closed_sizes_mm: tuple[float, ...]


@dataclass(frozen=True)
class Ring:
    """``free_diameter_mm`` [mm] outside the eye; ``spring_mn_per_mm`` [mN/mm] per millimetre of squeeze;
    ``gap_clock`` [clock hours] where its ends lie, None for a closed ring."""

    free_diameter_mm: float
    spring_mn_per_mm: float
    gap_clock: float | None


def bending_stiffness_mn_mm2(*, spring_mn_per_mm: float, test_diameter_mm: float) -> float:
    """Bending stiffness EI of an open ring from its spring constant when squeezed at right angles to the gap.

    Equation: ``EI = pi k R^3 / 2`` (split ring, inextensible, small squeeze; the free half carries nothing and the
    other ``M = W R sin t``). Parameters: ``spring_mn_per_mm`` k [mN/mm], ``test_diameter_mm`` 2R [mm]. Result [mN mm2].
    Range: squeeze up to about 0.5 mm (3 %); a real ring softens, so a constant taken at 1-2 mm underrates EI by 7-13 %.

    >>> round(bending_stiffness_mn_mm2(spring_mn_per_mm=0.8162, test_diameter_mm=11.0), 1)
    213.3

    References: thin split ring by the unit-load method; spring constants doi:10.1016/j.jcrs.2003.12.031.
    """
    radius = test_diameter_mm * 0.5
    return float(np.pi * spring_mn_per_mm * radius * radius * radius * 0.5)


def closed_diameter_mm(*, free_diameter_mm: float, constants: RingConstants) -> float:
    """Diameter at which the ends of a ring of that free diameter meet [mm]: linear between the published sizes.

    Beyond them the nearest difference is kept. Range: free diameters of 12.3 to 14.5 mm.

    >>> closed_diameter_mm(free_diameter_mm=13.0, constants=RingConstants(11.0, (12.3, 13.0, 14.5), (10.0, 11.0, 12.0)))
    11.0
    """
    free, closed = constants.free_sizes_mm, constants.closed_sizes_mm
    inside = min(max(free_diameter_mm, free[0]), free[-1])
    return float(np.interp(inside, free, closed)) + (free_diameter_mm - inside)


def layers(*, clock: Floats, width_hours: float, ring: Ring, covered_share: float) -> Floats:
    """How many layers of ring lie in the cells of the equator: 1 for a closed ring; with a gap 0 inside it, or 2 where
    the ends overlap.

    Parameters: ``clock`` (N,) [clock hours], the middles of the cells, each ``width_hours`` [hours] wide; ``ring``;
    ``covered_share``, length of the ring divided by the equator's. Cells on the border count in proportion.
    """
    if ring.gap_clock is None:
        return np.ones_like(clock)
    special = min(abs(covered_share - 1), 1.0) * HOUR_COUNT
    inside = overlap_share(clock=clock, width_hours=width_hours, centre_clock=ring.gap_clock, arc_hours=special)
    return 1 + inside if covered_share > 1 else 1 - inside


def overlap_share(*, clock: Floats, width_hours: float, centre_clock: float, arc_hours: float) -> Floats:
    """Share of each cell (middles ``clock``, all ``width_hours`` wide) that lies within an arc of ``arc_hours`` about
    ``centre_clock`` [clock hours]. Range: arcs up to the whole circle."""
    half = HOUR_COUNT * 0.5
    apart = np.abs(np.mod(clock - centre_clock + half, HOUR_COUNT) - half)
    near = np.minimum(np.maximum(arc_hours * 0.5 - apart + width_hours * 0.5, 0.0), width_hours)
    far = np.minimum(np.maximum(arc_hours * 0.5 - (HOUR_COUNT - apart) + width_hours * 0.5, 0.0), width_hours)
    return np.minimum(near, arc_hours) / width_hours + far / width_hours

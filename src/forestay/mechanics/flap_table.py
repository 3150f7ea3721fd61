"""The push of a whole nucleus at once: read from a table of solved pushes, for live use and for draws.

The table holds the push over (shear modulus x thickness x opening) and the zonule's stretch over the bag's radius, by
four ratios: D / d, T / D, D / bag, and zonule stiffness / (shear modulus x thickness). It is read linearly in the
logarithms; beyond its first and last D / d the power laws there are carried on, down to none at D = d.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from itertools import product
from typing import Any

import numpy as np

from forestay.errors import EvidenceError
from forestay.mechanics.flap import FlapConstants
from forestay.mechanics.geometry import Floats, Numbers, plain, require_positive
from forestay.text import tr

TABLE = "flap_table.toml"
SHAPE_TOLERANCE = 1e-6
"""Relative difference at which the constants no longer are those that the table was solved for."""
SMALLEST_EXCESS = 1e-9
"""D / d - 1 that is read as none."""


@dataclass(frozen=True)
class FlapTable:
    """Solved pushes: the four axes, each increasing, and both results, indexed in their order."""

    stiffening: float
    zonule_over_bag_radius: float
    diameter_over_opening: Floats
    thickness_over_diameter: Floats
    diameter_over_bag: Floats
    zonule_over_skin: Floats
    push: Floats
    stretch: Floats


@dataclass(frozen=True)
class ProlapseEstimate:
    """``force_mn`` [mN] and ``zonule_stretch_mm`` [mm]; ``inside``: whether the ratios lie inside the table (an opening
    of nearly the nucleus's size counts as inside; beyond the largest D / d the last power law is carried on, beyond the
    other edges the edge is read)."""

    force_mn: Numbers
    zonule_stretch_mm: Numbers
    inside: Any


@cache
def flap_table() -> FlapTable:
    """The table that ships, read once."""
    text = files("forestay.mechanics").joinpath(TABLE).read_text(encoding="utf-8")
    whole: dict[str, Any] = {}
    for name, value in tomllib.loads(text).items():
        whole[name] = value if isinstance(value, float) else np.array(value, dtype=np.float64)
    return FlapTable(**whole)


def prolapse_estimate(
    *,
    nucleus_diameter_mm: Numbers,
    nucleus_thickness_mm: Numbers,
    capsulorhexis_mm: Numbers,
    zonule_mn_per_mm: Numbers,
    constants: FlapConstants,
) -> ProlapseEstimate:
    """Upward push that carries a nucleus through the opening lying flat, and how far it drags the zonule.

    Parameters: ``nucleus_diameter_mm`` D, ``nucleus_thickness_mm`` T, ``capsulorhexis_mm`` d [mm], above 0;
    ``zonule_mn_per_mm``, stiffness of the whole zonule, above 0 [mN/mm]; ``constants``. Result:
    :class:`ProlapseEstimate`; both numbers are 0 where D is d or less. Within 3 percent of a direct push inside the
    table. A scenario: the tissue is uncertain several-fold, and a one-sided zonule bears more on its weak side.
    """
    require_positive(
        nucleus_diameter_mm=nucleus_diameter_mm,
        nucleus_thickness_mm=nucleus_thickness_mm,
        capsulorhexis_mm=capsulorhexis_mm,
        zonule_mn_per_mm=zonule_mn_per_mm,
    )
    table = flap_table()
    _require_same_skin(table, constants)
    wide, thick, opening, zonule = np.broadcast_arrays(
        *(
            np.asarray(value, dtype=np.float64)
            for value in (nucleus_diameter_mm, nucleus_thickness_mm, capsulorhexis_mm, zonule_mn_per_mm)
        )
    )
    skin = 1000 * constants.shear_modulus_mpa * constants.thickness_um / 1000
    excess = wide / opening - 1
    asked = [
        np.log(np.maximum(excess, SMALLEST_EXCESS)),
        thick / wide,
        wide / constants.bag_diameter_mm,
        np.log(zonule / skin),
    ]
    axes = [
        np.log(table.diameter_over_opening - 1),
        table.thickness_over_diameter,
        table.diameter_over_bag,
        np.log(table.zonule_over_skin),
    ]
    inside = (asked[0] <= axes[0][-1]) & np.all(
        [(a >= axis[0]) & (a <= axis[-1]) for a, axis in zip(asked[1:], axes[1:], strict=True)], axis=0
    )
    push, stretch = _read(axes, np.stack([np.log(table.push), np.log(table.stretch)]), asked)
    passes = excess <= SMALLEST_EXCESS
    return ProlapseEstimate(
        plain(np.where(passes, 0, np.exp(push) * skin * opening)),
        plain(np.where(passes, 0, np.exp(stretch) * constants.bag_diameter_mm / 2)),
        bool(inside | passes) if np.ndim(inside) == 0 else inside | passes,
    )


def _read(axes: list[Floats], values: Floats, asked: list[Floats]) -> Floats:
    """Multilinear reading of ``values`` (2, ...), held at the edges; along the first axis carried on beyond them."""
    lower, share = [], []
    for number, (axis, at) in enumerate(zip(axes, asked, strict=True)):
        held = at if number == 0 else np.clip(at, axis[0], axis[-1])
        place = np.clip(np.searchsorted(axis, held, side="right") - 1, 0, len(axis) - 2)
        lower.append(place)
        share.append((held - axis[place]) / (axis[place + 1] - axis[place]))
    total = np.zeros((len(values), *np.shape(asked[0])))
    for corner in product((0, 1), repeat=len(axes)):
        weight = np.prod([s if up else 1 - s for s, up in zip(share, corner, strict=True)], axis=0)
        here: Any = (slice(None), *(place + up for place, up in zip(lower, corner, strict=True)))
        total += weight * values[here]
    return total


def _require_same_skin(table: FlapTable, constants: FlapConstants) -> None:
    for field, solved, asked in (
        ("flap.stiffening", table.stiffening, constants.stiffening),
        (
            "flap.zonule_length_mm",
            table.zonule_over_bag_radius,
            2 * constants.zonule_length_mm / constants.bag_diameter_mm,
        ),
    ):
        if abs(asked - solved) > SHAPE_TOLERANCE * solved:
            words = tr("{field}: the table of pushes was solved for other evidence; solve it anew.", field=field)
            raise EvidenceError(words, field=field, value=asked, allowed=f"{solved:g}")

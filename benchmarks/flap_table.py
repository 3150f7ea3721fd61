"""Solves the table of pushes that the live estimate reads: ``python -m benchmarks.flap_table``.

Four ratios, one direct push each: about two minutes on one core. Writes the file beside the engine.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

import forestay.mechanics
from forestay.evidence import default_evidence
from forestay.mechanics.flap import FlapConstants, prolapse
from forestay.mechanics.flap_table import TABLE

DIAMETER_OVER_OPENING = (1.05, 1.1, 1.2, 1.3, 1.4, 1.5, 1.6)
THICKNESS_OVER_DIAMETER = (0.35, 0.5, 0.65)
DIAMETER_OVER_BAG = (0.65, 0.8, 0.95)
ZONULE_OVER_SKIN = (0.2, 0.6, 1.8, 5.4, 16.2)
DIGITS = 4


def solve(constants: FlapConstants) -> Iterator[tuple[tuple[int, ...], float, float]]:
    """Place in the table, push and stretch, both without unit, of every push."""
    skin = constants.shear_modulus_mpa * constants.thickness_um
    shape = tuple(map(len, (DIAMETER_OVER_OPENING, THICKNESS_OVER_DIAMETER, DIAMETER_OVER_BAG, ZONULE_OVER_SKIN)))
    for place in np.ndindex(shape):
        ratio, flat, share, spring = place
        wide = DIAMETER_OVER_BAG[share] * constants.bag_diameter_mm
        opening = wide / DIAMETER_OVER_OPENING[ratio]
        found = prolapse(
            nucleus_diameter_mm=wide,
            nucleus_thickness_mm=THICKNESS_OVER_DIAMETER[flat] * wide,
            capsulorhexis_mm=opening,
            zonule_mn_per_mm=ZONULE_OVER_SKIN[spring] * skin,
            constants=constants,
        )
        if not found.passed:
            print(f"the rim did not pass at {place}")
        yield place, found.peak_force_mn / (skin * opening), found.zonule_stretch_mm * 2 / constants.bag_diameter_mm


def nested(values: np.ndarray) -> str:
    """A TOML list of lists with few digits."""
    if values.ndim == 0:
        return f"{float(f'{float(values):.{DIGITS}g}')!r}"
    gap = ", " if values.ndim == 1 else ",\n"
    return "[" + gap.join(nested(part) for part in values) + "]"


def main() -> None:
    """Solve and write."""
    constants = default_evidence().reader().constants(FlapConstants)
    axes = {
        "diameter_over_opening": DIAMETER_OVER_OPENING,
        "thickness_over_diameter": THICKNESS_OVER_DIAMETER,
        "diameter_over_bag": DIAMETER_OVER_BAG,
        "zonule_over_skin": ZONULE_OVER_SKIN,
    }
    push = np.zeros([len(axis) for axis in axes.values()])
    stretch = np.zeros_like(push)
    for place, force, dragged in solve(constants):
        push[place], stretch[place] = force, dragged
    lines = [
        "# Made by: python -m benchmarks.flap_table",
        f"stiffening = {constants.stiffening!r}",
        f"zonule_over_bag_radius = {2 * constants.zonule_length_mm / constants.bag_diameter_mm!r}",
        *(f"{name} = {nested(np.array(axis))}" for name, axis in axes.items()),
        f"push = {nested(push)}",
        f"stretch = {nested(stretch)}",
    ]
    target = Path(forestay.mechanics.__path__[0]) / TABLE
    target.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(f"{push.size} pushes solved")


if __name__ == "__main__":
    main()

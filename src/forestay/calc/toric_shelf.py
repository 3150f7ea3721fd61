"""A toric lens from the practice's shelf: which model, power and cylinder leave the least, and what they leave."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.lens_input import Ready, prepare_target
from forestay.calc.toric import EXAMPLE, ToricInput, cornea_of
from forestay.evidence import Reader
from forestay.eye.lens_shelf import LensShelf, ShelfLens
from forestay.optics import toric, vergence
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_kinds import KindPlaces
from forestay.record import Record
from forestay.text import tr


@dataclass(frozen=True)
class ToricBox:
    """A toric lens of the shelf: power (spherical equivalent) and cylinder [D], what it leaves [D]."""

    lens: ShelfLens
    power_d: float
    cylinder_d: float
    refraction_d: float
    left_d: float
    """Corneal cylinder left along the same meridian; negative: along the one at a right angle."""
    other_method: bool


def toric_box_for(
    ready: Ready, shelf: LensShelf, *, corneal_cylinder_d: float, method: str | None, use: Reader
) -> ToricBox | None:
    """The toric lens of the shelf for the bag that leaves the least cylinder, then the least miss of the target.

    ``corneal_cylinder_d``: total, after the incision, in the power scale of the formula's eye [D]. None where no toric
    model of the shelf may lie in the bag, or every one of them leaves more cylinder than there is.
    """
    places = use.constants(KindPlaces).places
    found: list[ToricBox] = []
    for lens in shelf.lens:
        constant = lens.constant_for(method, "bag")
        if not lens.toric or "bag" not in places[lens.kind] or constant is None or not lens.powers_d:
            continue
        eye = ready.model.eye(ready.measured, AConstant(constant.a))
        powers = np.array(lens.powers_d)
        refractions = np.asarray(vergence.refraction_d(eye=eye, power_d=powers, constants=ready.vergence))
        at = int(np.nanargmin(np.abs(refractions - ready.target_d)))
        for cylinder in lens.cylinders_d:
            left = toric.left_d(
                eye=eye,
                corneal_cylinder_d=corneal_cylinder_d,
                lens_cylinder=cylinder,
                target_d=ready.target_d,
                constants=ready.vergence,
            )
            found.append(
                ToricBox(
                    lens=lens,
                    power_d=float(powers[at]),
                    cylinder_d=cylinder,
                    refraction_d=float(refractions[at]),
                    left_d=float(left),
                    other_method=method is not None and constant.method != method,
                )
            )
    best = min(found, key=lambda b: (abs(b.left_d), abs(b.refraction_d - ready.target_d)), default=None)
    return best if best is not None and abs(best.left_d) < corneal_cylinder_d else None


class ToricFromShelfInput(ToricInput):
    """The eye with its meridians, and the shelf."""

    shelf: Annotated[LensShelf, Field(description="the practice's own lens models")]


class ToricFromShelfOutput(Record):
    """The toric lens to have; nulls where none of the shelf leaves less cylinder than there is."""

    lens: Annotated[str | None, Field(description="model")]
    power_d: Annotated[float | None, Field(description="power on its label, as spherical equivalent")]
    cylinder_d: Annotated[float | None, Field(description="cylinder of the lens, in its own plane")]
    axis_deg: Annotated[float, Field(description="steep meridian of the cornea: the marks of the lens lie along it")]
    refraction_d: Annotated[float | None, Field(description="spherical equivalent that it leaves")]
    corneal_cylinder_d: Annotated[float, Field(description="corneal cylinder to be met, in the readings' scale")]
    left_d: Annotated[
        float | None,
        Field(description="corneal cylinder left; negative: the meridian at a right angle is the steep one"),
    ]


@calculation(
    "toric-from-shelf",
    summary="Which toric lens of the practice's own shelf leaves the least cylinder, and what it leaves",
    formula="left = C (1 - lens cylinder / cylinder needed); least |left|, then the power nearest to the target",
    valid="as toric: regular astigmatism, a lens in the bag that stays put; the shelf is the practice's own data",
    input=ToricFromShelfInput,
    output=ToricFromShelfOutput,
    example={
        **EXAMPLE,
        "axial_length_method": "optical",
        "shelf": {
            "invented": True,
            "lens": [
                {
                    "name": "soft, toric",
                    "kind": "one-piece-soft",
                    "material": "acrylic-hydrophobic",
                    "optic_mm": 6.0,
                    "constants": [{"a": 118.6, "method": "optical"}],
                    "ranges": [{"from_d": 12.0, "to_d": 28.0, "step_d": 0.5}],
                    "toric": True,
                    "cylinders_d": [1.5, 2.25, 3.0, 3.75],
                }
            ],
        },
    },
)
def toric_from_shelf_calculation(given: ToricFromShelfInput, use: Reader) -> tuple[ToricFromShelfOutput, list[Doubt]]:
    """The cornea's cylinder, and the box that meets it best."""
    ready = prepare_target(given, use)
    cornea, doubts = cornea_of(given, use)
    cylinder = float(cornea.magnitude_d)
    scale = float(ready.eye.corneal_power_d) / (0.5 * (given.k1_d + given.k2_d))
    box = toric_box_for(
        ready, given.shelf, corneal_cylinder_d=cylinder * scale, method=given.axial_length_method, use=use
    )
    doubts = [*ready.doubts, *doubts, label_doubt()]
    if box is None:
        doubts.append(Doubt("no-toric-on-the-shelf", tr("No toric lens of this shelf leaves less than there is.")))
    elif box.other_method:
        says = tr("The shelf has no constant of {lens} for lengths measured in this way.", lens=box.lens.name)
        doubts.append(Doubt("constant-of-another-method", says))
    output = ToricFromShelfOutput(
        lens=box.lens.name if box else None,
        power_d=box.power_d if box else None,
        cylinder_d=box.cylinder_d if box else None,
        axis_deg=float(cornea.axis_deg),
        refraction_d=box.refraction_d if box else None,
        corneal_cylinder_d=cylinder,
        left_d=box.left_d / scale if box else None,
    )
    return output, doubts


def label_doubt() -> Doubt:
    """What the label of a toric lens is taken to say."""
    says = tr("The power on the label of a toric lens is taken as its spherical equivalent: read the box.")
    return Doubt("toric-label-is-equivalent", says)


CALCULATIONS = (toric_from_shelf_calculation,)

"""Calculation of the box to have for each position: from the practice's own shelf of lenses."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.lens_error import Case, budget_of, case_of, method_or_usual, spreads_of
from forestay.calc.lens_input import EXAMPLE, Ready, TargetInput, prepare_target
from forestay.evidence import Reader
from forestay.eye.lens_shelf import LensShelf, ShelfLens
from forestay.eye.quantity import within
from forestay.optics import chance, vergence
from forestay.optics.chance import Region
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_kinds import KindPlaces
from forestay.optics.positions import ALL_POSITIONS, POSITIONS, Position
from forestay.record import Record
from forestay.text import tr

OWN_CONSTANT: tuple[Position, ...] = ("retropupillary-iris", "prepupillary-iris", "anterior-chamber")
"""Positions whose lenses carry the constant of the position itself: it is not shifted again."""


@dataclass(frozen=True)
class Box:
    """The box to have: a lens with its power [D], the refraction that it leaves [D], and the chance of an accepted one."""

    lens: ShelfLens
    power_d: float
    refraction_d: float
    in_region: float | None
    constant_a: float
    other_method: str | None
    """The length method of the constant, where it is not that of the length."""


def box_for(
    ready: Ready, case: Case, shelf: LensShelf, *, region: Region | None, method: str | None, use: Reader
) -> Box | None:
    """The best box of the shelf for a position; None where no lens of the shelf may lie there.

    Nearest to the target, or most likely in the region. Each lens is asked with its own constant; in the places of
    capsule and sclera it is shifted from its place in the bag.
    """
    places = use.constants(KindPlaces).places
    shift = 0.0 if case.position in OWN_CONSTANT else case.place.shift_mm
    best: tuple[float, Box] | None = None
    for lens in shelf.lens:
        if case.position not in places[lens.kind] or lens.toric or not lens.powers_d:
            continue
        constant = lens.constant_for(method, case.position)
        if constant is None:
            continue
        eye = ready.model.eye(ready.measured, AConstant(constant.a)).shifted(lens_shift_mm=shift)
        powers = np.array(lens.powers_d)
        left = np.asarray(vergence.refraction_d(eye=eye, power_d=powers, constants=ready.vergence))
        if region is None:
            worth = -np.abs(left - ready.target_d)
            chances = None
        else:
            middle = float(powers[np.nanargmin(np.abs(left - region.middle_d))])
            spreads = spreads_of(case, power_d=middle, use=use)
            sd = budget_of(ready, spreads, power_d=middle, shift_mm=case.place.shift_mm).sd_d
            chances = chance.chances(region, mean_d=left, sd_d=sd)
            worth = np.asarray(chances.within) - np.asarray(chances.refused)
        at = int(np.nanargmax(np.where(np.isfinite(left), worth, -np.inf)))
        found = Box(
            lens=lens,
            power_d=float(powers[at]),
            refraction_d=float(left[at]),
            in_region=None if chances is None else float(np.asarray(chances.within)[at]),
            constant_a=constant.a,
            other_method=constant.method if method is not None and constant.method != method else None,
        )
        if best is None or float(worth[at]) > best[0]:
            best = float(worth[at]), found
    return None if best is None else best[1]


class LensFromShelfInput(TargetInput):
    """An eye, and the shelf."""

    shelf: Annotated[LensShelf, Field(description="the practice's own lens models")]
    positions: Annotated[
        tuple[Position, ...] | None,
        Field(strict=False, description="positions asked for; absent: all but prepupillary-iris"),
    ] = None
    weak_zonule: Annotated[bool, Field(description="the zonule is weak: a lens held by it may lie farther off")] = False
    scleral_distance_mm: Annotated[float | None, within("scleral_distance_mm")] = None
    accept_from_d: Annotated[float | None, within("accept_d")] = None
    accept_to_d: Annotated[float | None, within("accept_d")] = None
    refuse_above_d: Annotated[float | None, within("accept_d")] = None


class BoxToHave(Record):
    """The box for one position."""

    position: Annotated[Position, Field(description="where the lens lies")]
    lens: Annotated[str | None, Field(description="model; null where no lens of the shelf may lie there")]
    kind: Annotated[str | None, Field(description="kind of lens")]
    power_d: Annotated[float | None, Field(description="power on its label")]
    refraction_d: Annotated[float | None, Field(description="refraction that it leaves")]
    in_region: Annotated[float | None, Field(description="chance of an accepted refraction; null without a region")]
    boxes: Annotated[int | None, Field(description="boxes of that power; null where not counted")]


class LensFromShelfOutput(Record):
    """The boxes to have in theatre."""

    boxes: Annotated[tuple[BoxToHave, ...], Field(description="one row for each position")]


@calculation(
    "lens-from-shelf",
    summary="Which box of the practice's own shelf to have in theatre for each position of the lens",
    formula="for each lens that may lie there, with its own constant: the power on the shelf nearest to the target",
    valid="as lens-positions; the shelf is the practice's own data",
    input=LensFromShelfInput,
    output=LensFromShelfOutput,
    example={
        **EXAMPLE,
        "target_d": -0.5,
        "step_d": 0.5,
        "axial_length_method": "optical",
        "positions": ["bag", "sulcus", "anterior-chamber"],
        "shelf": {
            "invented": True,
            "lens": [
                {
                    "name": "soft, one piece",
                    "kind": "one-piece-soft",
                    "material": "acrylic-hydrophobic",
                    "optic_mm": 6.0,
                    "constants": [{"a": 118.6, "method": "optical"}],
                    "ranges": [{"from_d": 10.0, "to_d": 30.0, "step_d": 0.5}],
                },
                {
                    "name": "three pieces",
                    "kind": "three-piece",
                    "material": "acrylic-hydrophobic",
                    "optic_mm": 6.0,
                    "constants": [{"a": 118.9, "method": "optical"}],
                    "stock": [{"power_d": 19.0, "boxes": 1}, {"power_d": 21.0, "boxes": 2}],
                },
            ],
        },
    },
)
def lens_from_shelf_calculation(given: LensFromShelfInput, use: Reader) -> tuple[LensFromShelfOutput, list[Doubt]]:
    """The best box for each position."""
    ready = prepare_target(given, use)
    method, doubts = method_or_usual(given.axial_length_method)
    region = None
    if given.accept_from_d is not None and given.accept_to_d is not None:
        region = Region(given.accept_from_d, given.accept_to_d, given.refuse_above_d)
    rows = []
    for position in given.positions or POSITIONS:
        case = case_of(
            ready,
            position,
            method=method,
            weak_zonule=given.weak_zonule,
            use=use,
            scleral_distance_mm=given.scleral_distance_mm,
        )
        box = box_for(ready, case, given.shelf, region=region, method=given.axial_length_method, use=use)
        if box is not None and box.other_method is not None:
            doubts.append(other_method_doubt(box))
        rows.append(_row(position, box))
    return LensFromShelfOutput(boxes=tuple(rows)), [*ready.doubts, *doubts]


def other_method_doubt(box: Box) -> Doubt:
    """The constant on the shelf belongs to lengths measured in another way."""
    says = tr(
        "The shelf has a constant of {lens} for {method} lengths only; the length was measured in another way.",
        lens=box.lens.name,
        method=tr(box.other_method) if box.other_method else "",
    )
    return Doubt("constant-of-another-method", says)


def _row(position: Position, box: Box | None) -> BoxToHave:
    return BoxToHave(
        position=position,
        lens=box.lens.name if box else None,
        kind=box.lens.kind if box else None,
        power_d=box.power_d if box else None,
        refraction_d=box.refraction_d if box else None,
        in_region=box.in_region if box else None,
        boxes=box.lens.boxes(box.power_d) if box else None,
    )


CALCULATIONS = (lens_from_shelf_calculation,)
__all__ = ["ALL_POSITIONS", "CALCULATIONS", "Box", "box_for", "lens_from_shelf_calculation"]

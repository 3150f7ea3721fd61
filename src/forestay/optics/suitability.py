"""Which formulas suit this eye, which only with care, which not, and why; where a formula steps; how far they disagree.

The disagreement of the formulas that count is an honest sign of model uncertainty: the standard deviation of the
refractions that they predict for one and the same lens. A formula that does not suit, or whose constants are only
converted from another kind where it needs three of its own, does not count. Single eyes; ranges as each formula.

References: each formula's; chamber pitfalls: 10.3341/jkos.2011.52.2.175 and 44 eyes of small or displaced lenses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from forestay.optics import formulas
from forestay.optics.formulas import FORMULAS, ChoiceConstants
from forestay.optics.hoffer_q import HofferQConstants
from forestay.optics.lens_constants import Kind, LensConstant
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.srk_t import SrkTConstants
from forestay.optics.values import Read
from forestay.optics.vergence import VergenceConstants
from forestay.text import tr

State: TypeAlias = Literal["suits", "with-care", "not"]
DECIDING: Mapping[str, State] = {
    "srk-t-cusp": "not",
    "srk-t-near-cusp": "with-care",
    "holladay-1-length-held": "with-care",
    "holladay-1-radius-held": "with-care",
    "hoffer-q-length-held": "with-care",
    "long-eye-not-adjusted": "with-care",
}
"""What a remark of a formula on this eye means for its use; other remarks are words only."""
JUMP_STEPS_MM = 1e-9
"""How far to either side of a switch a formula is asked, to see its step [mm]."""


@dataclass(frozen=True, slots=True)
class Judged:
    """A formula in this eye. ``counts``: whether it enters the disagreement; ``model`` is None where it cannot answer."""

    name: str
    state: State
    why: tuple[str, ...]
    usual: bool
    counts: bool
    model: LensModel | None


def judged(
    *, read: Read, measured: Measured, constant_kind: Kind, falsified: str | None, adjusted: bool = False
) -> tuple[Judged, ...]:
    """Every formula of the registry, judged for one eye.

    ``constant_kind`` is the kind of the constant at hand; ``falsified`` says in words what falsifies the chamber depth
    (a loose, swollen or displaced lens), None where nothing is known to; ``adjusted``: the length is adjusted already.
    """
    choice = read(ChoiceConstants)
    usual = formulas.usual_at(axial_length_mm=float(measured.axial_length_mm), constants=choice)
    found = []
    for name, formula in FORMULAS.items():
        model = formulas.model(name, read)
        wrong = formulas.refusal(
            name,
            model=model,
            axial_length_mm=float(measured.axial_length_mm),
            k_d=float(measured.k_d),
            chamber_depth_mm=None if measured.chamber_depth_mm is None else float(measured.chamber_depth_mm),
        )
        if wrong is not None:
            found.append(Judged(name, "not", (wrong.message,), name in usual, counts=False, model=None))
            continue
        state, why = _of_remarks(name, model, measured, choice, adjusted=adjusted)
        if formula.needs_chamber_depth and falsified:
            state = "not"
            why.append(tr("the chamber depth is not to be trusted: {reason}", reason=falsified))
        elif falsified:
            why.append(tr("does not use the chamber depth, which this lens falsifies"))
        bare = formula.constant_kind == "haigis" and constant_kind != "haigis"
        if bare and state != "not":
            state = "with-care"
            why.append(tr("its three constants were converted from one: a start only, not counted"))
        found.append(Judged(name, state, tuple(why), name in usual, counts=state != "not" and not bare, model=model))
    return tuple(found)


def _of_remarks(
    name: str, model: LensModel, measured: Measured, choice: ChoiceConstants, *, adjusted: bool
) -> tuple[State, list[str]]:
    order: tuple[State, ...] = ("suits", "with-care", "not")
    state: State = "suits"
    why = []
    for doubt in formulas.remarks(name, model=model, measured=measured, constants=choice):
        if doubt.code not in DECIDING or (adjusted and doubt.code == "long-eye-not-adjusted"):
            continue
        state = max(state, DECIDING[doubt.code], key=order.index)
        why.append(doubt.message)
    return state, why


@dataclass(frozen=True, slots=True)
class Jump:
    """A documented step of a formula: at which length [mm], and by how much its power steps there [D]."""

    name: str
    at_mm: float
    power_d: float


def jumps(
    *, read: Read, k_d: float, chamber_depth_mm: float | None, constant: LensConstant, optics: VergenceConstants
) -> tuple[Jump, ...]:
    """The steps of the formulas over length, for a cornea of mean power ``k_d`` [D]; other formulas have none."""
    places = {"SRK/T": read(SrkTConstants).correction_from_mm, "Hoffer Q": read(HofferQConstants).switch_mm}
    found = []
    for name, at in places.items():
        below, above = (
            float(
                formulas.power_d(
                    model=formulas.model(name, read),
                    axial_length_mm=length,
                    k_d=k_d,
                    chamber_depth_mm=chamber_depth_mm,
                    constant=constant,
                    target_d=0.0,
                    vergence_constants=optics,
                )
            )
            for length in (at, at + JUMP_STEPS_MM)
        )
        found.append(Jump(name, at, above - below))
    return tuple(found)


def disagreement_d(refractions_d: list[float]) -> float | None:
    """Standard deviation (n - 1) of the refractions [D] that formulas predict for one lens; None for fewer than two.

    >>> round(disagreement_d([0.0, -0.5]), 6)
    0.353553
    """
    return float(np.std(refractions_d, ddof=1)) if len(refractions_d) > 1 else None

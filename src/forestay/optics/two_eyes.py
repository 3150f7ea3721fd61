"""Two eyes of one person: whether their measurements fit one another, and what the first outcome says of the second.

Consistency asks the formula itself: with one and the same lens in both eyes, how far apart would their refractions lie?
That difference is due to length and cornea alone, and the refractions before the cataract should differ likewise:

    expected = R(L, K; P) - R(L', K'; P)          P the power for plano in the fellow eye

The second eye: the first eye came out e = achieved - predicted; part of it is carried over, so the prediction of the
second eye moves by share * e. Inputs as the power formulas; single eyes. Range: the two eyes alike in length and cornea.

References: half of the first eye's error where it exceeded 0.5 D: 250 patients, ARVO 2010; 335 patients, Clin Ophthalmol
2014;8:2177.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from forestay.answer import Doubt
from forestay.optics import formulas
from forestay.optics.lens_constants import LensConstant
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.vergence import VergenceConstants
from forestay.text import tr


@dataclass(frozen=True, slots=True)
class TwoEyesConstants:
    """Share of the first eye's error to carry over; the error from which on, and up to which, it is [D]; how alike two
    eyes must be for it [mm, D]; differences of the old refractions that are looked into [D]."""

    PREFIX: ClassVar[str] = "two_eyes"
    share: float
    from_d: float
    doubted_above_d: float
    alike_length_mm: float
    alike_k_d: float
    refraction_misfit_d: float


@dataclass(frozen=True, slots=True)
class Carried:
    """Error of the first eye [D], what of it is carried over [D], and doubts."""

    first_error_d: float
    carried_d: float
    doubts: tuple[Doubt, ...]


def _refraction(
    model: LensModel, eye: Measured, constant: LensConstant, power_d: float, optics: VergenceConstants
) -> float:
    return float(
        formulas.refraction_d(
            model=model,
            axial_length_mm=eye.axial_length_mm,
            k_d=eye.k_d,
            chamber_depth_mm=eye.chamber_depth_mm,
            constant=constant,
            power_d=power_d,
            vergence_constants=optics,
        )
    )


def expected_difference_d(
    *, model: LensModel, eye: Measured, fellow: Measured, constant: LensConstant, vergence_constants: VergenceConstants
) -> float:
    """Refraction of this eye less that of its fellow [D] if the same lens lay in both: from length and cornea alone."""
    power = formulas.power_d(
        model=model,
        axial_length_mm=fellow.axial_length_mm,
        k_d=fellow.k_d,
        chamber_depth_mm=fellow.chamber_depth_mm,
        constant=constant,
        target_d=0.0,
        vergence_constants=vergence_constants,
    )
    here, there = (_refraction(model, e, constant, float(power), vergence_constants) for e in (eye, fellow))
    return here - there


def carried_over(
    *,
    model: LensModel,
    eye: Measured,
    fellow: Measured,
    constant: LensConstant,
    fellow_power_d: float,
    fellow_refraction_d: float,
    vergence_constants: VergenceConstants,
    constants: TwoEyesConstants,
) -> Carried:
    """What the operated fellow eye, with a lens of ``fellow_power_d`` [D] and ``fellow_refraction_d`` [D] achieved, says.

    ``carried_d`` is to be added to the predicted refraction of this eye; 0 where the error was small, or the two eyes
    are too unlike for one to speak for the other.
    """
    predicted = _refraction(model, fellow, constant, fellow_power_d, vergence_constants)
    missed = fellow_refraction_d - predicted
    doubts = []
    length_apart = abs(float(eye.axial_length_mm) - float(fellow.axial_length_mm))
    k_apart = abs(float(eye.k_d) - float(fellow.k_d))
    if length_apart > constants.alike_length_mm or k_apart > constants.alike_k_d:
        says = tr(
            "The two eyes differ by {mm:.2f} mm and {d:.2f} D of mean K: the outcome of one says little of the other, and"
            " nothing is carried over.",
            mm=length_apart,
            d=k_apart,
        )
        return Carried(missed, 0.0, (Doubt("eyes-unlike", says),))
    if abs(missed) < constants.from_d:
        return Carried(missed, 0.0, ())
    if abs(missed) > constants.doubted_above_d:
        says = tr(
            "The fellow eye missed its prediction by {missed:+.2f} D: look for the reason (lens, length, position) before"
            " any of it is carried over.",
            missed=missed,
        )
        doubts.append(Doubt("first-eye-missed-far", says))
    return Carried(missed, constants.share * missed, tuple(doubts))

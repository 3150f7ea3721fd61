"""Power and refraction for the plan: one formula, chosen by length from a stated rule, run on the common draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from forestay.evidence import Reader
from forestay.eye.records import CaseFile
from forestay.optics import error, formulas, long_eye
from forestay.optics.error import ErrorConstants
from forestay.optics.formulas import ChoiceConstants
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_model import LensModel, Measured
from forestay.optics.long_eye import Adjustment
from forestay.optics.vergence import VergenceConstants
from forestay.plan.draws import Draws
from forestay.plan.estimates import Estimates
from forestay.plan.spread import Floats, Spread

DEFAULT_STEP_D = 0.5
"""Lens powers are made in half dioptres."""


@dataclass(frozen=True)
class Predictor:
    """One eye with one formula: everything but the power and the place of the lens is settled."""

    name: str
    model: LensModel
    constant: AConstant
    length: Spread
    k_mean: Spread
    chamber_depth_mm: float | None
    vergence: VergenceConstants
    errors: ErrorConstants
    adjustment: Adjustment = "none"
    """The adjustment of the length that was asked for and made; ``length`` has it already."""
    passed_over: str | None = None
    """The usual formula that does not suit this eye, where another was taken."""

    def power_d(self, *, target_d: float, shift_mm: float = 0.0) -> float:
        """Power [D] for the target, the lens ``shift_mm`` behind its place in the bag."""
        return float(
            formulas.power_d(
                model=self.model,
                axial_length_mm=self.length.centre,
                k_d=self.k_mean.centre,
                chamber_depth_mm=self.chamber_depth_mm,
                constant=self.constant,
                target_d=target_d,
                vergence_constants=self.vergence,
                lens_shift_mm=shift_mm,
            )
        )

    def refraction_d(self, *, power_d: float, shift_mm: float = 0.0) -> float:
        """Refraction [D] with a lens of ``power_d``."""
        return float(
            formulas.refraction_d(
                model=self.model,
                axial_length_mm=self.length.centre,
                k_d=self.k_mean.centre,
                chamber_depth_mm=self.chamber_depth_mm,
                constant=self.constant,
                power_d=power_d,
                vergence_constants=self.vergence,
                lens_shift_mm=shift_mm,
            )
        )

    def refraction_draws(self, *, power_d: float, distance_sd_mm: float, draws: Draws) -> Spread:
        """Refraction [D] with the scatter of length, K, lens place, lens label and the refraction itself."""
        label = float(error.power_sd_d(power_d=power_d, constants=self.errors))
        drawn: Floats = np.asarray(
            formulas.refraction_d(
                model=self.model,
                axial_length_mm=self.length.draws,
                k_d=self.k_mean.draws,
                chamber_depth_mm=self.chamber_depth_mm,
                constant=self.constant,
                power_d=power_d + label * draws.normal("lens label"),
                vergence_constants=self.vergence,
                lens_shift_mm=distance_sd_mm * draws.normal("lens place"),
            )
        ) + self.errors.refraction_sd_d * draws.normal("refraction")
        return Spread(self.refraction_d(power_d=power_d), drawn)

    def distance_sd_mm(self, *, weak: bool, optical: bool) -> float:
        """Spread of the lens place [mm]."""
        if weak:
            return self.errors.weak_zonule_distance_sd_mm
        return self.errors.optical_distance_sd_mm if optical else self.errors.ultrasound_distance_sd_mm


def predictor(case: CaseFile, estimates: Estimates, use: Reader) -> Predictor | None:
    """The formula for this eye; None where length, K or the lens constant is lacking, or no formula answers.

    Where the usual formula is at its cusp in this eye, the next is taken.
    """
    constant = case.target.lens_constant
    if estimates.length is None or estimates.k_mean is None or constant is None or constant.a is None:
        return None
    length, k_mean = estimates.length.centre, estimates.k_mean.centre
    depth = case.biometry.chamber_depth_mm
    usual = formulas.usual_at(axial_length_mm=length, constants=use.constants(ChoiceConstants))
    for name in (*usual, *(n for n in NEXT if n not in usual)):
        model = formulas.model(name, use.constants)
        longest = float(max(length, estimates.length.draws.max()))  # the formula must answer every draw
        refused = formulas.refusal(name, model=model, axial_length_mm=longest, k_d=k_mean, chamber_depth_mm=depth)
        cusp = {d.code for d in model.remarks(Measured(length, k_mean, depth))} & {"srk-t-cusp"}
        if refused is not None and name == usual[-1]:
            return None
        if refused is None and not cusp:
            adjustment, adjusted = _adjusted(case, name, estimates.length, use)
            return Predictor(
                name=name,
                model=model,
                constant=AConstant(constant.a),
                length=adjusted,
                k_mean=estimates.k_mean,
                chamber_depth_mm=depth,
                vergence=use.constants(VergenceConstants),
                errors=use.constants(ErrorConstants),
                adjustment=adjustment,
                passed_over=None if name in usual else usual[0],
            )
    return None


NEXT = ("Holladay 1",)
"""What is taken where the usual formula is at its cusp."""


def _adjusted(case: CaseFile, name: str, length: Spread, use: Reader) -> tuple[Adjustment, Spread]:
    """The length for the formula, adjusted as the case asks; left alone where that formula has no such adjustment."""
    wanted = case.target.length_adjustment or "none"
    if wanted == "none" or (wanted != "segments" and name not in long_eye.lines(wanted, use.constants)):
        return "none", length
    if wanted == "segments" and case.biometry.lens_thickness_mm is None:
        return "none", length

    def moved(values: float | Floats) -> float | Floats:
        return long_eye.adjusted(
            wanted,
            formula=name,
            axial_length_mm=values,
            lens_thickness_mm=case.biometry.lens_thickness_mm,
            length_is="as-measured",
            read=use.constants,
        ).axial_length_mm

    return wanted, Spread(float(moved(length.centre)), np.asarray(moved(length.draws)))


def nearest_power_d(predictor: Predictor, target_d: float) -> float:
    """The made power [D] whose refraction is nearest the target."""
    exact = predictor.power_d(target_d=target_d)
    low = np.floor(exact / DEFAULT_STEP_D) * DEFAULT_STEP_D
    made = (float(low), float(low + DEFAULT_STEP_D))
    return min(made, key=lambda p: abs(predictor.refraction_d(power_d=p) - target_d))

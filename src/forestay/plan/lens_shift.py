"""What the predicted displacement of the bag costs the lens in it: a sentence and its numbers for the plan's lens part.

The bag model stays in its plane, so the tilt is that of published series. :func:`displacement_cost` answers with
numbers, one sentence and its doubts, or with None where there is nothing to say; :func:`with_displacement` adds that to
the lens part of a plan.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

from forestay.answer import Doubt
from forestay.calc.lens_shift import LensShiftInput, LensShiftOutput, lens_shift_calculation
from forestay.errors import InvalidInput
from forestay.evidence import EvidenceSet, Reader
from forestay.eye.quantity import bounds
from forestay.eye.records import CaseFile
from forestay.optics.lens_model import Measured
from forestay.plan.lens_part import best_choice
from forestay.plan.model import LensPlan
from forestay.plan.offers import Offer
from forestay.plan.prediction import predictor
from forestay.text import once_per_language, tr


@dataclass(frozen=True)
class DisplacementCost:
    """Change of the spectacle refraction against the centred lens [D, degrees], and the prism [prism dioptres]."""

    displacement_mm: float
    displacement_clock: float | None
    tilt_deg: float
    sphere_d: float
    cylinder_d: float
    axis_deg: float | None
    """None where the bag stays centred: the tilt may then be in any direction."""
    mean_d: float
    prism_d: float
    says: str
    inputs: LensShiftInput
    """What was asked of the calculation ``lens-shift``."""

    def as_dict(self) -> dict[str, float | str | None]:
        """The numbers and the sentence, in plain types."""
        return {f.name: getattr(self, f.name) for f in fields(self) if f.name != "inputs"}


def displacement_cost(
    *,
    case: CaseFile,
    axial_length_mm: float,
    lens_distance_mm: float,
    power_d: float,
    displacement_mm: float,
    displacement_clock: float | None,
    weak_zonule: bool,
    use: Reader,
) -> tuple[DisplacementCost | None, list[Doubt]]:
    """Sphere, cylinder and prism that the predicted place of the bag adds to a lens of ``power_d`` [D] in it.

    ``axial_length_mm`` and ``lens_distance_mm`` [mm] are those of the formula in use; ``displacement_mm`` [mm] and
    ``displacement_clock`` (the eye's, None where it is not moved) are the bag model's, as in ``Plan.drawing``;
    ``weak_zonule`` chooses the published tilt. Cost and doubts; the cost is None without readings of the cornea, where
    the bag stays in place and is not weak, or where no refraction can be worked out (then a doubt says so). The rows
    used are counted in ``use``.

    Example::

        found, doubts = displacement_cost(
            case=case, axial_length_mm=23.2, lens_distance_mm=5.1, power_d=21.0, displacement_mm=0.4,
            displacement_clock=6.0, weak_zonule=True, use=reader,
        )
    """
    biometry = case.biometry
    moved = displacement_mm if displacement_clock is not None else 0.0
    if biometry.k1_d is None or biometry.k2_d is None or not (moved or weak_zonule):
        return None, []
    tilt = use.number("lens_shift.weak_tilt_deg" if weak_zonule else "lens_shift.bag_tilt_deg")
    both = biometry.k1_axis_deg is not None and biometry.k2_axis_deg is not None
    given = LensShiftInput(
        axial_length_mm=axial_length_mm,
        k1_d=biometry.k1_d,
        k2_d=biometry.k2_d,
        k1_axis_deg=biometry.k1_axis_deg if both else None,
        k2_axis_deg=biometry.k2_axis_deg if both else None,
        corneal_thickness_um=biometry.corneal_thickness_um,
        material="acrylic",
        lens_distance_mm=lens_distance_mm,
        power_d=power_d,
        displacement_mm=min(moved, bounds("displacement_mm")[1]),
        displacement_clock=displacement_clock if moved else None,
        tilt_deg=tilt,
        tilt_clock=displacement_clock if displacement_clock is not None else 12,
    )
    try:
        answer, told, rows = _asked(given, use.evidence)
    except InvalidInput:  # readings or a lens that no eye of rays can be made of: said elsewhere in the plan
        return None, []
    use.merge(rows)
    found = _cost(given, answer)
    doubts = [d for d in told if d.code == "edge-in-the-pupil"]
    if found is not None:
        says = tr(
            "The bag model says nothing of tilt: {tilt:.1f} degrees were taken, as lenses lay in a published series.",
            tilt=tilt,
        )
        doubts.append(Doubt("lens-tilt-from-series", says))
    return found, doubts


@once_per_language
def _asked(given: LensShiftInput, evidence: EvidenceSet) -> tuple[LensShiftOutput, tuple[Doubt, ...], Reader]:
    """The calculation, once for each eye and place: most controls of the page do not move the bag."""
    rows = evidence.reader()
    answer, doubts = lens_shift_calculation.function(given, rows)
    return answer, tuple(doubts), rows


def with_displacement(
    lens: LensPlan, *, case: CaseFile, offer: Offer, displacement_mm: float, displacement_clock: float | None
) -> tuple[LensPlan, list[Doubt]]:
    """The lens part with the cost of the place where the bag is expected to lie.

    ``case`` and ``displacement_clock`` are the eye's own, not mirrored. Unchanged where the lens is not meant for the
    bag, no power was found, or there is nothing to say.
    """
    setting = offer.setting
    eye = predictor(setting.case, setting.estimates, setting.use.evidence.reader())
    best = best_choice(lens, "bag")
    if offer.measures.lens_position != "bag" or eye is None or best is None:
        return lens, []
    thin = eye.model.eye(Measured(eye.length.centre, eye.k_mean.centre, eye.chamber_depth_mm), eye.constant)
    found, doubts = displacement_cost(
        case=case,
        axial_length_mm=eye.length.centre,
        lens_distance_mm=float(thin.lens_distance_mm),
        power_d=best[0],
        displacement_mm=displacement_mm,
        displacement_clock=displacement_clock,
        weak_zonule=setting.weak,
        use=setting.use,
    )
    if found is None:
        return lens, doubts
    return replace(lens, says=(*lens.says, found.says), displaced=found.as_dict()), doubts


def _cost(given: LensShiftInput, answer: LensShiftOutput) -> DisplacementCost | None:
    change = answer.change
    if change is None or answer.prism_d is None:
        return None
    size = {"tilt": given.tilt_deg, "mean": change.mean_d, "cylinder": change.cylinder_d}
    if given.displacement_clock is None:
        says = tr(
            "The bag is expected to stay centred. If the lens in it tilts by {tilt:.0f} degrees, the refraction changes"
            " by {mean:+.2f} D (spherical equivalent) with a cylinder of {cylinder:.2f} D, its axis by the tilt.",
            **size,
        )
    else:
        says = tr(
            "The bag is expected to move {mm:.1f} mm towards {clock:g} o'clock. If the lens goes with it and tilts by"
            " {tilt:.0f} degrees, the refraction changes by {mean:+.2f} D (spherical equivalent) with a cylinder of"
            " {cylinder:.2f} D at {axis:.0f}, and a prism of {prism:.1f}.",
            mm=given.displacement_mm,
            clock=round(given.displacement_clock, 1),
            axis=round(change.axis_deg) or 180,
            prism=answer.prism_d,
            **size,
        )
    return DisplacementCost(
        displacement_mm=given.displacement_mm,
        displacement_clock=given.displacement_clock,
        tilt_deg=given.tilt_deg,
        sphere_d=change.sphere_d,
        cylinder_d=change.cylinder_d,
        axis_deg=change.axis_deg if given.displacement_clock is not None else None,
        mean_d=change.mean_d,
        prism_d=answer.prism_d,
        says=says,
        inputs=given,
    )

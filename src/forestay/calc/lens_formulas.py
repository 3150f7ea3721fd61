"""Calculations that set the formulas side by side for one eye, and convert lens constants."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.lens_input import ConstantInput, EyeInput, aim, mean_k
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.records import Appearance
from forestay.optics import formulas, long_eye, suitability, vergence
from forestay.optics.lens_constants import ConversionConstants, LensConstant, convert
from forestay.optics.lens_model import Measured
from forestay.optics.long_eye import Adjustment
from forestay.optics.suitability import Judged, State
from forestay.optics.vergence import VergenceConstants
from forestay.record import Record
from forestay.text import tr

SWOLLEN = ("intumescent", "hypermature")
"""Appearances of a lens that has changed its shape and so the depth of the chamber."""


def falsifies(*, appearance: str | None, loose: bool, displaced: bool) -> str | None:
    """What falsifies the chamber depth of this eye, in words; None where nothing is known to."""
    found = []
    if appearance in SWOLLEN:
        found.append(
            tr("the lens is swollen or shrunken") if appearance == "hypermature" else tr("the lens is swollen")
        )
    if loose:
        found.append(tr("the lens moves"))
    if displaced:
        found.append(tr("the lens is displaced"))
    return ", ".join(found) or None


@dataclass(frozen=True)
class Seen:
    """A formula with what it says of this eye: power for the target [D], refraction with one lens for all [D]."""

    judged: Judged
    power_d: float | None
    refraction_d: float | None
    lens_distance_mm: float | None


@dataclass(frozen=True)
class SideBySide:
    """Every formula, the one lens that they are compared on [D], and how far they disagree on it [D]."""

    formulas: tuple[Seen, ...]
    lens_d: float | None
    disagreement_d: float | None


def side_by_side(
    *,
    measured: Measured,
    constant: LensConstant,
    target_d: float,
    step_d: float,
    falsified: str | None,
    use: Reader,
    lengths_mm: Mapping[str, float] | None = None,
    lens_d: float | None = None,
) -> SideBySide:
    """Every formula asked for power and, with one lens, refraction. ``lengths_mm``: adjusted lengths by formula.
    ``lens_d``: power of the one lens [D]; without it that of the middle formula, to the nearest ``step_d``."""
    optics = use.constants(VergenceConstants)
    told = suitability.judged(
        read=use.constants,
        measured=measured,
        constant_kind=constant.kind,
        falsified=falsified,
        adjusted=bool(lengths_mm),
    )
    eyes = {
        j.name: j.model.eye(
            Measured((lengths_mm or {}).get(j.name, measured.axial_length_mm), measured.k_d, measured.chamber_depth_mm),
            constant,
        )
        for j in told
        if j.model is not None
    }
    powers = {name: float(vergence.power_d(eye=eye, target_d=target_d, constants=optics)) for name, eye in eyes.items()}
    counted = sorted(powers[j.name] for j in told if j.counts)
    if not counted:
        return SideBySide(tuple(Seen(j, powers.get(j.name), None, None) for j in told), None, None)
    middle = counted[len(counted) // 2]
    lens = round(round(middle / step_d) * step_d, 6) if lens_d is None else lens_d
    left = {name: float(vergence.refraction_d(eye=eye, power_d=lens, constants=optics)) for name, eye in eyes.items()}
    seen = tuple(
        Seen(
            j,
            powers.get(j.name),
            left.get(j.name),
            float(eyes[j.name].lens_distance_mm) if j.name in eyes else None,
        )
        for j in told
    )
    return SideBySide(seen, lens, suitability.disagreement_d([left[j.name] for j in told if j.counts]))


class LensFormulasInput(EyeInput):
    """An eye, a lens, and what may falsify the depth of its chamber."""

    constant: Annotated[ConstantInput, Field(description="lens constant: {a}, {sf}, {pacd} or {a0, a1, a2}")]
    keratometric_index: Annotated[float, within("keratometric_index")] | None = None
    target_d: Annotated[float, within("target_d")] | None = None
    step_d: Annotated[float, within("step_d")] | None = None
    appearance: Annotated[Appearance | None, Field(description="what the cataract looks like")] = None
    lens_moves: Annotated[bool, Field(description="the lens moves (phacodonesis)")] = False
    lens_displaced: Annotated[bool, Field(description="the lens is displaced")] = False
    length_adjustment: Annotated[
        Adjustment | None, Field(description="adjustment of a long eye's length, for the formulas that have one")
    ] = None
    lens_thickness_mm: Annotated[float, within("lens_thickness_mm")] | None = None


class FormulaForEye(Record):
    """One formula in this eye."""

    formula: Annotated[str, Field(description="power formula")]
    state: Annotated[State, Field(description="suits, with-care or not")]
    why: Annotated[tuple[str, ...], Field(description="why it does not suit, or only with care")]
    usual: Annotated[bool, Field(description="the guideline names it at this length")]
    counts: Annotated[bool, Field(description="whether it counts among those whose disagreement is given")]
    power_d: Annotated[float | None, Field(description="power for the target; null where it cannot answer")]
    refraction_d: Annotated[float | None, Field(description="refraction with the lens that all are compared on")]
    lens_distance_mm: Annotated[float | None, Field(description="cornea to lens, as the formula puts it")]


class FormulaStep(Record):
    """A place where a formula steps."""

    formula: Annotated[str, Field(description="power formula")]
    at_mm: Annotated[float, Field(description="length at which it steps")]
    power_step_d: Annotated[float, Field(description="power just above less power at that length")]


class LensFormulasOutput(Record):
    """The formulas side by side."""

    formulas: Annotated[tuple[FormulaForEye, ...], Field(description="every formula of the house")]
    lens_d: Annotated[float | None, Field(description="the one lens on which refractions are compared")]
    disagreement_d: Annotated[
        float | None, Field(description="standard deviation of the refractions of the formulas that count")
    ]
    steps: Annotated[tuple[FormulaStep, ...], Field(description="where a formula steps, for this cornea")]


@calculation(
    "lens-formulas",
    summary="Which power formulas suit this eye, why others do not, and how far they disagree",
    formula="each formula's power and refraction; limits of each; SD (n - 1) of refractions with one lens",
    valid="eyes without corneal surgery",
    input=LensFormulasInput,
    output=LensFormulasOutput,
    example={
        "axial_length_mm": 26.4,
        "k1_d": 46.5,
        "k2_d": 47.5,
        "chamber_depth_mm": 2.9,
        "constant": {"a": 118.4},
        "target_d": -0.5,
        "step_d": 0.5,
        "lens_moves": True,
    },
)
def lens_formulas_calculation(given: LensFormulasInput, use: Reader) -> tuple[LensFormulasOutput, list[Doubt]]:
    """Every formula judged and asked."""
    k_d, doubts = mean_k(given, index=given.keratometric_index, use=use)
    constant = given.constant.as_engine()
    target, step, more = aim(given.target_d, given.step_d, use)
    measured = Measured(given.axial_length_mm, k_d, given.chamber_depth_mm)
    lengths, told = adjusted_lengths(
        given.length_adjustment or "none",
        axial_length_mm=given.axial_length_mm,
        lens_thickness_mm=given.lens_thickness_mm,
        use=use,
    )
    found = side_by_side(
        measured=measured,
        constant=constant,
        target_d=target,
        step_d=step,
        falsified=falsifies(appearance=given.appearance, loose=given.lens_moves, displaced=given.lens_displaced),
        use=use,
        lengths_mm=lengths,
    )
    steps = suitability.jumps(
        read=use.constants,
        k_d=k_d,
        chamber_depth_mm=given.chamber_depth_mm,
        constant=constant,
        optics=use.constants(VergenceConstants),
    )
    output = LensFormulasOutput(
        formulas=tuple(
            FormulaForEye(
                formula=s.judged.name,
                state=s.judged.state,
                why=s.judged.why,
                usual=s.judged.usual,
                counts=s.judged.counts,
                power_d=s.power_d,
                refraction_d=s.refraction_d,
                lens_distance_mm=s.lens_distance_mm,
            )
            for s in found.formulas
        ),
        lens_d=found.lens_d,
        disagreement_d=found.disagreement_d,
        steps=tuple(FormulaStep(formula=j.name, at_mm=j.at_mm, power_step_d=j.power_d) for j in steps),
    )
    return output, [*doubts, *more, *told]


def adjusted_lengths(
    adjustment: Adjustment, *, axial_length_mm: float, lens_thickness_mm: float | None, use: Reader
) -> tuple[dict[str, float], list[Doubt]]:
    """The length for each formula that the adjustment knows; none without an adjustment."""
    if adjustment == "none":
        return {}, []
    lengths: dict[str, float] = {}
    doubts: list[Doubt] = []
    for name in formulas.FORMULAS:
        if adjustment != "segments" and name not in long_eye.lines(adjustment, use.constants):
            continue
        found = long_eye.adjusted(
            adjustment,
            formula=name,
            axial_length_mm=axial_length_mm,
            lens_thickness_mm=lens_thickness_mm,
            length_is="as-measured",
            read=use.constants,
        )
        lengths[name] = float(found.axial_length_mm)
        doubts += found.doubts
    return lengths, doubts


class LensConstantsInput(Record):
    """One lens constant."""

    constant: Annotated[ConstantInput, Field(description="lens constant: {a}, {sf}, {pacd} or {a0, a1, a2}")]


class LensConstantsOutput(Record):
    """The same lens in the constants of every formula."""

    a: Annotated[float, Field(description="A constant, of SRK/T and T2")]
    sf: Annotated[float, Field(description="surgeon factor in mm, of Holladay 1")]
    pacd: Annotated[float, Field(description="personal chamber depth in mm, of Hoffer Q")]
    a0: Annotated[float, Field(description="first Haigis constant in mm")]
    a1: Annotated[float, Field(description="second Haigis constant")]
    a2: Annotated[float, Field(description="third Haigis constant")]


@calculation(
    "lens-constants",
    summary="One lens constant as the constants of every formula",
    formula="depth = 0.62467 A - 68.747; pACD = 0.58357 A - 63.896; SF = 0.5663 A - 65.60; a0 = depth - 3.37 a1 - 23.39 a2",
    valid="a start where nothing better is known; of one length method only, never from contact to optical",
    input=LensConstantsInput,
    output=LensConstantsOutput,
    example={"constant": {"a": 118.5}},
)
def lens_constants_calculation(given: LensConstantsInput, use: Reader) -> tuple[LensConstantsOutput, list[Doubt]]:
    """Published relations, one way or the other."""
    conversion = use.constants(ConversionConstants)
    constant = given.constant.as_engine()
    own: dict[str, float] = {}
    for kind in ("a", "sf", "pacd", "haigis"):
        own |= ConstantInput.of_engine(convert(constant, to=kind, conversion=conversion)).model_dump(exclude_none=True)
    says = tr(
        "Converted constants are a start, not optimised ones; a constant of contact lengths gives constants of contact"
        " lengths."
    )
    return LensConstantsOutput(**own), [Doubt("constant-converted", says)]


CALCULATIONS = (lens_formulas_calculation, lens_constants_calculation)

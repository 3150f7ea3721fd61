"""What stands around the powers: the formulas side by side, the boxes of the shelf, what to measure again, the other eye."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from forestay.answer import Doubt
from forestay.calc.lens_error import HALF, Case, case_of, gains_of, spreads_of, within_d
from forestay.calc.lens_formulas import adjusted_lengths, falsifies, side_by_side
from forestay.calc.lens_input import prepare_target
from forestay.calc.lens_positions import LensPositionsInput
from forestay.calc.lens_shelf import Box, box_for, other_method_doubt
from forestay.evidence import Reader
from forestay.optics import two_eyes
from forestay.optics.chance import Region
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_kinds import LENS_KINDS, kind_words
from forestay.optics.lens_model import Measured
from forestay.optics.positions import ALL_POSITIONS
from forestay.plan.consistency import readings_of, readings_words, refraction_misfit_d
from forestay.plan.lens_model import LensBox, LensFormula, LensPosition, LensRemeasure
from forestay.plan.margins_back import graft_spoken_of
from forestay.plan.offers import Offer
from forestay.plan.own_figures import own_alone, own_shelf
from forestay.plan.prediction import DEFAULT_STEP_D, Predictor
from forestay.text import tr


@dataclass(frozen=True)
class Planned:
    """The lens that the plan has for the bag: its power [D], and the constant of its model where that is not the case's."""

    power_d: float
    constant_a: float | None
    sd_d: float | None
    """One standard deviation of its error from measurements and place, without the formula's own [D]."""


@dataclass(frozen=True)
class Compared:
    """The formulas side by side, and what to say of them."""

    rows: tuple[LensFormula, ...]
    lens_d: float | None
    disagreement_d: float | None
    says: tuple[str, ...]


def state_words(state: str) -> str:
    """How a formula suits, in words."""
    return {"suits": tr("suits"), "with-care": tr("with care"), "not": tr("not here")}[state]


def formulas_of(
    offer: Offer, eye: Predictor, given: LensPositionsInput, planned: Planned | None, use: Reader
) -> Compared:
    """Every formula judged for this eye, on the lens ``planned`` for the bag, so that a plan names one power for it; the
    chamber depth is distrusted where the lens moves, swells or is displaced."""
    case, measured_mm = offer.setting.case, offer.setting.estimates.length
    falsified = falsifies(
        appearance=case.lens.appearance,
        loose=case.signs.phacodonesis not in (None, "none"),
        displaced=bool(case.signs.subluxated),
    )
    length = given.axial_length_mm if measured_mm is None else measured_mm.centre
    lengths, _ = adjusted_lengths(
        eye.adjustment, axial_length_mm=length, lens_thickness_mm=case.biometry.lens_thickness_mm, use=use
    )
    found = side_by_side(
        measured=Measured(length, eye.k_mean.centre, eye.chamber_depth_mm),
        constant=eye.constant if planned is None or planned.constant_a is None else AConstant(planned.constant_a),
        target_d=given.target_d or 0.0,
        step_d=DEFAULT_STEP_D,
        falsified=falsified,
        use=use,
        lengths_mm=lengths,
        lens_d=None if planned is None else planned.power_d,
    )
    rows = tuple(
        LensFormula(
            name=s.judged.name,
            state=s.judged.state,
            state_words=state_words(s.judged.state),
            why=s.judged.why,
            usual=s.judged.usual,
            taken=s.judged.name == eye.name,
            counts=s.judged.counts,
            power_d=s.power_d,
            refraction_d=s.refraction_d,
        )
        for s in found.formulas
    )
    says: list[str] = []
    if found.disagreement_d is not None and found.lens_d is not None:
        left = [r.refraction_d for r in rows if r.counts and r.refraction_d is not None]
        says.append(
            tr(
                "With {lens:+.2f} D in the bag the {n} formulas that suit say {low:+.2f} to {high:+.2f} D (SD {sd:.2f} D).",
                lens=found.lens_d,
                n=len(left),
                low=min(left),
                high=max(left),
                sd=found.disagreement_d,
            )
        )
        if planned is not None and planned.sd_d is not None:
            says += _with_formula(planned.sd_d, found.disagreement_d)
    return Compared(rows, found.lens_d, found.disagreement_d, tuple(says))


def _with_formula(sd_d: float, disagreement_d: float) -> list[str]:
    """What the chance becomes when the formulas' own spread is an error too; nothing where it changes no percent."""
    alone, both = (round(100 * within_d(sd, HALF)) for sd in (sd_d, math.hypot(sd_d, disagreement_d)))
    if alone == both:
        return []
    words = tr(
        "The errors shown are those of measurements and lens place. With the formulas' own spread {both:.0f} %, not {alone:.0f} %, lie within {half:g} D.",
        both=both,
        alone=alone,
        half=HALF,
    )
    return [words]


def measure_words(measure: str) -> str:
    """What to measure again, in words."""
    return {
        "length-by-immersion": tr("the length again, by immersion"),
        "length-by-light": tr("the length by light, where it gets through"),
        "cornea-again": tr("the cornea again, three readings that agree, by an automatic keratometer"),
    }[measure]


def remeasure_of(given: LensPositionsInput, use: Reader) -> tuple[LensRemeasure, ...]:
    """What measuring again would gain for the lens in the bag, the most first."""
    ready = prepare_target(given, use)
    method = given.axial_length_method or "ultrasound-contact"
    case = case_of(ready, "bag", method=method, weak_zonule=given.weak_zonule, use=use)
    power = ready.power_d()
    gains = gains_of(ready, case, spreads_of(case, power_d=power, use=use), power_d=power, use=use)
    return tuple(
        LensRemeasure(g.measure, measure_words(g.measure), g.sd_d, g.within_half, g.gain_half)
        for g in gains
        if round(100 * g.within_half) > round(100 * (g.within_half - g.gain_half))
    )


@dataclass(frozen=True)
class Boxes:
    """The box for each position, and what the shelf is."""

    shelf: str | None
    found: dict[str, Box | None]
    own_says: tuple[str, ...] = ()
    """What own eyes say of the lenses of the shelf."""

    def onto(self, row: LensPosition) -> LensPosition:
        """The row with its box, or with the word that the shelf holds none."""
        if self.shelf is None or row.position == "aphakia":
            return row
        box = self.found.get(row.position)
        if box is None:
            return replace(row, box_says=tr("no lens for this place on the shelf"))
        kind = next(kind_words(k) for k in LENS_KINDS if k == box.lens.kind)
        boxes = box.lens.boxes(box.power_d)
        told = LensBox(
            lens=box.lens.name,
            kind=kind,
            power_d=box.power_d,
            refraction_d=box.refraction_d,
            in_region=box.in_region,
            boxes=boxes,
            constant_a=box.constant_a,
            articles=box.lens.articles,
        )
        says = tr(
            "{lens} {power:+.1f} D: {left:+.2f} D expected", lens=told.lens, power=told.power_d, left=told.refraction_d
        )
        if boxes is not None:
            says = tr("{box} ({n} on the shelf)", box=says, n=boxes)
        aim = row.best_refraction_d
        if aim is not None and row.best_power_d is not None and abs(box.refraction_d - aim) > DEFAULT_STEP_D:
            says = tr("{box}; {power:+.1f} D is not on the shelf: order it", box=says, power=row.best_power_d)
            return replace(row, box=told, box_says=says)
        moved = 0.0 if aim is None else box.refraction_d - aim
        return replace(
            row,
            box=told,
            box_says=says,
            box_is_near=True,
            low_d=None if row.low_d is None else row.low_d + moved,
            high_d=None if row.high_d is None else row.high_d + moved,
        )


def method_of(offer: Offer) -> str:
    """The length method whose lens constants belong to the plan's length."""
    constant = offer.setting.case.target.lens_constant
    method = offer.setting.case.biometry.axial_length_method or "ultrasound-contact"
    if method == "ultrasound-contact" and (constant is None or constant.method != method):
        return "optical"  # the compression has been added back, so the constant of optical lengths belongs to it
    return method


def boxes_of(offer: Offer, given: LensPositionsInput, use: Reader) -> tuple[Boxes, list[Doubt]]:
    """Which box of the practice's shelf to have for each position."""
    shelf = offer.context.lenses
    method, lenses = method_of(offer), offer.context.practice.lenses
    if shelf is None:
        return Boxes(None, {}, own_alone(lenses, formula=given.formula, method=method)), []
    ready = prepare_target(given, use)
    region = None
    if given.accept_from_d is not None and given.accept_to_d is not None:
        region = Region(given.accept_from_d, given.accept_to_d, given.refuse_above_d)
    shelf, own_says = own_shelf(shelf, lenses, formula=ready.name, method=method, use=use)
    found: dict[str, Box | None] = {}
    doubts: list[Doubt] = []
    for position in ALL_POSITIONS:
        if position == "aphakia":
            continue
        case: Case = case_of(
            ready,
            position,
            method=given.axial_length_method or "ultrasound-contact",
            weak_zonule=given.weak_zonule,
            use=use,
        )
        box = box_for(ready, case, shelf, region=region, method=method, use=use)
        if box is not None and box.other_method is not None:
            doubts.append(other_method_doubt(box))
        found[position] = box
    says = tr("an invented example shelf") if shelf.invented else tr("the practice's own shelf")
    return Boxes(says, found, own_says), doubts


def learnt_of(offer: Offer, eye: Predictor, target_d: float, use: Reader) -> tuple[tuple[str, ...], list[Doubt]]:
    """What the operated fellow eye and pseudoexfoliation say of the prediction; said, never counted in silence."""
    case = offer.setting.case
    said: list[str] = []
    doubts: list[Doubt] = []
    fellow = case.fellow
    told = (fellow.axial_length_mm, fellow.k1_d, fellow.k2_d, fellow.lens_power_d, fellow.refraction_d)
    if fellow.operated and None not in told:
        found = two_eyes.carried_over(
            model=eye.model,
            eye=Measured(eye.length.centre, eye.k_mean.centre, eye.chamber_depth_mm),
            fellow=Measured(
                fellow.axial_length_mm or 0.0,
                ((fellow.k1_d or 0.0) + (fellow.k2_d or 0.0)) / 2,
                fellow.chamber_depth_mm if fellow.chamber_depth_mm is not None else eye.chamber_depth_mm,
            ),
            constant=eye.constant,
            fellow_power_d=fellow.lens_power_d or 0.0,
            fellow_refraction_d=fellow.refraction_d or 0.0,
            vergence_constants=eye.vergence,
            constants=use.constants(two_eyes.TwoEyesConstants),
        )
        doubts += found.doubts
        said.append(
            tr("The fellow eye came out {missed:+.2f} D from this formula's prediction.", missed=found.first_error_d)
        )
        if found.carried_d:
            power = eye.power_d(target_d=target_d - found.carried_d)
            said.append(
                tr(
                    "If half of that, {part:+.2f} D, is carried over, the power for the bag is {power:+.2f} D; the table"
                    " leaves it out.",
                    part=found.carried_d,
                    power=power,
                )
            )
    said += _fits(offer, use)
    if case.signs.pseudoexfoliation:
        most = use.number("lens_bias.pseudoexfoliation_most_d")
        said.append(
            tr(
                "Eyes with pseudoexfoliation tend to come out up to {d:.1f} D hyperopic; no correction is proven, and none"
                " is made: consider the more myopic of two powers.",
                d=most,
            )
        )
    if graft_spoken_of(offer):
        said.append(
            tr(
                "A graft is spoken of: one of the inner layers alone shifts an eye {low:g} to {high:g} D to the hyperopic side;"
                " consider the more myopic of two powers.",
                low=use.number("lens_bias.graft_least_d"),
                high=use.number("lens_bias.graft_most_d"),
            )
        )
    return tuple(said), doubts


def _fits(offer: Offer, use: Reader) -> list[str]:
    """What a second reading and the old refractions say of the length; where they contradict it a check says so."""
    case = offer.setting.case
    said = []
    readings = readings_of(case, use)
    if readings is not None:
        says = readings_words(readings)
        agree = tr("they agree") if readings.agreement == "agree" else tr("they do not agree: see the checks")
        said.append(tr("{says}; {agree}. The powers rest on the first.", says=says, agree=agree))
    misfit = refraction_misfit_d(case, use)
    if misfit is not None:
        said.append(
            tr(
                "Before the cataract the two eyes' refractions differed by {d:.2f} D more or less than their lengths and"
                " corneas explain; up to {most:.1f} D is taken to fit.",
                d=abs(misfit),
                most=use.number("two_eyes.refraction_misfit_d"),
            )
        )
    return said

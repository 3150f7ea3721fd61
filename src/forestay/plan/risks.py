"""Absolute risks of an option: from published series and the national model only, never from the mechanics."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from statistics import NormalDist

import numpy as np

from forestay.calc.published import PublishedRisksInput, eye_of
from forestay.calc.risk import ComplicationRiskInput, Grade, Pupil, risk_with_record
from forestay.evidence import Reader
from forestay.eye.records import TRAINEES, CaseFile, Technique
from forestay.plan.margins_back import count_after
from forestay.plan.model import Risk
from forestay.plan.offers import Offer, known, origin
from forestay.risk import series
from forestay.risk.bayes import logistic, logit
from forestay.text import tr

GRADES: dict[str, Grade] = {
    "consultant": "consultant",
    "independent": "associate-specialist",
    "senior-trainee": "registrar",
    "junior-trainee": "house-officer",
}
"""The theatre's grade as the national model names it."""
BROWN_OR_WHITE = ("brown", "black", "white", "intumescent", "hypermature")
NORMAL_90_LIMIT = NormalDist().inv_cdf(0.95)
"""Half width of a central 90 % in standard deviations."""


def risk_input(case: CaseFile, use: Reader) -> ComplicationRiskInput:
    """The case as the national model takes it; signs that were not looked for are listed as unknown."""
    s, p, b = case.signs, case.person, case.biometry
    unknown: list[str] = []

    def told(name: str, value: bool | None) -> bool | None:
        if value is None:
            unknown.append(name)
        return value

    pseudo = told(
        "pseudoexfoliation",
        True if weak_sign(case) else (None if s.pseudoexfoliation is None else False),
    )
    pupil: Pupil | None = None
    if s.pupil_dilated_mm is None:
        unknown.append("pupil")
    else:
        small, medium = use.numbers("complication.pupil_bounds_mm")
        pupil = "small" if s.pupil_dilated_mm < small else "medium" if s.pupil_dilated_mm < medium else "large"
    grade = case.theatre.surgeon_grade
    if grade is None:
        unknown.append("surgeon_grade")
    return ComplicationRiskInput(
        model="uk-2009-updated",
        age_years=p.age_years,
        sex=p.sex or "unknown",
        glaucoma=told("glaucoma", s.glaucoma),
        diabetic_retinopathy=told("diabetic_retinopathy", None if s.retinopathy is None else s.retinopathy != "none"),
        brown_or_white=told(
            "brown_or_white", None if case.lens.appearance is None else case.lens.appearance in BROWN_OR_WHITE
        ),
        no_fundus_view=told("no_fundus_view", None if s.fundus_view is None else not s.fundus_view),
        pseudoexfoliation=pseudo,
        pupil=pupil,
        long_eye=told(
            "long_eye", None if b.axial_length_mm is None else b.axial_length_mm >= use.number("act.long_eye_mm")
        ),
        alpha_blocker=told("alpha_blocker", s.alpha_blocker),
        cannot_lie_flat=told("cannot_lie_flat", None if p.lies_flat is None else not p.lies_flat),
        surgeon_grade=None if grade is None else GRADES[grade],
        unknown=tuple(unknown),
    )


def weak_sign(case: CaseFile) -> bool:
    """Whether the eye shows what the model calls pseudoexfoliation or phacodonesis.

    A seen gap and a subluxated lens are weakness at least as plain as a lens that moves, and count as one.
    """
    s = case.signs
    seen = bool(s.dialysis_clock_hours) or bool(s.subluxated)
    return bool(s.pseudoexfoliation) or s.phacodonesis in ("after-movement", "at-rest") or seen


def _loose(case: CaseFile) -> bool | None:
    """Whether lens or iris was seen to move or the lens to lie off its place; None where nobody looked."""
    s = case.signs
    seen = (None if s.phacodonesis is None else s.phacodonesis != "none", s.iridodonesis, s.subluxated)
    return True if any(seen) else None if all(one is None for one in seen) else False


def technique_log_sd(technique: str, use: Reader) -> float:
    """How surely the risk of that technique is known beside that of phacoemulsification [one SD, log odds].

    What the eye itself brings is shared by all techniques and parts none of them.
    """
    if technique == "phacoemulsification":
        return 0.0
    return use.number(
        "rank.extracapsular_log_odds_sd" if technique == "extracapsular" else "rank.technique_log_odds_sd"
    )


def capsule_risk(offer: Offer) -> Risk | None:
    """Capsule rupture or vitreous loss in this eye; the phaco factors moved by what is published of the technique."""
    if offer.technique == "intracapsular":
        return None
    use = offer.setting.use.evidence.reader()
    case = offer.setting.case
    records = offer.context.practice.records
    asked = risk_input(case, use).model_copy(update={"technique": offer.technique})
    learning = case.theatre.surgeon_grade in TRAINEES and offer.technique != "phacoemulsification"
    if learning:  # odds of trainees are those of phacoemulsification: none is put on another way, and none taken off
        asked = asked.model_copy(update={"surgeon_grade": GRADES["consultant"]})
    found, _ = risk_with_record(asked, records, use)
    shift, sd = 0.0, 0.0
    if offer.technique != "phacoemulsification":  # whose own training hands stand in the model already
        sd = technique_log_sd(offer.technique, use)
        if offer.technique == "extracapsular":
            shift += math.log(use.number("rank.extracapsular_odds"))
    offer.setting.use.merge(use)
    plain = risk_with_record(asked, (), use)[0].probability if records else None
    centre = logit(found.probability) + shift
    half = [math.hypot(logit(end) - logit(found.probability), NORMAL_90_LIMIT * sd) for end in (found.low, found.high)]
    factors = tuple((f.name.replace("_", " "), f"x {f.odds_ratio:.2f}") for f in found.factors)
    if found.own_factor is not None and found.own_weight is not None:
        told = tr("x {factor:.2f}, own data weigh {weight:.0%}", factor=found.own_factor, weight=found.own_weight)
        factors = (*factors, (tr("own record"), told))
    return Risk(
        name="capsule-rupture",
        label=_capsule_label(case, learning),
        complication="capsule-rupture",
        of_this_eye=True,
        population=tr("55 567 and 961 208 operations in the United Kingdom, phacoemulsification"),
        interval=tr("central 90 %"),
        probability=float(logistic(centre)),
        by_model=None if plain is None else float(logistic(logit(plain) + shift)),
        other_hands=learning,
        low=float(logistic(centre - half[0])),
        high=float(logistic(centre + half[1])),
        origin=origin(
            use,
            formula=tr("logit p = logit p0 + sum of ln(odds ratio) + technique"),
            inputs=factors,
            valid=tr(
                "odds ratios from phacoemulsification in one country; used for other techniques with a wider interval; "
                "a gap counts as phacodonesis; loss of zonule without vitreous is not in it"
            ),
            calculation="complication-risk",
        ),
    )


def _capsule_label(case: CaseFile, learning: bool) -> str:
    """What the figure is of, with what it does not know where it is read."""
    if case.lens.posterior_polar:
        return tr("capsule rupture or vitreous loss (a posterior polar cataract is not in it: expect many times more)")
    if case.signs.dialysis_clock_hours or case.signs.subluxated:
        return tr("capsule rupture or vitreous loss (the gap counts only as a lens that moves: expect more)")
    if learning:
        return tr("capsule rupture or vitreous loss (as in a consultant's hands; in a trainee's, expect more)")
    return tr("capsule rupture or vitreous loss")


def cornea_risk(offer: Offer) -> Risk | None:
    """Share of draws in which fewer cells are left than a cornea needs to stay clear.

    Low and high: the same with the mean loss moved by what the published series differ in.
    """
    use = offer.setting.use.evidence.reader()
    technique: Technique = offer.measures.technique  # type: ignore[assignment]
    after = count_after(offer, technique, use)
    if after is None:
        return None
    limit = use.number("need.count_fail_per_mm2")
    offer.setting.use.merge(use)
    share = float(np.mean(after.draws < limit))
    level = use.sd("endothelium.level") * NORMAL_90_LIMIT
    count = offer.setting.case.biometry.endothelial_count_per_mm2 or 0.0
    ends = [float(np.mean(after.draws + move * count < limit)) for move in (level, -level)]
    return Risk(
        name="cornea",
        label=tr("fewer than {limit:.0f} cells/mm2 left", limit=limit),
        complication="corneal-decompensation",
        of_this_eye=True,
        population=tr("trials of cell loss, 500 and 200 eyes; spread between 252 eyes"),
        interval=tr("the published series' mean losses"),
        probability=share,
        low=ends[0],
        high=ends[1],
        origin=origin(
            use,
            formula=tr("share of draws of count x (1 - loss) below the limit"),
            inputs=known(count=offer.setting.case.biometry.endothelial_count_per_mm2, technique=offer.technique),
            valid=tr("uncomplicated surgery; counts under 1,000 rest on two small series"),
            calculation="endothelium",
        ),
    )


def quoted_risks(offer: Offer) -> list[Risk]:
    """Published rates that speak about this technique in such an eye, quoted and never added up."""
    case = offer.setting.case
    use = offer.setting.use.evidence.reader()
    eye = eye_of(published_input(case, offer.measures.technique), use)
    ratios = series.ratios(use.row, technique=offer.technique, eye=eye)
    offer.setting.use.merge(use)
    rates = series.pick(use.evidence.__getitem__, technique=offer.technique, eye=eye)
    rows = []
    for rate in rates:
        raised_by = [r for r in ratios if series.beside(r, rate, rates)]
        rows.append(quoted(rate, offer.setting.use, raised_by=raised_by))
    return rows


def quoted(rate: series.Rate, use: Reader, *, raised_by: Sequence[series.Rate] = ()) -> Risk:
    """A published rate as a risk, with its row counted as used; ``raised_by``: ratios told beside it."""
    own = use.evidence.reader()
    row = own.row(rate.key)
    use.merge(own)
    told = rate.population or ""
    whose = tr(told)
    return Risk(
        name=rate.name,
        label=tr(row.meaning),
        probability=rate.value,
        low=rate.low,
        high=rate.high,
        origin=origin(own, formula=tr("published rate, quoted"), inputs=(), valid=whose),
        complication=rate.complication,
        population=whose,
        interval=rate.interval or "",
        raised_by=tuple(tr(r.meaning) for r in raised_by),
        raised_keys=tuple(r.key for r in raised_by),
        finding=rate.finding,
    )


def published_input(case: CaseFile, technique: str) -> PublishedRisksInput:
    """The case as the calculation ``published-risks`` takes it."""
    s, p = case.signs, case.person
    grade = case.theatre.surgeon_grade
    return PublishedRisksInput(
        technique=technique,  # type: ignore[arg-type]
        age_years=p.age_years,
        sex=p.sex,
        trainee=None if grade is None else grade in TRAINEES,
        pseudoexfoliation=s.pseudoexfoliation,
        loose_lens=_loose(case),
        appearance=case.lens.appearance,
        posterior_polar=case.lens.posterior_polar,
        diabetes=p.diabetes,
        glaucoma=s.glaucoma,
        guttae=s.guttae,
        corneal_opacity=s.corneal_opacity,
        synechiae=s.synechiae,
        vitrectomy=s.vitrectomy,
        pupil_dilated_mm=s.pupil_dilated_mm,
        axial_length_mm=case.biometry.axial_length_mm,
        pressure_mmhg=case.eye.pressure_mmhg,
        fellow_complication=case.fellow.complication,
    )


def risks_of(offer: Offer) -> tuple[Risk, ...]:
    """All risks of an option: a series that leads, then those of this eye, then the other series."""
    capsule, cornea = capsule_risk(offer), cornea_risk(offer)
    quoted = quoted_risks(offer)
    first = [replace(r, leads=True) for r in quoted if capsule is not None and _leads(r, capsule)]
    own = [r for r in (capsule, cornea) if r is not None]
    names = {r.name for r in first}
    return (*first, *own, *(r for r in quoted if r.name not in names))


def _leads(risk: Risk, model: Risk) -> bool:
    """Whether a series of eyes with a sign that the model does not know lies above what the model gives."""
    return risk.finding in series.UNKNOWN_TO_MODEL and risk.probability > model.probability


def told_first(risks: Sequence[Risk]) -> Risk | None:
    """What is said of capsule and vitreous: the series of a sign that the model does not know, else what the model gives."""
    return next((r for r in risks if r.leads), next((r for r in risks if r.name == "capsule-rupture"), None))

"""Options side by side: each measure of each option with its source, who is beaten outright, and the two closest argued."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from statistics import NormalDist

from forestay.calc.duration import OperatingTimeInput, operating_time
from forestay.eye.records import CaseFile, Technique
from forestay.frame import meridian_deg
from forestay.plan.deciding import is_short
from forestay.plan.elsewhere import found_elsewhere
from forestay.plan.induced import before, expected_residual_d, induced_by
from forestay.plan.margins_back import count_after
from forestay.plan.model import Margin, Measures, Option, Risk
from forestay.plan.model_compare import BeatenBy, Criterion
from forestay.plan.offers import Offer, known, origin
from forestay.plan.risks import technique_log_sd
from forestay.plan.setting import Setting
from forestay.statistics import dominance
from forestay.statistics.dominance import Measure
from forestay.text import tr

NORMAL_90_LIMIT = NormalDist().inv_cdf(0.95)
"""Half width of a central 90 % in standard deviations."""


def needed_kit(offer: Offer) -> tuple[str, ...]:
    """What this option needs of the things that a theatre may lack, in the case file's words."""
    m, setting = offer.measures, offer.setting
    short = setting.estimates.support_hours.centre < setting.use.number("need.bag_ring_support_hours")
    gap = setting.gap_hours > setting.use.number("act.ring_plain_hours")
    fixed = offer.technique != "intracapsular" and (gap or (short and m.lens_position == "bag"))
    asked = {
        "iris-hooks": m.pupil_hooks > 0,
        "capsule-hooks": bool(m.capsule_hook_clocks),
        "tension-ring": m.ring != "none",
        "ring-segment": fixed,
        "vitrector": True,
        "dye": m.dye,
        "three-piece-lens": m.lens_position == "sulcus",
        "anterior-chamber-lens": m.lens_position == "anterior-chamber",
    }
    return tuple(item for item, asks in asked.items() if asks)


def elsewhere(setting: Setting) -> tuple[str, ...]:
    """What referral offers: the lens removed from behind where the bag cannot be kept."""
    if setting.gap_hours > setting.use.number("act.bag_lost_hours") or setting.case.signs.subluxated:
        return (tr("the lens removed through the pars plana by a vitreous surgeon, and a lens fixed without the bag"),)
    found = found_elsewhere(setting)
    if found is not None:
        return (tr("elsewhere: {what}; through the pars plana if the bag is lost", what=found),)
    return (tr("nothing is known to be missing here; elsewhere through the pars plana if the bag is lost"),)


def lacking_kit(offer: Offer) -> tuple[str, ...]:
    """Of that, what the theatre says that it does not have."""
    return tuple(item for item in needed_kit(offer) if offer.setting.lacks_kit(item))


def criteria_of(offer: Offer, risks: Sequence[Risk], margins: Sequence[Margin] | None) -> tuple[Criterion, ...]:
    """Every measure of an option. ``margins`` None: not worked out."""
    found = [
        _capsule(offer, risks),
        _cells(offer),
        *_astigmatism(offer),
        _minutes(offer),
        _short(margins),
        _lacking(offer),
    ]
    return tuple(found)


def _capsule(offer: Offer, risks: Sequence[Risk]) -> Criterion:
    # A figure of other hands than those that operate is not held for or against a way.
    risk = next((r for r in risks if r.name == "capsule-rupture" and not r.other_hands), None)
    use = offer.setting.use
    return Criterion(
        "capsule",
        tr("capsule rupture or vitreous loss"),
        risk.probability if risk else None,
        risk.low if risk else None,
        risk.high if risk else None,
        "",
        "less",
        counts=True,
        origin=risk.origin if risk else None,
        same_ratio=use.number("rank.risk_ratio_clear"),
        apart_sd=risk.probability * (1 - risk.probability) * technique_log_sd(offer.technique, use) if risk else None,
    )


def _cells(offer: Offer) -> Criterion:
    use = offer.setting.use.evidence.reader()
    technique: Technique = offer.measures.technique  # type: ignore[assignment]
    after = count_after(offer, technique, use)
    case_count = offer.setting.case.biometry.endothelial_count_per_mm2
    same = use.number("rank.same_cells_per_mm2")
    offer.setting.use.merge(use)
    return Criterion(
        "cells",
        tr("cells left"),
        after.centre if after else None,
        after.low if after else None,
        after.high if after else None,
        tr("cells/mm2"),
        "more",
        counts=True,
        origin=origin(
            use,
            formula=tr("count x (1 - loss by technique and hardness)"),
            inputs=known(count=offer.setting.case.biometry.endothelial_count_per_mm2, technique=offer.technique),
            valid=tr("uncomplicated surgery"),
            calculation="endothelium",
        ),
        same=same,
        apart_sd=offer.setting.use.sd("endothelium.level") * (case_count or 0.0),
    )


def _astigmatism(offer: Offer) -> tuple[Criterion, Criterion]:
    """What the incision induces, and what is left of the cornea's astigmatism: this counts where the cornea is known."""
    use, m = offer.setting.use.evidence.reader(), offer.measures
    induced = induced_by(
        offer.technique,
        clock=m.tunnel_clock,
        shape=m.tunnel_shape,
        length_mm=m.tunnel_outer_mm,
        use=use,
        own=offer.setting.own_incisions,
    )
    case = offer.setting.case
    left = expected_residual_d(case, induced, meridian_deg(m.tunnel_clock)) if before(case) is not None else None
    same = use.number("rank.same_astigmatism_d")
    offer.setting.use.merge(use)
    half = NORMAL_90_LIMIT * induced.sd_d
    source = origin(
        use,
        formula=tr("flattening along the incision; left: root of |before + flattening|2 + 2 SD2"),
        inputs=known(incision=tr("{mm:.1f} mm {shape}", mm=m.tunnel_outer_mm, shape=tr(m.tunnel_shape))),
        valid=tr("mean and spread of published series by place and suture"),
        calculation="tunnel",
    )
    flattening = float(induced.flattening_d)
    return (
        Criterion(
            "induced", tr("induced astigmatism"), flattening, flattening - half, flattening + half, "D", "less",
            counts=left is None, origin=source, same=same, apart_sd=induced.sd_d,
        ),
        Criterion(
            "astigmatism", tr("astigmatism left"), left, None, None, "D", "less",
            counts=left is not None, origin=source, same=same, apart_sd=induced.sd_d,
        ),
    )  # fmt: skip


def _minutes(offer: Offer) -> Criterion:
    """Length of the operation [minutes]: median with the central 90 % of a log-normal, as the day's list takes it."""
    use, m = offer.setting.use.evidence.reader(), offer.measures
    time, _ = operating_time.function(time_asked(m, offer.setting.case), use)
    same = use.number("rank.same_minutes")
    offer.setting.use.merge(use)
    middle, low, high = log_normal(mean=time.mean_minutes, sd=time.sd_minutes)
    return Criterion(
        "minutes", tr("length of the operation"), middle, low, high, tr("minutes"), "less", counts=True, same=same,
        apart_sd=(high - low) / (2 * NORMAL_90_LIMIT),
        origin=origin(
            use,
            formula=tr("published minutes of quick hands and what this eye adds, times the hand; log-normal: 50, 5 and 95 in 100"),
            inputs=tuple((part.name, tr("{minutes:.0f} minutes", minutes=part.minutes)) for part in time.parts),
            valid=tr("white cataract at one high-volume centre; what hands, hardness and supports add is a house choice"),
            calculation="operating-time",
        ),
    )  # fmt: skip


def time_asked(m: Measures, case: CaseFile) -> OperatingTimeInput:
    """The operation as the calculation of its length takes it."""
    return OperatingTimeInput(
        technique=m.technique,  # type: ignore[arg-type]
        surgeon_grade=case.theatre.surgeon_grade,
        grade=case.lens.grade,
        iris_hooks=m.pupil_hooks > 0,
        capsule_hooks=bool(m.capsule_hook_clocks),
        ring=m.ring != "none",
        dye=m.dye,
        weak_zonule=bool(m.capsule_hook_clocks) or m.ring != "none",
        general=m.anaesthetic == "general",
    )


def log_normal(*, mean: float, sd: float) -> tuple[float, float, float]:
    """Median, 5 and 95 % of the log-normal with this mean and standard deviation [unit of the mean].

    With v = ln(1 + (sd / mean)^2): median = mean exp(-v / 2), ends = median exp(-+1.645 sqrt v).
    """
    spread = math.log(1.0 + (sd / mean) ** 2)
    median = mean * math.exp(-spread / 2)
    reach = math.exp(NORMAL_90_LIMIT * math.sqrt(spread))
    return median, median / reach, median * reach


def _short(margins: Sequence[Margin] | None) -> Criterion:
    count = None
    if margins is not None:
        count = float(sum(is_short(m) for m in margins))
    return Criterion(
        "short", tr("margins more likely short than not"), count, None, None, "", "less", counts=True, origin=None
    )


def _lacking(offer: Offer) -> Criterion:
    known_kit = offer.setting.case.theatre.has is not None
    count = float(len(lacking_kit(offer))) if known_kit else None
    return Criterion("lacking", tr("things missing here"), count, None, None, "", "less", counts=True, origin=None)


def measures_compared(options: Sequence[Option]) -> tuple[Measure, ...]:
    """The measures that count, as the comparison takes them."""
    kinds = {c.key: c for o in options for c in o.criteria if c.counts}
    return tuple(Measure(c.key, c.better, c.same, c.same_ratio) for c in kinds.values())


def values_of(options: Sequence[Option]) -> dict[str, Mapping[str, float | None]]:
    """Value by measure by option, of the options that can be done and were worked out."""
    return {o.technique: {c.key: c.value for c in o.criteria if c.counts} for o in options if o.criteria}


def spreads_of(options: Sequence[Option]) -> dict[str, Mapping[str, float | None]]:
    """What each value does not share with the other options [one SD], by measure by option."""
    return {o.technique: {c.key: c.apart_sd for c in o.criteria if c.counts} for o in options if o.criteria}


def beaten_by(options: Sequence[Option]) -> tuple[BeatenBy, ...]:
    """Which options are beaten outright, each with the sentence that says so."""
    labels = {o.technique: o.label for o in options}
    names = {c.key: c.label for o in options for c in o.criteria}
    rows = []
    for pair in dominance.beaten(values_of(options), measures_compared(options)):
        better = tuple(names[n] for n in pair.better_in)
        unknown = tuple(names[n] for n in pair.unknown)
        says = tr(
            "{by} beats {option}: better in {better}, worse in nothing that is known of both",
            by=labels[pair.by],
            option=labels[pair.option],
            better=", ".join(better),
        )
        if unknown:
            says += tr(" (left out: {unknown})", unknown=", ".join(unknown))
        rows.append(BeatenBy(pair.option, pair.by, better, unknown, says))
    return tuple(rows)


def argued(first: Option, other: Option) -> str:
    """The two closest options against one another, in a sentence: in what the first is better, in what worse, in what the
    same, and where the spread of what they do not share covers the difference, so that neither can be called better.

    Short margins are left to the ropes, which say by how much."""
    theirs = {c.key: c for c in other.criteria if c.counts and c.key != "short"}
    better: list[str] = []
    worse: list[str] = []
    same: list[str] = []
    open_: list[str] = []
    for own in first.criteria:
        rival = theirs.get(own.key)
        if not own.counts or rival is None or own.value is None or rival.value is None:
            continue
        if own.key == "lacking" and own.value == rival.value == 0:
            continue  # that nothing is missing either way is no argument
        gain = Measure(own.key, own.better, own.same, own.same_ratio).gain(own.value, rival.value)
        covered = abs(own.value - rival.value) <= math.hypot(own.apart_sd or 0.0, rival.apart_sd or 0.0)
        label = _label(first, own)
        said = tr("{label} {own} v {other}", label=label, own=amount(own, bare=True), other=amount(rival))
        (same if gain == 0 else open_ if covered else better if gain > 0 else worse).append(said)
    parts = [
        tr("better in {what}", what=", ".join(better)) if better else "",
        tr("worse in {what}", what=", ".join(worse)) if worse else "",
        tr("about the same in {what}", what=", ".join(same)) if same else "",
        tr("apart by less than the spread in {what}", what=", ".join(open_)) if open_ else "",
    ]
    said = tr("; ").join(p for p in parts if p)
    return tr("Beside {other}: {said}", other=other.label, said=said) if said else ""


def _label(option: Option, criterion: Criterion) -> str:
    """What is compared; of the capsule, with what its figure does not know."""
    risk = next((r for r in option.risks if r.name == "capsule-rupture"), None)
    return risk.label if criterion.key == "capsule" and risk is not None else criterion.label


def amount(criterion: Criterion, *, bare: bool = False) -> str:
    """The value in words, with its unit unless ``bare``."""
    value = criterion.value
    if value is None:
        return tr("not known")
    if criterion.key == "capsule":
        return tr("{p:.1f}", p=100 * value) if bare else tr("{p:.1f} %", p=100 * value)
    unit = "" if bare else criterion.unit
    if criterion.unit == "D":
        return tr("{d:.2f} {unit}", d=value, unit=unit).strip()
    return tr("{value:,.0f} {unit}", value=value, unit=unit).strip()

"""Words of a plan that paper and terminal share."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from forestay.answer import Doubt
from forestay.draw.chance import chance_words
from forestay.draw.names import side_words
from forestay.draw.rope import amount_words
from forestay.plan.model import Check, DoubtGroup, LensPlan, LensPosition, Margin, Option, Plan, Risk, Unassessed
from forestay.plan.model_trolley import KitItem
from forestay.text import field_words, mark, tr

MONTHS = (
    mark("Jan"),
    mark("Feb"),
    mark("Mar"),
    mark("Apr"),
    mark("May"),
    mark("Jun"),
    mark("Jul"),
    mark("Aug"),
    mark("Sep"),
    mark("Oct"),
    mark("Nov"),
    mark("Dec"),
)


def plan_side(plan: Plan) -> str:
    """``Right eye`` or ``Left eye``."""
    side = plan.drawing.side if plan.drawing is not None else plan.eye.get("side")
    return side_words("left" if side == "left" else "right")


def option_words(plan: Plan, technique: str) -> str:
    """The option's label, or its name in plain words."""
    found: Option | None = next((o for o in plan.options if o.technique == technique), None)
    return found.label if found is not None else technique.replace("-", " ")


def choice_words(plan: Plan) -> str:
    """The choice in one sentence, with the next best where the choice is not clear."""
    label = option_words(plan, plan.chosen.technique)
    said = " ".join(f"{sentence}." for sentence in (capital(label), *plan.chosen.why))
    if plan.chosen.clear or plan.chosen.next_best is None:
        return said
    return said + " " + tr("About as good: {other}.", other=option_words(plan, plan.chosen.next_best))


def margin_chance(margin: Margin) -> str:
    """``1 in 7`` where the margin carries a chance, else empty."""
    return "" if margin.probability is None else chance_words(margin.probability)


def weak_mark(margin: Margin) -> str:
    """A small degree sign where the margin rests on weak evidence."""
    return "°" if margin.origin.weak else ""


def widen_words(margin: Margin) -> str:
    """The one change that would widen the margin most, with what it gains."""
    if margin.widen is None:
        return ""
    if margin.scale == "comparative":
        return margin.widen.change
    sign = "+" if margin.widen.gain >= 0 else ""
    gain = sign + amount_words(margin.widen.gain, margin.unit)
    return tr("{change}: {gain}", change=margin.widen.change, gain=gain)


def risk_words(plan: Plan) -> list[str]:
    """Risks of the chosen option, from published series."""
    chosen = next((o for o in plan.options if o.technique == plan.chosen.technique), None)
    return [one_risk(r) for r in chosen.risks] if chosen is not None else []


def one_risk(risk: Risk) -> str:
    """A risk in percent with its interval, which is left out where it says no more than the value."""
    value, low, high = (percent(p) for p in (risk.probability, risk.low, risk.high))
    interval = "" if value == low == high else tr(" ({low} to {high})", low=low, high=high)
    return tr("{label} {value} %{interval}", label=capital(risk.label), value=value, interval=interval)


def percent(probability: float) -> str:
    """A probability in percent, with as many decimals as a small one needs.

    >>> percent(0.175), percent(0.0035), percent(0.00035), percent(0.0), percent(1e-6)
    ('17.5', '0.35', '0.035', '0', 'under 0.001')
    """
    value = 100 * probability
    if value == 0:
        return "0"
    digits = 1 if value >= 1 else 2 if value >= 0.1 else 3
    return f"{value:.{digits}f}" if value >= 0.001 else tr("under 0.001")


def capital(text: str) -> str:
    """The text with a capital first letter."""
    return text[:1].upper() + text[1:]


GENERAL_DOUBTS = ("assumed", "from-memory")
"""Codes of doubts about rows of evidence, alike for every eye; all others are about this eye or this plan."""


def own_doubts(plan: Plan) -> tuple[Doubt, ...]:
    """Doubts about this eye: defaults taken, inputs that disagree, values outside the studied range."""
    return tuple(d for d in plan.doubts if d.code not in GENERAL_DOUBTS)


def doubt_groups(plan: Plan) -> tuple[DoubtGroup, ...]:
    """Doubts about the evidence in their groups; those of a plan that was kept before there were groups, in one."""
    there = {doubt for group in plan.doubt_groups for doubt in group.doubts}
    left = tuple(d for d in plan.doubts if d.code in GENERAL_DOUBTS and d not in there)
    return (*plan.doubt_groups, DoubtGroup("others", tr("others"), left)) if left else plan.doubt_groups


def check_words(check: Check) -> str:
    """A plausibility finding: ``recheck axial length: 0.7 mm shorter than the other eye``."""
    level = {"note": tr("note"), "recheck": tr("recheck"), "refuse": tr("refused")}[check.level]
    return tr("{level} {field}: {why}", level=level, field=field_words(check.field), why=check.why)


def unassessed_words(unassessed: Unassessed) -> str:
    """The step, and what must be known before it can be assessed."""
    return tr("{step} lacks {lacks}", step=unassessed.step, lacks=", ".join(field_words(f) for f in unassessed.lacks))


def power_words(power_d: float | None) -> str:
    """A labelled power with its sign where negative, or a dash."""
    return "–" if power_d is None else f"{power_d:.2f}".replace("-", "−")


def signed(value: float) -> str:
    """A refraction with its sign: ``−0.50``, ``+0.25``.

    >>> signed(-0.5), signed(0.25), signed(-0.001)
    ('−0.50', '+0.25', '0.00')
    """
    rounded = round(value, 2)
    return "0.00" if rounded == 0 else f"{rounded:+.2f}".replace("-", "−")


def lens_basis(lens: LensPlan) -> str:
    """Formula, length and aim that the powers rest on."""
    basis = [lens.formula] if lens.formula else list(lens.says)
    if lens.length_mm is not None:
        spread = f" ± {lens.length_sd_mm:.2f}" if lens.length_sd_mm is not None else ""
        basis.append(tr("length {mm:.2f}{spread} mm", mm=lens.length_mm, spread=spread))
    basis.append(tr("aim {aim} D", aim=signed(lens.target_d)))
    return " · ".join(basis)


def nearest_choices(position: LensPosition, target_d: float, count: int = 3) -> list[str]:
    """The few powers that leave the eye nearest to the aim, in rising order, as short as paper needs."""
    near = sorted(position.choices, key=lambda c: abs(c["refraction_d"] - target_d))[:count]
    rising = sorted(near, key=lambda c: c["power_d"])
    return [f"{c['power_d']:.1f}: {signed(c['refraction_d'])}".replace("-", "−") for c in rising]


def lens_row_words(position: LensPosition) -> list[str]:
    """What else a row says in the terminal: the box, the chance of 0.5 D, a contact lens, the note."""
    told = [position.box_says] if position.box_says else []
    if position.within_half is not None:
        told.append(tr("within 0.5 D {share:.0%}", share=position.within_half))
    if position.contact_lens_d is not None:
        told.append(tr("contact lens {power} D", power=signed(position.contact_lens_d)))
    return [*told, *([position.note] if position.note else []), *position.never]


def lens_around_words(lens: LensPlan) -> list[str]:
    """What to measure again, what the error is made of, and which formula suits."""
    told = []
    if lens.remeasure:
        gains = [
            tr(
                "{what} (within 0.5 D {now:.0%} to {then:.0%})",
                what=r.label,
                now=r.within_half - r.gain_half,
                then=r.within_half,
            )
            for r in lens.remeasure
        ]
        told.append(tr("Measuring again would gain most: {gains}.", gains=tr("; ").join(gains)))
    if lens.positions and lens.positions[0].parts:
        parts = [tr("{part} {share:.0%}", part=p.label, share=p.share) for p in lens.positions[0].parts]
        told.append(tr("The error in the bag is made of: {parts}.", parts=", ".join(parts)))
    for f in lens.formulas:
        power = tr("{power} D", power=power_words(f.power_d)) if f.power_d is not None else tr("no power")
        taken = tr(", taken") if f.taken else ""
        told.append(f"{f.name}: {f.state_words}{taken}; {power}" + (f"; {' '.join(f.why)}" if f.why else ""))
    return told


def boxed_choices(position: LensPosition, target_d: float) -> list[str]:
    """The box to have where a shelf is known, else the few nearest powers."""
    if position.box is None:
        return [*([position.box_says] if position.box_says else []), *nearest_choices(position, target_d)]
    box = position.box
    left = tr("{power}: {left} {lens}", power=f"{box.power_d:.1f}", left=signed(box.refraction_d), lens=box.lens)
    return [left.replace("-", "−")]


def choices_words(position: LensPosition) -> list[str]:
    """What can be bought, with the refraction that each leaves: ``21.0 D: −0.15``."""
    return [
        tr("{power} D leaves {left}", power=f"{c['power_d']:.1f}".replace("-", "−"), left=signed(c["refraction_d"]))
        for c in position.choices
    ]


def kit_items(plan: Plan) -> tuple[KitItem, ...]:
    """The trolley, what is missing first, then what is not known."""
    rank = {True: 0, None: 1, False: 2}
    items: list[Any] = list(plan.kit.get("items", ()))
    return tuple(sorted(items, key=lambda k: rank[k.missing]))


def missing_words(item: KitItem) -> str:
    """Whether the theatre has it."""
    return {True: tr("MISSING"), None: tr("not known"), False: ""}[item.missing]


def about_words(plan: Plan) -> str:
    """Age, sex and seat, as far as the plan says."""
    said = []
    person = plan.eye.get("person") or {}
    age, sex = person.get("age_years"), person.get("sex")
    if isinstance(sex, str) and sex in ("female", "male"):
        said.append(tr("woman") if sex == "female" else tr("man"))
    if isinstance(age, int | float):
        said.append(tr("{age:g} years", age=age))
    if plan.drawing is not None:
        seat = plan.drawing.seat
        said.append(tr("surgeon sits temporal") if seat == "temporal" else tr("surgeon sits superior"))
    return " · ".join(said)


def moment_words(moment: datetime) -> str:
    """Date with the month as a word, time and zone: ``25 Nov 2026, 08:05 UTC``."""
    zone = moment.strftime("%Z") or moment.strftime("%z")
    return f"{moment.day} {tr(MONTHS[moment.month - 1])} {moment.year}, {moment:%H:%M} {zone}".strip()


def version_words(plan: Plan) -> str:
    """Versions of engine, evidence and practice; digests shortened to what the eye can compare."""
    return " · ".join(f"{name} {value[:12]}" for name, value in plan.version.items() if value)

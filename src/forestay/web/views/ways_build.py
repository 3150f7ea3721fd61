"""From a plan's comparison to the words of its table. No rule and no formula here."""

from __future__ import annotations

from collections.abc import Sequence

from forestay.plan.model import Criterion, Option, Plan
from forestay.plan.model_compare import Way
from forestay.text import grouped, tr
from forestay.web.views.ways import Cell, MeasureRow, SmallRow, SmallTable, WayHead, Ways
from forestay.web.views.words import MINUS, number, share

COUNTED = ("short", "lacking")
"""Measures that are a number of things; a measure without unit beside them is a chance."""


def ways_view(plan: Plan) -> Ways | None:
    """The comparison of a whole plan; None where no option was worked out."""
    done = [o for o in sorted(plan.options, key=lambda o: o.rank) if o.criteria]
    if plan.comparison is None or not done:
        return None
    beaten = {b.option for b in plan.comparison.beaten}
    return Ways(
        heads=tuple(_head(o, plan, beaten) for o in done),
        rows=_rows(done),
        says=plan.comparison.says,
        elsewhere=tuple(_elsewhere(o) for o in plan.options if not o.criteria),
        small=(
            SmallTable("anaesthesia", tr("Anaesthesia"), _small("anaesthesia", plan.comparison.anaesthesia)),
            SmallTable("incision", tr("Place of the incision"), _small("incision", plan.comparison.incisions)),
        ),
        conflicts=plan.conflicts,
    )


def _head(option: Option, plan: Plan, beaten: set[str]) -> WayHead:
    note = ""
    if option.technique == plan.chosen.technique:
        note = tr("chosen")
    elif not option.available:
        note = tr("not available here")
    elif option.technique in beaten:
        note = tr("beaten")
    unknown = any(c.key == "lacking" and c.value is None for c in option.criteria)
    lacks = tr("not known: the list of what is here is not recorded") if unknown else kit_words(option.lacks)
    return WayHead(option.label, note, lacks)


def kit_words(items: Sequence[str]) -> str:
    """Things of a theatre in words: ``tension ring, dye``."""
    return ", ".join(tr(item.replace("-", " ")) for item in items)


def _elsewhere(option: Option) -> str:
    if not option.why:
        return option.label
    return tr("{label}: {why}", label=option.label, why=tr("; ").join(option.why))


def _rows(done: Sequence[Option]) -> tuple[MeasureRow, ...]:
    by_option = [{c.key: c for c in o.criteria} for o in done]
    rows = []
    for kind in {c.key: c for o in done for c in o.criteria}.values():
        better = tr("less is better") if kind.better == "less" else tr("more is better")
        label = tr("{label} ({better})", label=kind.label, better=better)
        cells = tuple(
            cell(f"way-{option.technique}-{kind.key}", own.get(kind.key))
            for option, own in zip(done, by_option, strict=True)
        )
        counts = any(own[kind.key].counts for own in by_option if kind.key in own)
        rows.append(MeasureRow(label, counts, cells))
    return tuple(rows)


def cell(identity: str, criterion: Criterion | None) -> Cell:
    """One value in words with what stands behind it."""
    if criterion is None or criterion.value is None:
        return Cell(identity, tr("not known"), "", criterion.origin if criterion else None)
    spread = ""
    if criterion.low is not None and criterion.high is not None:
        low, high = amount(criterion, criterion.low), amount(criterion, criterion.high)
        unit = "%" if low.endswith(" %") and high.endswith(" %") else _unit(criterion)
        spread = tr("{low} to {high}", low=low.removesuffix(f" {unit}"), high=high)
    return Cell(identity, amount(criterion, criterion.value), spread, criterion.origin)


def _unit(criterion: Criterion) -> str:
    return criterion.unit.replace("mm2", "mm²")


def amount(criterion: Criterion, value: float) -> str:
    """A value of this measure with its unit: a chance in per cent, a count bare.

    >>> c = Criterion("minutes", "length", 20.3, None, None, "minutes", "less", counts=True, origin=None)
    >>> amount(c, 20.3)
    '20 minutes'
    """
    if criterion.key in COUNTED:
        return f"{value:.0f}"
    if not criterion.unit:
        return share(value)
    if criterion.unit == "D":
        return number(value, "D")
    text = grouped(f"{abs(value):,.0f}")
    return f"{MINUS if value < 0 else ''}{text} {_unit(criterion)}"


def _small(kind: str, ways: Sequence[Way]) -> tuple[SmallRow, ...]:
    states = {
        "chosen": tr("chosen"),
        "possible": tr("possible"),
        "avoided": tr("avoided"),
        "not here": tr("not here"),
    }
    return tuple(
        SmallRow(
            way.label,
            states[way.state],
            way.state == "chosen",
            tr("; ").join(way.why),
            tuple((c.label, cell(f"{kind}-{n}-{c.key.replace('.', '-')}", c)) for c in way.criteria),
        )
        for n, way in enumerate(ways)
    )

"""The plan for a terminal: plain text, the decision first, then the margins, then all the rest."""

from __future__ import annotations

from collections.abc import Iterator
from textwrap import wrap

from forestay.draw.rope import interval_words, rope_scales, state_words
from forestay.plan.deciding import change_words
from forestay.plan.model import Margin, Plan
from forestay.plan.words_clock import hours_text
from forestay.report import words as say
from forestay.text import field_words, tr

ROPE_HALF = 10
"""Characters from the mark to either end of a rope."""
NARROWEST = 48


def readable(plan: Plan, *, label: str, width: int) -> str:
    """The whole plan as text, no line longer than ``width`` characters (at least 48)."""
    width = max(width, NARROWEST)
    blocks = [_head(plan, label, width), _margins(plan, width), _estimates(plan, width), _choice(plan, width)]
    blocks += [_risks(plan, width), _findings(plan, width)]
    blocks += [_supports(plan, width), _lens(plan, width), _steps(plan, width), _kit(plan, width), _doses(plan, width)]
    blocks += [
        _fallbacks(plan, width),
        _stops(plan, width),
        _conflicts(plan, width),
        _after(plan, width),
        _doubts(plan, width),
    ]
    blocks.append([*_lines(plan.caution, width), *_lines(say.version_words(plan), width)])
    return "\n\n".join("\n".join(b) for b in blocks if b) + "\n"


def _lines(text: str, width: int, *, first: str = "", rest: str | None = None) -> list[str]:
    """``text`` wrapped, with a lead on the first line and an indent on the rest."""
    indent = " " * len(first) if rest is None else rest
    return wrap(text, width, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False) or [first.rstrip()]


def _title(text: str) -> list[str]:
    return [text, "-" * len(text)]


def _head(plan: Plan, label: str, width: int) -> list[str]:
    about = " · ".join(part for part in (say.plan_side(plan).upper(), label, say.about_words(plan)) if part)
    said = [*_lines(about, width), "", *_lines(plan.decision.sentence, width)]
    for first in plan.decision.first:
        said += _lines(f"{first.do} – {first.why}", width, first=tr("first:") + " ")
    for change in plan.decision.would_change:
        said += _lines(change_words(change), width, first=tr("what would change it:") + " ")
    for check in plan.checks:
        said += _lines(say.check_words(check), width)
    for dispute in plan.disagreements:
        values = " / ".join(str(v) for v in dispute.get("values", ()))
        said += _lines(
            tr(
                "two findings disagree on {field}: {values}",
                field=field_words(str(dispute.get("field"))),
                values=values,
            ),
            width,
        )
    return said


def text_rope(margin: Margin, scale: float) -> str:
    """The rope in characters, always as wide: ``====O`` taut to the right of the mark, ``O~~~~`` slack to its left.

    ``scale``: the margin, in its own unit, that fills one half; a longer one ends in ``>`` or ``<``.
    """
    length = min(ROPE_HALF, round(abs(margin.margin) / scale * ROPE_HALF))
    beyond = abs(margin.margin) > scale * (1 + 1e-9)
    if margin.margin >= 0:
        drawn = "=" * max(0, length - 1) + (">" if beyond else "O")
        return " " * ROPE_HALF + "|" + drawn.ljust(ROPE_HALF)
    drawn = ("<" if beyond else "O") + "~" * max(0, length - 1)
    return drawn.rjust(ROPE_HALF) + "|" + " " * ROPE_HALF


def _margins(plan: Plan, width: int) -> list[str]:
    if not plan.margins and not plan.unassessed:
        return []
    scales = rope_scales(plan.margins)
    said = _title(tr("Margins"))
    main = [m for m in plan.margins if m.group == "main"]
    if main:
        said.append(f"{tr('short').ljust(ROPE_HALF)}|{tr('room').rjust(ROPE_HALF)}")
    for margin in main:
        said += _main_margin(margin, scales[margin.unit, margin.scale], width)
    zonule = [m for m in plan.margins if m.group == "zonule"]
    if zonule:
        said += [
            "",
            *_lines(tr("Zonule, against a healthy eye (ranks options; says nothing about percentages)"), width),
        ]
    for margin in zonule:
        said.append(f"{text_rope(margin, scales[margin.unit, margin.scale])}  {margin.step}{say.weak_mark(margin)}")
    for item in plan.unassessed:
        said += _lines(say.unassessed_words(item), width, first=tr("not assessed:") + " ")
    if any(m.origin.weak for m in plan.margins):
        said.append(tr("° rests on weak evidence"))
    return said


def _main_margin(margin: Margin, scale: float, width: int) -> Iterator[str]:
    chance = say.margin_chance(margin)
    told = f"{margin.step}{say.weak_mark(margin)}  {state_words(margin)}"
    if interval_words(margin):
        told += f" ({interval_words(margin)})"
    if chance:
        told += "  " + tr("chance {chance}", chance=chance)
    indent = " " * (2 * ROPE_HALF + 3)
    yield from _lines(told, width, first=f"{text_rope(margin, scale)}  ", rest=indent)
    yield from _lines(margin.says, width, first=indent)
    if margin.widen is not None:
        yield from _lines(say.widen_words(margin), width, first=f"{indent}{tr('wider:')} ", rest=indent)


def _estimates(plan: Plan, width: int) -> list[str]:
    if not plan.estimates:
        return []
    said = _title(tr("Estimates (central 90 %)"))
    for e in plan.estimates:
        mark = "°" if e.origin.weak else ""
        text = tr(
            "{label}{mark} {value:.4g} ({low:.4g} to {high:.4g}) {unit}",
            label=e.label,
            mark=mark,
            value=e.value,
            low=e.low,
            high=e.high,
            unit=e.unit,
        )
        said += _lines(text.strip(), width, rest="  ")
    return said


def _choice(plan: Plan, width: int) -> list[str]:
    said = [*_title(tr("Choice")), *_lines(say.choice_words(plan), width)]
    for option in sorted(plan.options, key=lambda o: o.rank):
        state = "" if option.available else " " + tr("(not here)")
        why = tr("; ").join(option.why)
        said += _lines(f"{option.label}{state}" + (f": {why}" if why else ""), width, first=f"{option.rank}. ")
        # Beside a series that leads, what the model gives: the other ways are told by it, and like is set beside like.
        first = option.risks[: 2 if option.risks and option.risks[0].leads else 1]
        for risk in first:
            said += _lines(say.one_risk(risk) + ".", width, first=f"   {tr('risk:')} ")
    return said


def _risks(plan: Plan, width: int) -> list[str]:
    """Every risk of the chosen option, one a line, with whose eyes it was and what raises it."""
    chosen = next((o for o in plan.options if o.technique == plan.chosen.technique and o.risks), None)
    if chosen is None:
        return []
    said = _title(tr("What may go wrong (never to be added up)"))
    for risk in chosen.risks:
        whose = tr("worked out for this eye") if risk.of_this_eye else risk.population
        said += _lines(f"{say.one_risk(risk)} [{whose}]", width, rest="  ")
        for raised in risk.raised_by:
            said += _lines(raised, width, first="  + ")
    return said


def _findings(plan: Plan, width: int) -> list[str]:
    """What each finding at surgery would make of the zonule."""
    if not plan.finding_changes:
        return []
    said = _title(tr("If the eye shows this at surgery"))
    for row in plan.finding_changes:
        before, after = (f"{100 * p:.0f}" for p in (row.weak_before, row.weak_after))
        words = {"label": row.label, "hours": row.hours_before, "left": row.hours_after}
        text = tr(
            "{label}: zonule not normal {before} to {after} %; healthy clock hours {hours:.1f} to {left:.1f}",
            **words,
            before=before,
            after=after,
        )
        if before == after:  # weak already: how weak is what the finding moves
            before, after = (f"{100 * p:.0f}" for p in (row.marked_before, row.marked_after))
            text = tr(
                "{label}: zonule very weak or worse {before} to {after} %; healthy clock hours {hours:.1f} to {left:.1f}",
                **words,
                before=before,
                after=after,
            )
        if before == after:  # what is seen has fixed the grade
            text = tr("{label}: healthy clock hours {hours:.1f} to {left:.1f}", **words)
        said += _lines(text, width, rest="  ")
    return said


def _supports(plan: Plan, width: int) -> list[str]:
    if not plan.supports and plan.ring_rest is None:
        return []
    lines = _title(tr("Supports of the zonule, best first (ranks within this eye)"))
    if plan.ring_rest is not None and plan.measures is not None and plan.measures.ring_gap_clock is not None:
        hour = hours_text((plan.measures.ring_gap_clock,))
        said = tr("With the planned ring in, its opening at {hour}: {words}.", hour=hour, words=plan.ring_rest.words)
        lines += _lines(said, width)
    for row in plan.supports:
        label = tr("planned: {label}", label=row.label) if row.planned else row.label
        said = tr("{rank}. {label}", rank=row.rank, label=label)
        if not row.held or row.reserve is None or row.peak_load is None or row.off_centre is None:
            said += tr(": the bag is not held at every step")
        else:
            said += tr(
                ": left off centre by {off:.1f}, reserve {reserve:+.0%} ({step}), neighbours carry {load:.1f} times",
                off=row.off_centre,
                reserve=row.reserve,
                step=row.worst_step,
                load=row.peak_load,
            )
        lines += _lines(said, width, rest="   ")
        lines += [line for reason in row.reasons for line in _lines(reason, width, first="   - ", rest="     ")]
    return lines


def _lens(plan: Plan, width: int) -> list[str]:
    lens = plan.lens
    said = [*_title(tr("Lens by position")), *_lines(say.lens_basis(lens), width)]
    for p in lens.positions:
        spread = f" ± {p.sd_d:.2f}" if p.sd_d is not None else ""
        exact = f"{say.power_words(p.power_d)}{spread} D" if p.power_d is not None else tr("no power")
        parts = [exact, *([] if p.allowed else [tr("not here")]), *say.choices_words(p), *say.lens_row_words(p)]
        said += _lines(f"{p.label}: " + tr("; ").join(parts), width, rest="  ")
    for sentence in (*lens.says, *lens.learnt, *say.lens_around_words(lens)):
        said += _lines(sentence, width)
    if plan.astigmatism.says:
        said += _lines(plan.astigmatism.says, width, first=tr("cornea:") + " ")
        seat = plan.drawing.seat_says if plan.drawing else ""
        a = plan.astigmatism
        for more in (a.place_says, seat, a.own_says, a.toric_says):
            if more:
                said += _lines(more, width)
    return said


def _steps(plan: Plan, width: int) -> list[str]:
    if not plan.steps:
        return []
    said = _title(tr("Steps"))
    for i, step in enumerate(plan.steps, start=1):
        lead = f"{i:2d}. "
        said += _lines(f"{step.name}. {step.do}", width, first=lead)
        if step.take_over:
            said += _lines(tr("take over: {when}", when=step.take_over), width, first="    > ")
        if plan.steps[0].who != step.who:
            said += _lines(step.who, width, first="    > ")
        for cue in step.cues:
            text = tr("if {see} ({means}): {then}", see=cue.see, means=cue.means, then=cue.then)
            said += _lines(text, width, first="    - ")
    return said


def _kit(plan: Plan, width: int) -> list[str]:
    items = say.kit_items(plan)
    if not items:
        return []
    said = _title(tr("On the trolley"))
    for item in items:
        state = say.missing_words(item)
        text = item.item + (f" [{state}]" if state else "") + (f" – {item.why}" if item.why else "")
        said += _lines(text, width, first="- ")
    return said


def _doses(plan: Plan, width: int) -> list[str]:
    if not plan.doses:
        return []
    said = _title(tr("Doses"))
    for d in plan.doses:
        parts = [part for part in (d.preparation, d.dose, d.caution) if part]
        said += _lines(f"{d.drug} ({d.purpose}): " + tr("; ").join(parts), width, first="- ")
    return said


def _fallbacks(plan: Plan, width: int) -> list[str]:
    if not plan.fallbacks:
        return []
    said = _title(tr("If this happens"))
    for f in plan.fallbacks:
        said += _lines(f.event + (f" ({f.signs})" if f.signs else ""), width)
        for action in f.do:
            said += _lines(action, width, first="  - ")
    return said


def _stops(plan: Plan, width: int) -> list[str]:
    if not plan.stops:
        return []
    said = _title(tr("Must not be done in this eye"))
    for s in plan.stops:
        said += _lines(s.must_not + (f": {s.why}" if s.why else ""), width, first="- ")
    return said


def _conflicts(plan: Plan, width: int) -> list[str]:
    if not plan.conflicts:
        return []
    said = _title(tr("One or the other"))
    for c in plan.conflicts:
        said += _lines(f"{tr(' or ').join(c.between)}: {c.settled} – {c.why}", width, first="- ")
    return said


def _after(plan: Plan, width: int) -> list[str]:
    after = plan.after
    if not (after.visits or after.pressure_check or after.warnings or plan.consent):
        return []
    said = _title(tr("After"))
    for v in after.visits:
        acting = "; " + tr("act on {what}", what=v.act_on) if v.act_on else ""
        said += _lines(f"{v.when}: {v.check}{acting}", width, first="- ")
    if after.pressure_check:
        said += _lines(after.pressure_check, width, first=tr("pressure:") + " ")
    for point in plan.consent:
        said += _lines(point, width, first=tr("before consent:") + " ")
    for warning in after.warnings:
        said += _lines(warning, width, first=tr("tell the patient:") + " ")
    return said


def _doubts(plan: Plan, width: int) -> list[str]:
    own = say.own_doubts(plan)
    said: list[str] = []
    if own:
        said += _title(tr("Doubts"))
        for doubt in own:
            said += _lines(doubt.message, width, first="- ")
    groups = say.doubt_groups(plan)
    if groups:
        said += ([""] if said else []) + _title(tr("Doubts about the evidence itself"))
    for group in groups:
        said += _lines(f"{group.title} ({len(group.doubts)})", width)
        for doubt in group.doubts:
            said += _lines(doubt.message, width, first="- ")
    return said

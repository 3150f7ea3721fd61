"""What was moved between two plans, in words: the controls that were set and the findings that differ."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from forestay.plan.model import Plan
from forestay.plan.take_over import SUBJECTS, decision_words
from forestay.plan.words_clock import hours_text, span_text
from forestay.text import field_words, tr

GAP = "weak_hours"
GAP_FIELD = "dialysis_clock_hours"


@dataclass(frozen=True)
class Cause:
    """One control or finding that moved. ``path`` is what margins call it: ``measure.ring``, ``signs.trauma``."""

    name: str
    path: str
    words: str

    def touches(self, rests_on: str) -> bool:
        """Whether something that rests on ``rests_on`` may have moved by this."""
        return rests_on == self.path or self.path.startswith(f"{rests_on}.")


PATHS = {
    "capsulorhexis_mm": "measure.capsulorhexis_mm",
    "pupil_hooks": "measure.pupil_hooks",
    "hook_reach_mm": "measure.pupil_hooks",
    "ring": "measure.ring",
    "ring_gap_clock": "measure.ring",
    "tunnel_clock": "measure.tunnel_clock",
    "tunnel_chord_mm": "measure.tunnel_chord_mm",
}
"""What the margins call a control."""


def causes(before: Plan, after: Plan) -> tuple[Cause, ...]:
    """Everything that was set or found otherwise, controls first."""
    return (*_controls(before, after), *_findings(before, after), *_happened(before, after))


def _happened(before: Plan, after: Plan) -> Iterator[Cause]:
    """What came about in the operation, and what was taken back."""
    old, new = ({s.key: s.says for s in plan.happened} for plan in (before, after))
    for key, says in new.items():
        if key not in old:
            yield Cause(key, f"progress.{key}", says)
    for key, says in old.items():
        if key not in new:
            yield Cause(key, f"progress.{key}", tr("taken back: {what}", what=says))


def _controls(before: Plan, after: Plan) -> Iterator[Cause]:
    names = dict.fromkeys((*before.decided, *after.decided))
    for name in names:
        if name == GAP or before.decided.get(name) == after.decided.get(name):
            continue
        one, two = _value(before, name), _value(after, name)
        if one == two:
            continue
        yield Cause(name, PATHS.get(name, name), _control_words(name, one, two))


def _value(plan: Plan, name: str) -> Any:
    """What a control stood at: what was set, else what the plan chose."""
    if name in plan.decided:
        return plan.decided[name]
    attribute = {"tunnel_chord_mm": "tunnel_outer_mm"}.get(name, name)
    return getattr(plan.measures, attribute, None)


def _control_words(name: str, one: Any, two: Any) -> str:
    def mm(value: Any) -> str:
        return tr("none") if value is None else f"{round(value, 2):g}"

    if name == "ring":
        return tr("{after} instead of {before}", before=ring_words(str(one)), after=ring_words(str(two)))
    if name in SUBJECTS:
        return tr("{before} to {after}", before=_who(name, one), after=_who(name, two))
    labels = {
        "capsulorhexis_mm": tr("opening"),
        "hook_reach_mm": tr("reach of the hooks"),
        "tunnel_chord_mm": tr("tunnel"),
    }
    if name in labels:
        return tr("{label} {before} to {after} mm", label=labels[name], before=mm(one), after=mm(two))
    if name == "pupil_hooks":
        return tr("iris hooks {before} to {after}", before=one or 0, after=two or 0)
    if name in ("tunnel_clock", "ring_gap_clock"):
        label = tr("tunnel at") if name == "tunnel_clock" else tr("opening of the ring at")
        was = tr("none") if one is None else hours_of((one,))
        return tr("{label} {before} to {after} o'clock", label=label, before=was, after=hours_of((two,)))
    return tr("{name} {before} to {after}", name=field_words(name), before=_plain(one), after=_plain(two))


def _who(name: str, choice: Any) -> str:
    return tr("no take-over decided") if choice is None else decision_words(name, str(choice))


def _findings(before: Plan, after: Plan) -> Iterator[Cause]:
    for section, values in after.eye.items():
        earlier = before.eye.get(section)
        if not isinstance(values, Mapping) or not isinstance(earlier, Mapping):
            continue
        for key in dict.fromkeys((*earlier, *values)):
            if earlier.get(key) != values.get(key):
                path = f"{section}.{key}"
                yield Cause(key, path, _finding_words(path, earlier.get(key), values.get(key)))


def _finding_words(path: str, one: Any, two: Any) -> str:
    if path == f"signs.{GAP_FIELD}":
        return tr("gap {after} instead of {before}", before=_gap(one), after=_gap(two))
    if one is None:
        return tr("{field}: {after}", field=field_words(path), after=_plain(two))
    return tr("{field} {before} to {after}", field=field_words(path), before=_plain(one), after=_plain(two))


def _gap(hours: Any) -> str:
    """A gap in words; one that was not looked for and one that is not there are different things."""
    if hours is None:
        return tr("not recorded")
    return span_text(hours) if hours else tr("none")


def _plain(value: Any) -> str:
    if isinstance(value, bool):
        return tr("yes") if value else tr("no")
    if value is None:
        return tr("not recorded")
    return f"{value:g}" if isinstance(value, int | float) else str(value).replace("-", " ")


def ring_words(timing: str) -> str:
    """The choice of ring in words."""
    known = {
        "none": tr("no ring"),
        "before-nucleus": tr("ring before the nucleus"),
        "after-nucleus": tr("ring after the nucleus"),
    }
    return known.get(timing, tr("ring, {timing}", timing=timing.replace("-", " ")))


def rest_words(state: str, off_centre: float | None, towards: float | None) -> str:
    """How the empty bag lies with its ring in: ``bag off centre by 0.8 x resting stretch, towards 11``."""
    if off_centre is None:
        return {
            "escaped": tr("the ring finds no rest in this bag"),
            "collapsed": tr("the bag folds, ring or not"),
            "unsupported": tr("nothing holds this bag, ring or not"),
        }[state]
    if towards is None:
        said = tr("the bag lies in its middle")
    else:
        share, hour = f"{off_centre:.1f}", hours_of((towards,))
        said = tr("bag off centre by {share} x resting stretch, towards {hour}", share=share, hour=hour)
    return tr("{said}; the ring turns out of its place", said=said) if state == "slid" else said


def hours_of(clocks: tuple[float, ...]) -> str:
    """Clock hours in words."""
    return hours_text(clocks)

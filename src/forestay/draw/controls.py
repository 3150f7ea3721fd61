"""What can be moved on the drawing: name, kind of movement, range and step of the control.

The ranges are those of a slider under a finger, inside the possible range that the case file allows. A page builds its
buttons and number fields from the same rows, so that drawing and field never differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from forestay.plan.model import Measures
from forestay.plan.said import ring_words
from forestay.text import mark, tr

Kind = Literal["radial", "reach", "angular", "chord", "count", "choice"]


@dataclass(frozen=True)
class Control:
    """One thing that a surgeon may move.

    ``radial``: twice the distance of the pointer from the handle's centre; ``reach``: that distance. ``angular``: the pointer's clock hour.
    ``chord``: twice the distance of the pointer from the line between eye and incision. ``count`` and ``choice``: one
    step for each ``step_px`` that the pointer travels; ``options`` names the choices.
    """

    name: str
    label: str
    kind: Kind
    low: float
    high: float
    step: float
    unit: str
    options: tuple[str, ...] = ()


RING_TIMINGS = ("none", "before-nucleus", "after-nucleus")
CONTROLS: tuple[Control, ...] = (
    Control("capsulorhexis_mm", mark("Capsulorhexis"), "radial", 3.0, 8.0, 0.1, "mm"),
    Control("pupil_hooks", mark("Pupil hooks"), "count", 0, 8, 1, ""),
    Control("hook_reach_mm", mark("Reach of the hooks"), "reach", 1.5, 5.0, 0.1, "mm"),
    Control("ring", mark("Tension ring"), "choice", 0, 2, 1, "", RING_TIMINGS),
    Control("ring_gap_clock", mark("Opening of the ring"), "angular", 0.5, 12, 0.5, "o'clock"),
    Control("tunnel_clock", mark("Middle of the tunnel"), "angular", 0.5, 12, 0.5, "o'clock"),
    Control("tunnel_chord_mm", mark("Chord of the tunnel"), "chord", 2.0, 10.0, 0.1, "mm"),
)
BY_NAME = {c.name: c for c in CONTROLS}


def value_of(control: Control, measures: Measures) -> float | None:
    """Where the control stands now; None where the plan does not use it."""
    if control.name == "ring":
        return float(RING_TIMINGS.index(measures.ring)) if measures.ring in RING_TIMINGS else None
    now = {
        "capsulorhexis_mm": measures.capsulorhexis_mm,
        "pupil_hooks": float(measures.pupil_hooks),
        "hook_reach_mm": measures.hook_reach_mm if measures.pupil_hooks else None,
        "ring_gap_clock": measures.ring_gap_clock if measures.ring in RING_TIMINGS[1:] else None,
        "tunnel_clock": measures.tunnel_clock,
        "tunnel_chord_mm": measures.tunnel_outer_mm,
    }
    return now[control.name]


def value_words(control: Control, value: float) -> str:
    """The value as it is read aloud, with its unit."""
    if control.kind == "choice":
        return ring_words(control.options[round(value)])
    return f"{value:g} {tr(control.unit)}".strip()

"""A situation: the eye as known, where the operation stands, what was decided. All that a plan is made from."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.eye.quantity import within
from forestay.eye.records import CaseFile, Hour, Technique
from forestay.record import Record

RingTiming = Literal["none", "before-nucleus", "after-nucleus"]
TunnelShape = Literal["straight", "frown", "chevron"]
StepKey = Literal[
    "close-now",
    "hold-back",
    "cover-gap",
    "clear-vitreous",
    "clear-vitreous-dry",
    "let-it-go",
    "time-out",
    "antisepsis",
    "flap",
    "groove",
    "tunnel",
    "wound-large",
    "wound-whole",
    "ports",
    "chamber",
    "pupil",
    "pupil-plain",
    "pupil-small",
    "pupil-unknown",
    "pupil-whole",
    "dye",
    "main-incision",
    "puncture",
    "capsulorhexis",
    "can-opener",
    "rim",
    "capsule-hooks",
    "hydrodissection",
    "groove-nucleus",
    "remove-nucleus",
    "pole",
    "nucleus-up",
    "release-hooks",
    "nucleus-out",
    "section-large",
    "expression",
    "section-whole",
    "whole-lens",
    "vitreous-check",
    "inspect",
    "cortex",
    "ring",
    "fixation",
    "lens",
    "hooks-out",
    "ovd-out",
    "close",
    "sign-out",
]
"""A step of an operation, as the rules of the plan name it."""


class Decisions(Record):
    """What the surgeon has settled; ``None`` leaves it to the plan."""

    technique: Technique | None = None
    capsulorhexis_mm: Annotated[float, within("capsulorhexis_mm")] | None = None
    pupil_hooks: Annotated[int, Field(ge=0, le=8)] | None = None
    ring: RingTiming | None = None
    tunnel_clock: Annotated[float, within("clock")] | None = None
    tunnel_chord_mm: Annotated[float, within("outer_lip_mm")] | None = None
    tunnel_shape: TunnelShape | None = None
    hook_reach_mm: Annotated[float, within("reach_mm")] | None = None
    ring_gap_clock: Annotated[float, within("gap_clock")] | None = None
    take_over: StepKey | None = None
    """Where a trainee operates: the step at which the supervisor takes over, agreed beforehand."""
    hand_back: StepKey | Literal["end"] | None = None
    """The later step from which the trainee goes on; ``end``: the supervisor ends the operation."""
    weak_hours: tuple[Hour, ...] | None = Field(default=None, strict=False, max_length=12)
    """A gap that is tried: it stands in the place of the recorded one in a look. Seen, it is a finding, not a decision."""


FINDINGS = {"weak_hours": "signs.dialysis_clock_hours"}
"""What can be tried like a decision but is kept as a finding, with its field of the case file."""


class Settled(Record):
    """A decision with its reason and what was turned down, as kept in the thread of facts."""

    subject: str
    choice: str
    reason: str
    turned_down: tuple[str, ...] = Field(default=(), strict=False)


class Progress(Record):
    """Where the operation stands."""

    done: tuple[str, ...] = Field(default=(), strict=False)
    happened: tuple[str, ...] = Field(default=(), strict=False)


class Disagreement(Record):
    """Two facts on one field, neither made in knowledge of the other: both kept until a decision settles it."""

    field: str
    values: tuple[str, ...] = Field(strict=False)


class Situation(Record):
    """The eye, the state of the operation, the decisions and what is in dispute."""

    case: CaseFile
    decisions: Decisions = Decisions()
    settled: tuple[Settled, ...] = Field(default=(), strict=False)
    progress: Progress = Progress()
    disagreements: tuple[Disagreement, ...] = Field(default=(), strict=False)

    def as_tried(self) -> Situation:
        """The same with the tried gap as if it had been seen."""
        tried = self.decisions.weak_hours
        if tried is None:
            return self
        signs = self.case.signs.model_copy(update={"dialysis_clock_hours": tried})
        return self.model_copy(update={"case": self.case.model_copy(update={"signs": signs})})

"""A situation: the eye as known, where the operation stands, what was decided. All that a plan is made from."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.eye.quantity import within
from forestay.eye.records import CaseFile, Technique
from forestay.record import Record

RingTiming = Literal["none", "before-nucleus", "after-nucleus"]
TunnelShape = Literal["straight", "frown", "chevron"]


class Decisions(Record):
    """What the surgeon has settled; ``None`` leaves it to the plan."""

    technique: Technique | None = None
    capsulorhexis_mm: Annotated[float, within("capsulorhexis_mm")] | None = None
    pupil_hooks: Annotated[int, Field(ge=0, le=8)] | None = None
    ring: RingTiming | None = None
    tunnel_clock: Annotated[float, within("clock")] | None = None
    tunnel_chord_mm: Annotated[float, within("outer_lip_mm")] | None = None
    tunnel_shape: TunnelShape | None = None


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

"""The one frame: a left eye is mirrored once on the way in and once on the way out, and nothing between knows of it."""

from __future__ import annotations

from dataclasses import dataclass

from forestay.eye.records import CaseFile
from forestay.eye.situation import Decisions
from forestay.frame import Side, mirror_axis, mirror_by_hour, mirror_hour


@dataclass(frozen=True)
class Frame:
    """Between the eye's own clock hours and those of the working frame, which is a right eye's."""

    side: Side

    @property
    def turned(self) -> bool:
        """Whether this eye is mirrored."""
        return self.side == "left"

    def hour(self, clock: float) -> float:
        """A clock hour to or from the working frame (the mirror is its own inverse)."""
        return mirror_hour(clock) if self.turned else float(clock)

    def hours(self, clocks: tuple[float, ...]) -> tuple[float, ...]:
        """Clock hours to or from the working frame, in order of the clock."""
        return tuple(sorted((self.hour(c) for c in clocks), key=lambda h: h % 12))

    def axis(self, axis_deg: float) -> float:
        """An axis to or from the working frame."""
        return mirror_axis(axis_deg) if self.turned else float(axis_deg)

    def by_hour(self, values: tuple[float, ...]) -> tuple[float, ...]:
        """A list by clock hour to or from the working frame."""
        return mirror_by_hour(values) if self.turned else tuple(values)


def to_frame(case: CaseFile, decisions: Decisions) -> tuple[CaseFile, Decisions, Frame]:
    """Case and decisions as a right eye's, with the frame that leads back."""
    frame = Frame(case.eye.side)
    if not frame.turned:
        return case, decisions, frame
    signs, biometry = case.signs, case.biometry
    hand = {"right": "left", "left": "right", None: None}[case.theatre.dominant_hand]
    gaps = signs.dialysis_clock_hours
    mirrored = case.model_copy(
        update={
            "eye": case.eye.model_copy(update={"side": "right"}),
            "signs": signs.model_copy(
                update={"dialysis_clock_hours": None if gaps is None else tuple(mirror_hour(h) for h in gaps)}
            ),
            "biometry": biometry.model_copy(
                update={
                    name: None if value is None else mirror_axis(value)
                    for name, value in (("k1_axis_deg", biometry.k1_axis_deg), ("k2_axis_deg", biometry.k2_axis_deg))
                }
            ),
            "theatre": case.theatre.model_copy(update={"dominant_hand": hand}),
        }
    )
    turned = decisions.model_copy(
        update={
            name: None if clock is None else mirror_hour(clock)
            for name, clock in (
                ("tunnel_clock", decisions.tunnel_clock),
                ("ring_gap_clock", decisions.ring_gap_clock),
            )
        }
        | {"weak_hours": None if decisions.weak_hours is None else tuple(map(mirror_hour, decisions.weak_hours))}
    )
    return mirrored, turned, frame

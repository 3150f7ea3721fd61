"""Where no capsule hook can be put in: arcs round the limbus that something else takes up."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import Field

from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.mechanics.ports import DEGREES_PER_HOUR
from forestay.mechanics.ports_model import PortConstants
from forestay.mechanics.support_search_model import Barred
from forestay.mechanics.tunnel import arc_deg
from forestay.record import Record
from forestay.text import mark

BARRED = "arcs at the limbus where no capsule hook can be put in: what lies there already"
MOST_BARRED = 24
"""Arcs read: two an hour."""
WHAT = {
    "tunnel": mark("the tunnel"),
    "iris hook": mark("an iris hook"),
    "side port": mark("a side port"),
    "bleb": mark("a filtering bleb"),
    "scar": mark("a scar"),
    "other": mark("something else"),
}
"""What can lie there, in words."""


class BarredInput(Record):
    """An arc that is taken."""

    clock: Annotated[float, within("clock")]
    arc_hours: Annotated[float, within("arc_hours")]
    reason: Literal["tunnel", "iris hook", "side port", "bleb", "scar", "other"] = Field(
        description="what lies there; a hook keeps clear of it by its own half width and the clearance of two ports"
    )


def stab_hours(use: Reader) -> float:
    """What a hook's stab needs on either side [hours]: half its own width and the clearance between two ports."""
    ports = use.constants(PortConstants)
    across = use.number("anatomy.white_to_white_mm")
    width = float(arc_deg(chord_mm=ports.hook_width_mm, distance_from_limbus_mm=0, white_to_white_mm=across))
    return (width / 2 + ports.clearance_deg) / DEGREES_PER_HOUR


def barred_arcs(given: Sequence[BarredInput], use: Reader) -> tuple[Barred, ...]:
    """The arcs as the search takes them: nearer than this no hook's middle can lie."""
    if not given:
        return ()
    room = stab_hours(use)
    return tuple(Barred(one.clock, one.arc_hours / 2 + room, one.reason) for one in given)

"""The calculation ``port-plan``: tunnel, hooks, side ports and capsule hooks on the clock without conflict."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.frame import HOURS, wrap_hour
from forestay.mechanics import ports
from forestay.mechanics.geometry import require
from forestay.mechanics.ports_model import Avoid, Layout, PortConstants, Wanted
from forestay.mechanics.support_search_model import SupportConstants
from forestay.record import Record
from forestay.text import tr

Clock = Annotated[float, within("clock")]
MOST = 12
"""Entries read of each list: one an hour."""


class AvoidInput(Record):
    """An arc that is left alone."""

    clock: Clock
    arc_hours: Annotated[float, within("arc_hours")]
    reason: Literal["filtering bleb", "scar", "other"] = Field(description="what lies there")


class PortPlanInput(Record):
    """What is to be placed. Clock hours are the eye's."""

    tunnel_clocks: tuple[Clock, ...] = Field(
        strict=False, min_length=1, max_length=MOST, description="middle of the tunnel, in order of preference"
    )
    outer_lip_mm: Annotated[float, within("outer_lip_mm")]
    inner_lip_mm: Annotated[float, within("inner_lip_mm")] | None = None
    distance_from_limbus_mm: Annotated[float, within("distance_from_limbus_mm")]
    inner_lip_length_mm: Annotated[float, within("inner_lip_length_mm")] | None = None
    white_to_white_mm: Annotated[float, within("white_to_white_mm")] | None = None
    dominant_hand: Literal["right", "left"] | None = Field(
        default=None, description="the surgeon's; right if not given"
    )
    hooks: int = Field(default=4, ge=0, le=MOST, description="hooks in the pupil, evenly spaced; 0 for none")
    patterns: tuple[Literal["square", "diamond", "extra"], ...] = Field(
        default=("square", "diamond", "extra"),
        strict=False,
        min_length=1,
        description="patterns, in order of preference",
    )
    capsule_hooks: tuple[Clock, ...] = Field(
        default=(), strict=False, max_length=MOST, description="where capsule hooks are wanted"
    )
    side_ports: int = Field(default=1, ge=0, le=2, description="side ports, the first for the dominant hand")
    assistant_clock: Clock | None = Field(default=None, description="from where the assistant's hands come")
    avoid: tuple[AvoidInput, ...] = Field(
        default=(), strict=False, max_length=MOST, description="arcs in which nothing is placed"
    )
    zonule: tuple[Annotated[float, within("share")], ...] | None = Field(
        default=None,
        strict=False,
        min_length=12,
        max_length=12,
        description="share of healthy support by clock hour; tunnel and side ports keep out of weak hours",
    )


class PlacedPort(Record):
    """One port."""

    kind: Literal["hook", "capsule-hook", "side-port"] = Field(description="what goes through it")
    clock: float | None = Field(description="where it was placed; null where no place was found")
    wanted_clock: float = Field(description="where it was wanted")
    arc_deg: float = Field(description="angle that it takes up at the limbus")
    through_incision: bool = Field(description="whether it enters through or beside the main incision")
    reasons: tuple[str, ...] = Field(description="why it does not stand where it was wanted")


class PortPlanOutput(Record):
    """The best arrangement found."""

    complete: bool = Field(description="whether everything found a place")
    tunnel_clock: float = Field(description="middle of the tunnel")
    tunnel_arc_deg: float = Field(description="angle that the tunnel takes up at the limbus")
    pattern: str = Field(description="square, diamond, or square with an extra hook at the incision")
    ports: tuple[PlacedPort, ...] = Field(description="hooks, capsule hooks, side ports")
    assistant_clock: float = Field(description="from where the assistant's hands come")
    tunnel_blocked_by: tuple[str, ...] = Field(description="what lies in the tunnel's way, if anything")
    tunnel_in_gap: bool = Field(description="whether the tunnel lies over weak zonule")
    side_ports_in_gap: int = Field(description="side ports that lie over weak zonule")
    moved_hours: float = Field(description="all shifts together")


@calculation(
    "port-plan",
    summary="Tunnel, hooks, side ports, capsule hooks and the assistant's side on the clock, without conflict",
    formula="exhaustive search in quarters of an hour: fewest without a place, out of weak arcs, preferred tunnel and "
    "pattern, least sum of squared shifts",
    valid="ports as arcs of the limbus; sizes and shifts are choices",
    input=PortPlanInput,
    output=PortPlanOutput,
    example={
        "tunnel_clocks": [12, 10.5],
        "outer_lip_mm": 6.5,
        "inner_lip_mm": 8.5,
        "distance_from_limbus_mm": 2.0,
        "inner_lip_length_mm": 1.5,
        "white_to_white_mm": 11.7,
        "dominant_hand": "right",
        "capsule_hooks": [5, 7],
        "zonule": [1, 1, 1, 1, 0.8, 0, 0, 0, 0.8, 1, 1, 1],
    },
)
def port_plan_calculation(given: PortPlanInput, use: Reader) -> tuple[PortPlanOutput, list[Doubt]]:
    """The arrangement with its reasons."""
    doubts: list[Doubt] = []
    across = given.white_to_white_mm
    if across is None:
        across = use.number("anatomy.white_to_white_mm")
        words = tr("White-to-white was not given: the average, {value:g} mm, was taken.", value=across)
        doubts.append(Doubt("assumed-white-to-white", words))
    if given.dominant_hand is None:
        doubts.append(Doubt("assumed-hand", tr("The surgeon's hand was not given: right was taken.")))
    helper = given.assistant_clock
    if helper is None:
        helper = _assistant(given, use)
        words = tr(
            "Where the assistant's hands come from was not given: {clock:g} o'clock, away from the dominant hand.",
            clock=helper,
        )
        doubts.append(Doubt("assumed-assistant", words))
    wanted = Wanted(
        tunnel_clocks=given.tunnel_clocks,
        tunnel_arc_deg=_tunnel_arc(given, across, doubts),
        white_to_white_mm=across,
        dominant_hand=given.dominant_hand or "right",
        hooks=given.hooks,
        patterns=given.patterns,
        capsule_hooks=given.capsule_hooks,
        side_ports=given.side_ports,
        assistant_clock=helper,
        avoid=(*_arcs(given), *_weak_arcs(given, use)),
    )
    found = ports.arrange(wanted=wanted, constants=use.constants(PortConstants))
    doubts += _layout_doubts(found)
    output = PortPlanOutput(
        complete=found.complete,
        tunnel_clock=found.tunnel_clock,
        tunnel_arc_deg=found.tunnel_arc_deg,
        pattern=found.pattern,
        ports=tuple(
            PlacedPort(
                kind=port.kind,
                clock=port.clock,
                wanted_clock=port.wanted_clock,
                arc_deg=port.arc_deg,
                through_incision=port.through_incision,
                reasons=tuple(str(reason) for reason in port.reasons),
            )
            for port in found.ports
        ),
        assistant_clock=helper,
        tunnel_blocked_by=found.tunnel_blocked_by,
        tunnel_in_gap=found.tunnel_in_gap,
        side_ports_in_gap=found.side_ports_in_gap,
        moved_hours=found.moved_hours,
    )
    return output, doubts


def _assistant(given: PortPlanInput, use: Reader) -> float:
    """Beside a surgeon who sits at the tunnel, away from the dominant hand and its side port."""
    away = use.number("ports.side_port_hours") * (-1 if given.dominant_hand == "left" else 1)
    return wrap_hour(given.tunnel_clocks[0] + away)


def _tunnel_arc(given: PortPlanInput, across: float, doubts: list[Doubt]) -> float:
    if given.inner_lip_mm is None or given.inner_lip_length_mm is None:
        words = tr("The inner lip was not given: the tunnel is taken as no wider inside than outside.")
        doubts.append(Doubt("assumed-no-pocket", words))
    cut = {
        "outer_chord_mm": given.outer_lip_mm,
        "distance_from_limbus_mm": given.distance_from_limbus_mm,
        "inner_chord_mm": given.inner_lip_mm or given.outer_lip_mm,
        "inner_lip_length_mm": given.inner_lip_length_mm or 0.0,
    }
    wider = "inner_lip_mm" if cut["inner_chord_mm"] > given.outer_lip_mm else "outer_lip_mm"
    for field, chord, room in (
        ("outer_lip_mm", given.outer_lip_mm, across + 2 * given.distance_from_limbus_mm),
        (wider, ports.width_at_limbus_mm(**cut), across),
    ):
        words = tr("no more than the circle that it lies on is wide, {room:g} mm", room=room)
        require(holds=chord <= room, field=field, value=getattr(given, field), allowed=words)
    return ports.tunnel_arc_at_limbus_deg(**cut, white_to_white_mm=across)


def _arcs(given: PortPlanInput) -> tuple[Avoid, ...]:
    return tuple(Avoid(one.clock, one.arc_hours, tr(one.reason), firm=True) for one in given.avoid)


def _weak_arcs(given: PortPlanInput, use: Reader) -> tuple[Avoid, ...]:
    if given.zonule is None:
        return ()
    weak = use.constants(SupportConstants).weak_share
    return tuple(
        Avoid(float(hour), 1.0, tr("weak zonule"), firm=False)
        for hour, share in zip(HOURS, given.zonule, strict=True)
        if share < weak
    )


def _layout_doubts(found: Layout) -> list[Doubt]:
    doubts = []
    if any(port.through_incision for port in found.ports):
        words = tr("A hook at the incision goes through or beside it, and is set free before the nucleus passes.")
        doubts.append(Doubt("hook-at-incision", words))
    if not found.complete:
        words = tr("Not everything found a place: see the ports without a clock hour and what is in their way.")
        doubts.append(Doubt("incomplete", words))
    if not found.exhausted:
        words = tr("Not every arrangement was tried: there may be a better one.")
        doubts.append(Doubt("not-exhausted", words))
    return doubts

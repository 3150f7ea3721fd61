"""What has to find its place round the cornea: ports, the tunnel, the assistant, and what is to be left alone."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Literal

from forestay.frame import mirror_hour
from forestay.mechanics.zonule import on_grid
from forestay.text import tr

Hand = Literal["right", "left"]
Kind = Literal["hook", "capsule-hook", "side-port"]


@dataclass(frozen=True)
class PortConstants:
    """Sizes of ports and how far each may be moved, from the evidence."""

    PREFIX: ClassVar[str] = "ports"
    hook_width_mm: float
    side_port_width_mm: float
    side_port_inside_mm: float
    side_port_hours: float
    """From the middle of the tunnel to a side port [hours]."""
    clearance_deg: float
    """Left free between two ports, or a port and the tunnel [degrees]."""
    assistant_half_arc_hours: float
    hook_shift_hours: float
    capsule_shift_hours: float
    side_port_shift_hours: float


@dataclass(frozen=True)
class Avoid:
    """An arc that is left alone. ``firm``: nothing is placed there (a filtering bleb, a scar). Otherwise (a gap in
    the zonule) tunnel and side ports keep out where they can; hooks may stand there."""

    clock: float
    arc_hours: float
    reason: str
    firm: bool


@dataclass(frozen=True)
class Wanted:
    """What is to be placed. Clock positions are the eye's.

    ``tunnel_clocks`` in order of preference; ``tunnel_arc_deg`` that the tunnel takes up at the limbus; ``hooks``
    evenly spaced, ``patterns`` in order of preference; ``capsule_hooks`` where they are wanted; ``side_ports`` 0 to 2,
    the first on the side of the ``dominant_hand``; ``assistant_clock`` from where the assistant's hands come, or None.
    """

    tunnel_clocks: tuple[float, ...]
    tunnel_arc_deg: float
    white_to_white_mm: float
    dominant_hand: Hand
    hooks: int
    patterns: tuple[str, ...]
    capsule_hooks: tuple[float, ...] = ()
    side_ports: int = 1
    assistant_clock: float | None = None
    avoid: tuple[Avoid, ...] = ()

    def mirrored(self) -> Wanted:
        """The same in the other eye, operated with the other hand."""
        return replace(
            self,
            tunnel_clocks=tuple(mirror_hour(on_grid(c)) for c in self.tunnel_clocks),
            dominant_hand="left" if self.dominant_hand == "right" else "right",
            capsule_hooks=tuple(mirror_hour(on_grid(c)) for c in self.capsule_hooks),
            assistant_clock=None if self.assistant_clock is None else mirror_hour(on_grid(self.assistant_clock)),
            avoid=tuple(replace(a, clock=mirror_hour(on_grid(a.clock))) for a in self.avoid),
        )


@dataclass(frozen=True)
class Reason:
    """Why a port does not stand where it was wanted; ``clock`` of what stands in its way, where that is a port."""

    words: str
    clock: float | None = None

    def __str__(self) -> str:
        return self.words if self.clock is None else tr("{words} ({clock:g})", words=self.words, clock=self.clock)


@dataclass(frozen=True)
class Port:
    """One port where it was placed. ``through_incision``: it enters through or under the main incision.

    ``clock`` None: no place was found. ``reasons``: why it does not stand where it was wanted.
    """

    kind: Kind
    wanted_clock: float
    clock: float | None
    arc_deg: float
    through_incision: bool
    reasons: tuple[Reason, ...]

    def mirrored(self) -> Port:
        """The same in the other eye."""
        clock = None if self.clock is None else mirror_hour(self.clock)
        reasons = tuple(r if r.clock is None else replace(r, clock=mirror_hour(r.clock)) for r in self.reasons)
        return replace(self, wanted_clock=mirror_hour(self.wanted_clock), clock=clock, reasons=reasons)


@dataclass(frozen=True)
class Layout:
    """One arrangement on the clock.

    ``complete``: everything found a place; ``tunnel_in_gap``, ``side_ports_in_gap``: what could not keep out of an arc
    that is better avoided; ``moved_hours``: all shifts together; ``tried``: arrangements looked at, ``exhausted``
    whether that was all of them.
    """

    tunnel_clock: float
    tunnel_arc_deg: float
    pattern: str
    ports: tuple[Port, ...]
    complete: bool
    tunnel_blocked_by: tuple[str, ...]
    tunnel_in_gap: bool
    side_ports_in_gap: int
    moved_hours: float
    tried: int
    exhausted: bool

    def mirrored(self) -> Layout:
        """The same in the other eye."""
        return replace(
            self, tunnel_clock=mirror_hour(self.tunnel_clock), ports=tuple(port.mirrored() for port in self.ports)
        )

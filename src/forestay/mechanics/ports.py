"""A conflict-free arrangement of tunnel, hook ports, side ports and capsule hooks on the clock.

Each port is wanted somewhere and may be moved a little, in quarters of an hour. All arrangements are searched, best
first, for the one in which most finds a place; of those, in which tunnel and side ports keep out of weak arcs; then by
the order of the tunnel's places and of the patterns; then with the smallest sum of squared shifts. The search knows no
chance: the same wish gives the same arrangement, and its mirror image with the other hand gives the mirror image.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from forestay.errors import InvalidInput
from forestay.frame import hour_distance, wrap_hour
from forestay.mechanics.geometry import require, require_positive
from forestay.mechanics.ports_model import Avoid, Kind, Layout, Port, PortConstants, Reason, Wanted
from forestay.mechanics.ports_pattern import hook_places
from forestay.mechanics.tunnel import arc_deg
from forestay.mechanics.zonule import on_grid
from forestay.text import tr

DEGREES_PER_HOUR = 30
SHIFT_GRID = 4
"""Places tried within one hour."""
TRIED_LIMIT = 20000
"""Partial arrangements looked at for one tunnel and pattern; beyond it the best so far is given and said to be so."""
ROUNDING_DEG = 1e-9
"""Overlap [degrees] that is rounding."""
MOST_SIDE_PORTS = 2

Cost = tuple[int, int, int, int, int]
Spent = tuple[int, int, int]
"""Items without a place, weak arcs intruded on, squared steps."""


@dataclass(frozen=True)
class _Item:
    """Something to place: every clock position open to it with its cost, cheapest first."""

    kind: Kind
    wanted: float
    half_deg: float
    through: bool
    options: tuple[tuple[int, int, float], ...]
    """(intrusions, squared steps, clock)."""


class _Search:
    """All arrangements of the items, depth first, cheapest place first. Which places are left to the items still to
    come is kept as bits; a branch whose cheapest completion cannot beat the best so far is left."""

    def __init__(self, items: list[_Item], clearance_deg: float) -> None:
        self.items = items
        self.left = [(1 << len(item.options)) - 1 for item in items]
        self.agree = [
            [[_agreeing(one, clock, other, clearance_deg) for other in items] for _, _, clock in one.options]
            for one in items
        ]
        self.best: Spent = (len(items) + 1, 0, 0)
        self.places: list[float | None] = [None] * len(items)
        self.tried = 0
        self._place(0, (0, 0, 0), self.left, [])

    def _place(self, index: int, spent: Spent, left: list[int], placed: list[float | None]) -> None:
        if self.tried > TRIED_LIMIT or self._least(index, spent, left) >= self.best:
            return
        if index == len(self.items):
            self.best, self.places = spent, list(placed)
            return
        self.tried += 1
        for k, (intrusion, steps, clock) in enumerate(self.items[index].options):
            if left[index] >> k & 1:
                after = [mask & agreeing for mask, agreeing in zip(left, self.agree[index][k], strict=True)]
                self._place(index + 1, (spent[0], spent[1] + intrusion, spent[2] + steps), after, [*placed, clock])
        self._place(index + 1, (spent[0] + 1, spent[1], spent[2]), left, [*placed, None])

    def _least(self, index: int, spent: Spent, left: list[int]) -> Spent:
        """What the branch costs at least: every item to come at its cheapest place left."""
        missing, intrusions, steps = spent
        for item, mask in zip(self.items[index:], left[index:], strict=True):
            if mask:
                first = item.options[(mask & -mask).bit_length() - 1]
                intrusions, steps = intrusions + first[0], steps + first[1]
            else:
                missing += 1
        return missing, intrusions, steps


def _agreeing(one: _Item, clock: float, other: _Item, clearance_deg: float) -> int:
    """Bits of the places of ``other`` that leave room for ``one`` at ``clock``."""
    room = one.half_deg + other.half_deg + clearance_deg
    return sum(
        1 << k for k, (_, _, place) in enumerate(other.options) if apart_deg(clock, place) + ROUNDING_DEG >= room
    )


def apart_deg(one: float, other: float) -> float:
    """Angle between two clock positions [degrees], 0 to 180."""
    return DEGREES_PER_HOUR * hour_distance(one, other)


def tunnel_arc_at_limbus_deg(
    *,
    outer_chord_mm: float,
    distance_from_limbus_mm: float,
    inner_chord_mm: float,
    inner_lip_length_mm: float,
    white_to_white_mm: float,
) -> float:
    """Angle that a tunnel takes up at the limbus, where ports enter; never less than that of its outer cut.

    The tunnel widens evenly from the outer chord, d behind the limbus, to the inner chord, e in front of it: at the
    limbus it is c + (i - c) d / (d + e) wide (:func:`width_at_limbus_mm`).

    Parameters: ``outer_chord_mm`` c, ``inner_chord_mm`` i, ``white_to_white_mm`` [mm] above 0;
    ``distance_from_limbus_mm`` d, ``inner_lip_length_mm`` e [mm] 0 or more. Result: angle [degrees].

    >>> tunnel = {"outer_chord_mm": 6.5, "distance_from_limbus_mm": 2.0, "white_to_white_mm": 11.7}
    >>> round(tunnel_arc_at_limbus_deg(**tunnel, inner_chord_mm=6.5, inner_lip_length_mm=1.5), 1)
    67.5
    """
    require_positive(inner_chord_mm=inner_chord_mm, outer_chord_mm=outer_chord_mm)
    require(
        holds=inner_lip_length_mm >= 0,
        field="inner_lip_length_mm",
        value=inner_lip_length_mm,
        allowed=tr("0 or more"),
    )
    outer = arc_deg(
        chord_mm=outer_chord_mm, distance_from_limbus_mm=distance_from_limbus_mm, white_to_white_mm=white_to_white_mm
    )
    wide = width_at_limbus_mm(
        outer_chord_mm=outer_chord_mm,
        distance_from_limbus_mm=distance_from_limbus_mm,
        inner_chord_mm=inner_chord_mm,
        inner_lip_length_mm=inner_lip_length_mm,
    )
    return max(
        float(outer), float(arc_deg(chord_mm=wide, distance_from_limbus_mm=0, white_to_white_mm=white_to_white_mm))
    )


def width_at_limbus_mm(
    *, outer_chord_mm: float, distance_from_limbus_mm: float, inner_chord_mm: float, inner_lip_length_mm: float
) -> float:
    """Width of a tunnel where it crosses the limbus: c + (i - c) d / (d + e) [mm], see above."""
    length = distance_from_limbus_mm + inner_lip_length_mm
    share = distance_from_limbus_mm / length if length > 0 else 1.0
    return outer_chord_mm + (inner_chord_mm - outer_chord_mm) * share


def arrange(*, wanted: Wanted, constants: PortConstants) -> Layout:
    """The best arrangement of what is wanted.

    Parameters: ``wanted``; ``constants``, sizes and shifts. Result: :class:`Layout`; ports in the order hooks, capsule
    hooks, side ports. Never raises for a wish that cannot be met: what found no place is said. A right hand works a
    quarter of the clock before the tunnel (9 o'clock of a tunnel at 12), as the surgeon sits at the tunnel.
    """
    _check(wanted)
    if wanted.dominant_hand == "left":
        return arrange(wanted=wanted.mirrored(), constants=constants).mirrored()
    found: list[tuple[Cost, Layout]] = []
    for rank, clock in enumerate(wanted.tunnel_clocks):
        for order, pattern in enumerate(wanted.patterns if wanted.hooks else wanted.patterns[:1]):
            missing, intrusions, steps, layout = _layout(wanted, on_grid(wrap_hour(clock)), pattern, constants)
            found.append(((missing, intrusions, rank, order, steps), layout))
    return min(found, key=lambda pair: pair[0])[1]


def _check(wanted: Wanted) -> None:
    for name, there in (("tunnel_clocks", wanted.tunnel_clocks), ("patterns", wanted.patterns)):
        if not there:
            allowed = tr("at least one")
            raise InvalidInput(
                tr("{field} is empty; allowed: {words}.", field=name, words=allowed),
                field=name,
                value=(),
                allowed=allowed,
            )
    require(
        holds=0 <= wanted.side_ports <= MOST_SIDE_PORTS,
        field="side_ports",
        value=wanted.side_ports,
        allowed=tr("{low} to {high}", low=0, high=MOST_SIDE_PORTS),
    )


def _layout(wanted: Wanted, tunnel: float, pattern: str, constants: PortConstants) -> tuple[int, int, int, Layout]:
    half, site = wanted.tunnel_arc_deg / 2, _Site(wanted, tunnel, constants)
    blocked = tuple(a.reason for a in wanted.avoid if a.firm and _overlaps(a, tunnel, half))
    weak = any(not a.firm and _overlaps(a, tunnel, half) for a in wanted.avoid)
    items = _items(site, pattern)
    order = sorted(range(len(items)), key=lambda i: (len(items[i].options), i))
    search = _Search([items[i] for i in order], constants.clearance_deg)
    places: list[float | None] = [None] * len(items)
    for position, i in enumerate(order):
        places[i] = search.places[position]
    missing, intrusions, steps = search.best
    ports = tuple(site.port(i, items, places) for i in range(len(items)))
    layout = Layout(
        tunnel_clock=tunnel,
        tunnel_arc_deg=wanted.tunnel_arc_deg,
        pattern=pattern,
        ports=ports,
        complete=not missing and not blocked,
        tunnel_blocked_by=blocked,
        tunnel_in_gap=weak,
        side_ports_in_gap=intrusions,
        moved_hours=sum(hour_distance(p.clock, p.wanted_clock) for p in ports if p.clock is not None),
        tried=search.tried,
        exhausted=search.tried <= TRIED_LIMIT,
    )
    return missing + len(blocked), intrusions + weak, steps, layout


def _items(site: _Site, pattern: str) -> list[_Item]:
    wanted, constants, across = site.wanted, site.constants, site.wanted.white_to_white_mm
    inside = across - 2 * constants.side_port_inside_mm
    hook = float(arc_deg(chord_mm=constants.hook_width_mm, distance_from_limbus_mm=0, white_to_white_mm=across)) / 2
    side = arc_deg(chord_mm=constants.side_port_width_mm, distance_from_limbus_mm=0, white_to_white_mm=inside)
    items = [
        _Item("hook", place.clock, 0.0, True, ((0, 0, place.clock),))
        if place.at_incision
        else site.item("hook", place.clock, hook, constants.hook_shift_hours)
        for place in hook_places(pattern=pattern, count=wanted.hooks, incision_clock=site.tunnel)
    ]
    items += [
        site.item("capsule-hook", on_grid(wrap_hour(clock)), hook, constants.capsule_shift_hours)
        for clock in wanted.capsule_hooks
    ]
    hands = (-constants.side_port_hours, constants.side_port_hours)[: wanted.side_ports]
    return items + [
        site.item("side-port", wrap_hour(site.tunnel + hours), float(side) / 2, constants.side_port_shift_hours)
        for hours in hands
    ]


def _overlaps(avoid: Avoid, clock: float, room_deg: float) -> bool:
    """Whether something that needs ``room_deg`` on either side runs into the arc."""
    return apart_deg(avoid.clock, clock) + ROUNDING_DEG < avoid.arc_hours * DEGREES_PER_HOUR / 2 + room_deg


@dataclass(frozen=True)
class _Site:
    """One eye with its tunnel: which places are open, and why others are not."""

    wanted: Wanted
    tunnel: float
    constants: PortConstants

    def item(self, kind: Kind, clock: float, half_deg: float, shift_hours: float) -> _Item:
        """A port with every place open to it."""
        most = int(shift_hours * SHIFT_GRID)
        options = []
        for step in range(-most, most + 1):
            at = wrap_hour(clock + step / SHIFT_GRID)
            if not self.blockers(kind, at, half_deg):
                options.append((int(bool(self.weak(kind, at, half_deg))), step * step, at, -step))
        options.sort(key=lambda option: (option[0], option[1], option[3]))
        return _Item(kind, clock, half_deg, False, tuple(option[:3] for option in options))

    def blockers(self, kind: Kind, clock: float, half_deg: float) -> tuple[str, ...]:
        """What, apart from other ports, forbids this place."""
        room = half_deg + self.constants.clearance_deg
        found = [a.reason for a in self.wanted.avoid if a.firm and _overlaps(a, clock, room)]
        if apart_deg(clock, self.tunnel) + ROUNDING_DEG < self.wanted.tunnel_arc_deg / 2 + room:
            found.append(tr("the tunnel lies there"))
        helper = self.wanted.assistant_clock
        if kind == "side-port" and helper is not None:
            hands = Avoid(helper, 2 * self.constants.assistant_half_arc_hours, tr("the assistant works there"), True)
            found += [hands.reason] if _overlaps(hands, clock, 0) else []
        return tuple(found)

    def weak(self, kind: Kind, clock: float, half_deg: float) -> tuple[str, ...]:
        """Arcs that a side port better keeps out of, and does not here."""
        if kind != "side-port":
            return ()
        return tuple(a.reason for a in self.wanted.avoid if not a.firm and _overlaps(a, clock, half_deg))

    def port(self, index: int, items: list[_Item], places: list[float | None]) -> Port:
        """What became of one wish, and why."""
        item, clock = items[index], places[index]
        port = Port(item.kind, item.wanted, clock, 2 * item.half_deg, item.through, ())
        if item.through:
            words = tr("through or beside the incision; set it free before the nucleus passes")
            return replace(port, reasons=(Reason(words),))
        if clock is not None and hour_distance(clock, item.wanted) == 0:
            return port
        why = (self.blockers, self.weak)
        reasons = [Reason(words) for ask in why for words in ask(item.kind, item.wanted, item.half_deg)]
        for i, (other, place) in enumerate(zip(items, places, strict=True)):
            if i != index and place is not None:
                room = item.half_deg + other.half_deg + self.constants.clearance_deg
                if apart_deg(item.wanted, place) + ROUNDING_DEG < room:
                    reasons.append(Reason(tr("another port stands there"), place))
        return replace(port, reasons=tuple(dict.fromkeys(reasons)) or (Reason(tr("to make room for another port")),))

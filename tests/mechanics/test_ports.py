"""The arrangement on the clock: nothing overlaps, best of all by brute force, mirrored exactly, and known layouts."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.frame import hour_distance, wrap_hour
from forestay.mechanics.ports import apart_deg, arrange, tunnel_arc_at_limbus_deg
from forestay.mechanics.ports_model import Avoid, Layout, PortConstants, Wanted
from forestay.mechanics.tunnel import arc_deg

CHOICES = default_evidence().reader().constants(PortConstants)
ACROSS = 11.7
OUTER_ARC = float(arc_deg(chord_mm=6.5, distance_from_limbus_mm=2.0, white_to_white_mm=ACROSS))
steady = settings(deadline=None, derandomize=True, max_examples=60)


def wish(**more: object) -> Wanted:
    keys: dict[str, object] = {
        "tunnel_clocks": (12.0,),
        "tunnel_arc_deg": OUTER_ARC,
        "white_to_white_mm": ACROSS,
        "dominant_hand": "right",
        "hooks": 4,
        "patterns": ("square",),
    }
    return Wanted(**(keys | more))  # type: ignore[arg-type]


def plan(**more: object) -> Layout:
    return arrange(wanted=wish(**more), constants=CHOICES)


def conflicts(found: Layout, wanted: Wanted) -> list[str]:
    """What overlaps, worked out on its own."""
    placed = [port for port in found.ports if port.clock is not None and not port.through_incision]
    bad = []
    for i, port in enumerate(placed):
        assert port.clock is not None
        for other in placed[:i]:
            room = (port.arc_deg + other.arc_deg) / 2 + CHOICES.clearance_deg
            if apart_deg(port.clock, other.clock or 0) < room - 1e-6:
                bad.append(f"{port.clock} and {other.clock}")
        if apart_deg(port.clock, found.tunnel_clock) < (port.arc_deg + found.tunnel_arc_deg) / 2:
            bad.append(f"{port.clock} in the tunnel")
        bad += [
            f"{port.clock} in {arc.reason}"
            for arc in wanted.avoid
            if arc.firm and apart_deg(port.clock, arc.clock) < port.arc_deg / 2 + 15 * arc.arc_hours
        ]
        helper = wanted.assistant_clock if port.kind == "side-port" else None
        if helper is not None and hour_distance(port.clock, helper) < CHOICES.assistant_half_arc_hours:
            bad.append(f"{port.clock} at the assistant")
    return bad


def test_a_square_clears_a_superior_tunnel_by_twenty_degrees() -> None:
    # incision evidence, section 7: 6.5 mm, 2 mm back, arc 49 degrees (65.5 to 114.5); hooks at 45 and 135
    arc = OUTER_ARC
    assert arc == pytest.approx(48.91, abs=0.005)
    free = 45 - arc / 2
    assert free == pytest.approx(20.5, abs=0.1)
    found = plan()
    assert [port.clock for port in found.ports] == [1.5, 4.5, 7.5, 10.5, 9.0]
    assert (found.complete, found.moved_hours) == (True, 0)


def test_a_pocket_takes_more_of_the_limbus_and_pushes_the_upper_hooks_away() -> None:
    # trapezoid by hand: 6.5 + 2 * 2 / 3.5 = 7.643 mm at the limbus, 2 asin(7.643 / 11.7) = 81.57 degrees
    wide = tunnel_arc_at_limbus_deg(
        outer_chord_mm=6.5,
        distance_from_limbus_mm=2.0,
        inner_chord_mm=8.5,
        inner_lip_length_mm=1.5,
        white_to_white_mm=ACROSS,
    )
    assert wide == pytest.approx(81.57, abs=0.005)
    found = plan(tunnel_arc_deg=wide)
    assert [port.clock for port in found.ports][:4] == [1.75, 4.5, 7.5, 10.25]
    assert [str(r) for r in found.ports[0].reasons] == ["the tunnel lies there"]


def test_a_diamond_has_its_hook_through_the_incision() -> None:
    found = plan(patterns=("diamond",))
    through = [port for port in found.ports if port.through_incision]
    assert [port.clock for port in through] == [12.0]
    assert "before the nucleus passes" in str(through[0].reasons[0])


def test_four_iris_and_four_capsule_hooks_find_their_places() -> None:
    # J Cataract Refract Surg 2014;40:1408: both sets together are feasible
    found = plan(capsule_hooks=(1.5, 4.5, 7.5, 10.5))
    assert found.complete
    assert len(found.ports) == 9
    assert conflicts(found, wish()) == []


def test_the_side_port_is_on_the_dominant_hands_side_and_out_of_the_assistants_way() -> None:
    # side port at 9 o'clock for a tunnel at 12 (slides); a right hand works there as one sits at 12
    assert plan(side_ports=1).ports[-1].clock == 9.0
    assert plan(side_ports=1, dominant_hand="left").ports[-1].clock == 3.0
    busy = plan(side_ports=1, assistant_clock=9.0).ports[-1]
    assert hour_distance(busy.clock or 0, 9.0) >= 1
    assert "the assistant works there" in [str(reason) for reason in busy.reasons]


def test_a_bleb_turns_the_tunnel_away_and_a_gap_better_not_under_it() -> None:
    bleb = Avoid(12.0, 2.0, "bleb", firm=True)
    assert plan(tunnel_clocks=(12.0, 9.0), avoid=(bleb,)).tunnel_clock == 9.0
    only = plan(avoid=(bleb,))
    assert (only.complete, only.tunnel_blocked_by) == (False, ("bleb",))
    gap = Avoid(12.0, 3.0, "weak zonule", firm=False)
    assert plan(tunnel_clocks=(12.0, 9.0), avoid=(gap,)).tunnel_clock == 9.0
    stays = plan(avoid=(gap,))
    assert (stays.complete, stays.tunnel_in_gap) == (True, True)


def test_what_finds_no_place_is_said() -> None:
    found = plan(avoid=(Avoid(6.0, 10.0, "scar", firm=True),))
    lost = [port for port in found.ports if port.clock is None]
    assert not found.complete
    assert lost
    assert all("scar" in [str(reason) for reason in port.reasons] for port in lost)


def test_the_search_finds_what_trying_everything_finds() -> None:
    wanted = wish(capsule_hooks=(1.75, 4.25), side_ports=1, hooks=3, assistant_clock=9.0)
    found = arrange(wanted=wanted, constants=CHOICES)
    steps = [
        [wrap_hour(port.wanted_clock + k / 4) for k in range(-int(4 * room), int(4 * room) + 1)]
        for port, room in zip(found.ports, (1, 1, 1, 0.5, 0.5, 1.5), strict=True)
    ]
    least = None
    halves = [port.arc_deg / 2 for port in found.ports]
    for places in product(*steps):
        clear = all(
            apart_deg(a, b) + 1e-9 >= halves[i] + halves[j] + CHOICES.clearance_deg
            for i, a in enumerate(places)
            for j, b in enumerate(places[:i])
        )
        clear = clear and all(
            apart_deg(p, 12.0) + 1e-9 >= h + OUTER_ARC / 2 + CHOICES.clearance_deg
            for p, h in zip(places, halves, strict=True)
        )
        if clear and hour_distance(places[-1], 9.0) >= 1:
            cost = sum((4 * hour_distance(p, w.wanted_clock)) ** 2 for p, w in zip(places, found.ports, strict=True))
            least = cost if least is None else min(least, cost)
    ours = sum((4 * hour_distance(p.clock or 0, p.wanted_clock)) ** 2 for p in found.ports)
    assert found.complete
    assert ours == least


@st.composite
def wishes(draw: st.DrawFn) -> Wanted:
    clock = st.integers(1, 48).map(lambda n: n / 4)
    arcs = draw(st.lists(st.tuples(clock, st.floats(0.5, 3), st.booleans()), max_size=2))
    return wish(
        tunnel_clocks=tuple(draw(st.lists(clock, min_size=1, max_size=2))),
        tunnel_arc_deg=draw(st.floats(20, 90)),
        dominant_hand=draw(st.sampled_from(["right", "left"])),
        hooks=draw(st.integers(0, 6)),
        patterns=tuple(draw(st.lists(st.sampled_from(["square", "diamond", "extra"]), min_size=1, max_size=2))),
        capsule_hooks=tuple(draw(st.lists(clock, max_size=4, unique=True))),
        side_ports=draw(st.integers(0, 2)),
        assistant_clock=draw(st.none() | clock),
        avoid=tuple(Avoid(c, w, "scar" if firm else "weak zonule", firm) for c, w, firm in arcs),
    )


@steady
@given(wishes())
def test_nothing_overlaps_and_the_mirror_image_with_the_other_hand_is_the_mirror_image(wanted: Wanted) -> None:
    found = arrange(wanted=wanted, constants=CHOICES)
    assert conflicts(found, wanted) == []
    assert found == arrange(wanted=wanted, constants=CHOICES)
    assert found.mirrored() == arrange(wanted=wanted.mirrored(), constants=CHOICES)
    for port in found.ports:
        assert (port.clock == port.wanted_clock) or port.reasons


@pytest.mark.parametrize(
    ("wrong", "field"),
    [({"tunnel_clocks": ()}, "tunnel_clocks"), ({"patterns": ()}, "patterns"), ({"side_ports": 3}, "side_ports")],
)
def test_bad_input_names_the_field(wrong: dict[str, object], field: str) -> None:
    with pytest.raises(InvalidInput) as raised:
        plan(**wrong)
    assert raised.value.field == field

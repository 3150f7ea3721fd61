"""Where capsule hooks can be had: never in a barred arc, as near as can be to where they serve, and said where not."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.calc.support import support_search_calculation as search
from forestay.calc.support_left import supports_left
from forestay.frame import hour_distance, mirror_by_hour, mirror_hour
from forestay.mechanics.support_search_hooks import Gap, hook_layouts, in_the_way
from forestay.mechanics.support_search_model import Barred
from tests.plan.cases import changed, planned

GAP = (0.9, 0.9, 0.9, 0.9, 0.9, 0.0, 0.0, 0.0, 0.9, 0.9, 0.9, 0.9)
EYE = {"bag_diameter_mm": 10.4, "age_years": 71, "tunnel_clock": 10.5}
FEW = {"whole_nucleus_by_hand": False, "kinds": ("hooks",)}

arcs = st.lists(
    st.builds(Barred, st.floats(0.1, 12), st.floats(0.2, 1.5), st.sampled_from(("tunnel", "scar"))), max_size=5
)


@given(st.floats(1, 12), st.integers(1, 12), st.integers(1, 4), arcs)
@settings(deadline=None, derandomize=True, max_examples=60)
def test_a_barred_hour_is_never_used_and_what_has_no_place_is_told(
    centre: float, hours: int, count: int, barred: list[Barred]
) -> None:
    ask = {"gap": Gap(centre, hours), "count": count, "tunnel_clock": 12.0, "spacing_hours": 0.75, "shift_hours": 0.5}
    free = hook_layouts(**ask)  # type: ignore[arg-type]
    found = hook_layouts(**ask, barred=barred)  # type: ignore[arg-type]
    for layout in found.placed:
        assert len(layout) == count
        assert not any(in_the_way(clock, barred) for clock in layout)
        assert any(
            all(min(hour_distance(clock, wish) for wish in wished) <= 0.5 for clock in layout) for wished in free.placed
        )
    if free.placed and not found.placed and count == 1:
        assert found.in_the_way
    if not barred:
        assert found == free


def test_a_hook_moves_by_the_least_that_serves() -> None:
    """Wished at 7; an arc up to 6:50 on one side, up to 7:20 on the other: a quarter of an hour is enough one way."""
    ask = {"gap": Gap(7.0, 1), "count": 1, "tunnel_clock": 12.0, "spacing_hours": 0.75, "shift_hours": 0.5}
    assert hook_layouts(**ask, barred=(Barred(7.1, 0.3, "scar"),)).placed == ((6.75,),)  # type: ignore[arg-type]
    closed = hook_layouts(**ask, barred=(Barred(7.0, 0.6, "scar"),))  # type: ignore[arg-type]
    assert (closed.placed, closed.in_the_way) == ((), ("scar",))


def test_the_calculation_takes_what_is_barred_and_the_other_eye_answers_alike() -> None:
    barred = [
        {"clock": 5.5, "arc_hours": 0.5, "reason": "iris hook"},
        {"clock": 6.5, "arc_hours": 0.3, "reason": "scar"},
    ]
    ours = search(**EYE, **FEW, zonule=GAP, barred=barred).result
    others = [one | {"clock": mirror_hour(one["clock"])} for one in barred]  # type: ignore[arg-type]
    eye = EYE | {"tunnel_clock": mirror_hour(10.5), "zonule": mirror_by_hour(GAP)}
    theirs = search(**eye, **FEW, barred=others).result
    hooked = [(row.hooks, row.reserve) for row in ours.rows if row.hooks]
    assert hooked
    assert hooked == [
        (tuple(sorted(mirror_hour(h) for h in row.hooks)), row.reserve) for row in theirs.rows if row.hooks
    ]
    for clocks, _ in hooked:
        assert all(hour_distance(c, 5.5) > 0.25 and hour_distance(c, 6.5) > 0.15 for c in clocks)


def test_hooks_without_any_place_are_told_with_what_is_in_the_way() -> None:
    shut = {"barred": [{"clock": 6, "arc_hours": 5, "reason": "scar"}]}
    found = search(**EYE, **FEW, zonule=GAP, **shut).result
    assert not any(row.hooks for row in found.rows)
    assert [(one.hooks, one.in_the_way) for one in found.unplaced] == [(n, ("a scar",)) for n in (1, 2, 3, 4)]
    kinds = ("hooks", "ring")
    assert {row.kind for row in supports_left(**EYE, zonule=GAP, kinds=kinds, **shut).result.rows} == {"ring"}
    (own,) = [
        row for row in search(**EYE, **FEW, zonule=GAP, **shut, planned={"hooks": [5, 11]}).result.rows if row.planned
    ]
    assert [(one.clock, one.what) for one in own.blocked] == [(5.0, "a scar")]


def test_a_planned_hook_that_meets_the_tunnel_is_told_where_it_stands() -> None:
    case = changed("trauma-gap", signs__dialysis_clock_hours=[2, 3, 4])
    plan = planned(case, draws=50, technique="manual-small-incision", tunnel_clock=12.0)
    assert plan.measures is not None
    assert plan.measures.technique == "manual-small-incision"
    (own,) = [s for s in plan.supports if s.planned]
    assert 1.5 in own.hooks
    assert "its hook at 1:30 meets the tunnel" in own.reasons
    others = [h for s in plan.supports if not s.planned for h in s.hooks]
    assert all(hour_distance(h, 12) >= 2 for h in others)

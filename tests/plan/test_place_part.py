"""The place of the incision argued: less elsewhere, and a seat that is not at the incision."""

from __future__ import annotations

import pytest

from forestay.report.readable import readable
from tests.plan.cases import changed, mirrored, planned, raw


def test_a_place_that_leaves_clearly_less_is_named_though_the_plan_keeps_its_own() -> None:
    plan = planned(raw("brown-pseudoexfoliation"), draws=50)
    assert plan.measures is not None
    assert plan.measures.tunnel_clock == 12
    assert plan.astigmatism.place_says.startswith("At 3 o'clock")  # temporal in a left eye, against the rule
    settled = planned(raw("brown-pseudoexfoliation"), draws=50, tunnel_clock=3.0)
    assert settled.astigmatism.after_d is not None
    assert plan.astigmatism.after_d is not None
    assert settled.astigmatism.after_d < plan.astigmatism.after_d
    assert settled.drawing is not None
    assert "instead" in settled.drawing.seat_says  # now the seat, noted as superior, is not at the incision


@pytest.mark.parametrize(("seat", "told"), [("superior", False), ("temporal", True)])
def test_a_seat_away_from_the_incision_is_said_on_either_side(*, seat: str, told: bool) -> None:
    data = changed("white-swollen", theatre__seat=seat)
    plan, twin = planned(data, draws=50), planned(mirrored(data), draws=50)
    assert plan.drawing is not None
    assert twin.drawing is not None
    assert ("The seat" in plan.drawing.seat_says) is told
    assert ("The seat" in twin.drawing.seat_says) is told
    assert plan.drawing.seat_says in readable(plan, label="", width=1000)
    if told:
        assert "9 o'clock" in plan.drawing.seat_says
        assert "3 o'clock" in twin.drawing.seat_says


def test_without_a_seat_nothing_is_said_of_it() -> None:
    plan = planned(changed("white-swollen", theatre__seat=None), draws=50)
    assert plan.drawing is not None
    assert (plan.astigmatism.place_says, plan.drawing.seat_says) == ("", "")

"""One table says which way each manoeuvre pulls and how hard: the search for support and the plan's loads agree to the end."""

from __future__ import annotations

import numpy as np
import pytest

from forestay.calc.manoeuvres import manoeuvre_loads
from forestay.calc.support import support_search_calculation as search
from forestay.calc.support_steps import MANOEUVRE_OF
from forestay.evidence import default_evidence
from forestay.frame import mirror_by_hour, mirror_hour
from forestay.plan.zonule_loads import loads, springs

GAP = (0.8, 0.8, 0.8, 0.7, 0.0, 0.0, 0.8, 0.8, 0.8, 0.8, 0.8, 0.8)
SKEWED = (0.9, 0.9, 0.9, 0.4, 0.9, 0.9, 0.9, 0.9, 0.4, 0.7, 0.9, 0.9)
"""3 and 8 o'clock are weakest alike, and equally far from a tunnel at 11:30."""


def bare(**eye: object) -> dict[str, float | None]:
    """Reserve at each step without any support."""
    (row,) = search(bag_diameter_mm=10.4, age_years=71, kinds=("none",), **eye).result.rows
    return {one.step: one.reserve for one in row.by_step if one.pulls}


@pytest.mark.parametrize(("technique", "by_hand"), [("manual-small-incision", True), ("phacoemulsification", False)])
def test_the_search_and_the_plan_ask_the_same_of_the_same_eye(technique: str, by_hand: bool) -> None:
    """Two users, two solvers' paths, one direction, force and bar: what is left at each step is the same number."""
    use = default_evidence().reader()
    found = loads(
        technique=technique,
        support=np.array(GAP)[:, None][:, :0],
        support_mean=np.array(GAP),
        lent=np.zeros(12),
        parameters=springs(bag_diameter_mm=10.4, age_years=71, use=use),
        tunnel_at=10.5,
        ring_gap=None,
        nucleus_share=0.8 if by_hand else None,
        use=use,
    )
    share = {"nucleus_share": 0.8} if by_hand else {}
    asked = bare(zonule=GAP, tunnel_clock=10.5, whole_nucleus_by_hand=by_hand, **share)
    assert set(asked) == {step for step in MANOEUVRE_OF if by_hand or step not in ("pole-lift", "whole-nucleus")}
    for step, left in asked.items():
        assert left == pytest.approx(1 - found.centre[MANOEUVRE_OF[step]] / found.borne, abs=1e-3), step


def test_the_directions_are_those_of_the_calculation_of_manoeuvres() -> None:
    """``manoeuvre-loads`` tells the hour worked at; the search pulls there, and radially from the hand's side."""
    eye = {"bag_diameter_mm": 10.4, "age_years": 71, "zonule": GAP, "tunnel_clock": 10.5}
    told = manoeuvre_loads(**eye).result
    (row,) = search(**eye, whole_nucleus_by_hand=True, kinds=("none",)).result.rows
    pulls = {one.step: [(p.kind, p.from_clock, p.to_clock) for p in one.pulls] for one in row.by_step}
    assert pulls["cortex"] == [("tangential", told.work_clock, told.work_clock)] == [("tangential", 3.0, 3.0)]
    assert pulls["lens-in"] == pulls["puncture"] == [("radial", 10.5, 4.5)]
    assert pulls["whole-nucleus"] == [("radial", 4.5, 10.5)]
    assert pulls["rotation"] == [("torque", None, None)]


def test_hours_that_are_weakest_alike_are_both_pulled_at_and_the_other_eye_answers_alike() -> None:
    ours = bare(zonule=SKEWED, tunnel_clock=11.5, whole_nucleus_by_hand=False)
    other = bare(zonule=mirror_by_hour(SKEWED), tunnel_clock=mirror_hour(11.5), whole_nucleus_by_hand=False)
    assert ours == other

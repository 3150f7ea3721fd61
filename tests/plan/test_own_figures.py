"""Own lens constants and own incisions flow into the plan, drawn by their number, with their weight said."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from forestay.demo import demo_lens_shelf_bytes
from forestay.eye.lens_shelf import LensShelf, read_lens_shelf
from forestay.plan.context import Context, OwnIncision, OwnLens, Practice
from forestay.plan.make import make
from forestay.plan.model import Plan
from forestay.review.invented import Truth, outcomes
from forestay.review.practice import practice_of
from tests.plan.cases import changed, mirrored, situation

GAP = "trauma-gap"
QUICK = replace(Context.default(draws=100), searching=False)


def own_shelf() -> LensShelf:
    """The demo's shelf taken as a practice's own."""
    return read_lens_shelf(demo_lens_shelf_bytes(), "lenses.toml").model_copy(update={"invented": False})


def plan_of(data: dict[str, Any], *, shelf: LensShelf | None = None, **figures: Any) -> Plan:
    return make(situation(data), replace(QUICK, lenses=shelf, practice=Practice(**figures)))


def mine(**more: Any) -> OwnLens:
    given = {"lens": "Example three pieces", "method": "optical", "formula": "SRK/T", "n": 40, "a": 119.3, "sd_d": 0.45}
    return OwnLens(**{**given, **more})


def sulcus(plan: Plan) -> Any:
    return next(p for p in plan.lens.positions if p.position == "sulcus")


def test_own_eyes_move_the_box_by_their_weight() -> None:
    formula = plan_of(changed(GAP)).lens.formula
    own = mine(formula=formula)
    plain, told = plan_of(changed(GAP), shelf=own_shelf()), plan_of(changed(GAP), shelf=own_shelf(), lenses=(own,))
    # normal-normal: w = n t2 / (n t2 + s2), t 0.15, s 0.45 D, n 40: 0.8163
    weight = 40 * 0.15**2 / (40 * 0.15**2 + 0.45**2)
    assert sulcus(plain).box.constant_a == pytest.approx(118.7)
    assert sulcus(told).box.constant_a == pytest.approx(118.7 + weight * (119.3 - 118.7))
    (line,) = [line for line in told.lens.learnt if "own eyes" in line]
    assert "82%" in line
    assert told.lens.positions[0].power_d == plain.lens.positions[0].power_d  # the table keeps the case's own constant


@pytest.mark.parametrize("more", [{"method": "ultrasound-contact"}, {"formula": "T2"}])
def test_eyes_measured_otherwise_say_nothing(more: dict[str, str]) -> None:
    plan = plan_of(changed(GAP), shelf=own_shelf(), lenses=(mine(**more),))
    assert sulcus(plan).box.constant_a == pytest.approx(118.7)
    assert not any("own eyes" in line for line in plan.lens.learnt)


def test_a_lens_that_is_not_there_is_told_and_moves_nothing() -> None:
    formula = plan_of(changed(GAP)).lens.formula
    for shelf in (None, read_lens_shelf(demo_lens_shelf_bytes(), "lenses.toml")):
        plan = plan_of(changed(GAP), shelf=shelf, lenses=(mine(formula=formula),))
        assert any("moves no power" in line for line in plan.lens.learnt)


def test_own_incisions_are_weighed_in_and_said_on_either_side() -> None:
    data = changed(GAP)
    plain = plan_of(data)
    assert plain.measures is not None
    assert plain.astigmatism.induced_d is not None
    clock, shape = plain.measures.tunnel_clock, plain.measures.tunnel_shape
    from forestay.optics.incision import site_of

    side = data["eye"]["side"]
    cut = OwnIncision(plain.chosen.technique, site_of(clock=clock, side=side), shape, n=30, mean_d=1.6, sd_d=0.5)
    told = plan_of(data, incisions=(cut,))
    weight = 30 * 0.3**2 / (30 * 0.3**2 + 0.5**2)
    expected = plain.astigmatism.induced_d + weight * (1.6 - plain.astigmatism.induced_d)
    assert told.astigmatism.induced_d == pytest.approx(expected)
    assert f"{weight:.0%}" in told.astigmatism.own_says
    assert plain.astigmatism.own_says == ""
    twin = plan_of(mirrored(data), incisions=(cut,))
    assert twin.astigmatism.induced_d == told.astigmatism.induced_d
    elsewhere = plan_of(data, incisions=(replace(cut, site="inferior"),))
    assert elsewhere.astigmatism.induced_d == plain.astigmatism.induced_d


def test_followed_operations_fill_the_practice() -> None:
    truth = Truth(planned_a=118.4, true_a=118.75, flattening_d=0.9)
    practice = practice_of([replace(o, invented=False) for o in outcomes(300, seed=7, truth=truth)])
    (lens,), (cut,) = practice.lenses, practice.incisions
    assert (lens.formula, lens.method) == ("SRK/T", "ultrasound-immersion")
    assert lens.a == pytest.approx(118.75, abs=4 * 0.7 * truth.refraction_sd_d / lens.n**0.5 + 0.02)
    assert (cut.technique, cut.site, cut.shape) == ("manual-small-incision", "superior", "frown")
    assert cut.mean_d == pytest.approx(0.9, abs=4 * truth.flattening_sd_d / cut.n**0.5)
    assert practice_of(outcomes(300, seed=7, truth=truth)) == Practice()  # invented operations teach nothing

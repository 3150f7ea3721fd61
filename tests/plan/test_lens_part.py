"""The plan's lens: boxes, formulas, error, region, fellow eye, toric advice."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import NormalDist
from typing import Any

import pytest

from forestay.demo import demo_lens_shelf_bytes
from forestay.errors import InvalidInput
from forestay.eye.lens_shelf import read_lens_shelf
from forestay.plan.context import Context
from forestay.plan.lens_part import best_choice
from forestay.plan.make import make
from forestay.plan.model import Plan
from tests.plan.cases import changed, mirrored, situation

GAP, SWOLLEN, LONG = "trauma-gap", "white-swollen", "long-vitrectomised-only-eye"
SHELF = read_lens_shelf(demo_lens_shelf_bytes(), "lenses.toml")
QUICK = replace(Context.default(draws=100), searching=False)


def quick(data: dict[str, Any], *, shelf: bool = False) -> Plan:
    return make(situation(data), replace(QUICK, lenses=SHELF) if shelf else QUICK)


def test_every_fallback_has_its_box_and_its_error() -> None:
    lens = quick(changed(GAP), shelf=True).lens
    rows = {p.position: p for p in lens.positions}
    assert lens.shelf == "an invented example shelf"
    assert all(rows[p].box is not None for p in rows if p != "aphakia")
    for row in rows.values():
        assert sum(part.share for part in row.parts) == pytest.approx(1.0, abs=1e-9)
        assert row.within_half < row.within_one  # type: ignore[operator]
    assert rows["aphakia"].contact_lens_d is not None
    assert "iris" in rows["sulcus"].never[0]
    assert all(not p.box_says and p.box is None for p in quick(changed(GAP)).lens.positions)


def test_the_step_names_the_box_and_what_it_leaves() -> None:
    plan = quick(changed(GAP), shelf=True)
    bag = plan.lens.positions[0]
    assert bag.box is not None
    assert bag.box_is_near
    assert bag.low_d < bag.box.refraction_d < bag.high_d  # type: ignore[operator]
    (do,) = [s.do for s in plan.steps if bag.box.lens in s.do]
    assert f"{bag.box.power_d:+.1f} D" in do
    assert f"{bag.box.refraction_d:+.2f} D" in do
    assert not any("Box:" in s.do for s in quick(changed(GAP)).steps)


def test_a_box_far_from_the_aim_is_not_planned_and_the_power_is_to_be_ordered() -> None:
    claw = {p.position: p for p in quick(changed(SWOLLEN), shelf=True).lens.positions}["retropupillary-iris"]
    assert not claw.box_is_near
    assert "order it" in claw.box_says


def test_a_swollen_lens_rules_out_the_formula_that_trusts_its_chamber() -> None:
    states = {f.name: f.state for f in quick(changed(SWOLLEN)).lens.formulas}
    assert states["Haigis"] == "not"
    assert [f.name for f in quick(changed(SWOLLEN)).lens.formulas if f.taken] == ["SRK/T"]


def test_at_its_cusp_the_usual_formula_is_passed_over_and_that_is_said() -> None:
    lens = quick(changed(LONG, biometry__k1_d=47.0, biometry__k2_d=48.0, biometry__axial_length_mm=30.0)).lens
    assert lens.formula == "Holladay 1"
    assert any("SRK/T" in line for line in lens.says)


def test_a_long_eye_is_adjusted_only_when_asked() -> None:
    plain = quick(changed(LONG)).lens
    asked = quick(changed(LONG, target__length_adjustment="linear-2011")).lens
    assert plain.positions[0].power_d is not None
    assert asked.positions[0].power_d is not None
    assert asked.positions[0].power_d > plain.positions[0].power_d  # a shorter length asks for more power
    assert any("once" in line for line in asked.says)
    assert not any("once" in line for line in plain.says)


def test_the_accepted_region_chooses_the_power() -> None:
    region = {"target__accept_from_d": -1.5, "target__accept_to_d": -0.5, "target__refuse_above_d": 0.0}
    lens = quick(changed(GAP, target__refraction_d=None, **region)).lens
    bag = lens.positions[0]
    assert lens.region_d == (-1.5, -0.5)
    assert bag.in_region is not None
    assert bag.best_refraction_d is not None
    assert -1.5 < bag.best_refraction_d < -0.5


def test_the_fellow_eyes_outcome_is_said_and_not_counted() -> None:
    eye = changed(GAP)["biometry"]
    fellow = {
        "fellow__operated": True,
        "fellow__axial_length_mm": eye["axial_length_mm"],
        "fellow__k1_d": eye["k1_d"],
        "fellow__k2_d": eye["k2_d"],
        "fellow__lens_power_d": 21.0,
        "fellow__refraction_d": 1.0,
    }
    told, plain = quick(changed(GAP, **fellow)).lens, quick(changed(GAP)).lens
    assert any("half" in line for line in told.learnt)
    assert told.positions[0].power_d == plain.positions[0].power_d


def test_no_toric_lens_where_it_may_not_stay_put_and_a_mirrored_eye_says_the_same() -> None:
    # 2.5 D against the rule: a superior incision leaves all of it and adds its own (evidence on incisions 5.3)
    data = changed(GAP, biometry__k1_d=42.5, biometry__k1_axis_deg=90, biometry__k2_d=44.9, biometry__k2_axis_deg=180)
    says = quick(data).astigmatism.toric_says
    assert "gap" in says
    assert quick(mirrored(data)).astigmatism.toric_says == says


@pytest.mark.parametrize("articles", [("0952123454321",), ("09521234543213", "09521234543213"), ("x" * 14,)])
def test_an_article_number_has_fourteen_digits_and_belongs_to_one_model(articles: tuple[str, ...]) -> None:
    lens = (
        '[[lens]]\nname = "a{n}"\nkind = "one-piece-soft"\nmaterial = "acrylic-hydrophobic"\noptic_mm = 6.0\n'
        'constants = [{{ a = 118.6, method = "optical" }}]\narticles = ["{article}"]\n'
    )
    file = "".join(lens.format(n=n, article=article) for n, article in enumerate(articles))
    with pytest.raises(InvalidInput, match="article"):
        read_lens_shelf(file.encode(), "lenses.toml")


@pytest.mark.parametrize("name", [GAP, SWOLLEN, LONG, "brown-pseudoexfoliation", "hard-poor-endothelium"])
@pytest.mark.parametrize("shelf", [False, True])
def test_the_formulas_are_compared_on_the_lens_that_is_planned(name: str, shelf: bool) -> None:
    plan = quick(changed(name), shelf=shelf)
    planned = best_choice(plan.lens, "bag")
    assert planned is not None
    assert plan.lens.compared_on_d == planned[0]
    (taken,) = [f for f in plan.lens.formulas if f.taken]
    # the formula of the plan says of it what the plan says of it
    assert taken.refraction_d == pytest.approx(planned[1], abs=1e-9)


def test_where_formulas_part_the_chance_with_their_spread_is_said() -> None:
    long, usual = (quick(changed(name)).lens for name in (LONG, "brown-pseudoexfoliation"))
    for lens in (long, usual):
        bag = lens.positions[0]
        both = NormalDist(0.0, math.hypot(bag.sd_d, lens.disagreement_d or 0.0))
        share = 100 * (2 * both.cdf(0.5) - 1)
        said = [s for s in lens.says if "formulas' own spread" in s]
        assert bool(said) == (round(share) != round(100 * (bag.within_half or 0.0)))
        assert all(f"spread {share:.0f} %" in s for s in said)
    assert long.disagreement_d is not None
    assert long.disagreement_d > 0.3  # the long eye is the one where they part
    assert any("formulas' own spread" in s for s in long.says)


def test_a_swollen_lens_has_its_chamber_judged_again() -> None:
    margins = {name: {m.key: m.says for m in quick(changed(name)).margins} for name in (SWOLLEN, GAP)}
    assert "fluid is out" in margins[SWOLLEN]["chamber"]
    assert "fluid is out" not in margins[GAP].get("chamber", "")

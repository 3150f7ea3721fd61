"""lens-formulas, lens-constants and lens-from-shelf: which formula suits, what converts to what, which box to have."""

from __future__ import annotations

import json
from typing import Any, get_args

import pytest

from forestay.calc import lens_formulas, lens_shelf
from forestay.calc.lens import lens_positions_calculation, lens_power_calculation, lens_refraction_calculation
from forestay.demo import demo_lens_shelf_bytes
from forestay.errors import ForestayError, InvalidInput, UnreadableFile
from forestay.eye.lens_shelf import LensShelf, ShelfKind, ShelfLens, read_lens_shelf
from forestay.optics import lens_kinds
from tests.calc.test_lens import EYE, codes

FORMULA_EYE = {k: v for k, v in EYE.items() if k != "formula"}
SHELF = read_lens_shelf(demo_lens_shelf_bytes(), "lenses.toml")


@pytest.mark.parametrize("row", [*lens_formulas.CALCULATIONS, *lens_shelf.CALCULATIONS], ids=lambda row: row.name)
def test_the_example_answers_in_plain_json(row: Any) -> None:
    answer = row.run(row.example).as_dict()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert answer["sources"]


def states(**keys: Any) -> dict[str, str]:
    answer = lens_formulas.lens_formulas_calculation(**{**FORMULA_EYE, **keys})
    return {f.formula: f.state for f in answer.result.formulas}


def test_an_average_eye_suits_every_formula_but_one_with_borrowed_constants() -> None:
    answer = lens_formulas.lens_formulas_calculation(**FORMULA_EYE).result
    assert states() == {
        "SRK/T": "suits",
        "Holladay 1": "suits",
        "Hoffer Q": "suits",
        "Haigis": "with-care",
        "T2": "suits",
    }
    by_name = {f.formula: f for f in answer.formulas}
    # evidence on lens power 8.2: one lens of 21 D in this eye; here the lens is 20 D, K 44, A 118.4
    assert answer.lens_d == 20.0
    assert by_name["SRK/T"].refraction_d == pytest.approx(0.028, abs=0.0005)  # table 8.1
    assert by_name["Holladay 1"].refraction_d == pytest.approx(0.007, abs=0.0005)
    assert not by_name["Haigis"].counts
    assert answer.disagreement_d is not None
    assert answer.disagreement_d < 0.1


def test_own_constants_let_haigis_count() -> None:
    own = {"constant": {"a0": 1.527, "a1": 0.4, "a2": 0.1}}
    assert states(**own)["Haigis"] == "suits"
    answer = lens_formulas.lens_formulas_calculation(**{**FORMULA_EYE, **own}).result
    assert {f.formula for f in answer.formulas if f.counts} == {"SRK/T", "Holladay 1", "Hoffer Q", "Haigis", "T2"}


@pytest.mark.parametrize(
    "sign",
    [{"lens_moves": True}, {"lens_displaced": True}, {"appearance": "intumescent"}, {"appearance": "hypermature"}],
)
def test_a_lens_that_falsifies_the_chamber_rules_out_the_formula_that_trusts_it(sign: dict[str, Any]) -> None:
    own = {"constant": {"a0": 1.527, "a1": 0.4, "a2": 0.1}}
    assert states(**own, **sign)["Haigis"] == "not"
    assert states(**own, **sign)["SRK/T"] == "suits"


@pytest.mark.parametrize(
    ("length", "k", "expected"),
    [
        # cusp at K 45.95 in an eye of 30 mm (evidence 1.1); clamps: Holladay 1 from 25.326 mm, Hoffer Q beyond 31 mm
        (30.0, 47.0, {"SRK/T": "not", "T2": "suits"}),
        (26.0, 47.0, {"SRK/T": "with-care", "Holladay 1": "with-care"}),
        (37.0, 43.0, {"SRK/T": "not", "Hoffer Q": "with-care"}),
        (18.0, 44.0, {"Hoffer Q": "with-care", "SRK/T": "suits"}),
    ],
)
def test_limits_by_eye(length: float, k: float, expected: dict[str, str]) -> None:
    found = states(axial_length_mm=length, k1_d=k, k2_d=k)
    assert {name: found[name] for name in expected} == expected
    answer = lens_formulas.lens_formulas_calculation(**{**FORMULA_EYE, "axial_length_mm": length, "k1_d": k, "k2_d": k})
    assert all(f.why for f in answer.result.formulas if f.state != "suits")


def test_no_chamber_depth_leaves_the_others() -> None:
    found = states(chamber_depth_mm=None)
    assert found["Haigis"] == "not"
    assert found["Hoffer Q"] == "suits"


def test_documented_steps_are_flagged_and_small() -> None:
    # evidence 1.3: the step of Hoffer Q at 23.0 mm is 0.001 mm of lens position, 1.3 D/mm; SRK/T is continuous to 0.002 D
    steps = {s.formula: s for s in lens_formulas.lens_formulas_calculation(**FORMULA_EYE).result.steps}
    assert {name: s.at_mm for name, s in steps.items()} == {"SRK/T": 24.2, "Hoffer Q": 23.0}
    assert all(0 < abs(s.power_step_d) < 0.003 for s in steps.values())


def test_an_adjusted_length_is_used_and_no_longer_missed() -> None:
    keys = {**FORMULA_EYE, "axial_length_mm": 28.0}
    plain, adjusted = (
        {f.formula: f for f in lens_formulas.lens_formulas_calculation(**keys, **more).result.formulas}
        for more in ({}, {"length_adjustment": "linear-2011"})
    )
    # evidence 3.6: a shorter length asks for more power
    assert all(adjusted[n].power_d > plain[n].power_d for n in ("SRK/T", "Holladay 1", "Hoffer Q"))
    assert adjusted["T2"].power_d == plain["T2"].power_d
    assert adjusted["SRK/T"].state == "suits"


def test_one_constant_as_all() -> None:
    # read in print: A 118.5 is depth 5.26 mm and surgeon factor 1.51 mm (evidence 1.6)
    found = lens_formulas.lens_constants_calculation(constant={"a": 118.5}).result
    assert found.sf == pytest.approx(1.51, abs=0.01)
    assert found.pacd == pytest.approx(5.26, abs=0.01)
    # head of table 8.1: A 118.4
    found = lens_formulas.lens_constants_calculation(constant={"a": 118.4}).result
    assert (found.pacd, found.sf, found.a0) == pytest.approx((5.198688, 1.449920, 1.526928), abs=1e-6)
    back = lens_formulas.lens_constants_calculation(constant={"sf": found.sf}).result
    assert back.a == pytest.approx(118.4, abs=1e-9)


def boxes(shelf: LensShelf = SHELF, **keys: Any) -> dict[str, Any]:
    given = {**EYE, "axial_length_method": "optical", "target_d": -0.25, "step_d": 0.5, **keys}
    answer = lens_shelf.lens_from_shelf_calculation(**given, shelf=shelf.model_dump(exclude_none=True))
    return {b.position: b for b in answer.result.boxes}


def of_kind(kind: ShelfKind) -> ShelfLens:
    """The one lens of a kind on the demo shelf."""
    [lens] = [lens for lens in SHELF.lens if lens.kind == kind]
    return lens


def test_kinds_of_the_shelf_are_those_of_the_engine() -> None:
    assert set(get_args(ShelfKind)) == set(lens_kinds.LENS_KINDS)
    assert SHELF.invented


def test_the_box_by_position() -> None:
    found = boxes()
    assert found["bag"].kind in ("one-piece-soft", "three-piece", "one-piece-rigid")
    assert found["sulcus"].kind in ("three-piece", "one-piece-rigid")
    assert found["retropupillary-iris"].kind == "iris-claw"
    assert found["anterior-chamber"].kind == "angle-supported"
    assert found["aphakia"].lens is None
    # the box leaves what its own constant says
    bag = found["bag"]
    lens = next(x for x in SHELF.lens if x.name == bag.lens)
    constant = next(c.a for c in lens.constants if c.method == "optical")
    again = lens_refraction_calculation(**{**EYE, "constant": {"a": constant}}, power_d=bag.power_d)
    assert again.result.refraction_d == pytest.approx(bag.refraction_d, abs=1e-12)
    # no other power on the shelf for the bag comes nearer to the aim
    for other in SHELF.lens:
        a = other.constants[0].a
        if other.kind in ("one-piece-soft", "three-piece", "one-piece-rigid"):
            for power in other.powers_d:
                left = lens_refraction_calculation(**{**EYE, "constant": {"a": a}}, power_d=power).result.refraction_d
                assert abs(left + 0.25) >= abs(bag.refraction_d + 0.25) - 1e-12


def test_an_empty_box_is_not_offered_and_a_short_shelf_takes_the_nearest() -> None:
    lens = SHELF.lens[1]
    assert 18.5 not in lens.powers_d
    assert 18.0 in lens.powers_d
    angle = of_kind("angle-supported")
    found = boxes(LensShelf(lens=(angle,)))
    assert found["bag"].lens is None
    assert found["anterior-chamber"].lens == angle.name
    assert found["anterior-chamber"].power_d in (16.0, 18.0)
    assert found["anterior-chamber"].boxes in (1, 2)


def test_a_region_chooses_the_box() -> None:
    found = boxes(accept_from_d=-1.0, accept_to_d=0.0, refuse_above_d=0.5)
    plain = boxes()
    assert found["bag"].in_region is not None
    assert found["bag"].refraction_d <= plain["bag"].refraction_d
    assert plain["bag"].in_region is None


def test_a_claw_lens_is_not_offered_where_its_constant_does_not_belong() -> None:
    both = of_kind("iris-claw")
    assert [c.place for c in both.constants] == ["retropupillary-iris", "prepupillary-iris"]
    claw = both.model_copy(update={"constants": both.constants[:1]})
    found = boxes(LensShelf(lens=(claw,)), positions=["retropupillary-iris", "prepupillary-iris"])
    assert found["retropupillary-iris"].lens == claw.name
    assert found["prepupillary-iris"].lens is None


def test_a_constant_of_another_method_is_said() -> None:
    given = {**EYE, "axial_length_method": "ultrasound-immersion", "positions": ["bag"]}
    answer = lens_shelf.lens_from_shelf_calculation(**given, shelf=SHELF.model_dump(exclude_none=True))
    assert "constant-of-another-method" in codes(answer)


@pytest.mark.parametrize(
    ("text", "failure", "field"),
    [
        (b"lens = 3", InvalidInput, "lens"),
        (b"[[lens]]\nname = 'x'\n", ForestayError, "lens.0.kind"),
        (b"not toml at all [", UnreadableFile, "shelf"),
        (b"\xff\xfe", UnreadableFile, "shelf"),
        (demo_lens_shelf_bytes().replace(b"Example angle", b"Example claw"), InvalidInput, None),
        (demo_lens_shelf_bytes().replace(b"to_d = 30.0", b"to_d = 3.0"), InvalidInput, "lens.0.ranges.0"),
        (demo_lens_shelf_bytes().replace(b"a = 118.6", b"a = 11.86"), InvalidInput, "lens.0.constants.0.a"),
        (demo_lens_shelf_bytes().replace(b"boxes = 0", b"boxes = -1"), InvalidInput, "lens.1.stock.3.boxes"),
    ],
)
def test_a_bad_shelf_is_one_clear_error(text: bytes, failure: type[ForestayError], field: str | None) -> None:
    with pytest.raises(failure) as caught:
        read_lens_shelf(text, "lenses.toml")
    assert caught.value.field == field


def test_the_power_of_every_position_is_that_of_the_shelf_lens_with_the_same_constant() -> None:
    same = SHELF.lens[0].model_copy(update={"constants": (SHELF.lens[0].constants[0].model_copy(update={"a": 118.4}),)})
    box = boxes(LensShelf(lens=(same,)), positions=["bag"])["bag"]
    exact = lens_power_calculation(**EYE, target_d=-0.25, step_d=0.5).result
    best = min(exact.choices, key=lambda c: abs(c.refraction_d + 0.25))
    assert (box.power_d, box.refraction_d) == (best.power_d, pytest.approx(best.refraction_d, abs=1e-12))
    bag = lens_positions_calculation(**EYE, target_d=-0.25, step_d=0.5, positions=["bag"]).result.positions[0]
    assert bag.best_power_d == best.power_d

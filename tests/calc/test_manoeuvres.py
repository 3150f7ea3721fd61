"""The calculation ``manoeuvre-loads``: keys, doubts, helps, mirror."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.calc.manoeuvres import CALCULATIONS, ManoeuvresInput, ManoeuvresResult, manoeuvre_loads
from forestay.errors import ForestayError, InvalidInput
from forestay.frame import mirror_by_hour, mirror_hour

GAP = [1, 1, 1, 1, 0.8, 0, 0, 0.8, 1, 1, 1, 1]
USUAL: dict[str, Any] = {
    "bag_diameter_mm": 10.4,
    "zonule": GAP,
    "tunnel_clock": 12,
    "age_years": 74,
    "vitreous": "formed",
}


def answer(**more: Any) -> dict[str, Any]:
    return manoeuvre_loads.run({k: v for k, v in {**USUAL, **more}.items() if v is not None}).as_dict()


def loads(**more: Any) -> dict[str, dict[str, Any]]:
    return {one["manoeuvre"]: one for one in answer(**more)["result"]["loads"]}


def codes(**more: Any) -> set[str]:
    return {doubt["code"] for doubt in answer(**more)["doubts"]}


def test_it_is_listed_and_every_field_says_what_it_is() -> None:
    assert [c.name for c in CALCULATIONS] == ["manoeuvre-loads"]
    for kind in (ManoeuvresInput, ManoeuvresResult):
        for name, field in kind.model_fields.items():
            shared = any("within" in repr(part).lower() or getattr(part, "name", None) for part in field.metadata)
            assert field.description or shared or name in ("bag_diameter_mm", "age_years"), name
    assert manoeuvre_loads.run(manoeuvre_loads.example).result.loads


def test_the_whole_operation_with_sources() -> None:
    found = loads()
    assert len(found) == 10
    for one in found.values():
        assert one["source"]
        assert one["meaning"]
        assert one["share"] > 0
    whole = answer()
    assert any("load.puncture_travel_mm" in source["rows"] for source in whole["sources"])
    # published and quoted, not derived: doi:10.1097/j.jcrs.0000000000001767; lens travel in pig eyes
    assert whole["result"]["separation_tangential_over_radial"] == 4.5
    assert whole["result"]["published_lens_travel_mm"] == [0.44, 0.68, 1.01, 1.32]
    assert "not a prediction" in whole["result"]["scenario"]["label"]


def test_a_sound_eye_has_reserve_for_everything() -> None:
    found = loads(zonule=[1] * 12)
    assert all(one["reserve_left"] > 0 for one in found.values())
    assert all(one["relative_to_healthy"] == pytest.approx(1) for one in found.values())
    assert found["puncture"]["displacement_clock"] == pytest.approx(6)


def test_a_weak_eye_is_short_where_a_sound_one_is_not() -> None:
    weak = loads(zonule=[1, 1, 1, 0.6, 0, 0, 0, 0, 0.6, 1, 1, 1])
    sound = loads(zonule=[1] * 12)
    for key in ("whole-nucleus", "pole-lift"):
        assert weak[key]["state"] != "held" or weak[key]["reserve_left"] < sound[key]["reserve_left"]


def test_fibres_unloaded_by_a_loss_are_not_told_as_strength() -> None:
    """A chord of tension-only springs about a disc: without its antagonists the far side carries the pull alone."""
    lost: dict[str, Any] = {"tunnel_clock": 10, "age_years": 60, "zonule": [1, 1, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1]}
    wave, whole = loads(**lost)["hydrodissection"], loads(**{**lost, "zonule": [1] * 12})["hydrodissection"]
    assert wave["reserve_left"] > whole["reserve_left"]
    assert wave["centring_mm"] > whole["centring_mm"]
    assert "unloaded-by-loss" in codes(**lost)
    assert "unloaded-by-loss" not in codes(**{**lost, "zonule": [1] * 12})


def test_without_any_zonule_numbers_are_null() -> None:
    found = loads(zonule=[0] * 12, vitreous="none")
    assert {one["state"] for one in found.values()} == {"unsupported"}
    assert all(one["reserve_left"] is None and one["load_by_clock_hour"] is None for one in found.values())


def test_help_is_seen_and_vitreous_steadies() -> None:
    bare, ringed = loads(), loads(ring={"free_diameter_mm": 13, "spring_mn_per_mm": 1.9})
    assert ringed["cortex-radial"]["centring_mm"] < bare["cortex-radial"]["centring_mm"]
    hooked = loads(capsulorhexis_mm=5.5, capsule_hooks=[5, 6])
    assert hooked["cortex-radial"]["centring_mm"] < loads(capsulorhexis_mm=5.5)["cortex-radial"]["centring_mm"]
    assert loads(vitreous="none")["puncture"]["displacement_mm"] > bare["puncture"]["displacement_mm"]


def test_work_is_at_the_weakest_hour_unless_told() -> None:
    assert answer()["result"]["work_clock"] in (4, 7)
    assert answer(work_clock=9)["result"]["work_clock"] == 9


def test_doubts_say_what_was_taken() -> None:
    assert {"age-assumed", "vitreous-assumed", "lift-in-plane"} <= codes(age_years=None, vitreous=None)
    assert "hooks-from-start" in codes(capsule_hooks=[6])
    assert "outside-studied-range" in codes(age_years=40)
    assert "vitreous-assumed" not in codes()


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"capsulorhexis_mm": 11}, "capsulorhexis_mm"),
        ({"tunnel_clock": 13}, "tunnel_clock"),
        ({"zonule": [1] * 11}, "zonule"),
    ],
)
def test_bad_input_is_one_clear_error(more: dict[str, Any], field: str) -> None:
    with pytest.raises(ForestayError) as raised:
        answer(**more)
    assert field in raised.value.message
    assert isinstance(raised.value, InvalidInput)


@settings(deadline=None, derandomize=True, max_examples=8)
@given(st.lists(st.sampled_from([0, 0.4, 1, 1]), min_size=12, max_size=12), st.floats(0.001, 12), st.floats(0.001, 12))
def test_the_other_eye_answers_mirrored(zonule: list[float], tunnel: float, work: float) -> None:
    right = loads(zonule=zonule, tunnel_clock=tunnel, work_clock=work)
    left = loads(zonule=list(mirror_by_hour(zonule)), tunnel_clock=mirror_hour(tunnel), work_clock=mirror_hour(work))
    for key, one in right.items():
        assert left[key]["state"] == one["state"]
        assert left[key]["reserve_left"] == pytest.approx(one["reserve_left"], abs=1e-9)

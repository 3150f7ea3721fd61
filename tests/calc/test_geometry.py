"""The calculations of sizes and of ways in and out: keys, defaults, doubts, errors, and the other eye."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.calc.geometry import CALCULATIONS
from forestay.calc.watch import watched
from forestay.errors import InvalidInput, MissingInput, UnknownKey
from forestay.evidence import default_evidence
from forestay.frame import mirror_hour
from forestay.mechanics.nucleus import NucleusConstants, nucleus_size

TABLE = {row.name: row for row in CALCULATIONS}
KEYS = {  # the names and keys that other programs rely on
    "nucleus": {"diameter_mm", "diameter_sd_mm", "thickness_mm", "thickness_sd_mm"},
    "capsulorhexis": {"stretch_flat", "stretch_tipped", "minimum_flat_mm", "minimum_tipped_mm"},
    "chamber": {"room_mm", "can_tip", "needed_mm"},
    "bag-diameter": {"diameter_mm", "sd_mm"},
    "ring-force": {"force_mn", "overlap_mm"},
    "pupil": {"area_mm2", "largest_circle_mm", "margin_mm", "margin_stretch"},
    "tunnel": {
        "needed_lip_mm",
        "lip_length_mm",
        "margin_inner_mm",
        "margin_outer_mm",
        "induced_d",
        "induced_sd_d",
    },
}
NUCLEUS = {"nucleus_diameter_mm": 7.13, "nucleus_thickness_mm": 3.05}
TUNNEL = {
    **NUCLEUS,
    "side": "right",
    "inner_lip_mm": 9.0,
    "outer_lip_mm": 6.5,
    "shape": "straight",
    "distance_from_limbus_mm": 2.0,
    "centre_clock": 12,
}
steady = settings(deadline=None, derandomize=True, max_examples=60)


def answer(name: str, **keys: Any) -> dict[str, Any]:
    """The envelope in plain JSON types, as another program reads it."""
    told: dict[str, Any] = json.loads(json.dumps(TABLE[name].run(keys).as_dict()))
    return told


def result(name: str, **keys: Any) -> dict[str, Any]:
    """The result alone."""
    told: dict[str, Any] = answer(name, **keys)["result"]
    return told


def codes(name: str, **keys: Any) -> set[str]:
    """Codes of the doubts."""
    return {doubt["code"] for doubt in answer(name, **keys)["doubts"]}


@pytest.mark.parametrize("name", KEYS)
def test_each_example_answers_with_the_agreed_keys(name: str) -> None:
    told = answer(name, **TABLE[name].example)
    assert told["calculation"] == name
    assert KEYS[name] <= set(told["result"])
    assert all({"key", "citation", "standing"} <= set(source) for source in told["sources"])
    assert json.loads(json.dumps(TABLE[name].input.model_json_schema()))["additionalProperties"] is False


def test_no_other_calculation_is_here() -> None:
    assert set(TABLE) == set(KEYS)


@pytest.mark.parametrize(
    ("name", "keys", "wrong", "kind", "field"),
    [
        ("nucleus", {"grade": 3}, {"grade": 6}, InvalidInput, "grade"),
        ("nucleus", {"grade": 3}, {"apperance": "white"}, UnknownKey, "apperance"),
        ("nucleus", {}, {}, MissingInput, "grade"),
        ("nucleus", {"grade": 3}, {"grade": "3,5"}, InvalidInput, "grade"),
        ("nucleus", {"grade": 3}, {"lens_thickness_mm": 0.45}, InvalidInput, "lens_thickness_mm"),
        ("capsulorhexis", NUCLEUS, {"diameter_mm": 0}, InvalidInput, "diameter_mm"),
        (
            "capsulorhexis",
            {**NUCLEUS, "diameter_mm": 5.5},
            {"tolerated_stretch": 0.9},
            InvalidInput,
            "tolerated_stretch",
        ),
        ("chamber", NUCLEUS, {"chamber_depth_mm": 0.3}, InvalidInput, "chamber_depth_mm"),
        ("chamber", NUCLEUS, {}, MissingInput, "chamber_depth_mm"),
        ("bag-diameter", {"axial_length_mm": 23.5, "k_mean_d": 43.5}, {"k_mean_d": 7.8}, InvalidInput, "k_mean_d"),
        ("bag-diameter", {"axial_length_mm": 43.5, "k_mean_d": 23.5}, {}, InvalidInput, "axial_length_mm"),
        (
            "ring-force",
            {"free_diameter_mm": 11.0, "bag_diameter_mm": 10.3, "spring_mn_per_mm": 1.0},
            {"closed_diameter_mm": 13.0},
            InvalidInput,
            "closed_diameter_mm",
        ),
        ("pupil", {"pupil_mm": 3.0}, {}, MissingInput, "hooks"),
        ("pupil", {"pupil_mm": 3.0, "hooks": [{"clock": 12}]}, {}, MissingInput, "hooks.0.reach_mm"),
        ("pupil", {"pupil_mm": 3.0, "hooks": [{"clock": 13, "reach_mm": 3}]}, {}, InvalidInput, "hooks.0.clock"),
        ("pupil", {"pupil_mm": 3.0, "hooks": [{"clock": 3, "reach_mm": 3}] * 2}, {}, InvalidInput, "hooks"),
        ("tunnel", TUNNEL, {"shape": "smile"}, InvalidInput, "shape"),
        ("tunnel", TUNNEL, {"side": "both"}, InvalidInput, "side"),
        ("tunnel", TUNNEL, {"shape": "frown", "sagitta_mm": 3.6}, InvalidInput, "sagitta_mm"),
        (
            "tunnel",
            TUNNEL,
            {"white_to_white_mm": 10.0, "distance_from_limbus_mm": 0, "outer_lip_mm": 10.5},
            InvalidInput,
            "outer_lip_mm",
        ),
        ("tunnel", TUNNEL, {"white_to_white_mm": 10.0, "inner_lip_mm": 10.5}, InvalidInput, "inner_lip_mm"),
    ],
)
def test_bad_input_is_one_error_that_names_the_field(
    name: str, keys: dict[str, Any], wrong: dict[str, Any], kind: type[Exception], field: str
) -> None:
    with pytest.raises(kind) as raised:
        TABLE[name].run(keys | wrong)
    told = raised.value.as_dict()["error"]  # type: ignore[attr-defined]
    assert told["field"] == field
    assert told["message"]
    assert told["allowed"]


# --- nucleus ---------------------------------------------------------------------------------------------------------


def test_age_does_not_change_the_nucleus() -> None:
    young, old = result("nucleus", grade=3.5, age_years=45), result("nucleus", grade=3.5, age_years=95)
    assert young == old == result("nucleus", grade=3.5)


def test_only_the_rows_looked_at_are_named() -> None:
    plain = answer("nucleus", grade=3, appearance="brown")
    black = answer("nucleus", grade=3, appearance="black")
    assert "from-memory" not in {doubt["code"] for doubt in plain["doubts"]}
    assert {"from-memory", "black-nucleus"} <= {doubt["code"] for doubt in black["doubts"]}
    rows = {row for source in plain["sources"] for row in source["rows"]}
    assert "nucleus.mean_diameter_mm" in rows
    assert "nucleus.black_diameter_mm" not in rows


def test_watched_constants_are_the_same_constants() -> None:
    use = default_evidence().reader()
    quiet = default_evidence().reader().constants(NucleusConstants)
    watching = watched(use, NucleusConstants)
    assert isinstance(watching, NucleusConstants)
    given_all = {"grade": 4.2, "appearance": "black", "lens_thickness_mm": 4.1}
    assert not use.used
    assert nucleus_size(**given_all, constants=watching) == nucleus_size(**given_all, constants=quiet)  # type: ignore[arg-type]
    assert {row.key for row in use.used} <= {f"nucleus.{name}" for name in quiet.__dataclass_fields__}
    assert len(use.used) >= 9


@pytest.mark.parametrize("appearance", ["white", "intumescent", "hypermature"])
def test_a_swollen_lens_is_not_a_large_nucleus(appearance: str) -> None:
    swollen = result("nucleus", grade=3, appearance=appearance, lens_thickness_mm=6.0)
    assert swollen["thickness_mm"] == result("nucleus", grade=3, lens_thickness_mm=4.5)["thickness_mm"]
    assert "hidden-nucleus" in codes("nucleus", grade=3, appearance=appearance, lens_thickness_mm=6.0)


# --- capsulorhexis, chamber, bag, ring -------------------------------------------------------------------------------


def test_the_default_stretch_is_said_and_used() -> None:
    keys = {**NUCLEUS, "diameter_mm": 5.5}
    assert "assumed-stretch" in codes("capsulorhexis", **keys)
    assert "assumed-stretch" not in codes("capsulorhexis", **keys, tolerated_stretch=1.2)
    assert result("capsulorhexis", **keys) == result("capsulorhexis", **keys, tolerated_stretch=1.2)
    # flat at 1.20: 5.94 mm for the mean nucleus
    assert result("capsulorhexis", **keys)["minimum_flat_mm"] == pytest.approx(5.94, abs=0.005)


def test_a_rim_asked_too_much_is_said() -> None:
    assert "stretch-beyond-tests" in codes("capsulorhexis", **NUCLEUS, diameter_mm=5.5, tolerated_stretch=1.5)
    assert "stretch-beyond-tests" not in codes("capsulorhexis", **NUCLEUS, diameter_mm=5.5, tolerated_stretch=1.35)
    assert "rim-tears" in codes("capsulorhexis", **NUCLEUS, diameter_mm=3.0)  # tipped 16.64 / (3 pi) = 1.77
    assert "rim-tears" not in codes("capsulorhexis", **NUCLEUS, diameter_mm=4.0)
    swapped = {"nucleus_diameter_mm": 3.05, "nucleus_thickness_mm": 7.13, "diameter_mm": 5.5}
    assert "thicker-than-wide" in codes("capsulorhexis", **swapped)


def test_the_chamber_says_what_it_assumed() -> None:
    keys = {**NUCLEUS, "chamber_depth_mm": 3.2}
    assert {"assumed-corneal-thickness", "assumed-ovd-gain"} <= codes("chamber", **keys)
    told = codes("chamber", **keys, corneal_thickness_um=535, ovd_gain_mm=0.9)
    assert not told & {"assumed-corneal-thickness", "assumed-ovd-gain"}
    # 3.2 - 0.534 + 0.9 against 7.13 / 2 + 0.45
    assert result("chamber", **keys) == {
        "room_mm": pytest.approx(3.566),
        "can_tip": False,
        "needed_mm": pytest.approx(4.015),
    }


def test_just_enough_room_is_enough() -> None:
    keys = {"nucleus_diameter_mm": 7.0, "nucleus_thickness_mm": 3.0, "corneal_thickness_um": 500, "ovd_gain_mm": 1.0}
    needed = result("chamber", **keys, chamber_depth_mm=3.0)["needed_mm"]
    assert result("chamber", **keys, chamber_depth_mm=needed - 0.5 + 1e-9)["can_tip"] is True
    assert result("chamber", **keys, chamber_depth_mm=needed - 0.5 - 1e-6)["can_tip"] is False


@pytest.mark.parametrize(
    ("length", "outside"), [(19.9, True), (20.0, False), (27.0, False), (28.0, True), (30.0, True)]
)
def test_an_eye_outside_the_studied_lengths_is_said(length: float, outside: bool) -> None:
    assert ("outside-studied-range" in codes("bag-diameter", axial_length_mm=length, k_mean_d=42)) is outside
    spread = result("bag-diameter", axial_length_mm=length, k_mean_d=42)["sd_mm"]
    assert (spread > 0.21) is outside


def test_a_ring_without_its_closed_diameter_has_no_overlap() -> None:
    keys = {"free_diameter_mm": 13.0, "bag_diameter_mm": 10.37, "spring_mn_per_mm": 0.8162}
    assert result("ring-force", **keys)["overlap_mm"] is None
    assert {"overlap-unknown", "ring-softens"} <= codes("ring-force", **keys)
    # pi (11 - 10.37) = 1.979; pi (10 - 10.37) = -1.162
    assert result("ring-force", **keys, closed_diameter_mm=11.0)["overlap_mm"] == pytest.approx(1.979, abs=5e-4)
    assert result("ring-force", **keys, closed_diameter_mm=10.0)["overlap_mm"] == pytest.approx(-1.162, abs=5e-4)
    assert "ring-gapes" in codes("ring-force", **keys, closed_diameter_mm=10.0)


def test_a_loose_ring_and_an_unusual_spring_are_said() -> None:
    loose = {"free_diameter_mm": 10.0, "bag_diameter_mm": 10.4, "spring_mn_per_mm": 6.0}
    assert result("ring-force", **loose)["force_mn"] == 0
    assert {"ring-loose", "outside-studied-range"} <= codes("ring-force", **loose)


# --- pupil -----------------------------------------------------------------------------------------------------------


def square(reach: float, pupil: float, **more: Any) -> dict[str, Any]:
    """Keys for four hooks."""
    return {"pupil_mm": pupil, "hooks": [{"clock": c, "reach_mm": reach} for c in (1.5, 4.5, 7.5, 10.5)], **more}


def test_a_square_of_5_mm() -> None:
    # perimeter 20, area 25, circle 5, stretch 2.122 from a 3 mm pupil
    told = result("pupil", **square(12.5**0.5, 3.0))
    assert [told[k] for k in ("margin_mm", "area_mm2", "largest_circle_mm")] == pytest.approx([20, 25, 5], abs=1e-9)
    assert told["margin_stretch"] == pytest.approx(2.122, abs=5e-4)
    rounded = result("pupil", **square(12.5**0.5, 3.0, corner_radius_mm=0.1))
    assert [rounded[k] for k in ("margin_mm", "area_mm2")] == pytest.approx([19.828, 24.991], abs=5e-4)


def test_doubts_of_the_pupil() -> None:
    assert codes("pupil", pupil_mm=4.0, hooks=[]) == set()
    assert {"hooks-exact", "sharp-corners", "no-tear-limit", "assumed"} == codes("pupil", **square(3.5, 3.0))
    assert "sharp-corners" not in codes("pupil", **square(3.5, 3.0, corner_radius_mm=0.0))
    assert "edge-not-taut" in codes("pupil", **square(3.2, 6.0))
    assert "straight-would-close" in codes("pupil", **square(3.5, 6.0))
    assert "straight-would-close" not in codes("pupil", **square(3.5, 4.9))
    assert "hook-idle" in codes("pupil", pupil_mm=6.0, hooks=[{"clock": 3, "reach_mm": 2.0}])


@steady
@given(
    hooks=st.dictionaries(
        st.integers(min_value=1, max_value=120).map(lambda n: n / 10), st.floats(min_value=0.5, max_value=5), max_size=6
    ),
    pupil=st.floats(min_value=1, max_value=8),
)
def test_the_pupil_of_the_other_eye_is_the_same_to_the_last_digit(hooks: dict[float, float], pupil: float) -> None:
    ours = [{"clock": clock, "reach_mm": reach} for clock, reach in hooks.items()]
    other = [{"clock": mirror_hour(clock), "reach_mm": reach} for clock, reach in hooks.items()]
    assert result("pupil", pupil_mm=pupil, hooks=ours) == result("pupil", pupil_mm=pupil, hooks=other)


# --- tunnel ----------------------------------------------------------------------------------------------------------


def test_the_tunnel_compares_both_lips_with_what_is_needed() -> None:
    # girth 16.640: lip 8.320; a frown of 6.5 with 1.5 mm height unfolds to 7.387
    told = result("tunnel", **(TUNNEL | {"shape": "frown", "sagitta_mm": 1.5}))
    assert told["needed_lip_mm"] == pytest.approx(8.320, abs=0.001)
    assert told["lip_length_mm"] == pytest.approx(7.387, abs=5e-4)
    assert told["margin_outer_mm"] == pytest.approx(7.387 - 8.320, abs=0.002)
    assert told["margin_inner_mm"] == pytest.approx(9.0 - 8.320, abs=0.001)
    assert told["induced_d"] >= 0
    assert told["induced_sd_d"] > 0


def test_defaults_of_the_tunnel_are_said() -> None:
    assert {"assumed-no-instrument", "assumed-no-give"} <= codes("tunnel", **TUNNEL)
    stated = TUNNEL | {"instrument_thickness_mm": 0.0, "tissue_give": 1.0}
    assert not {"assumed-no-instrument", "assumed-no-give"} & codes("tunnel", **stated)
    assert result("tunnel", **stated) == result("tunnel", **TUNNEL)
    assert "assumed-sagitta" in codes("tunnel", **(TUNNEL | {"shape": "chevron"}))
    assert "assumed-sagitta" not in codes("tunnel", **TUNNEL)
    assert "sagitta-not-used" in codes("tunnel", **(TUNNEL | {"sagitta_mm": 1.0}))
    assert result("tunnel", **(TUNNEL | {"sagitta_mm": 1.0})) == result("tunnel", **TUNNEL)
    assert "inner-lip-shorter" in codes("tunnel", **(TUNNEL | {"inner_lip_mm": 6.0}))
    assert "unfolds-wholly" in codes("tunnel", **(TUNNEL | {"shape": "frown", "sagitta_mm": 1.0}))
    # the usual height never makes more than a half circle of a short lip
    assert result("tunnel", **(TUNNEL | {"shape": "frown", "outer_lip_mm": 1.2}))["lip_length_mm"] == pytest.approx(
        0.6 * 3.14159265, abs=1e-6
    )


def test_a_superior_tunnel_flattens_most() -> None:
    # series of sutureless tunnels: superior about 1.1 D, temporal about 0.5 D
    superior, temporal = result("tunnel", **TUNNEL), result("tunnel", **(TUNNEL | {"centre_clock": 9}))
    assert superior["induced_d"] == pytest.approx(1.1, abs=0.15)
    assert temporal["induced_d"] == pytest.approx(0.48, abs=0.1)
    assert superior["needed_lip_mm"] == temporal["needed_lip_mm"]


def test_a_cut_that_steepens_has_no_flattening_and_says_so() -> None:
    # a superior tunnel closed with an X suture steepens its meridian by about 0.65 D
    steep = default_evidence().with_values({"incision.manual_superior_d": -0.65})
    told = TABLE["tunnel"].run(TUNNEL, steep).as_dict()
    assert told["result"]["induced_d"] == 0
    assert "steepens" in {doubt["code"] for doubt in told["doubts"]}
    assert "steepens" not in codes("tunnel", **TUNNEL)


@steady
@given(
    clock=st.integers(min_value=1, max_value=120).map(lambda n: n / 10), shape=st.sampled_from(["straight", "frown"])
)
def test_the_tunnel_of_the_other_eye_is_the_same(clock: float, shape: str) -> None:
    right = answer("tunnel", **(TUNNEL | {"centre_clock": clock, "shape": shape}))
    left = answer("tunnel", **(TUNNEL | {"side": "left", "centre_clock": mirror_hour(clock), "shape": shape}))
    assert right == left


def test_the_arc_of_the_cut_is_told_where_the_cornea_was_measured() -> None:
    # chord 6.5 at 2 mm behind a limbus of 11.7 mm: 48.91 degrees
    assert result("tunnel", **TUNNEL)["arc_deg"] is None
    assert result("tunnel", **TUNNEL, white_to_white_mm=11.7)["arc_deg"] == pytest.approx(48.91, abs=0.005)

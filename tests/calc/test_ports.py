"""The calculations round pupil and ports: keys, defaults, doubts, errors, and the other eye."""

from __future__ import annotations

import json
from typing import Any

import pytest

from forestay.calc.ports import CALCULATIONS
from forestay.errors import InvalidInput, MissingInput, UnknownKey
from forestay.frame import mirror_by_hour, mirror_hour

TABLE = {row.name: row for row in CALCULATIONS}
NUCLEUS = {"nucleus_diameter_mm": 7.13, "nucleus_thickness_mm": 3.05}
LAYOUT = {"pupil_mm": 3.0, "incision_clock": 12, "reach_mm": 3.54}
APPROACHED = LAYOUT | {"k_mean_d": 43.5, "white_to_white_mm": 11.7, "chamber_depth_mm": 3.0, "ovd_gain_mm": 0.9}
PLAN = {"tunnel_clocks": [12], "outer_lip_mm": 6.5, "distance_from_limbus_mm": 2.0}
SEAL = {
    **NUCLEUS,
    "with_loop": True,
    "with_bar": True,
    "outer_lip_mm": 6.5,
    "sagitta_mm": 1.5,
    "shape": "frown",
    "pocket_each_side_mm": 1.0,
    "tissue_give": 1.1,
    "distance_from_limbus_mm": 2.0,
    "inner_lip_length_mm": 1.5,
}
CLEAR = {**NUCLEUS, "chamber_depth_mm": 3.1, "k_mean_d": 43.5}
GAP = [1, 1, 1, 1, 0.8, 0, 0, 0, 0.8, 1, 1, 1]
SUPPORT = {"bag_diameter_mm": 10.4, "zonule": GAP, "tunnel_clock": 12, "whole_nucleus_by_hand": True, "age_years": 71}


def answer(name: str, **keys: Any) -> dict[str, Any]:
    """The envelope in plain JSON types, as another program reads it."""
    told: dict[str, Any] = json.loads(json.dumps(TABLE[name].run(keys).as_dict()))
    return told


def result(name: str, **keys: Any) -> Any:
    """The result alone."""
    return answer(name, **keys)["result"]


def codes(name: str, **keys: Any) -> set[str]:
    """Codes of the doubts."""
    return {doubt["code"] for doubt in answer(name, **keys)["doubts"]}


@pytest.mark.parametrize("name", TABLE)
def test_each_example_answers_and_every_field_is_described(name: str) -> None:
    row = TABLE[name]
    told = answer(name, **row.example)
    assert told["calculation"] == name
    assert told["sources"]
    for kind in (row.input, row.output):
        schema = json.loads(json.dumps(kind.model_json_schema()))
        for record in (schema, *schema.get("$defs", {}).values()):
            assert record["additionalProperties"] is False
            bare = [key for key, field in record["properties"].items() if not described(field)]
            assert bare == [], f"{kind.__name__} leaves fields without a word"


def described(field: dict[str, Any]) -> bool:
    """Whether a field of a schema, or what it may be, says what it is."""
    ways = [*field.get("anyOf", []), field.get("items", {})]
    return "description" in field or any("description" in way for way in ways)


@pytest.mark.parametrize(
    ("name", "keys", "wrong", "kind", "field"),
    [
        ("pupil-layout", LAYOUT, {"hooks": 2}, InvalidInput, "hooks"),
        ("pupil-layout", {"pupil_mm": 3.0, "incision_clock": 12}, {}, MissingInput, "reach_mm"),
        (
            "pupil-layout",
            LAYOUT,
            {"expanders": [{"shape": "oval", "nominal_opening_mm": 6.25}]},
            InvalidInput,
            "expanders.0.shape",
        ),
        ("pupil-layout", LAYOUT, {"reach": 3}, UnknownKey, "reach"),
        ("pupil-layout", APPROACHED, {"reach_mm": 5.9}, InvalidInput, "reach_mm"),
        ("pupil-layout", APPROACHED, {"pupil_mm": 9.9, "white_to_white_mm": 9.0}, InvalidInput, "pupil_mm"),
        ("pupil-layout", APPROACHED, {"k_mean_d": 60, "white_to_white_mm": 15}, InvalidInput, "white_to_white_mm"),
        ("port-plan", PLAN, {"outer_lip_mm": 15}, InvalidInput, "outer_lip_mm"),
        ("port-plan", PLAN, {"inner_lip_mm": 15, "inner_lip_length_mm": 1}, InvalidInput, "inner_lip_mm"),
        ("port-plan", PLAN, {"tunnel_clocks": []}, InvalidInput, "tunnel_clocks"),
        ("port-plan", PLAN, {"patterns": ["star"]}, InvalidInput, "patterns.0"),
        ("port-plan", PLAN, {"zonule": [1] * 11}, InvalidInput, "zonule"),
        ("port-plan", PLAN, {"side_ports": 3}, InvalidInput, "side_ports"),
        ("tunnel-seal", SEAL, {"tissue_give": 0.9}, InvalidInput, "tissue_give"),
        ("tunnel-seal", SEAL, {"shape": "smile"}, InvalidInput, "shape"),
        ("tunnel-seal", SEAL, {"sagitta_mm": 3.6}, InvalidInput, "sagitta_mm"),
        ("nucleus-clearance", CLEAR, {"chamber_depth_mm": 0.2}, InvalidInput, "chamber_depth_mm"),
        ("nucleus-clearance", NUCLEUS, {"k_mean_d": 43}, MissingInput, "chamber_depth_mm"),
        ("support-search", SUPPORT, {"kinds": ["glue"]}, InvalidInput, "kinds.0"),
        ("support-search", SUPPORT, {"zonule": [1] * 13}, InvalidInput, "zonule"),
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


# --- pupil-layout ----------------------------------------------------------------------------------------------------


def test_patterns_and_expanders_stand_beside_one_another() -> None:
    views = {(v["kind"], v["nominal_opening_mm"]): v for v in result("pupil-layout", **LAYOUT)["views"]}
    assert len(views) == 7
    square, diamond, extra = (views[k, None] for k in ("square", "diamond", "extra"))
    # mechanics evidence, pupil: 2.50 v 3.54; perimeter 20.44, area 27.7, circle 5.01
    assert (round(square["reach_to_incision_mm"], 2), round(diamond["reach_to_incision_mm"], 2)) == (2.5, 3.54)
    assert (round(extra["margin_mm"], 2), round(extra["area_mm2"], 1)) == (20.44, 27.7)
    assert round(extra["largest_circle_mm"], 2) == 5.01
    # mechanics evidence, section 6: a round 6.25 mm opening stretches a 3 mm pupil 2.08-fold
    assert views["round-expander", 6.25]["margin_stretch"] == pytest.approx(2.083, abs=1e-3)
    assert "no-tear-limit" in codes("pupil-layout", **LAYOUT)
    assert {"assumed-expanders", "no-approach", "from-memory"} <= codes("pupil-layout", **LAYOUT)


def test_a_displaced_lens_has_its_own_circle() -> None:
    keys = {**LAYOUT, "lens_clock": 3, "lens_offset_mm": 0.4, "expanders": []}
    square = result("pupil-layout", **keys)["views"][0]
    assert square["circle_about_lens_mm"] == pytest.approx(square["circle_about_pupil_mm"] - 0.8)
    mirrored = result("pupil-layout", **(keys | {"lens_clock": 9}))["views"][0]
    assert mirrored["circle_about_lens_mm"] == square["circle_about_lens_mm"]
    assert "assumed-lens-clock" in codes("pupil-layout", **LAYOUT, lens_offset_mm=0.4)


def test_a_port_behind_the_iris_of_a_shallow_chamber_is_said() -> None:
    """Attack angles, incision evidence 7: at the limbus about 0 with the pupil 2.6 mm deep, 6.8 degrees at 3.1 mm."""
    assert "port-behind-iris" in codes("pupil-layout", **(APPROACHED | {"chamber_depth_mm": 2.3}))
    forward = APPROACHED | {"chamber_depth_mm": 2.3, "ports_inside_limbus_mm": [1.0]}
    assert "port-behind-iris" not in codes("pupil-layout", **forward)
    assert "port-behind-iris" not in codes("pupil-layout", **(APPROACHED | {"chamber_depth_mm": 3.1}))


@pytest.mark.parametrize("hooks", [5, 7, 9])
def test_views_of_the_other_eye_are_the_same_to_the_last_digit(hooks: int) -> None:
    keys = LAYOUT | {"hooks": hooks, "lens_offset_mm": 0.7, "lens_clock": 4.125, "incision_clock": 10.625}
    other = keys | {"lens_clock": 7.875, "incision_clock": 1.375}
    ours, theirs = (result("pupil-layout", **k)["views"] for k in (keys, other))
    for one, twin in zip(ours, theirs, strict=True):
        one.pop("clocks"), twin.pop("clocks")
        assert one == twin


def test_the_approach_steepens_forward_and_with_a_filled_chamber() -> None:
    eye = {"k_mean_d": 43.27, "white_to_white_mm": 11.7, "chamber_depth_mm": 3.1, "ports_inside_limbus_mm": [0, 1.0]}
    keys = {**LAYOUT, **eye, "pupil_mm": 4.0}
    limbus, forward = result("pupil-layout", **keys)["approach"]
    # incision evidence, section 7: 6.8 and 26.3 degrees for a cornea of 7.8 mm and an edge 2 mm from the axis
    assert limbus["angle_deg"] == pytest.approx(6.8, abs=0.1)
    assert forward["angle_deg"] == pytest.approx(26.3, abs=0.1)
    assert limbus["angle_deg"] < limbus["angle_drawn_deg"] < limbus["angle_with_ovd_deg"]
    assert "assumed-ovd-gain" in codes("pupil-layout", **keys)


# --- port-plan -------------------------------------------------------------------------------------------------------


def clocks(told: Any) -> list[tuple[str, float]]:
    return [(port["kind"], port["clock"]) for port in told["ports"]]


def test_the_usual_square_and_the_assistant_away_from_the_dominant_hand() -> None:
    told = result("port-plan", **PLAN)
    assert [c for k, c in clocks(told) if k == "hook"] == [1.5, 4.5, 7.5, 10.5]
    assert (told["assistant_clock"], told["complete"]) == (3.0, True)
    assert clocks(told)[-1] == ("side-port", 9.0)  # the published side port of a tunnel at 12
    assert {"assumed-hand", "assumed-assistant", "assumed-white-to-white", "assumed-no-pocket"} <= codes(
        "port-plan", **PLAN
    )
    assert result("port-plan", **PLAN, dominant_hand="left")["assistant_clock"] == 9.0
    busy = result("port-plan", **PLAN, assistant_clock=9)
    assert clocks(busy)[-1][1] in (8.0, 10.0)


def test_the_other_eye_with_the_other_hand_is_the_mirror_image() -> None:
    keys = {**PLAN, "dominant_hand": "right", "capsule_hooks": [5, 7.5], "zonule": GAP, "side_ports": 2}
    keys["avoid"] = [{"clock": 1.5, "arc_hours": 1, "reason": "filtering bleb"}]
    other = keys | {
        "dominant_hand": "left",
        "capsule_hooks": [7, 4.5],
        "zonule": list(mirror_by_hour(GAP)),
        "avoid": [{"clock": 10.5, "arc_hours": 1, "reason": "filtering bleb"}],
    }
    ours, theirs = result("port-plan", **keys), result("port-plan", **other)
    assert [(k, mirror_hour(c)) for k, c in clocks(ours)] == clocks(theirs)
    assert ours["moved_hours"] == theirs["moved_hours"]


def test_a_bleb_and_a_gap_are_kept_clear() -> None:
    bleb = [{"clock": 12, "arc_hours": 2, "reason": "filtering bleb"}]
    told = result("port-plan", **PLAN, avoid=bleb)
    assert told["tunnel_blocked_by"] == ["filtering bleb"]
    assert "incomplete" in codes("port-plan", **PLAN, avoid=bleb)
    moved = result("port-plan", **(PLAN | {"tunnel_clocks": [12, 9]}), avoid=bleb)
    assert moved["tunnel_clock"] == 9
    above = list(GAP[6:] + GAP[:6])  # the gap at 12
    assert result("port-plan", **(PLAN | {"tunnel_clocks": [12, 9]}), zonule=above)["tunnel_clock"] == 9
    assert result("port-plan", **PLAN, zonule=above)["tunnel_in_gap"] is True


def test_a_diamond_goes_through_the_incision_and_says_so() -> None:
    keys = {**PLAN, "patterns": ["diamond"]}
    assert [p["clock"] for p in result("port-plan", **keys)["ports"] if p["through_incision"]] == [12]
    assert "hook-at-incision" in codes("port-plan", **keys)


# --- tunnel-seal -----------------------------------------------------------------------------------------------------


def test_the_held_nucleus_against_both_lips() -> None:
    told = result("tunnel-seal", **SEAL)
    # mechanics evidence, tunnel: girth 17.19, lip 8.60 / 7.81 / 7.16 at give 1.0 / 1.1 / 1.2; frown 6.5, 1.5: 7.387
    assert told["girth_mm"] == pytest.approx(17.19, abs=0.01)
    lips = [told[k] for k in ("needed_lip_stiff_mm", "needed_lip_mm", "needed_lip_yielding_mm")]
    assert lips == pytest.approx([8.60, 7.81, 7.16], abs=0.01)
    assert told["outer_lip_mm"] == pytest.approx(7.387, abs=1e-3)
    assert told["margin_low_mm"] < told["margin_mm"] < told["margin_high_mm"]
    assert told["short_lip"] == "outer"
    enough = result("tunnel-seal", **(SEAL | {"outer_lip_mm": told["chord_needed_mm"]}))
    assert enough["margin_mm"] == pytest.approx(0, abs=1e-6)


def test_a_pocket_helps_the_inner_lip_only() -> None:
    without, pocketed = (result("tunnel-seal", **(SEAL | {"pocket_each_side_mm": p})) for p in (0, 1))
    assert without["outer_lip_mm"] == pocketed["outer_lip_mm"]
    assert pocketed["inner_lip_mm"] == without["inner_lip_mm"] + 2
    assert without["short_lip"] == "both"


def test_the_seal_rests_on_its_lip_and_the_point_load_is_no_pressure() -> None:
    told = answer("tunnel-seal", **(SEAL | {"distance_from_limbus_mm": 2.5}))
    # incision evidence: 6.5 x 4 mm, ratio 0.62
    assert told["result"]["length_over_width"] == pytest.approx(0.62, abs=0.005)
    assert told["result"]["rests_on_lip"] is True
    words = next(d["message"] for d in told["doubts"] if d["code"] == "not-square")
    assert "never a pressure in an eye" in words


def test_defaults_of_the_tunnel_are_doubts() -> None:
    keys = {k: v for k, v in SEAL.items() if k not in ("tissue_give", "pocket_each_side_mm")}
    assert {"assumed-give", "assumed-pocket", "unfolds-wholly", "limbus-datum"} <= codes("tunnel-seal", **keys)
    assert "sagitta-not-used" in codes("tunnel-seal", **(SEAL | {"shape": "straight"}))
    # chord 6.5 with the usual 1.0 mm: the published table's 6.903, as in the calculation of the tunnel
    unsaid = {k: v for k, v in SEAL.items() if k != "sagitta_mm"}
    assert result("tunnel-seal", **unsaid)["outer_lip_mm"] == pytest.approx(6.903, abs=5e-4)
    assert "assumed-sagitta" in codes("tunnel-seal", **unsaid)


# --- nucleus-clearance -----------------------------------------------------------------------------------------------


def test_room_agrees_with_the_chamber_and_ovd_gives_clearance() -> None:
    told = result("nucleus-clearance", **CLEAR, corneal_thickness_um=535, ovd_gain_mm=0.9)
    assert told["room_mm"] == pytest.approx(3.1 - 0.535 + 0.9)
    assert told["fits_flat"] is True
    more = result("nucleus-clearance", **CLEAR, corneal_thickness_um=535, ovd_gain_mm=1.4)
    assert more["flat_mm"] > told["flat_mm"]
    assert more["steepest_deg"] > told["steepest_deg"]
    layered = result("nucleus-clearance", **CLEAR, corneal_thickness_um=535, ovd_gain_mm=0.9, behind_layer_mm=0.2)
    assert layered["flat_mm"] < told["flat_mm"]
    shallow = result("nucleus-clearance", **(CLEAR | {"chamber_depth_mm": 2.2}), ovd_gain_mm=0.5)
    assert (shallow["fits_flat"], shallow["steepest_deg"]) == (False, None)
    assert {"assumed-corneal-thickness", "assumed-ovd-gain", "assumed-white-to-white"} <= codes(
        "nucleus-clearance", **CLEAR
    )


# --- support-search --------------------------------------------------------------------------------------------------


def test_the_search_shows_all_three_measures_and_the_ring_waits() -> None:
    rows = result("support-search", **SUPPORT)["rows"]
    kinds = {row["kind"] for row in rows}
    assert kinds == {"none", "hooks", "ring", "ring-and-hooks", "segment", "sutured-ring"}
    for row in rows:
        if row["held"]:
            assert None not in (row["displacement_mm"], row["reserve"], row["peak_load"])
        if "ring" in row["kind"]:
            assert row["ring_timing"] == "later"
    by_kind = {row["kind"]: row for row in rows}
    assert by_kind["ring"]["displacement_mm"] < 0.5 * by_kind["none"]["displacement_mm"]


def test_relaxing_cuts_exclude_the_ring() -> None:
    told = result("support-search", **SUPPORT, relaxing_cuts=True)
    assert {e["kind"] for e in told["excluded"]} == {"ring", "ring-and-hooks", "sutured-ring"}
    assert all("relaxing cuts" in e["why"] for e in told["excluded"])


def test_the_other_eye_gets_the_mirrored_table() -> None:
    uneven = [1, 0.9, 1, 0.3, 0, 0.1, 0.7, 1, 0.8, 1, 1, 0.6]
    ours = result("support-search", **(SUPPORT | {"zonule": uneven, "tunnel_clock": 10.5}))["rows"]
    theirs = result("support-search", **(SUPPORT | {"zonule": list(mirror_by_hour(uneven)), "tunnel_clock": 1.5}))[
        "rows"
    ]
    for one, other in zip(ours, theirs, strict=True):
        assert sorted(mirror_hour(h) for h in one["hooks"]) == other["hooks"]
        for key in ("kind", "before_step", "held", "displacement_mm", "reserve", "peak_load", "best", "reasons"):
            assert one[key] == other[key]


def test_no_zonule_at_all_is_said() -> None:
    keys = SUPPORT | {"zonule": [0] * 12}
    assert "nothing-holds" in codes("support-search", **keys)
    without_age = {k: v for k, v in SUPPORT.items() if k != "age_years"}
    assert "age-assumed" in codes("support-search", **without_age)

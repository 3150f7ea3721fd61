"""The quick sort of many eyes, the lens without biometry, and the trace of trays and lots."""

from __future__ import annotations

import contextlib
import time
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forestay.calc.sort_table import eyes_from_table
from forestay.calc.sorting import EyeSigns, sort_eyes
from forestay.errors import ForestayError
from forestay.evidence import default_evidence
from forestay.eye.sorting import sort_rules
from forestay.services.sorting_words import readable_sort

PLAIN = {
    "side": "right",
    "light": "full",
    "pupil": "large",
    "white": False,
    "brown": False,
    "pseudoexfoliation": False,
    "lens_moves": "none",
    "infection": False,
    "only_eye": False,
}


def eye(number: str = "1", **signs: Any) -> dict[str, Any]:
    return {"eye": number, **PLAIN, **signs}


def group(**signs: Any) -> str:
    return str(sort_eyes(eyes=[eye(**signs)]).result.rows[0].group)


@pytest.mark.parametrize(
    ("signs", "into"),
    [
        ({}, "routine"),
        ({"white": True}, "difficult"),
        ({"brown": True}, "difficult"),
        ({"pupil": "small"}, "difficult"),
        ({"pseudoexfoliation": True}, "difficult"),
        ({"lens_moves": "after-movement"}, "difficult"),
        ({"only_eye": True}, "difficult"),
        ({"lens_moves": "at-rest"}, "refer"),
        ({"light": "defective"}, "refer"),
        ({"pupil_defect": True}, "refer"),
        ({"age_years": 9}, "refer"),
        ({"only_eye": True, "white": True}, "refer"),
        ({"lies_still": False}, "refer"),
        ({"infection": True}, "not-today"),
        ({"infection": True, "lens_moves": "at-rest"}, "not-today"),
        ({"pressure_mmhg": 40}, "not-today"),
        ({"light": "none", "infection": True}, "no-surgery"),
    ],
)
def test_the_strictest_group_wins(signs: dict[str, Any], into: str) -> None:
    """No light: no surgery; infection and pressure are treated first; a loose lens is no work for a day of many eyes."""
    assert group(**signs) == into


@pytest.mark.parametrize(
    "sign", ["light", "pupil", "white", "brown", "pseudoexfoliation", "lens_moves", "infection", "only_eye"]
)
def test_no_eye_is_routine_before_it_was_looked_at(sign: str) -> None:
    signs = {k: v for k, v in eye().items() if k != sign}
    row = sort_eyes(eyes=[signs]).result.rows[0]
    assert row.group == "look-again"
    assert row.not_looked_at == ({"light": "light perception"}.get(sign, sign.replace("_", " ")),)
    assert row.lens is None


def test_every_rule_can_decide_and_its_thresholds_exist() -> None:
    evidence = default_evidence()
    for rule in sort_rules():
        assert rule.into in ("no-surgery", "not-today", "refer", "difficult")
        for line in rule.when.lines:
            for comparison in line:
                assert comparison.name.startswith(("sign.", "here."))
                assert not (comparison.value or "").startswith("@") or comparison.value[1:] in evidence  # type: ignore[index]


def test_a_weak_zonule_without_a_vitrector_is_referred() -> None:
    loose = eye(lens_moves="after-movement")
    assert sort_eyes(eyes=[loose], vitrector=True).result.rows[0].group == "difficult"
    assert sort_eyes(eyes=[loose], vitrector=False).result.rows[0].group == "refer"


def test_the_tray_gets_what_the_signs_ask_for() -> None:
    row = sort_eyes(eyes=[eye(pseudoexfoliation=True, pupil="small", white=True)]).result.rows[0]
    assert {"iris hooks", "tension ring", "dye"} <= set(row.tray_adds)
    assert len(row.tray_adds) == len(set(row.tray_adds))


@pytest.mark.parametrize(
    ("known", "target", "power", "basis"),
    [
        ({"measured_power_d": 23.4}, 0, 23.5, "measured"),
        # the other eye: 21 D gave -1 D at a target of 0: 1.4 D weaker
        ({"fellow_power_d": 21, "fellow_refraction_d": -1}, 0, 19.5, "other eye"),
        # old glasses: 21 + 1.25 x refraction
        ({"old_refraction_d": -4}, 0, 16.0, "old glasses"),
        ({"old_refraction_d": 2}, 0, 23.5, "old glasses"),
        ({}, 0, 21.0, "standard"),
        # one dioptre of short sight aimed at: 1.25 D stronger
        ({}, -1, 22.0, "standard"),
    ],
)
def test_the_lens_by_the_best_that_is_known(known: dict[str, Any], target: float, power: float, basis: str) -> None:
    lens = sort_eyes(eyes=[eye(**known)], target_d=target).result.rows[0].lens
    assert lens is not None
    assert (lens.power_d, lens.basis) == (power, basis)
    assert (lens.spread_d is None) == (basis == "measured")


def test_a_long_eye_is_measured_not_guessed() -> None:
    row = sort_eyes(eyes=[eye(old_refraction_d=-9)]).result.rows[0]
    assert row.group == "not-today"
    assert row.lens is None
    assert "measure the length" in row.why[0]
    measured = sort_eyes(eyes=[eye(old_refraction_d=-9, measured_power_d=8)]).result.rows[0]
    assert measured.group == "routine"
    assert measured.lens is not None
    assert measured.lens.power_d == 8


def test_a_guessed_lens_says_that_it_rests_on_memory() -> None:
    assert "from-memory" in {d.code for d in sort_eyes(eyes=[eye()]).doubts}


def test_lots_and_trays_can_be_followed_both_ways() -> None:
    eyes = [eye(str(n)) for n in range(1, 6)] + [eye("6", light="none")]
    made = sort_eyes(
        eyes=eyes,
        trays=["A", "B"],
        lots=[
            {"thing": "irrigating solution", "lot": "L1", "serves": 3},
            {"thing": "irrigating solution", "lot": "L2", "serves": 3},
        ],
    ).result
    trace = {(t.thing, t.lot): t.eyes for t in made.trace}
    assert trace["irrigating solution", "L1"] == ("1 right", "2 right", "3 right")
    assert trace["irrigating solution", "L2"] == ("4 right", "5 right")
    assert trace["tray", "A"] == ("1 right", "3 right", "5 right")
    assert made.rows[3].lots == ("irrigating solution L2",)
    assert made.rows[5].tray is None
    assert made.rows[5].lots == ()


def test_a_lot_that_does_not_last_is_told() -> None:
    answer = sort_eyes(eyes=[eye("1"), eye("2")], lots=[{"thing": "dye", "lot": "L", "serves": 1}])
    assert "lots-short" in {d.code for d in answer.doubts}


def test_only_and_difficult_eyes_come_early() -> None:
    made = sort_eyes(eyes=[eye("1"), eye("2", white=True), eye("3", only_eye=True)]).result
    assert made.order == ("3 right", "2 right", "1 right")


def test_five_hundred_eyes_take_well_under_a_second() -> None:
    eyes = [eye(str(n), white=n % 3 == 0, pupil="small" if n % 5 == 0 else "large") for n in range(500)]
    started = time.perf_counter()
    made = sort_eyes(eyes=eyes).result
    assert time.perf_counter() - started < 3
    assert sum(made.counts.values()) == 500


def test_a_table_is_read_with_either_comma() -> None:
    found = eyes_from_table(b"eye;side;white;pressure_mmhg;light\n101;left;yes;17,5;full\n102;right;;;\n")
    assert found == [
        {"eye": "101", "side": "left", "white": True, "pressure_mmhg": 17.5, "light": "full"},
        {"eye": "102", "side": "right"},
    ]
    assert eyes_from_table(b"eye,side,white\n1,left,no\n")[0]["white"] is False


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_a_table_is_read_whatever_ends_its_lines(end: str) -> None:
    table = end.join(["eye,side", "1,left", "", "2,right", ""]).encode()
    assert eyes_from_table(table) == [{"eye": "1", "side": "left"}, {"eye": "2", "side": "right"}]


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused_with_a_sentence(data: bytes) -> None:
    for table in (data, b"eye,side\n" + data):
        with contextlib.suppress(ForestayError):
            assert all(column in EyeSigns.model_fields for eye in eyes_from_table(table) for column in eye)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (b"eye,side,colour\n1,left,red\n", "colour"),
        (b"eye,white\n1,yes\n", "eye and side are needed"),
        (b"eye,side,white\n1,left,perhaps\n", "line 2: white is perhaps"),
        (b"eye,side,pressure_mmhg\n1,left,high\n", "line 2: pressure_mmhg is high"),
        (b"\xff\xfe", "UTF-8"),
        (b"eye,side,eye\n1,left,2\n", "column eye twice"),
        (b"eye,side\n1," + b"x" * 200_000, "cannot be read as CSV"),
    ],
)
def test_a_bad_table_is_one_sentence(table: bytes, words: str) -> None:
    with pytest.raises(ForestayError, match=words):
        eyes_from_table(table)


def test_the_list_reads_group_by_group() -> None:
    text = readable_sort(sort_eyes(eyes=[eye("1"), eye("2", white=True)]).result, [])
    assert text.index("routine:") < text.index("difficult:")
    assert "white lens" in text

"""The header, the typed bodies, and the exact bytes of a body."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta, timezone
from uuid import UUID

import pytest
from pydantic import ValidationError

from forestay.case.bodies import BODIES, Decided, Done, Found, Happened, Measured, Seen, Signed, Withdrawn, planned
from forestay.case.fact import Fact, Header, canonical_header, content, new_fact
from forestay.case.fields import PATHS, check_values
from forestay.errors import ForestayError, InvalidInput, UnknownKey, UnreadableFile
from forestay.eye.records import CaseFile
from forestay.eye.validation import validate
from tests.case.strategies import fact, length

HEADER = {
    "id": "0b0e0cbb-6b63-4a7e-8c5f-0d5d3cb4a1b2",
    "case": "M-1",
    "kind": "measured",
    "schema_version": 1,
    "author": "a1",
    "device": "d1",
    "device_sequence": 1,
    "happened_at": "2026-03-01T09:12:00+05:30",
    "recorded_at": "2026-03-01T03:43:00Z",
}


def test_header_reads_text_and_keeps_the_zone() -> None:
    header = validate(Header, HEADER)
    assert header.happened_at.utcoffset() == timedelta(hours=5, minutes=30)
    assert header.as_dict()["happened_at"] == "2026-03-01T09:12:00+05:30"
    assert validate(Header, header.as_dict()) == header


def test_canonical_header_is_sorted_json_without_spaces_and_without_absent_keys() -> None:
    # RFC 8785 section 3.2: no whitespace, keys sorted, UTF-8; worked out by hand for this header.
    assert canonical_header(validate(Header, HEADER)) == (
        b'{"author":"a1","based_on":0,"case":"M-1","device":"d1","device_sequence":1,'
        b'"happened_at":"2026-03-01T09:12:00+05:30","id":"0b0e0cbb-6b63-4a7e-8c5f-0d5d3cb4a1b2","kind":"measured",'
        b'"recorded_at":"2026-03-01T03:43:00+00:00","schema_version":1}'
    )


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("id", "not an identity"),
        ("id", 5),
        ("case", "two words"),
        ("case", ""),
        ("kind", "guessed"),
        ("schema_version", 0),
        ("author", ""),
        ("author", "two\nlines"),
        ("device_sequence", -1),
        ("device_sequence", 1.5),
        ("happened_at", "2026-03-01T09:12:00"),
        ("happened_at", "yesterday"),
        ("happened_at", 1_700_000_000),
        ("happened_at", datetime(2026, 3, 1, 9, 12, tzinfo=timezone(timedelta(seconds=90)))),
        ("based_on", -1),
        ("corrects", "x"),
        ("server_sequence", 0),
    ],
)
def test_each_bad_header_key_is_named(key: str, value: object) -> None:
    with pytest.raises(InvalidInput) as caught:
        validate(Header, {**HEADER, key: value})
    assert caught.value.field == key


def test_unknown_and_missing_header_keys_are_named() -> None:
    with pytest.raises(UnknownKey, match="mood"):
        validate(Header, {**HEADER, "mood": "good"})
    for key in HEADER:
        with pytest.raises(ForestayError, match=key):
            validate(Header, {k: v for k, v in HEADER.items() if k != key})


def test_a_fact_cannot_be_changed() -> None:
    one = fact(length(23.1), 1)
    with pytest.raises(ValidationError):
        one.header.author = "somebody else"  # type: ignore[misc]
    with pytest.raises(AttributeError):
        one.body = b"{}"  # type: ignore[misc]


def test_without_times_a_fact_happened_now_in_a_zone() -> None:
    before = datetime.now(UTC)
    one = new_fact(length(23.1), case="M-1", author="a1", device="d1", device_sequence=1)
    assert before <= one.header.happened_at <= datetime.now(UTC)
    assert one.header.happened_at.utcoffset() is not None
    assert one.header.recorded_at == one.header.happened_at


BODY_EXAMPLES = [
    Measured(values={"biometry.axial_length_mm": 23.12, "biometry.k1_d": 43}),
    Found(values={"signs.dialysis_clock_hours": [6, 7], "target.lens_constant": {"a": 118.4, "method": "optical"}}),
    Decided(subject="technique", choice="manual-small-incision", reason="hard", turned_down=("phaco: hardness",)),
    Done(step="capsulorhexis", by="surgeon", sizes={"capsulorhexis_mm": 5.2}, devices=("dye",)),
    Happened(event="zonular-dialysis", step="rotation", clock_hours=(6, 7), sizes={"tear_mm": 2}),
    Seen(day=28, acuity_logmar=0.2, acuity_type="best-corrected", pressure_mmhg=14, refraction_d=-0.75),
    planned(
        b'{"plan": "exact \xc3\xa9"}\n',
        engine_version="0.1.0",
        evidence_digest="a" * 64,
        practice_digest="b" * 64,
        context_digest="c" * 64,
    ),
    Signed(head="0" * 64),
    Withdrawn(fact=UUID(int=7), why="wrong eye"),
]


@pytest.mark.parametrize("body", BODY_EXAMPLES, ids=lambda b: b.KIND)
def test_every_kind_reads_back_from_its_bytes(body: object) -> None:
    made = fact(body, 1)  # type: ignore[arg-type]
    assert made.header.kind == type(body).KIND  # type: ignore[attr-defined]
    assert content(made) == body


def test_there_is_an_example_of_every_kind() -> None:
    assert {type(body) for body in BODY_EXAMPLES} == set(BODIES.values())


def test_planned_keeps_the_very_bytes_of_the_plan() -> None:
    body = content(fact(BODY_EXAMPLES[6], 1))
    assert body.plan_bytes == b'{"plan": "exact \xc3\xa9"}\n'  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("kind", "raw", "named"),
    [
        ("measured", {}, "values"),
        ("measured", {"values": {}}, "values"),
        ("measured", {"values": {"biometry.axial_length_mm": 2.312}}, "biometry.axial_length_mm"),
        ("measured", {"values": {"biometry.axial_length_mm": "23.12"}}, "biometry.axial_length_mm"),
        ("measured", {"values": {"biometry.axial_length_mm": None}}, "biometry.axial_length_mm"),
        ("measured", {"values": {"biometry.axial_length_mm": True}}, "biometry.axial_length_mm"),
        ("measured", {"values": {"biometry.k1_d": 7.8}}, "biometry.k1_d"),
        ("found", {"values": {"biometry.length": 23.0}}, "biometry.length"),
        ("found", {"values": {"biometry": {"k1_d": 43.0}}}, "biometry"),
        ("found", {"values": {"target.lens_constant.a": 118.4}}, "target.lens_constant.a"),
        ("found", {"values": {"target.lens_constant": {"b": 1}}}, "target.lens_constant.b"),
        ("found", {"values": {"signs.phacodonesis": "often"}}, "signs.phacodonesis"),
        ("found", {"values": {"signs.dialysis_clock_hours": [13]}}, "signs.dialysis_clock_hours.0"),
        ("found", {"values": {"eye.visual_acuity": "HM", "eye.visual_acuity_logmar": 1.0}}, "eye"),
        ("found", {"values": {"signs.trauma": True}, "note": "free text"}, "note"),
        ("decided", {"subject": "ring", "choice": "later", "reason": "x"}, "ring"),
        ("decided", {"subject": "capsulorhexis_mm", "choice": 15, "reason": "x"}, "capsulorhexis_mm"),
        ("decided", {"subject": "capsulorhexis_mm", "choice": None, "reason": "x"}, "choice"),
        ("decided", {"subject": "biometry.k1_d", "choice": 7.7, "reason": "x"}, "biometry.k1_d"),
        ("decided", {"subject": "other eye first", "choice": " ", "reason": "x"}, "choice"),
        ("decided", {"subject": "other eye first", "choice": {"a": 1}, "reason": "x"}, "choice"),
        ("decided", {"subject": "other eye first", "choice": 10**400, "reason": "x"}, "choice"),
        ("decided", {"subject": "ring", "choice": "none", "reason": ""}, "reason"),
        ("decided", {"subject": "ring", "choice": "none"}, "reason"),
        ("done", {"step": "tunnel", "by": "surgeon", "sizes": {"width": 6.5}}, "sizes.width"),
        ("done", {"step": "tunnel", "by": "surgeon", "sizes": {"outer_lip_mm": 65}}, "sizes.outer_lip_mm"),
        ("done", {"step": "tunnel"}, "by"),
        ("happened", {"event": "something odd"}, "event"),
        ("happened", {"event": "other", "clock_hours": [0]}, "clock_hours.0"),
        ("seen", {"day": -1}, "day"),
        ("seen", {"day": 1, "pressure_mmhg": 400}, "pressure_mmhg"),
        ("signed", {"head": "short"}, "head"),
        ("withdrawn", {"fact": "x", "why": "y"}, "fact"),
        ("withdrawn", {"fact": str(UUID(int=1)), "why": ""}, "why"),
    ],
)
def test_each_bad_body_names_its_field(kind: str, raw: dict[str, object], named: str) -> None:
    header = validate(Header, {**HEADER, "kind": kind})
    with pytest.raises(ForestayError) as caught:
        content(Fact(header, json.dumps(raw).encode()))
    assert caught.value.field == named
    assert named.rpartition(".")[2] in caught.value.message or caught.value.allowed


@pytest.mark.parametrize(
    "acuity", [{"acuity_logmar": 0.3}, {"acuity": "CF", "acuity_logmar": 1.9, "acuity_type": "pinhole"}]
)
def test_acuity_needs_its_type_and_one_notation(acuity: dict[str, object]) -> None:
    with pytest.raises(InvalidInput, match="acuity"):
        validate(Seen, {"day": 1, **acuity})


def test_a_plan_that_is_not_base64_is_refused() -> None:
    digests = {f"{name}_digest": "a" * 64 for name in ("evidence", "practice", "context")}
    with pytest.raises(InvalidInput, match="base64") as caught:
        validate(BODIES["planned"], {"plan": "***", "engine_version": "1", **digests})
    assert caught.value.field == "plan"


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"\xff\xfe",
        b'{"values": {"lens.grade": NaN}}',
        b'{"values": {"lens.grade": 3, "lens.grade": 4}}',
        b'{"subject": "\\ud800"}',
        b"[" * 100_000,
    ],
)
def test_broken_bodies_are_refused_in_one_sentence(body: bytes) -> None:
    with pytest.raises(UnreadableFile, match="body of fact"):
        content(Fact(validate(Header, HEADER), body))


def test_a_body_that_is_no_table_is_refused() -> None:
    with pytest.raises(InvalidInput, match="not a table"):
        content(Fact(validate(Header, HEADER), b"[1]"))


def test_paths_are_every_field_of_the_case_file() -> None:
    least = {"person": {"age_years": 70}, "eye": {"side": "left"}}
    case = validate(CaseFile, least)
    assert list(PATHS) == [f"{section}.{key}" for section, record in case for key, _ in record]
    assert "person.age_years" in PATHS
    check_values({"person.weight_kg": 60})

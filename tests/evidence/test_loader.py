"""The reader of evidence is strict, counts what was used, and names a set by its digest."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

import pytest

from forestay.answer import Doubt
from forestay.errors import EvidenceError
from forestay.evidence import EvidenceSet, Row, Source
from forestay.evidence.loader import _row, parse

SOURCE = Source("invented", "An invented source for these tests", doi="10.0000/invented")
OTHER = Source("other", "Another invented source")
SOURCES = {"invented": SOURCE, "other": OTHER}
RAW: dict[str, Any] = {
    "key": "reef.depth",
    "value": 3,
    "unit": "mm",
    "meaning": "an invented number",
    "source": "invented",
    "standing": "read",
}


def made(**more: Any) -> Row:
    """The invented row with some keys changed; None takes one away."""
    return _row({k: v for k, v in {**RAW, **more}.items() if v is not None}, SOURCES, "invented.toml")


def test_a_good_row_is_read_with_whole_numbers_as_plain_ones() -> None:
    row = made(sd=1, low=2, high=4, n=10, year=2001)
    assert row.value == 3.0
    assert isinstance(row.value, float)
    assert (row.sd, row.low, row.high, row.n, row.year) == (1.0, 2.0, 4.0, 10, 2001)
    assert row.source is SOURCE


def test_lists_and_tables_are_frozen_all_the_way_down() -> None:
    assert made(value=[1, 2]).value == (1.0, 2.0)
    assert made(value=["a", "b"]).value == ("a", "b")
    assert made(value={"a": [1, 2], "b": {"c": 3}}).value == {"a": (1.0, 2.0), "b": {"c": 3.0}}


@pytest.mark.parametrize("key", ["key", "value", "unit", "meaning", "source", "standing"])
def test_a_row_without_a_compulsory_key_is_refused_by_name(key: str) -> None:
    with pytest.raises(EvidenceError, match=f"lacks '{key}'"):
        made(**{key: None})


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({"valeu": 3}, "unknown key 'valeu'"),
        ({"standing": "certain"}, "standing 'certain'"),
        ({"source": "nobody"}, "unknown source 'nobody'"),
        ({"standing": "memory"}, "must say its doubt"),
        ({"standing": "assumed"}, "must say its doubt"),
        ({"standing": "assumed", "doubt": ""}, "must say its doubt"),
        ({"low": 2}, "both low and high"),
        ({"high": 4}, "both low and high"),
        ({"value": True}, "numbers, words, lists or tables"),
        ({"value": [1, False]}, "numbers, words, lists or tables"),
    ],
)
def test_a_badly_written_row_is_refused_with_file_and_key(more: dict[str, Any], told: str) -> None:
    with pytest.raises(EvidenceError, match=told) as raised:
        made(**more)
    assert "invented.toml" in raised.value.message
    assert raised.value.field == "reef.depth"


def test_a_row_from_memory_that_says_its_doubt_is_read() -> None:
    assert made(standing="memory", doubt="recalled").doubt == "recalled"


def test_two_rows_with_one_key_are_refused() -> None:
    with pytest.raises(EvidenceError, match=r"two rows have the key reef\.depth"):
        EvidenceSet([made(), made(value=4)])


def test_an_unknown_key_is_an_error_that_names_it_and_not_a_member() -> None:
    evidence = EvidenceSet([made()])
    assert "reef.depth" in evidence
    assert "reef.width" not in evidence
    with pytest.raises(EvidenceError, match=r"reef\.width"):
        evidence["reef.width"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[[row]", "invented.toml"),
        ("[[rows]]\nkey = 'a'", "unknown table 'rows'"),
        ("[[source]]\nkey = 'a'", "a source needs key and citation"),
        ("[[source]]\nkey = 'a'\ncitation = 'b'\nauthor = 'c'", "a source needs key and citation"),
    ],
)
def test_a_file_that_is_not_evidence_is_refused(text: str, told: str) -> None:
    with pytest.raises(EvidenceError, match=told):
        parse(text, "invented.toml")


def test_a_file_gives_its_sources_and_its_raw_rows() -> None:
    sources, rows = parse('[[source]]\nkey = "a"\ncitation = "b"\n[[row]]\nkey = "x"\n', "invented.toml")
    assert sources == {"a": Source("a", "b")}
    assert rows == [{"key": "x"}]


def test_the_digest_depends_on_content_alone() -> None:
    first, second = made(), made(key="reef.width", value=5)
    assert EvidenceSet([first, second]).digest == EvidenceSet([second, first]).digest
    assert len(EvidenceSet([first]).digest) == 64


@pytest.mark.parametrize(
    "change",
    [{"value": 3.001}, {"unit": "cm"}, {"sd": 1}, {"low": 2, "high": 4}, {"source": "other"}, {"key": "reef.x"}],
)
def test_the_digest_changes_with_whatever_an_engine_may_see(change: dict[str, Any]) -> None:
    assert EvidenceSet([made(**change)]).digest != EvidenceSet([made()]).digest


def test_a_practice_changes_values_in_a_copy_and_the_row_says_so() -> None:
    evidence = EvidenceSet([made(), made(key="reef.width", value=5)])
    own = evidence.with_values({"reef.depth": 3.4})
    assert own["reef.depth"].value == 3.4
    assert own["reef.depth"].standing == "assumed"
    assert own["reef.depth"].source.key == "own-practice"
    assert own["reef.depth"].doubt == "changed by this practice"
    assert own["reef.width"] == evidence["reef.width"]
    assert evidence["reef.depth"].value == 3.0
    assert own.digest != evidence.digest


def test_changing_a_row_that_is_not_there_is_refused() -> None:
    with pytest.raises(EvidenceError, match=r"reef\.width"):
        EvidenceSet([made()]).with_values({"reef.width": 1.0})


def test_without_spread_takes_the_spread_of_the_named_rows_only() -> None:
    evidence = EvidenceSet([made(sd=1, low=2, high=4), made(key="reef.width", value=5, sd=2), made(key="reef.x")])
    still = evidence.without_spread(["reef.depth", "reef.x"])
    assert (still["reef.depth"].sd, still["reef.depth"].low, still["reef.depth"].high) == (0.0, 3.0, 3.0)
    assert still["reef.width"].sd == 2.0
    assert still["reef.x"].sd is None
    assert still["reef.depth"].value == 3.0


def test_a_reader_gives_each_kind_of_value_and_refuses_the_others() -> None:
    rows = [made(sd=1), made(key="reef.list", value=[1, 2]), made(key="reef.table", value={"a": 1})]
    reader = EvidenceSet(rows).reader()
    assert reader.number("reef.depth") == 3.0
    assert reader.numbers("reef.list") == (1.0, 2.0)
    assert reader.table("reef.table") == {"a": 1.0}
    assert reader.sd("reef.depth") == 1.0
    for ask, key in [
        (reader.number, "reef.list"),
        (reader.numbers, "reef.depth"),
        (reader.table, "reef.depth"),
        (reader.sd, "reef.list"),
    ]:
        with pytest.raises(EvidenceError, match=key):
            ask(key)


def test_a_reader_remembers_what_was_read_in_order_and_merges() -> None:
    evidence = EvidenceSet([made(), made(key="reef.width"), made(key="reef.x")])
    first, second = evidence.reader(), evidence.reader()
    first.number("reef.width")
    first.number("reef.depth")
    first.number("reef.width")
    assert [row.key for row in first.used] == ["reef.width", "reef.depth"]
    second.number("reef.x")
    first.merge(second)
    assert [row.key for row in first.used] == ["reef.width", "reef.depth", "reef.x"]


def test_sources_are_grouped_by_source_and_standing_with_the_identifier() -> None:
    rows = [
        made(),
        made(key="reef.width"),
        made(key="reef.x", standing="derived"),
        made(key="reef.y", source="other"),
    ]
    reader = EvidenceSet(rows).reader()
    for row in rows:
        reader.row(row.key)
    told = reader.sources()
    assert [(s["key"], s["standing"], s["rows"]) for s in told] == [
        ("invented", "read", ["reef.depth", "reef.width"]),
        ("invented", "derived", ["reef.x"]),
        ("other", "read", ["reef.y"]),
    ]
    assert told[0]["citation"] == "An invented source for these tests doi:10.0000/invented"
    assert told[2]["citation"] == "Another invented source"


def test_doubts_are_those_of_memory_and_assumption_each_once() -> None:
    rows = [
        made(doubt="a read row's remark is not a doubt of the answer"),
        made(key="reef.a", standing="memory", doubt="recalled"),
        made(key="reef.b", standing="memory", doubt="recalled"),
        made(key="reef.c", standing="assumed", doubt="a choice"),
    ]
    reader = EvidenceSet(rows).reader()
    assert reader.doubts() == []
    for row in rows:
        reader.row(row.key)
    assert reader.doubts() == [Doubt("from-memory", "recalled"), Doubt("assumed", "a choice")]


@dataclass(frozen=True)
class Reef:
    """Invented constants."""

    PREFIX: ClassVar[str] = "reef"
    depth: float
    width: float


def test_a_dataclass_of_constants_is_filled_by_prefix_and_counted_as_used() -> None:
    reader = EvidenceSet([made(), made(key="reef.width", value=5)]).reader()
    assert reader.constants(Reef) == Reef(depth=3.0, width=5.0)
    assert [row.key for row in reader.used] == ["reef.depth", "reef.width"]


def test_a_missing_constant_is_named() -> None:
    with pytest.raises(EvidenceError, match=r"reef\.width"):
        EvidenceSet([made()]).reader().constants(Reef)


def test_only_a_dataclass_holds_constants() -> None:
    with pytest.raises(TypeError, match="not a dataclass"):
        EvidenceSet([made()]).reader().constants(int)

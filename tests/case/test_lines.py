"""Exported facts: the very same bytes come back; everything that was tampered with is refused by line."""

from __future__ import annotations

import json

import pytest
from hypothesis import given, settings

from forestay.case.chain import Link, accept, erase
from forestay.case.fact import Fact
from forestay.case.lines import read, write
from forestay.errors import BrokenChain, ForestayError, InvalidInput, UnknownKey, UnreadableFile
from tests.case.strategies import NOON, fact, histories, length


def links(count: int = 3) -> list[Link]:
    facts = [fact(length(20 + n / 10), n) for n in range(1, count + 1)]
    odd = Fact(facts[0].header, b'{ "values":{"biometry.axial_length_mm" : 2.31e1}, "x":0}'.replace(b', "x":0', b"  "))
    return accept("M-1", [odd, *facts[1:]], [], received_at=NOON, salt=lambda n: bytes(range(n)))


def test_bodies_salts_and_chain_come_back_byte_for_byte() -> None:
    kept = links()
    kept[1] = erase(kept[1])
    waiting = [fact(length(25.5), 9)]
    data = write("M-1", kept, waiting)
    found = read(data)
    assert (list(found.links), list(found.pending), found.case) == (kept, waiting, "M-1")
    assert found.links[0].body == b'{ "values":{"biometry.axial_length_mm" : 2.31e1}  }'
    assert write("M-1", found.links, found.pending) == data
    assert len(found.facts) == 3


@settings(deadline=None, derandomize=True, max_examples=60)
@given(histories())
def test_any_history_comes_back(facts: list[Fact]) -> None:
    kept: list[Link] = []
    for one in facts:
        kept += accept("M-1", [one], kept, received_at=NOON, salt=bytes)
    assert list(read(write("M-1", kept)).links) == kept


def test_a_case_without_facts_is_one_line() -> None:
    assert read(write("M-1", [])).facts == []


def tampered(line: int, **changes: object) -> bytes:
    lines = write("M-1", links(), [fact(length(25.5), 9)]).splitlines()
    raw = json.loads(lines[line])
    raw.update(changes)
    lines[line] = json.dumps({k: v for k, v in raw.items() if v != "gone"}).encode()
    return b"\n".join(lines)


@pytest.mark.parametrize(
    ("data", "error", "words"),
    [
        (tampered(0, format="something"), UnreadableFile, "not exported facts"),
        (tampered(0, version=2), UnreadableFile, "newer"),
        (tampered(0, version=0), InvalidInput, "version"),
        (tampered(0, mood="good"), UnknownKey, "mood"),
        (tampered(0, facts=9), UnreadableFile, "4 facts where"),
        (tampered(0, case="M-2"), InvalidInput, "line 2"),
        (tampered(0, head="0" * 64), BrokenChain, "ends before"),
        (tampered(1, body='{"values":{"biometry.axial_length_mm":24.0}}'), BrokenChain, r"Fact 1 .* changed"),
        (tampered(2, body="{"), UnreadableFile, "line 3"),
        (tampered(2, body='{"values":{"biometry.axial_length_mm":2.4}}'), InvalidInput, "line 3.*centimetres"),
        (tampered(2, salt="1" * 64), BrokenChain, "Fact 2"),
        (tampered(2, salt="short"), InvalidInput, "line 3"),
        (tampered(2, salt="gone"), InvalidInput, "salt"),
        (tampered(2, leaf="gone"), InvalidInput, "together"),
        (tampered(2, chain="2" * 64), BrokenChain, "Fact 2"),
        (tampered(2, header={}), ForestayError, "line 3"),
        (tampered(2, note="hello"), UnknownKey, "note"),
        (tampered(4, body="gone"), InvalidInput, "body"),
        (tampered(4, salt="1" * 64), InvalidInput, "salt"),
    ],
)
def test_each_tampered_line_is_named(data: bytes, error: type[ForestayError], words: str) -> None:
    with pytest.raises(error, match=words):
        read(data)


def test_a_lost_or_moved_line_is_found() -> None:
    lines = write("M-1", links()).splitlines(keepends=True)
    with pytest.raises(UnreadableFile, match="2 facts where its first line says 3"):
        read(b"".join([*lines[:2], *lines[3:]]))
    with pytest.raises(BrokenChain, match="does not belong"):
        read(b"".join([lines[0], lines[2], lines[1], lines[3]]))
    with pytest.raises(UnreadableFile, match="line 3"):
        read(b"".join([*lines[:2], b"[1]\n"[:2] + b"\n", lines[3]]))

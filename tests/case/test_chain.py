"""The chain: every single change, loss or exchange is found, and named by its first place."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.case.bodies import Withdrawn
from forestay.case.chain import (
    SALT_BYTES,
    START,
    Link,
    accept,
    chain_hash,
    continuation,
    erase,
    facts_of,
    head,
    leaf_hash,
    verify,
)
from forestay.case.fact import Fact, canonical_header
from forestay.errors import BrokenChain, ConflictingFact, InvalidInput, NotFound
from tests.case.strategies import NOON, fact, length, start

PROPERTY = settings(deadline=None, derandomize=True, max_examples=150)


def numbered_salt(n: int) -> bytes:
    return bytes([7]) * n


def chain(count: int = 6, known: list[Link] | None = None) -> list[Link]:
    known = known or []
    first = len(known) + 1
    facts = [fact(length(20 + n / 10), n) for n in range(first, first + count)]
    return [*known, *accept("M-1", facts, known, received_at=NOON, salt=numbered_salt)]


def test_leaf_is_sha256_of_salt_and_body() -> None:
    # FIPS 180-4 example: SHA-256("abc"); with a salt of 32 bytes the same bytes are hashed, split elsewhere.
    assert hashlib.sha256(b"abc").hexdigest() == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert leaf_hash(b"s" * 32, b"abc") == hashlib.sha256(b"s" * 32 + b"abc").digest()
    with pytest.raises(ValueError, match="32"):
        leaf_hash(b"short", b"abc")


def test_links_are_hashed_over_the_one_before_header_and_leaf() -> None:
    links = chain(2)
    assert bytes(32) == START
    first = hashlib.sha256(bytes(32) + canonical_header(links[0].header) + links[0].leaf).digest()
    assert links[0].chain == first
    assert links[1].chain == hashlib.sha256(first + canonical_header(links[1].header) + links[1].leaf).digest()
    assert head(links) == links[1].chain
    assert head([]) == START


def test_a_whole_chain_holds_also_where_it_was_erased() -> None:
    links = chain()
    assert verify([]) is None
    assert verify(links, head_kept=head(links)) is None
    erased = [erase(link) if i in (0, 3) else link for i, link in enumerate(links)]
    assert verify(erased, head_kept=head(links)) is None
    assert len(facts_of(erased)) == len(links) - 2
    assert b"20.1" not in repr(erased[0]).encode()


@PROPERTY
@given(st.integers(0, 5), st.data())
def test_any_changed_byte_is_found_and_named(at: int, data: st.DataObject) -> None:
    links = chain()
    part = data.draw(st.sampled_from(["body", "salt", "leaf", "chain"]))
    whole = bytearray(getattr(links[at], part))
    position = data.draw(st.integers(0, len(whole) - 1))
    whole[position] ^= data.draw(st.integers(1, 255))
    change: dict[str, Any] = {part: bytes(whole)}
    links[at] = replace(links[at], **change)
    broken = verify(links)
    assert broken is not None
    assert (broken.position, broken.fault, broken.fact_id) == (at + 1, "changed", str(links[at].header.id))
    assert str(links[at].header.id) in broken.says


@pytest.mark.parametrize(
    "change",
    [
        {"author": "b2"},
        {"case": "M-2"},
        {"based_on": 1},
        {"device_sequence": 99},
        {"corrects": UUID(int=1)},
        {"id": UUID(int=2)},
        {"kind": "found"},
        {"received_at": None},
    ],
    ids=lambda c: next(iter(c)),
)
@pytest.mark.parametrize("erased", [False, True])
def test_any_changed_header_is_found(change: dict[str, object], erased: bool) -> None:
    links = chain()
    links[2] = replace(links[2], header=links[2].header.model_copy(update=change))
    links[2] = erase(links[2]) if erased else links[2]
    broken = verify(links)
    assert broken is not None
    assert (broken.position, broken.fault) == (3, "changed")


@pytest.mark.parametrize("at", range(5))
def test_a_dropped_fact_is_found(at: int) -> None:
    links = chain()
    del links[at]
    broken = verify(links)
    assert broken is not None
    assert (broken.position, broken.fault) == (at + 1, "dropped")


def test_a_dropped_and_renumbered_fact_is_found() -> None:
    links = chain()
    del links[2]
    links = [
        replace(k, header=k.header.model_copy(update={"server_sequence": i})) for i, k in enumerate(links, start=1)
    ]
    broken = verify(links)
    assert broken is not None
    assert (broken.position, broken.fault) == (3, "changed")


@PROPERTY
@given(st.permutations(range(6)))
def test_any_other_order_is_found(order: list[int]) -> None:
    links = chain()
    broken = verify([links[i] for i in order])
    moved = next((i for i, was in enumerate(order) if i != was), None)
    assert (broken is None) == (moved is None)
    if broken is not None and moved is not None:
        assert (broken.position, broken.fault) == (moved + 1, "reordered")


def test_a_repeated_fact_is_found() -> None:
    links = chain()
    broken = verify([*links[:3], links[2], *links[3:]])
    assert broken is not None
    assert (broken.position, broken.fault) == (4, "reordered")


def test_a_cut_end_shows_only_against_a_head_kept_apart() -> None:
    links = chain()
    assert verify(links[:4]) is None
    broken = verify(links[:4], head_kept=head(links))
    assert broken is not None
    assert (broken.position, broken.fault, broken.fact_id) == (5, "cut off", None)
    assert isinstance(broken.error(), BrokenChain)


def test_half_erased_is_a_change() -> None:
    links = chain()
    links[1] = replace(links[1], salt=None)
    assert verify(links) is not None


def test_accepting_gives_sequence_and_time_and_nothing_twice() -> None:
    links = chain(3)
    assert [link.sequence for link in links] == [1, 2, 3]
    assert {link.header.received_at for link in links} == {NOON}
    again = [fact(length(20 + n / 10), n) for n in (2, 4)]
    added = accept("M-1", again, links, received_at=NOON, salt=numbered_salt)
    assert [link.sequence for link in added] == [4]
    assert verify([*links, *added]) is None


def test_a_batch_is_accepted_in_the_order_of_its_device() -> None:
    batch = [fact(length(20 + n / 10), n) for n in (3, 1, 2)]
    added = accept("M-1", batch, [], received_at=NOON, salt=numbered_salt)
    assert [link.header.device_sequence for link in added] == [1, 2, 3]


def test_what_must_not_be_accepted() -> None:
    links = chain(3)

    def refused(one: Fact) -> None:
        accept("M-1", [fact(length(25), 8), one], links, received_at=NOON, salt=numbered_salt)

    with pytest.raises(ConflictingFact):
        refused(Fact(fact(length(20.1), 1).header, fact(length(29), 1).body))
    with pytest.raises(InvalidInput, match="belongs to case M-2"):
        refused(fact(length(25), 9, case="M-2"))
    with pytest.raises(InvalidInput, match="claims to have seen"):
        refused(fact(length(25), 9, based_on=4))
    with pytest.raises(NotFound, match="does not have"):
        refused(fact(length(25), 9, corrects=UUID(int=5)))
    with pytest.raises(NotFound, match="does not have"):
        refused(fact(Withdrawn(fact=UUID(int=5), why="x"), 9))
    with pytest.raises(InvalidInput, match=r"biometry\.axial_length_mm"):
        refused(Fact(fact(length(25), 9).header, b'{"values": {"biometry.axial_length_mm": 2.3}}'))


def test_an_erased_fact_that_arrives_again_stays_erased() -> None:
    links = [erase(link) for link in chain(2)]
    assert accept("M-1", [fact(length(20.1), 1)], links, received_at=NOON, salt=numbered_salt) == []


def test_a_copy_of_the_same_case_continues_it() -> None:
    short, long = chain(3), chain(3, chain(3))
    assert continuation(short, long) == long[3:]
    assert continuation(long, short) == []
    assert continuation([], long) == long
    assert continuation(long, long) == []


def test_a_copy_with_another_history_is_refused() -> None:
    mine = chain(3)
    other = accept("M-1", [fact(length(25), n) for n in (8, 9)], mine[:2], received_at=NOON, salt=numbered_salt)
    with pytest.raises(ConflictingFact, match="another history"):
        continuation(mine, [*mine[:2], *other])
    forged = accept("M-1", [fact(length(29), 3)], mine[:2], received_at=NOON, salt=numbered_salt)
    with pytest.raises(ConflictingFact, match="other content"):
        continuation(mine, [*mine[:2], *forged])


def test_facts_known_under_other_salts_add_nothing() -> None:
    facts = [fact(length(20 + n / 10), n) for n in (1, 2, 3)]
    other = accept("M-1", facts, [], received_at=NOON, salt=bytes)
    assert other[0].chain != chain(3)[0].chain
    assert continuation(chain(3), other) == []


def test_hash_covers_what_it_says() -> None:
    one = start()
    assert chain_hash(START, one.header, b"a" * 32) != chain_hash(b"1" * 32, one.header, b"a" * 32)
    assert SALT_BYTES * 8 >= 128

"""The one mark over many, against RFC 6962."""

from __future__ import annotations

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from forestay.case.tree import tree_head


@pytest.mark.parametrize(
    ("leaves", "expected"),
    [  # computed from the definition in RFC 6962, section 2.1, by another program than this one
        ([], "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        ([b""], "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"),
        ([b"a"], "022a6979e6dab7aa5ae4c3e5e45f7e977112a7e63593820dbec1ec738a24f93c"),
        ([b"a", b"b"], "b137985ff484fb600db93107c77b0365c80d78f5b429ded0fd97361d077999eb"),
        ([b"a", b"b", b"c"], "36642e73c2540ab121e3a6bf9545b0a24982cd830eb13d3cd19de3ce6c021ec1"),
    ],
)
def test_the_worked_heads(leaves: list[bytes], expected: str) -> None:
    assert tree_head(leaves).hex() == expected


def by_the_definition(leaves: list[bytes]) -> bytes:
    """MTH as the RFC writes it: split at the largest power of two below the number of leaves."""
    if len(leaves) < 2:
        return hashlib.sha256(b"\x00" + leaves[0] if leaves else b"").digest()
    split = 1 << (len(leaves) - 1).bit_length() - 1
    return hashlib.sha256(b"\x01" + by_the_definition(leaves[:split]) + by_the_definition(leaves[split:])).digest()


@given(st.lists(st.binary(max_size=8), max_size=40))
def test_it_is_the_recursion_of_the_standard(leaves: list[bytes]) -> None:
    assert tree_head(leaves) == by_the_definition(leaves)


@given(st.lists(st.binary(max_size=8), min_size=1, max_size=12), st.data())
def test_a_leaf_more_less_or_changed_shows(leaves: list[bytes], data: st.DataObject) -> None:
    place = data.draw(st.integers(0, len(leaves) - 1))
    other = [*leaves[:place], leaves[place] + b"\x00", *leaves[place + 1 :]]
    assert len({tree_head(leaves), tree_head(other), tree_head([*leaves, b""]), tree_head(leaves[:-1])}) == 4

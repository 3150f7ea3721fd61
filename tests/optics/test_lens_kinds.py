"""Which kind of lens may lie where."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from forestay.optics import lens_kinds
from forestay.optics.positions import ALL_POSITIONS


@pytest.mark.parametrize("position", [p for p in ALL_POSITIONS if p != "bag"])
def test_a_one_piece_soft_lens_lies_in_the_bag_alone(read: Callable[[type[Any]], Any], position: Any) -> None:
    # evidence on lens power 4.2: strong consensus that it must not lie in the sulcus
    may = lens_kinds.kinds_for(position, places=read(lens_kinds.KindPlaces))
    assert "one-piece-soft" not in may
    if position in ("sulcus", "optic-capture"):
        assert "iris" in lens_kinds.why_not("one-piece-soft", position)


def test_every_position_has_a_kind_and_every_kind_a_reason(read: Callable[[type[Any]], Any]) -> None:
    places = read(lens_kinds.KindPlaces)
    assert set(places.places) == set(lens_kinds.LENS_KINDS)
    assert {p for kinds in places.places.values() for p in kinds} == set(ALL_POSITIONS) - {"aphakia"}
    for position in ALL_POSITIONS:
        for kind in set(lens_kinds.LENS_KINDS) - set(lens_kinds.kinds_for(position, places=places)):
            assert lens_kinds.why_not(kind, position)
            assert lens_kinds.kind_words(kind)

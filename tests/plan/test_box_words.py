"""A power is told with the lens that it belongs to: a box of another kind is not opened at it."""

from __future__ import annotations

from dataclasses import replace

from forestay.plan.lens_model import LensBox
from forestay.plan.words_lens import _with_box
from tests.plan.cases import planned, raw


def test_a_power_of_the_shelf_names_its_lens() -> None:
    lens = planned(raw("trauma-gap"), draws=50).lens
    box = LensBox("Example rigid", "one-piece rigid lens", 22.0, -0.5, None, 1, 117.9)
    rows = tuple(replace(p, box=box, box_is_near=True) if p.position == "sulcus" else p for p in lens.positions)
    assert (
        _with_box(replace(lens, positions=rows), "sulcus", (22.0, -0.5))
        == "+22.0 D (one-piece rigid lens: Example rigid)"
    )
    assert _with_box(lens, "sulcus", (22.5, -0.5)) == "+22.5 D"

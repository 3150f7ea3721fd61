"""Threading a ring into the bag: balance, symmetry, order of entries, what it loads."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from forestay.evidence import default_evidence
from forestay.frame import mirror_by_hour, mirror_hour
from forestay.mechanics.bag_model import Bag, BagConstants
from forestay.mechanics.open_ring_bag import Setting
from forestay.mechanics.open_ring_model import OpenRingConstants, whole_ring
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.ring_path import Path, every_entry, thread
from forestay.mechanics.zonule import ZonuleParameters

READER = default_evidence().reader()
SETTING = Setting(
    READER.constants(BagConstants), READER.constants(RingConstants), READER.constants(OpenRingConstants), 0.1, 48
)
HIGH = ZonuleParameters(5.0, 1.5, 0.2, 84.8, 0.1)
HEALTHY = (1.0,) * 12
THREE_LOST = (0.0, 0.0, *(1.0,) * 9, 0.0)  # 11, 12, 1
RING = whole_ring(free_diameter_mm=13.0, closed_diameter_mm=11.0, spring_mn_per_mm=0.8162, gap_clock=12.0)


def path(
    entry: float,
    *,
    support: tuple[float, ...] = THREE_LOST,
    sense: Any = "clockwise",
    contents: Any = "empty",
    friction: float = 0.1,
    stages: int = 6,
    spring: float = 0.8162,
) -> Path:
    return thread(
        bag=Bag(support, HIGH, contents),
        ring=replace(RING, spring_mn_per_mm=spring),
        entry_clock=entry,
        sense=sense,
        setting=replace(SETTING, friction=friction),
        stages=stages,
    )


def test_leading_end_runs_round_and_the_ring_ends_up_whole() -> None:
    found = path(12.0, support=HEALTHY)
    lead = np.unwrap(np.deg2rad([30 * stage.lead_clock for stage in found.stages]))
    assert np.all(np.diff(lead) > 0)
    assert [stage.inside for stage in found.stages] == pytest.approx([n / 6 for n in range(1, 7)])
    assert found.held
    last = found.stages[-1].outline_mm
    length = np.hypot(*np.diff(last, axis=1)).sum()
    assert length == pytest.approx(np.pi * 11, rel=1e-3)
    # 34.6 mm on an equator of 31.4 mm: the ends pass each other by a tenth of it, half on either side of the gap's hour
    assert found.gap_clock == pytest.approx(0.6, abs=1e-6)


def test_before_the_wall_is_reached_nothing_is_loaded() -> None:
    found = path(12.0, support=HEALTHY, stages=10)
    first = found.stages[0]
    assert first.push_mn == 0
    assert first.feed_mn == pytest.approx(0, abs=1e-4)
    assert first.bag.displacement_mm == pytest.approx(0, abs=1e-6)
    assert max(first.bag.load_mn) == pytest.approx(HIGH.resting_load_mn, rel=1e-4)


@pytest.mark.parametrize("contents", ["empty", "lens"])
def test_hand_and_zonule_bear_the_same(contents: str) -> None:
    found = path(3.0, contents=contents)
    springs = HIGH
    for stage in found.stages:
        assert stage.state == "held"
        at = stage.bag.outline_mm
        stations = at.shape[1]
        outward = np.stack([np.sin(t := (np.arange(stations) + 0.5) * 2 * np.pi / stations), np.cos(t)])
        reach = 6.5 * outward - at
        length = np.hypot(*reach)
        hour = np.mod(np.floor((np.arange(stations) + 0.5) * 12 / stations + 0.5).astype(int), 12)
        pull = np.asarray(THREE_LOST)[hour] * float(springs.total_stiffness_mn_per_mm) / stations
        total = (pull * np.maximum(length - 1.3, 0) / length * reach).sum(axis=1)
        assert np.hypot(*total) == pytest.approx(stage.feed_mn, abs=2e-3)


def test_friction_drags_the_bag_the_way_the_ring_runs() -> None:
    smooth, rough = path(3.0, support=HEALTHY, friction=0.0), path(3.0, support=HEALTHY, friction=0.3)
    assert rough.stages[-1].drag_mn_mm > smooth.stages[-1].drag_mn_mm
    assert smooth.stages[-1].drag_mn_mm == pytest.approx(0, abs=0.5)


def test_other_eye_is_the_mirror_image_to_the_last_bit() -> None:
    support = (0.2, 0.0, 1.0, 0.9, 1.0, 0.7, 1.0, 1.0, 0.8, 1.0, 1.0, 0.0)
    one = path(2.5, support=support)
    other = path(mirror_hour(2.5), support=mirror_by_hour(support), sense="counter-clockwise")
    assert other.gap_clock == mirror_hour(one.gap_clock)
    for a, b in zip(one.stages, other.stages, strict=True):
        assert b.lead_clock == mirror_hour(a.lead_clock)
        assert b.bag.load_mn == mirror_by_hour(a.bag.load_mn)
        assert b.feed_mn == a.feed_mn


def test_stiffer_rings_load_more() -> None:
    soft, stiff = path(6.0), path(6.0, spring=4.5501)
    assert max(stiff.worst.bag.load_mn) > 1.5 * max(soft.worst.bag.load_mn)


def test_gentlest_entry_is_away_from_the_dialysis() -> None:
    # direction only; entering at the dialysis itself loads its neighbours most
    paths = every_entry(
        bag=Bag(THREE_LOST, HIGH, "empty"),
        ring=RING,
        entry_clocks=(12.0, 3.0, 6.0),
        setting=SETTING,
        stages=4,
    )
    assert len(paths) == 6
    loads = [max(found.worst.bag.load_mn) for found in paths]
    assert loads == sorted(loads)
    assert paths[0].entry_clock == 6.0
    assert paths[-1].entry_clock == 12.0


def test_nothing_is_named_held_when_no_zonule_is_left() -> None:
    found = path(12.0, support=(0.0,) * 12, stages=3)
    assert not found.held
    for stage in found.stages:
        assert np.isfinite(stage.bag.load_mn).all()

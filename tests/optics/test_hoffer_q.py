"""Hoffer Q step by step. Expected values: evidence on lens power, sections 1.3 and 8.2 (computed independently)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from forestay.optics.hoffer_q import HofferQConstants, depth_beyond_constant_mm

PERSONAL = 5.198688
"""Personal depth at A 118.4 (evidence, head of table 8.1)."""


@pytest.fixture(scope="module")
def depth(read: Callable[[type[Any]], Any]) -> Callable[[float, float], float]:
    def found(length: float, k: float) -> float:
        beyond = depth_beyond_constant_mm(axial_length_mm=length, k_d=k, constants=read(HofferQConstants))
        return PERSONAL + float(beyond)

    return found


@pytest.mark.parametrize(
    ("length", "k", "expected"),
    [
        (23.5, 44.0, 5.13958),
        (15.0, 44.0, 4.0367),
        (18.5, 44.0, 4.0367),
        (22.9, 44.0, 4.9612),
        (23.0, 44.0, 4.9907),
        (23.0001, 44.0, 4.9896),
        (31.0, 44.0, 6.8356),
        (35.0, 44.0, 6.8356),
        (21.0, 36.0, 4.0385),
        (21.0, 50.0, 4.9309),
    ],
)
def test_chamber_depth(depth: Callable[[float, float], float], length: float, k: float, expected: float) -> None:
    assert depth(length, k) == pytest.approx(expected, abs=6e-5)


def test_the_step_at_23_mm_is_a_thousandth(depth: Callable[[float, float], float]) -> None:
    assert depth(23.0, 44.0) - depth(23.0 + 1e-9, 44.0) == pytest.approx(0.001, abs=2e-4)


def test_no_limit_is_set_on_the_chamber_depth(depth: Callable[[float, float], float]) -> None:
    assert depth(30.5, 46.0) > 6.5

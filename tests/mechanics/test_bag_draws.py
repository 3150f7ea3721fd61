"""Draws of one empty bag: single answers, refusals, and a sweep of random eyes without a NaN."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from forestay.errors import InvalidInput
from forestay.mechanics.bag import rest
from forestay.mechanics.bag_draws import rest_draws
from forestay.mechanics.bag_model import Load
from tests.mechanics.rim_cases import CONSTANTS, HEALTHY, RIM, RINGS, SOFT, bag, hooks, lost


def test_a_draw_is_a_bag() -> None:
    one = bag(ring=SOFT, rim=None, load=Load("radial", 3.0, 1.0))
    support = np.array([HEALTHY, lost(0, 1), (0.0,) * 12]).T
    found = rest_draws(
        bag=one, support=support, stiffness_scale=[1.0, 8.0, 1.0], constants=CONSTANTS, ring_constants=RINGS
    )
    assert found.state.tolist() == ["held", "held", "unsupported"]
    stiff = replace(one.springs, total_stiffness_mn_per_mm=84.8)
    single = rest(
        bag=replace(one, support=lost(0, 1), springs=stiff), constants=CONSTANTS, ring_constants=RINGS, stations=72
    )
    assert (found.x_mm[1], found.y_mm[1]) == (single.x_mm, single.y_mm)
    assert tuple(found.load_mn[:, 1]) == single.load_mn
    assert found.failed == 0


@pytest.mark.parametrize(
    ("keys", "support", "told"),
    [
        ({"rim": RIM}, np.ones((12, 2)), "one loop"),
        ({"rim": None, "contents": "lens"}, np.ones((12, 2)), "empty bag"),
        ({"rim": None, "holds": hooks(3.0, at="equator")}, np.ones((12, 2)), "without holds"),
        ({"rim": None}, np.ones(12), "12 rows"),
        ({"rim": None}, np.full((12, 2), 1.5), "from 0 to 1"),
    ],
)
def test_what_draws_do_not_take_is_refused(keys: dict[str, object], support: np.ndarray, told: str) -> None:
    with pytest.raises(InvalidInput, match=told):
        rest_draws(bag=bag(**keys), support=support, stiffness_scale=1.0, constants=CONSTANTS, ring_constants=RINGS)


def test_stations_must_be_a_multiple_of_24() -> None:
    with pytest.raises(InvalidInput, match="24"):
        rest_draws(
            bag=bag(rim=None), support=np.ones((12, 1)), stiffness_scale=1.0, constants=CONSTANTS,
            ring_constants=RINGS, stations=100,
        )  # fmt: skip


def test_random_eyes_never_answer_nan() -> None:
    # the sweep of 100,000 eyes is `python -m benchmarks.rim`; this is its small, fixed part
    draw = np.random.default_rng(20)
    for ring, kind in ((SOFT, "radial"), (None, "tangential"), (SOFT, "torque")):
        support = draw.uniform(0, 1, (12, 40)) * (draw.uniform(size=(12, 40)) > 0.25)
        found = rest_draws(
            bag=bag(ring=ring, rim=None, load=Load(kind, float(draw.uniform(0.1, 12)), float(draw.uniform(0, 3)))),
            support=support, stiffness_scale=draw.uniform(0.5, 10, 40), constants=CONSTANTS, ring_constants=RINGS,
        )  # fmt: skip
        assert set(found.state.tolist()) <= {"held", "collapsed", "unsupported"}
        for values in (found.x_mm, found.y_mm, found.load_mn, found.peak_stretch_mm):
            assert np.isfinite(values).all()

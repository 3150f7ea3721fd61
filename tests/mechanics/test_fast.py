"""The compiled solvers keep the numpy solvers' contract: the same answers to 1e-9, and nothing compiled unless asked."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from benchmarks.ring import SEED, random_eye
from forestay.mechanics import disc, fast, fast_compile, ring_path
from forestay.mechanics.bag import rest
from forestay.mechanics.bag_draws import rest_draws
from forestay.mechanics.bag_model import Bag, BagState, Load
from forestay.mechanics.loop import minimise
from forestay.mechanics.open_ring_bag import rest as place
from forestay.mechanics.open_ring_model import OpenRingState, segment
from forestay.mechanics.open_ring_pull import ringed
from tests.mechanics.rim_cases import CONSTANTS, HIGH, LOW, RIM, RINGS, SHEETS, SOFT, STIFF, bag, hooks, lost, springs
from tests.mechanics.test_open_ring_bag import HEALTHY, SETTING, THREE_LOST
from tests.mechanics.test_open_ring_bag import HIGH as TIGHT
from tests.mechanics.test_open_ring_bag import LOW as LOOSE
from tests.mechanics.test_open_ring_bag import ring as open_ring

ALIKE = 1e-9  # mm, mN and radians

PLACED = replace(SETTING, stations=48)
UNEVEN = (0.0, 0.4, 1.0, 0.8, 0.9, 1.0, 0.6, 0.7, 1.0, 0.9, 0.8, 0.0)
PIECES = segment(arc_deg=120, clock=1.0, free_diameter_mm=12.0, spring_mn_per_mm=2.0)


@pytest.fixture(scope="module", autouse=True)
def compiled() -> Iterator[None]:
    """The compiled solvers, and numpy again afterwards."""
    assert fast.start(), "the extra `fast` belongs to the checks"
    fast.stop()
    yield
    fast.stop()


def both(ask: Any) -> tuple[Any, Any]:
    """The answer in numpy and compiled."""
    fast.stop()
    plain = ask()
    fast.start()
    quick = ask()
    fast.stop()
    return plain, quick


def settle(one: Bag) -> BagState:
    return rest(bag=one, constants=CONSTANTS, ring_constants=RINGS, stations=72)


CASES = [
    bag(lost(*range(m)), k, ring=ring, rim=rim)
    for m, k, ring, rim in product((0, 2, 3), (LOW, HIGH), (None, SOFT, STIFF), (None, RIM))
] + [
    bag(lost(0, 1), ring=replace(SOFT, gap_clock=2.0), rim=None, load=Load("radial", 6.0, 1.0)),
    bag(lost(0, 1), rim=None, ring=SOFT, load=Load("torque", 12.0, 2.0)),
    bag(lost(10, 11, 0, 1), holds=hooks(10.5, 11.5, 12.5, at="rim")),
    bag(lost(10, 11, 0, 1), holds=hooks(10.5, 11.5, 12.5, at="equator")),
    bag(lost(0, 1, 2), sheets=SHEETS, bed_mn_per_mm=2.0, load=Load("radial", 8.0, 0.5, at="rim")),
    bag(lost(0), sheets=SHEETS, load=Load("tangential", 3.0, 0.5)),
]


@pytest.mark.parametrize("number", range(len(CASES)))
def test_a_bag_answers_the_same(number: int) -> None:
    plain, quick = both(lambda: settle(CASES[number]))
    assert (plain.state, plain.converged) == (quick.state, quick.converged)
    assert plain.state == "held"
    assert np.abs(plain.outline_mm - quick.outline_mm).max() < ALIKE
    assert plain.load_mn == pytest.approx(quick.load_mn, abs=ALIKE)
    assert plain.hold_mn == pytest.approx(quick.hold_mn, abs=ALIKE)
    assert plain.peak_stretch_mm == pytest.approx(quick.peak_stretch_mm, abs=ALIKE)
    if plain.margin_mm is not None:
        assert np.abs(plain.margin_mm - quick.margin_mm).max() < ALIKE


def test_collapsed_and_unsupported_are_the_same_states() -> None:
    for one in (bag(lost(0, 1, 2, 3), rim=None), bag(lost(*range(5))), bag((0.0,) * 12, holds=hooks(3.0, at="rim"))):
        plain, quick = both(lambda one=one: settle(one))
        assert plain.state == quick.state != "held"


def test_a_turn_beyond_what_the_bag_bears_is_the_same_state() -> None:
    turned = {"rim": None, "load": Load("torque", 12.0, 200.0)}
    for one in (bag(lost(0, 1), contents="lens", **turned), bag(lost(0, 1), **turned)):
        plain, quick = both(lambda one=one: settle(one))
        assert plain.state == quick.state == "overloaded"
    support = np.array([lost(), lost(0, 1), (0.0,) * 12]).T
    ask = {"support": support, "stiffness_scale": 1.0, "constants": CONSTANTS, "ring_constants": RINGS, "stations": 24}
    plain, quick = both(lambda: rest_draws(bag=bag(**turned), **ask))
    assert list(plain.state) == list(quick.state) == ["overloaded", "overloaded", "unsupported"]
    assert plain.failed == quick.failed == 0
    plain, quick = both(
        lambda: disc.equilibrium(
            support=support, load_x_mn=0.1, load_y_mn=0.2, torque_mn_mm=1000.0, parameters=springs()
        )
    )
    assert list(plain.state) == list(quick.state) == ["overloaded", "overloaded", "unsupported"]


@pytest.mark.parametrize(
    ("shape", "clocks"), [((), ()), ((1,), ()), ((700,), ()), ((3000,), ()), ((300,), (2.5, 9.25))]
)
def test_the_disc_answers_the_same(shape: tuple[int, ...], clocks: tuple[float, ...]) -> None:
    draw = np.random.default_rng(5)
    support = draw.choice([0.0, 0.3, 1.0], (12, *shape))
    load = draw.normal(size=(3, *shape))
    given = replace(
        springs(), total_stiffness_mn_per_mm=draw.uniform(5, 90, shape), bag_radius_mm=draw.uniform(4, 6, shape)
    )

    def ask() -> disc.DiscState:
        return disc.equilibrium(
            support=support, load_x_mn=load[0], load_y_mn=load[1], torque_mn_mm=load[2], parameters=given, holds=holds
        )

    holds = hooks(*clocks, at="equator")
    plain, quick = both(ask)
    assert np.array_equal(plain.state, quick.state)
    held = np.asarray(plain.state) == "held"
    for name in ("x_mm", "y_mm", "rotation_rad", "stretch_mm", "tension_mn", "hold_tension_mn"):
        one, other = np.asarray(getattr(plain, name)), np.asarray(getattr(quick, name))
        assert one.shape == other.shape
        assert np.abs(one - other)[..., held].max(initial=0.0) < ALIKE
    assert quick.hold_tension_mn.shape == plain.hold_tension_mn.shape


def test_the_compiled_disc_is_its_own_mirror_image() -> None:
    fast.start()
    support = np.random.default_rng(6).uniform(0, 1, (12, 50))
    other = support[[0, *range(11, 0, -1)]]
    right, left = (
        disc.equilibrium(support=s, load_x_mn=x, load_y_mn=0.2, torque_mn_mm=t, parameters=springs())
        for s, x, t in ((support, 0.3, 1.0), (other, -0.3, -1.0))
    )
    assert np.array_equal(right.x_mm, -left.x_mm)
    assert np.array_equal(right.tension_mn, left.tension_mn[[0, *range(11, 0, -1)]])


@pytest.mark.parametrize("load", [None, Load("radial", 3.0, 1.0), Load("torque", 12.0, 1.0)])
@pytest.mark.parametrize("ring", [SOFT, None])
def test_draws_answer_the_same(ring: object, load: Load | None) -> None:
    draw = np.random.default_rng(7)
    support = draw.uniform(0.3, 1, (12, 37))
    for n in range(37):
        support[(draw.integers(0, 12) + np.arange(draw.integers(0, 4))) % 12, n] = 0
    support[:, 5] = 0
    scale = draw.uniform(1, 8, 37)

    def ask() -> Any:
        return rest_draws(
            bag=bag(ring=ring, load=load, rim=None), support=support, stiffness_scale=scale, constants=CONSTANTS,
            ring_constants=RINGS,
        )  # fmt: skip

    plain, quick = both(ask)
    assert np.array_equal(plain.state, quick.state)
    assert plain.state[5] == "unsupported"
    held = plain.state == "held"
    assert held.sum() > 20
    # without a ring the bag slides almost freely near collapse: there its place is known to the solver's residual only
    alike = ALIKE if ring is not None else 1e-6
    for name in ("x_mm", "y_mm", "load_mn", "peak_stretch_mm"):
        assert np.abs(getattr(plain, name) - getattr(quick, name))[..., held].max() < alike
    if ring is not None:
        assert plain.failed == quick.failed == 0


def test_a_model_that_the_kernels_do_not_know_goes_to_numpy() -> None:
    class Bowl:
        def energy(self, at: np.ndarray) -> float:
            return 0.5 * float((at**2).sum())

        def derivatives(self, at: np.ndarray) -> tuple[np.ndarray, Any]:
            return at, self

        stiffest = 1.0

        def solve(self, right: np.ndarray, shift: float) -> np.ndarray:
            return right / (1 + shift)

    start = np.full((2, 24), 0.3)
    fast.start()
    found = fast.minimise(Bowl(), start_mm=start, force_scale_mn=1.0)
    assert np.array_equal(found.at_mm, minimise(Bowl(), start_mm=start, force_scale_mn=1.0).at_mm)
    assert np.abs(found.at_mm).max() < 1e-12


def test_nothing_is_compiled_or_imported_unless_asked() -> None:
    code = (
        "import sys; from forestay.mechanics import bag, bag_draws, disc, manoeuvre, unzip; from forestay.mechanics import fast;"
        "assert not fast.in_use(); assert 'numba' not in sys.modules and 'llvmlite' not in sys.modules"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)


def test_no_two_processes_compile_the_same_at_once(tmp_path: Path) -> None:
    with fast_compile.claimed("kernel", wait=True, folder=tmp_path / "kept") as mine:
        assert mine
        with fast_compile.claimed("kernel", wait=False, folder=tmp_path / "kept") as also:
            assert not also
        with fast_compile.claimed("another", wait=False, folder=tmp_path / "kept") as other:
            assert other
    with fast_compile.claimed("kernel", wait=False, folder=tmp_path / "kept") as again:
        assert again
    (tmp_path / "file").write_text("not a folder")
    with fast_compile.claimed("kernel", wait=False, folder=tmp_path / "file") as alone:
        assert alone  # nowhere to keep anything: everyone for himself


def alike(plain: OpenRingState, quick: OpenRingState, within: float = ALIKE) -> None:
    """Every number of two answers."""
    assert (plain.state, plain.smoothed) == (quick.state, quick.smoothed)
    assert (plain.bag.converged, plain.bag.iterations) == (quick.bag.converged, quick.bag.iterations)
    assert np.abs(plain.bag.outline_mm - quick.bag.outline_mm).max() < within
    assert plain.bag.load_mn == pytest.approx(quick.bag.load_mn, abs=within)
    assert plain.energy_mn_mm == pytest.approx(quick.energy_mn_mm, abs=within)
    for one, other in zip(plain.pieces, quick.pieces, strict=True):
        assert np.abs(one.outline_mm - other.outline_mm).max() < within
        assert np.abs(one.push_mn - other.push_mn).max() < within
        assert one.suture_mn == pytest.approx(other.suture_mn, abs=within)


@pytest.mark.parametrize("friction", [0.0, 0.1, 0.3])
@pytest.mark.parametrize("contents", ["empty", "lens"])
def test_a_ring_answers_the_same(contents: str, friction: float) -> None:
    setting = replace(PLACED, friction=friction)
    for support, held in ((HEALTHY, TIGHT), (THREE_LOST, LOOSE), (UNEVEN, TIGHT)):
        bag = Bag(support, held, contents)  # type: ignore[arg-type]
        alike(*both(lambda bag=bag: place(bag=bag, pieces=(open_ring(4.5, 1.9),), setting=setting)))


def test_sutures_and_pieces_of_ring_answer_the_same() -> None:
    bag = Bag(THREE_LOST, TIGHT, "empty")
    for pieces in (
        (PIECES,),
        (PIECES, replace(PIECES, middle_clock=7.0, sutured_clocks=(7.0,))),
        (open_ring(9.0, sutured=(12.0,)),),
    ):
        alike(*both(lambda pieces=pieces: place(bag=bag, pieces=pieces, setting=PLACED)))


@pytest.mark.parametrize(
    "load", [Load("radial", 2.0, 0.7), Load("tangential", 4.5, 0.7, clockwise=False), Load("torque", 12.0, 1.0)]
)
def test_pulls_answer_the_same(load: Load) -> None:
    bag = Bag(UNEVEN, LOOSE, "empty")
    alike(*both(lambda: ringed(bag=bag, piece=open_ring(7.5, 1.9), setting=PLACED).under(load)))


def test_threading_answers_the_same() -> None:
    def ask() -> ring_path.Path:
        return ring_path.thread(
            bag=Bag(THREE_LOST, TIGHT, "empty"),
            ring=open_ring(12.0),
            entry_clock=4.0,
            sense="clockwise",
            setting=PLACED,
            stages=5,
        )

    plain, quick = both(ask)
    for one, other in zip(plain.stages, quick.stages, strict=True):
        assert one.state == other.state
        assert one.feed_mn == pytest.approx(other.feed_mn, abs=ALIKE)
        assert one.drag_mn_mm == pytest.approx(other.drag_mn_mm, abs=ALIKE)
        assert np.abs(one.outline_mm - other.outline_mm).max() < ALIKE


def test_a_bag_that_nothing_holds_is_named_the_same() -> None:
    plain, quick = both(lambda: place(bag=Bag((0.0,) * 12, TIGHT, "empty"), pieces=(open_ring(12.0),), setting=PLACED))
    assert plain.state == quick.state == "unsupported"


def test_random_eyes_answer_the_same() -> None:
    for eye in range(8):
        asked = random_eye(np.random.default_rng([SEED, eye]), 48)
        alike(*both(lambda asked=asked: place(**asked)))


def test_a_mirrored_eye_answers_to_the_last_bit() -> None:
    bag, piece = Bag(UNEVEN, TIGHT, "empty"), open_ring(2.5, 1.9)
    one = place(bag=bag, pieces=(piece,), setting=PLACED)
    other = place(bag=bag.mirrored(), pieces=(piece.mirrored(),), setting=PLACED)
    assert one.bag.x_mm == -other.bag.x_mm
    assert np.array_equal(one.bag.outline_mm, other.mirrored().bag.outline_mm)

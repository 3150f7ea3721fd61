"""The search for support asked of the planar bag: what a support does at a step, by :func:`forestay.mechanics.bag.rest`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from forestay.mechanics import bag as mechanics
from forestay.mechanics import disc
from forestay.mechanics.bag_chain import pull
from forestay.mechanics.bag_model import Bag, BagConstants, BagState, Contents, Load
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.support_search_model import Outcome, Solve, Step, Support
from forestay.mechanics.zonule import Hold, ZonuleParameters

SEARCH_STATIONS = 72  # round the equator of an empty bag; 144 changes the order of nothing that differs by 1 %


@dataclass(frozen=True)
class BagStep:
    """One step: what is in the bag, and the loads that it may put on it (of several the worst counts)."""

    key: str
    contents: Contents
    loads: tuple[Load, ...] = ()
    open: bool = True

    @property
    def step(self) -> Step:
        """The step as the search knows it."""
        return Step(self.key, self.contents == "empty", self.open)


@dataclass(frozen=True)
class Kit:
    """What can be put in: ``hook`` and ``segment`` with any clock hour in them, ``suture`` that fixes a ring, ``ring``."""

    hook: Hold
    segment: Hold
    suture: Hold
    ring: Ring

    def holds(self, support: Support) -> tuple[Hold, ...]:
        """What holds the equator from outside."""
        fixed = () if support.fixed_at is None else (support.fixed_at,)
        return tuple(
            replace(kind, clock=clock)
            for kind, clocks in ((self.hook, support.hooks), (self.segment, support.segments), (self.suture, fixed))
            for clock in clocks
        )


def bag_solver(
    *,
    zonule: Sequence[float],
    springs: ZonuleParameters,
    steps: Sequence[BagStep],
    kit: Kit,
    borne_stretch: float,
    constants: BagConstants,
    ring_constants: RingConstants,
    stations: int = SEARCH_STATIONS,
) -> Solve:
    """A model for :func:`forestay.mechanics.support_search.search`.

    Parameters: ``zonule`` 12 shares of healthy support, ``springs`` of the bag, ``steps`` with their loads, ``kit``,
    ``borne_stretch`` what a fibre bears as a multiple of its resting stretch, ``constants``, ``ring_constants``,
    ``stations``. Result: a function of support and step's name. Displacement is that at rest; peak load and reserve
    are those of the worst load; reserve = 1 - peak stretch / (borne x resting stretch). With the lens in the bag a
    ring changes nothing. Comparative within one eye.
    """
    by_key = {step.key: step for step in steps}
    shares = tuple(float(share) for share in zonule)
    pulls = tuple(dict.fromkeys(load for step in steps if step.contents == "lens" for load in step.loads))
    resting, prestretch = float(springs.resting_load_mn), float(springs.prestretch_mm)
    empty: dict[tuple[tuple[Hold, ...], bool, Load | None], BagState] = {}
    full: dict[tuple[Hold, ...], dict[Load | None, _Found]] = {}

    def emptied(holds: tuple[Hold, ...], ring: bool, load: Load | None) -> BagState:
        if (holds, ring, load) not in empty:
            empty[holds, ring, load] = mechanics.rest(
                bag=Bag(shares, springs, "empty", kit.ring if ring else None, holds, load),
                constants=constants,
                ring_constants=ring_constants,
                stations=stations,
                alone=None if load is None else emptied(holds, ring, None),
            )
        return empty[holds, ring, load]

    def found(support: Support, contents: Contents, load: Load | None) -> _Found:
        holds = kit.holds(support)
        if contents == "lens":
            if holds not in full:
                full[holds] = _with_lens(Bag(shares, springs, "lens", None, holds), (None, *pulls))
            return full[holds][load]
        state = emptied(holds, support.ring, load)
        return _Found(state.state == "held", state.displacement_mm, max(state.load_mn), state.peak_stretch_mm)

    def solve(support: Support, key: str) -> Outcome:
        step = by_key[key]
        alone = found(support, step.contents, None)
        loaded = [found(support, step.contents, load) for load in step.loads] if alone.held else []
        if not alone.held or not all(one.held for one in loaded):
            return Outcome(False, alone.displacement_mm, 0.0, 0.0)
        worst = loaded or [alone]
        stretch = max(one.peak_stretch_mm for one in worst) / prestretch
        peak = max(one.peak_load_mn for one in worst) / resting
        return Outcome(True, alone.displacement_mm, peak, 1 - stretch / borne_stretch)

    return solve


@dataclass(frozen=True)
class _Found:
    """What the search needs of one answer."""

    held: bool
    displacement_mm: float
    peak_load_mn: float
    peak_stretch_mm: float


def _with_lens(bag: Bag, loads: Sequence[Load | None]) -> dict[Load | None, _Found]:
    """The rigid disc under every load at once, each in the image that comes first, so that both eyes answer alike."""
    if not any(bag.support) and not bag.holds:
        return dict.fromkeys(loads, _Found(False, 0.0, 0.0, 0.0))
    groups: dict[tuple[object, ...], list[tuple[Load | None, Bag]]] = {}
    for load in loads:
        given = replace(bag, load=load).rounded()
        image = min(given, given.mirrored(), key=lambda b: b.key())
        groups.setdefault((image.support, image.holds), []).append((load, image))
    answers: dict[Load | None, _Found] = {}
    for members in groups.values():
        first = members[0][1]
        pushes = np.array([_push(image) for _, image in members]).T
        state = disc.equilibrium(
            support=first.support,
            load_x_mn=pushes[0],
            load_y_mn=pushes[1],
            torque_mn_mm=pushes[2],
            parameters=bag.springs,
            holds=first.holds,
        )
        stretch = np.where(np.asarray(first.support)[:, None] > 0, state.stretch_mm, 0.0).max(axis=0)
        peak, moved = np.asarray(state.tension_mn).max(axis=0), np.asarray(state.displacement_mm)
        for i, (load, _) in enumerate(members):
            held = bool(np.asarray(state.state)[i] == "held")
            answers[load] = _Found(held, float(moved[i]), float(peak[i]), float(stretch[i]))
    return answers


def _push(bag: Bag) -> tuple[float, float, float]:
    """Force [mN] and turning moment [mN mm] of the bag's load on a rigid disc."""
    load = bag.load
    if load is None:
        return 0.0, 0.0, 0.0
    x, y = (0.0, 0.0) if load.kind == "torque" else pull(load)
    arm = 0.0 if load.kind == "radial" else float(bag.springs.bag_radius_mm)
    return x, y, (-1 if load.clockwise else 1) * load.force_mn * arm

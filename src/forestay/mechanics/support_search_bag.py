"""The search for support asked of the planar bag: what a support does at a step.

Without a ring by :func:`forestay.mechanics.bag.rest`; with one by :func:`forestay.mechanics.open_ring_pull.ringed`: the
ring is the open one that it is, its ends where it is laid.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from forestay.frame import HOURS
from forestay.mechanics import bag as mechanics
from forestay.mechanics import disc
from forestay.mechanics.bag_chain import pull
from forestay.mechanics.bag_model import Bag, BagConstants, BagState, Contents, Load
from forestay.mechanics.open_ring_bag import Setting
from forestay.mechanics.open_ring_model import OpenRingConstants, Piece, RingState, whole_ring
from forestay.mechanics.open_ring_pull import ANSWER_STATIONS, RESTS, RingedBag, ringed
from forestay.mechanics.ring_loop import Ring, RingConstants, closed_diameter_mm
from forestay.mechanics.support_search_model import Outcome, Solve, Step, Support
from forestay.mechanics.tie import Knot, along, drawn
from forestay.mechanics.zonule import Hold, ZonuleParameters

SEARCH_STATIONS = 72  # round the equator of an empty bag; 144 changes the order of nothing that differs by 1 %


@dataclass(frozen=True)
class BagStep:
    """One step: what is in the bag, and the loads that it may put on it (of several the worst counts)."""

    key: str
    contents: Contents
    loads: tuple[Load, ...] = ()
    open: bool = True
    left: bool = False

    @property
    def step(self) -> Step:
        """The step as the search knows it."""
        return Step(self.key, self.contents == "empty", self.open, self.left)


@dataclass(frozen=True)
class Kit:
    """What can be put in: ``hook`` and ``segment`` with any clock hour in them; ``suture`` that fixes a ring, as it holds
    the bag while the lens is in it; ``ring``, open, with its ``opened`` constants (its gap is that of the support)."""

    hook: Hold
    segment: Hold
    suture: Hold
    ring: Ring
    opened: OpenRingConstants

    def holds(self, support: Support, contents: Contents, drawn_mm: float = 0.0) -> tuple[Hold, ...]:
        """What holds the equator from outside, sutures drawn so far. In the empty bag a ring's own suture pulls at the
        ring."""
        segment, suture = (replace(one, overpull_mm=one.overpull_mm + drawn_mm) for one in (self.segment, self.suture))
        fixed = sutured_at(support) if contents == "lens" and support.fixed_at is not None else ()
        return tuple(
            replace(kind, clock=clock)
            for kind, clocks in ((self.hook, support.hooks), (segment, support.segments), (suture, fixed))
            for clock in clocks
        )


def sutured_at(support: Support) -> tuple[float, ...]:
    """Clock hours at which a support is sutured to the sclera."""
    return support.segments if support.fixed_at is None else (*support.segments, support.fixed_at)


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
    ring_stations: int = ANSWER_STATIONS,
) -> Solve:
    """A model for :func:`forestay.mechanics.support_search.search`.

    Parameters: ``zonule`` 12 shares of healthy support, ``springs`` of the bag, ``steps`` with their loads, ``kit``,
    ``borne_stretch`` what a fibre bears as a multiple of its resting stretch, ``constants``, ``ring_constants``,
    ``stations`` round an empty bag without a ring, ``ring_stations`` with one (multiples of 24). Result: a function of
    support and step's name. Displacement is that at rest; peak load and reserve are those of the worst load; reserve =
    1 - peak stretch / (borne x resting stretch). A ring in the empty bag is let go where it is laid, then comes the
    load: it bends, stands off, turns as friction lets it, and one that finds no rest does not hold. With the lens in the
    bag a ring changes nothing. What is sutured is tied with what is in the bag then, before any load: its sutures are drawn
    until the bag is centred (:mod:`forestay.mechanics.tie`), and tied anew once the bag is empty. Comparative within one eye.
    """
    eye = _Eye(
        shares=tuple(float(share) for share in zonule),
        springs=springs,
        pulls=tuple(dict.fromkeys(load for step in steps if step.contents == "lens" for load in step.loads)),
        kit=kit,
        setting=Setting(constants, ring_constants, kit.opened, kit.opened.friction, ring_stations),
        stations=stations,
    )
    by_key = {step.key: step for step in steps}
    resting, prestretch = float(springs.resting_load_mn), float(springs.prestretch_mm)

    def solve(support: Support, key: str) -> Outcome:
        step = by_key[key]
        alone = eye.found(support, step.contents, None)
        loaded = [eye.found(support, step.contents, load) for load in step.loads] if alone.held else []
        fate = max((alone, *loaded), key=lambda one: FATES.index(one.ring)).ring
        if not alone.held or not all(one.held for one in loaded):
            return Outcome(False, alone.displacement_mm, 0.0, 0.0, fate, alone.knot)
        worst = loaded or [alone]
        stretch = max(one.peak_stretch_mm for one in worst) / prestretch
        peak = max(one.peak_load_mn for one in worst) / resting
        return Outcome(True, alone.displacement_mm, peak, 1 - stretch / borne_stretch, fate, alone.knot)

    return solve


FATES: tuple[RingState | None, ...] = (None, "held", "slid", "unsupported", "collapsed", "escaped")
"""What can become of a ring, the worst last."""


@dataclass
class _Eye:
    """One eye with what can be put in, under every load; each answer is worked out once."""

    shares: tuple[float, ...]
    springs: ZonuleParameters
    pulls: tuple[Load, ...]
    kit: Kit
    setting: Setting
    stations: int
    laid: dict[Support, RingedBag] = field(default_factory=dict)
    ringed: dict[tuple[Support, Load | None], _Found] = field(default_factory=dict)
    knots: dict[tuple[Support, Contents], Knot | None] = field(default_factory=dict)
    rests: dict[tuple[tuple[Hold, ...], Contents, Load | None], BagState] = field(default_factory=dict)
    full: dict[tuple[Hold, ...], dict[Load | None, _Found]] = field(default_factory=dict)

    def found(self, support: Support, contents: Contents, load: Load | None) -> _Found:
        """The rest with that support under that load; sutures are tied before it, until the bag is centred."""
        if support.ring and contents == "empty":
            return self._under(support, load)
        knot = self._knot(support, contents)
        holds = self.kit.holds(support, contents, knot.drawn_mm if knot else 0.0)
        if contents == "empty":
            return _found(self._rest(holds, contents, load), None, knot)
        if holds not in self.full:
            self.full[holds] = _with_lens(Bag(self.shares, self.springs, "lens", None, holds), (None, *self.pulls))
        return replace(self.full[holds][load], knot=knot)

    def _rest(self, holds: tuple[Hold, ...], contents: Contents, load: Load | None) -> BagState:
        """The rest of the bag with instruments and no ring."""
        key = holds, contents, load
        if key not in self.rests:
            self.rests[key] = mechanics.rest(
                bag=Bag(self.shares, self.springs, contents, None, holds, load),
                constants=self.setting.bag,
                ring_constants=self.setting.rings,
                stations=self.stations,
                alone=None if load is None else self._rest(holds, contents, None),
            )
        return self.rests[key]

    def _knot(self, support: Support, contents: Contents) -> Knot | None:
        """How far the sutures of a support without a ring in the empty bag are drawn; None where it has none."""
        if (support, contents) not in self.knots:
            self.knots[support, contents] = self._drawn(support, contents)
        return self.knots[support, contents]

    def _drawn(self, support: Support, contents: Contents) -> Knot | None:
        towards = along(sutured_at(support))
        if towards is None:
            return None

        def shift_mm(draw: float) -> float | None:
            found = self._rest(self.kit.holds(support, contents, draw), contents, None)
            return found.x_mm * float(towards[0]) + found.y_mm * float(towards[1]) if found.converged else None

        return drawn(shift_mm=shift_mm, from_mm=0.0, limit_mm=float(self.springs.fibre_length_mm))

    def _under(self, support: Support, load: Load | None) -> _Found:
        """The empty bag with the open ring of a support in it."""
        if (support, load) not in self.ringed:
            if support not in self.laid:
                self.laid[support] = ringed(
                    bag=self._bag(support),
                    piece=self._piece(support),
                    setting=self.setting,
                    tie=support.fixed_at is not None,
                )
            ring = self.laid[support]
            if load is None:
                alone = ring.alone
                found = _found(alone.bag, alone.state, alone.knot)
            else:
                peak = ring.peak_under(load)
                found = _Found(peak.state in RESTS, 0.0, peak.load_mn, peak.stretch_mm, peak.state)
            self.ringed[support, load] = found
        return self.ringed[support, load]

    def _bag(self, support: Support) -> Bag:
        return Bag(self.shares, self.springs, "empty", None, self.kit.holds(support, "empty"))

    def _piece(self, support: Support) -> Piece:
        free = self.kit.ring.free_diameter_mm
        return whole_ring(
            free_diameter_mm=free,
            closed_diameter_mm=closed_diameter_mm(free_diameter_mm=free, constants=self.setting.rings),
            spring_mn_per_mm=self.kit.ring.spring_mn_per_mm,
            gap_clock=float(HOURS[0]) if support.gap_clock is None else support.gap_clock,
            sutured_clocks=() if support.fixed_at is None else (support.fixed_at,),
        )


@dataclass(frozen=True)
class _Found:
    """What the search needs of one answer; where the bag lies is asked of its rest alone."""

    held: bool
    displacement_mm: float
    peak_load_mn: float
    peak_stretch_mm: float
    ring: RingState | None = None
    knot: Knot | None = None


def _found(bag: BagState, ring: RingState | None, knot: Knot | None) -> _Found:
    held = bag.state == "held" if ring is None else ring in RESTS
    return _Found(held, bag.displacement_mm, max(bag.load_mn), bag.peak_stretch_mm, ring, knot)


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

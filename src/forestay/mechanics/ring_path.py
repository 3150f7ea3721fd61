"""Threading an open ring into the bag: what each moment of it loads.

The ring is fed in from the edge of the opening in the anterior capsule, along it, clockwise or the other way: its
leading end runs forward along the equator while the rest follows. At each stage the part that is inside is an elastic
arc whose first point the hand holds; it slides forward on the wall, so friction drags the bag along. Every stage is at
rest by itself (slow threading). After the last one the ring is let go.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from forestay.frame import mirror_hour
from forestay.mechanics.bag_model import Bag, BagState
from forestay.mechanics.loop_assembly import Chain
from forestay.mechanics.open_ring import POSE, Arc
from forestay.mechanics.open_ring_bag import Setting, arc_of, bag_chain, bag_state
from forestay.mechanics.open_ring_model import Piece
from forestay.mechanics.open_ring_solver import Grip, Problem, solve
from forestay.mechanics.zonule import HOUR_COUNT, Floats, clock_of, direction, on_grid

Sense = Literal["clockwise", "counter-clockwise"]

STAGE_STEPS = 8  # stages of threading
SEARCH_STAGE_STEPS = 5  # stages where every entry is tried


@dataclass(frozen=True)
class Stage:
    """One moment of threading. ``inside``: share of the ring's length that is in the bag; ``state`` ``held``, ``slack``
    (the zonule's pull all but gone, or the bag folded) or ``no-rest``; ``bag``; ``lead_clock`` [clock hours] where the
    leading end is; ``lead_push_mn`` of that end on the wall; ``push_mn`` on the wall in all; ``feed_mn`` what the hand
    bears; ``drag_mn_mm`` turning moment of the ring on the bag, clockwise; ``outline_mm`` (2, P) the part inside."""

    inside: float
    state: Literal["held", "slack", "no-rest"]
    bag: BagState
    lead_clock: float
    lead_push_mn: float
    push_mn: float
    feed_mn: float
    drag_mn_mm: float
    outline_mm: Floats

    def mirrored(self) -> Stage:
        """The same in the other eye (turning moments keep their sense along the path)."""
        outline = self.outline_mm.copy()
        outline[0] = -outline[0]
        return replace(self, bag=self.bag.mirrored(), lead_clock=mirror_hour(self.lead_clock), outline_mm=outline)


@dataclass(frozen=True)
class Path:
    """Threading from one entry: ``entry_clock``, ``sense``, ``stages``; ``gap_clock`` [clock hours] where the ends lie
    when it is let go."""

    entry_clock: float
    sense: Sense
    stages: tuple[Stage, ...]
    gap_clock: float

    @property
    def worst(self) -> Stage:
        """The stage at which a clock hour carries most; one that is not held goes before all others."""
        return max(self.stages, key=lambda stage: (stage.state != "held", max(stage.bag.load_mn)))

    @property
    def furthest_mm(self) -> float:
        """Largest displacement of the bag on the way [mm]."""
        return max(stage.bag.displacement_mm for stage in self.stages)

    @property
    def held(self) -> bool:
        """Whether every stage holds."""
        return all(stage.state == "held" for stage in self.stages)


def thread(
    *,
    bag: Bag,
    ring: Piece,
    entry_clock: float,
    sense: Sense,
    setting: Setting,
    stages: int = STAGE_STEPS,
) -> Path:
    """Thread ``ring`` (its own ``middle_clock`` is not used) into ``bag`` from ``entry_clock``.

    Parameters: ``entry_clock`` [clock hours] where the leading end enters and the ring is fed; ``sense`` in which it
    runs; ``setting``; ``stages`` equal parts of the ring's length. Result: :class:`Path`. Counter-clockwise
    threading is worked out as clockwise threading of the mirrored bag: mirror images agree to the last bit.
    Range: planar, slow; the hand holds the fed point and its direction; ends pass one another freely.
    """
    given, entry = _as_clockwise(bag, entry_clock, sense)
    return _as_asked(_clockwise(given, ring, entry, setting, stages), sense)


def _as_clockwise(bag: Bag, entry_clock: float, sense: Sense) -> tuple[Bag, float]:
    """Bag and entry, mirrored where the ring runs counter-clockwise."""
    given, entry = bag.rounded(), mirror_hour(mirror_hour(on_grid(entry_clock)))
    return (given, entry) if sense == "clockwise" else (given.mirrored(), mirror_hour(entry))


def _as_asked(path: Path, sense: Sense) -> Path:
    """A clockwise path turned back into the sense asked for."""
    if sense == "clockwise":
        return path
    stages = tuple(stage.mirrored() for stage in path.stages)
    return Path(mirror_hour(path.entry_clock), sense, stages, mirror_hour(path.gap_clock))


def _clockwise(bag: Bag, ring: Piece, entry: float, setting: Setting, stages: int) -> Path:
    """All stages of clockwise threading, each from the one before."""
    chain, wall = bag_chain(bag, setting)
    work = _Work(bag, chain, ring, entry, setting)
    found = []
    before: tuple[Arc, Floats] | None = None
    for count in range(1, stages + 1):
        stage, wall, before = work.stage(count / stages, wall, before)
        found.append(stage)
    half_hours = 0.5 * ring.length_mm / float(bag.springs.bag_radius_mm) * (HOUR_COUNT * 0.5 / np.pi)
    gap = on_grid(float((entry + half_hours + HOUR_COUNT * 0.5) % HOUR_COUNT)) or float(HOUR_COUNT)
    return Path(entry, "clockwise", tuple(found), gap)


@dataclass(frozen=True)
class _Work:
    """Clockwise threading of one ring into one bag."""

    bag: Bag
    chain: Chain
    ring: Piece
    entry: float
    setting: Setting

    def stage(
        self, inside: float, wall: Floats, before: tuple[Arc, Floats] | None
    ) -> tuple[Stage, Floats, tuple[Arc, Floats] | None]:
        """One stage, from the wall and the arc of the stage before; a stage without rest passes nothing on."""
        radius = float(self.bag.springs.bag_radius_mm)
        opened = self.setting.opened
        part = replace(self.ring, length_mm=self.ring.length_mm * inside)
        arc = arc_of(part, self.setting, base_share=0.0)
        pose = _feed_pose(self.entry, min(opened.feed_diameter_mm * 0.5, radius))
        stiff = opened.feed_stiffness_mn_per_mm
        grip = Grip(0, pose, stiff, stiff)
        whole = float(self.bag.springs.total_stiffness_mn_per_mm) * float(self.bag.springs.prestretch_mm)
        problem = Problem(self.chain, (arc,), (), (grip,), self.setting.friction, True, whole)
        start = _carried_on(arc, before, pose, radius)
        found = solve(problem, wall_mm=wall, unknowns=(start,), first_push_mn=(np.zeros(arc.points),))
        state = bag_state(self.bag, self.setting.bag, self.chain, found.bag, 0.0)
        points, centre = found.points_mm[0], found.bag.centre_mm
        vector = found.push_vector_mn[0]
        arm = points - centre[:, None]
        stage = Stage(
            inside=inside,
            state="no-rest" if not found.bag.converged else "held" if state.state == "held" else "slack",
            bag=state,
            lead_clock=clock_of(float(arm[0, -1]), float(arm[1, -1])),
            lead_push_mn=float(found.push_mn[0][-1]),
            push_mn=float(found.push_mn[0].sum()),
            feed_mn=float(np.hypot(*found.grip_mn[0][:2])),
            drag_mn_mm=-float((arm[0] * vector[1] - arm[1] * vector[0]).sum()),
            outline_mm=points,
        )
        if not found.bag.converged:
            return stage, wall, before
        return stage, found.bag.at_mm, (arc, found.unknowns[0])


def _feed_pose(entry: float, radius_mm: float) -> Floats:
    """Place and direction (right, up, direction) of the point that is fed: on a circle, running clockwise along it."""
    x, y = direction(entry)
    return np.array([radius_mm * x, radius_mm * y, float(np.arctan2(-x, y))])


def _carried_on(arc: Arc, before: tuple[Arc, Floats] | None, pose: Floats, radius_mm: float) -> Floats:
    """First guess of an arc: bent as the one before, and beyond its end as the wall."""
    unknowns = np.zeros(arc.unknowns)
    unknowns[:POSE] = pose
    wall = 2 / arc.free_diameter_mm - 1 / radius_mm
    place = np.linspace(0.0, arc.length_mm, arc.knots)
    if before is None:
        return unknowns
    earlier, known = before
    unknowns[POSE:] = np.interp(place, np.linspace(0.0, earlier.length_mm, earlier.knots), known[POSE:], right=wall)
    return unknowns


def every_entry(
    *,
    bag: Bag,
    ring: Piece,
    entry_clocks: tuple[float, ...],
    setting: Setting,
    senses: tuple[Sense, ...] = ("clockwise", "counter-clockwise"),
    stages: int = SEARCH_STAGE_STEPS,
) -> tuple[Path, ...]:
    """All entries in the given senses, gentlest first: by the largest load of a clock hour on the way, then by how far the
    bag moves; entries that lose hold on the way come last. Parameters as in :func:`thread`."""
    known: dict[object, Path] = {}  # a bag that is its own mirror image needs each pair of entries once
    paths = []
    for clock in entry_clocks:
        for sense in senses:
            given, entry = _as_clockwise(bag, clock, sense)
            key = (given.key(), entry)
            if key not in known:
                known[key] = _clockwise(given, ring, entry, setting, stages)
            paths.append(_as_asked(known[key], sense))
    return tuple(sorted(paths, key=lambda p: (not p.held, max(p.worst.bag.load_mn), p.furthest_mm)))

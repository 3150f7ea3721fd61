"""Energy of the bag's equator and the open rings, or pieces of ring, inside it, with gradient and Hessian.

    E = bag (hoop, zonule, instruments, loads) + bending of every arc + contact + friction + sutures + grip

Friction's limit (its share of the push) and direction are those of the step before; :meth:`Joint.drag` is what their
change with the step adds, so that a full step with it is Newton's.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from forestay.mechanics.loop_assembly import Assembly, Blocks, Chain
from forestay.mechanics.open_ring import POSE, Arc, Shape, assembled
from forestay.mechanics.ring_contact import (
    LOCAL,
    Feet,
    Friction,
    Whole,
    contact_terms,
    drag_terms,
    feet,
    friction_law,
    friction_terms,
    push,
    slip,
    turn_terms,
    wall_at,
)
from forestay.mechanics.zonule import Floats

SMALLEST = 1e-12  # length or force below which nothing is divided by it
CHUNK = 250_000  # multiplications of one matrix product: a library starts no threads for so few, and small products
# shared between threads wait for one another on a busy machine


@dataclass(frozen=True)
class Pin:
    """A suture: tension-only spring from point ``point`` of arc ``arc`` to ``anchor_mm`` (2,)."""

    arc: int
    point: int
    anchor_mm: Floats
    stiffness_mn_per_mm: float
    free_length_mm: float


@dataclass(frozen=True)
class Grip:
    """A hand or injector that holds the base of arc ``arc``: ``pose`` (right, up, direction), in both senses;
    ``stiffness_mn_per_mm`` of place and ``turning_mn_mm`` of direction."""

    arc: int
    pose: Floats
    stiffness_mn_per_mm: float
    turning_mn_mm: float


@dataclass(frozen=True)
class Problem:
    """Bag, arcs, what holds them, and friction: ``friction`` coefficient; ``moving``: every arc is being slid forward;
    ``laid_at`` place on the wall where each arc's points were laid."""

    chain: Chain
    arcs: tuple[Arc, ...]
    pins: tuple[Pin, ...]
    grips: tuple[Grip, ...]
    friction: float
    moving: bool
    force_scale_mn: float


@dataclass
class At:
    """Everything known at one set of unknowns."""

    wall: Floats
    unknowns: list[Floats]
    shapes: list[Shape]
    feet: list[Feet]
    energy: float = 0.0


class Joint:
    """Evaluates one problem; holds the index arrays and friction's last state."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.bag = Assembly(problem.chain)
        self.arcs = [assembled(arc) for arc in problem.arcs]
        count = problem.chain.stations
        self.stations = count
        starts = np.cumsum([2 * count, *(arc.unknowns for arc in problem.arcs)])
        self.size = int(starts[-1])
        self.rows = [slice(int(a), int(b)) for a, b in pairwise(starts)]
        self._block_places = _places(count, self.size)
        self.friction: list[Friction] = []
        self.lead = [np.zeros(arc.points) for arc in problem.arcs]

    def lay(self, at: At, limits: list[Floats]) -> None:
        """Friction as the arcs are laid: where they lie now is where they stick."""
        for foot, limit in zip(at.feet, limits, strict=True):
            station, share, _ = wall_at(foot.place, self.stations)
            self.friction.append(Friction(limit, _along(foot), station, share, self.problem.moving))

    def pushed(self, row: int, foot: Feet) -> tuple[Floats, Floats, Floats]:
        """Energy, push and stiffness of contact of arc ``row``."""
        return push(foot.gap_mm - self.lead[row])

    def press(self, at: At) -> None:
        """Take what the points are pressed into the wall as their lead: the same push at next to no depth."""
        self.lead = [np.maximum(lead - foot.gap_mm, 0.0) for lead, foot in zip(self.lead, at.feet, strict=True)]

    def rub(self, at: At) -> None:
        """Friction's limits and directions brought up to date."""
        share = self.problem.friction
        for row, foot in enumerate(at.feet):
            changed = replace(self.friction[row], limit_mn=share * self.pushed(row, foot)[1], along=_along(foot))
            if self.problem.moving:
                changed = replace(changed, station=foot.station, share=foot.share)
            self.friction[row] = changed

    def at(self, wall: Floats, unknowns: list[Floats], guess: list[Feet] | None = None) -> At:
        """Shapes, feet and energy."""
        shapes = [arc.shape(q) for arc, q in zip(self.arcs, unknowns, strict=True)]
        places: list[Floats | None] = [f.place for f in guess] if guess else [None] * len(shapes)
        found = At(wall, unknowns, shapes, [feet(s.points_mm, wall, p) for s, p in zip(shapes, places, strict=True)])
        found.energy = self.energy(found) if self.friction else 0.0
        return found

    def energy(self, at: At) -> float:
        """Energy [mN mm] with contact, and with friction as it stands."""
        total = self.stored(at)
        for row, (foot, shape, friction) in enumerate(zip(at.feet, at.shapes, self.friction, strict=True)):
            total += float(self.pushed(row, foot)[0].sum())
            total += float(friction_law(slip(shape.points_mm, at.wall, friction), friction)[0].sum())
        return total

    def stored(self, at: At) -> float:
        """Energy [mN mm] stored in bag, zonule, arcs and sutures, less that of the loads."""
        total = self.bag.energy(at.wall)
        total += sum(arc.energy(q) for arc, q in zip(self.arcs, at.unknowns, strict=True))
        for pin in self.problem.pins:
            stretch = pin_reach(pin, at)[0]
            total += 0.5 * pin.stiffness_mn_per_mm * stretch * stretch
        for grip in self.problem.grips:
            off = at.unknowns[grip.arc][:POSE] - grip.pose
            total += 0.5 * float(off @ (grip_stiffness(grip) * off))
        return total

    def derivatives(self, at: At) -> tuple[Floats, Floats]:
        """Gradient and Hessian over all unknowns."""
        gradient = np.zeros(self.size)
        matrix = np.zeros((self.size, self.size))
        slope, blocks = self.bag.derivatives(at.wall)
        gradient[: 2 * self.stations] = slope.T.ravel()
        matrix.ravel()[self._block_places] += _block_values(blocks)
        for index in range(len(self.arcs)):
            self._add_arc(at, index, gradient, matrix)
        for grip in self.problem.grips:
            rows = slice(self.rows[grip.arc].start, self.rows[grip.arc].start + POSE)
            stiff = grip_stiffness(grip)
            gradient[rows] += stiff * (at.unknowns[grip.arc][:POSE] - grip.pose)
            matrix[rows, rows] += np.diag(stiff)
        return gradient, matrix

    def drag(self, at: At) -> Floats | None:
        """What the growth of friction with the push, and its turning with the wall, add to the Hessian; None without
        friction."""
        if self.problem.friction <= 0:
            return None
        matrix = np.zeros((self.size, self.size))
        wall_rows = 2 * self.stations
        for row, (arc, foot, shape, friction, rows) in enumerate(
            zip(self.arcs, at.feet, at.shapes, self.friction, self.rows, strict=True)
        ):
            which = np.flatnonzero(self.pushed(row, foot)[2] > 0)
            if not which.size:
                continue
            local = self._drag_of(at, row, which)
            moves = arc.jacobian(shape)[which]
            flat = moves.reshape(2 * which.size, -1)
            rub, press = _wall_places(friction.station[:, which]), _wall_places(foot.station[:, which])
            chosen = np.arange(which.size)[:, None]
            rubbed, pressed = np.zeros((2, wall_rows, which.size, 2))
            rubbed[rub, chosen] = local[:, 2:, :2]
            pressed[press, chosen] = np.swapaxes(local[:, :2, 2:], 1, 2)
            matrix[rows, rows] += flat.T @ (local[:, :2, :2] @ moves).reshape(flat.shape)
            matrix[:wall_rows, rows] += product(rubbed.reshape(wall_rows, -1), flat)
            matrix[rows, :wall_rows] += product(pressed.reshape(wall_rows, -1), flat).T
            self._scatter(matrix, rub, press, local[:, 2:, 2:])
        return matrix

    def _drag_of(self, at: At, row: int, which: Whole) -> Floats:
        """:meth:`drag` of the touching points ``which`` of one arc, each over its own eight coordinates."""
        foot, friction, points = at.feet[row], self.friction[row], at.shapes[row].points_mm
        stiff = self.pushed(row, foot)[2]
        _, force, stick = friction_law(slip(points, at.wall, friction), friction)
        mobilised = (force / np.maximum(friction.limit_mn, SMALLEST))[which]
        grows = drag_terms(foot, friction, which, self.problem.friction * mobilised * stiff[which])
        if friction.moving:
            return grows
        laid = (friction.share * at.wall[:, friction.station]).sum(axis=1)
        off = (foot.normal * (points - laid)).sum(axis=0)
        return grows + turn_terms(foot, friction, which, force[which], (stick * off)[which])

    def _add_arc(self, at: At, index: int, gradient: Floats, matrix: Floats) -> None:
        arc, foot, shape, friction = self.arcs[index], at.feet[index], at.shapes[index], self.friction[index]
        rows, wall_rows = self.rows[index], 2 * self.stations
        _, force, stiff = self.pushed(index, foot)
        touching = np.flatnonzero(force > 0)
        rubbed, drag, stick = friction_law(slip(shape.points_mm, at.wall, friction), friction)
        del rubbed
        rubbing = np.flatnonzero(friction.limit_mn > 0)
        sets = [
            (touching, foot.station, contact_terms(foot, touching, force[touching], stiff[touching])),
            (rubbing, friction.station, friction_terms(friction, rubbing, drag[rubbing], stick[rubbing])),
        ]
        jacobian = arc.jacobian(shape)
        points, count = foot.gap_mm.size, arc.arc.unknowns
        on_points = np.zeros((2, points))
        here, across = np.zeros((points, 2, 2)), np.zeros((wall_rows, points, 2))
        for which, station, (slope, local) in sets:
            if not which.size:
                continue
            on_points[:, which] += slope[:2]
            here[which] += local[:, :2, :2]
            places = _wall_places(station[:, which])
            gradient[:wall_rows] += np.bincount(places.ravel(), weights=slope[2:].T.ravel(), minlength=wall_rows)
            across[places, which[:, None]] += local[:, 2:, :2]
            self._scatter(matrix, places, places, local[:, 2:, 2:])
        coupling = product(across.reshape(wall_rows, 2 * points), jacobian.reshape(2 * points, count))
        matrix[:wall_rows, rows] += coupling
        matrix[rows, :wall_rows] += coupling.T
        inner = arc.bending + jacobian.reshape(2 * points, count).T @ (here @ jacobian).reshape(2 * points, count)
        for pin in self.problem.pins:
            if pin.arc == index:
                inner += self._add_pin(at, pin, jacobian[pin.point], on_points)
        own, turning = arc.gradient(shape, on_points)
        gradient[rows] += own + arc.bending @ at.unknowns[index]
        matrix[rows, rows] += inner + turning

    def _add_pin(self, at: At, pin: Pin, moves: Floats, on_points: Floats) -> Floats:
        stretch, unit, length = pin_reach(pin, at)
        pull = pin.stiffness_mn_per_mm * stretch
        on_points[:, pin.point] += pull * unit
        block = np.outer(unit, unit) * ((pin.stiffness_mn_per_mm if stretch > 0 else 0.0) - pull / length)
        block += np.eye(2) * (pull / length)
        return np.asarray(moves.T @ block @ moves, dtype=np.float64)

    def _scatter(self, matrix: Floats, rows: Whole, columns: Whole, local: Floats) -> None:
        flat = rows[:, :, None] * self.size + columns[:, None, :]
        np.add.at(matrix.ravel(), flat.ravel(), local.ravel())

    def scales(self, at: At) -> Floats:
        """What a shift of one unit means for each unknown: 1 for the bag, mean squared motion of points for an arc."""
        out = np.ones(self.size)
        for arc, shape, rows in zip(self.arcs, at.shapes, self.rows, strict=True):
            out[rows] = (arc.jacobian(shape) ** 2).sum(axis=(0, 1)) / self.stations
        return out


def _along(foot: Feet) -> Floats:
    return np.asarray(foot.tangent / np.sqrt((foot.tangent * foot.tangent).sum(axis=0)), dtype=np.float64)


def product(left: Floats, right: Floats) -> Floats:
    """Matrix product in parts of at most ``CHUNK`` multiplications."""
    rows = max(CHUNK // max(right.size, 1), 1)
    if rows >= left.shape[0]:
        return np.asarray(left @ right, dtype=np.float64)
    return np.concatenate([left[start : start + rows] @ right for start in range(0, left.shape[0], rows)])


def pin_reach(pin: Pin, at: At) -> tuple[float, Floats, float]:
    """Stretch of a suture [mm], its direction from the sclera, and its length [mm]."""
    reach = at.shapes[pin.arc].points_mm[:, pin.point] - pin.anchor_mm
    length = max(float(np.hypot(*reach)), SMALLEST)
    return max(length - pin.free_length_mm, 0.0), reach / length, length


def grip_stiffness(grip: Grip) -> Floats:
    """Stiffness against shift (twice) [mN/mm] and turning [mN mm]."""
    return np.array([grip.stiffness_mn_per_mm, grip.stiffness_mn_per_mm, grip.turning_mn_mm])


def _wall_places(station: Whole) -> Whole:
    """Rows (Q, 6) of the bag's unknowns that belong to stations (3, Q)."""
    twice = 2 * station.T
    return np.stack([twice, twice + 1], axis=-1).reshape(-1, LOCAL - 2)


@lru_cache(maxsize=32)
def _places(stations: int, size: int) -> Whole:
    """Where the entries of :func:`_block_values` lie in the whole matrix, flattened."""
    own = 2 * np.arange(stations)
    places = []
    for ahead in range(3):
        other = np.roll(own, -ahead)
        for row in range(2):
            for column in range(2):
                places.append((own + row) * size + other + column)
                if ahead:
                    places.append((other + column) * size + own + row)
    found = np.concatenate(places)
    found.setflags(write=False)
    return found


def _block_values(blocks: Blocks) -> Floats:
    values = []
    for ahead, block in enumerate((blocks.here, blocks.next1, blocks.next2)):
        for row in range(2):
            for column in range(2):
                values.append(block[row, column])
                if ahead:
                    values.append(block[row, column])
    return np.concatenate(values)

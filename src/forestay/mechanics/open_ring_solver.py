"""Finds the common rest of the bag's equator and the open rings, or pieces of ring, inside it.

Damped Newton steps with the exact Hessian. Friction's limit and direction are brought up to date whenever the rest under
those of before is near; where no shift is needed, or rest is near, the full step with friction's change is tried first.
Where that comes to no rest (friction that turns with every step, or a bag that hangs on nothing any more and so may lie
anywhere), damped steps on the forces themselves go on, friction always up to date. Contact is soft to begin with; then
the depth of every point is taken as its lead, so that the same push stands at next to no depth.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from forestay.mechanics import fast
from forestay.mechanics.loop import LoopState
from forestay.mechanics.open_ring import POSE
from forestay.mechanics.open_ring_joint import At, Grip, Joint, Pin, Problem, grip_stiffness, pin_reach, product
from forestay.mechanics.ring_contact import Friction, friction_law, push, slip
from forestay.mechanics.zonule import Floats

__all__ = ["Grip", "JointState", "Pin", "Problem", "solve", "solve_on"]

MAX_ITERATIONS = 60  # Newton steps at most
RESIDUAL = 1e-6  # largest unbalanced force, as a share of the force scale
STEP_LIMIT_MM = 0.4  # longest step of any station or point
SHIFT_START, SHIFT_UP, SHIFT_DOWN, SHIFT_LEAST, SHIFT_MOST = 1e-2, 6.0, 0.1, 1e-3, 1e9  # added stiffness [mN/mm]
ARMIJO = 1e-4  # share of the promised fall of the energy that a step must bring
SOFT_RESIDUAL = 0.1  # largest unbalanced force at which the soft contact is good enough [mN]
PRESS_STEPS = 3  # soft contact, then twice with the lead that its depth asks for: left within 6 um of the wall
RUB_RESIDUAL = 1e-2  # share of the force scale below which friction is brought up to date
GAIN_LIMIT = 0.5  # a full step with friction's growth is taken where it brings the residual below this share
CHUNK_ROWS = 128  # of a matrix that is factored at once: larger ones would start threads (see ``CHUNK``)
HALVING_STEPS = 10  # of a step, at most
ENERGY_ROUNDING = 1e-12  # a rise of the energy below this share is rounding
FOLLOW_ITERATIONS = 60  # damped steps on the forces at most
FOLLOW_HALVING = 3  # parts of such a step that are tried: the whole, a half, a quarter; then the stiffness rises
FOLLOW_GAIN = 0.25  # share of the promised fall of the residual that it must bring
FOLLOW_SHIFT = 1e-4  # added stiffness [mN/mm] where a bag that nothing holds has none of its own


@dataclass(frozen=True)
class JointState:
    """Rest of ``bag`` and arcs. What only an answer tells is worked out when it is asked for: whoever compares pulls does
    not. ``friction`` and contact's ``lead_mm`` as they stand, each arc's; ``joint`` and ``now`` as the solver left them."""

    bag: LoopState
    friction: tuple[Friction, ...]
    lead_mm: tuple[Floats, ...]
    joint: Joint
    now: At

    @property
    def unknowns(self) -> tuple[Floats, ...]:
        """The unknowns of each arc."""
        return tuple(self.now.unknowns)

    @property
    def points_mm(self) -> tuple[Floats, ...]:
        """The points (2, P) of each arc [mm]."""
        return tuple(shape.points_mm for shape in self.now.shapes)

    @property
    def gap_mm(self) -> tuple[Floats, ...]:
        """How far each point (P,) lies inside the wall [mm]."""
        return tuple(foot.gap_mm for foot in self.now.feet)

    @cached_property
    def push_mn(self) -> tuple[Floats, ...]:
        """Push (P,) of each point on the wall [mN]."""
        return tuple(push(foot.gap_mm - lead)[1] for foot, lead in zip(self.now.feet, self.lead_mm, strict=True))

    @cached_property
    def slip_mm(self) -> tuple[Floats, ...]:
        """How far each point (P,) has slipped from where it stuck [mm]."""
        both = zip(self.now.shapes, self.friction, strict=True)
        return tuple(slip(shape.points_mm, self.now.wall, friction) for shape, friction in both)

    @cached_property
    def push_vector_mn(self) -> tuple[Floats, ...]:
        """Push with friction (2, P) of each arc's points [mN], outward."""
        each = zip(self.push_mn, self.now.feet, self.slip_mm, self.friction, strict=True)
        return tuple(
            pushed * foot.normal + friction_law(slipped, friction)[1] * friction.along
            for pushed, foot, slipped, friction in each
        )

    @cached_property
    def pin_mn(self) -> tuple[float, ...]:
        """Pull of each suture [mN]."""
        return tuple(p.stiffness_mn_per_mm * pin_reach(p, self.now)[0] for p in self.joint.problem.pins)

    @cached_property
    def grip_mn(self) -> tuple[Floats, ...]:
        """What each grip bears (3,): right, up, turning."""
        grips = self.joint.problem.grips
        return tuple(grip_stiffness(g) * (g.pose - self.now.unknowns[g.arc][:POSE]) for g in grips)

    @cached_property
    def energy_mn_mm(self) -> float:
        """Energy stored in bag, zonule, arcs and sutures [mN mm]."""
        return self.joint.stored(self.now)


def solve(
    problem: Problem, *, wall_mm: Floats, unknowns: tuple[Floats, ...], first_push_mn: tuple[Floats, ...]
) -> JointState:
    """Minimise from the stations ``wall_mm`` (2, N) and the arcs' ``unknowns``, which stick where they are laid;
    ``first_push_mn``: push of each point that the first step's friction takes. Always ends, at most
    ``MAX_ITERATIONS`` and ``FOLLOW_ITERATIONS`` steps at each firmness of contact; ``bag.converged`` tells."""
    compiled = fast.part("fast_ring")
    if compiled is not None and problem.arcs:
        found = compiled.solve(problem, wall_mm=wall_mm, unknowns=unknowns, first_push_mn=first_push_mn)
        if found.bag.converged:
            return _told(problem, found)
    joint = Joint(problem)
    now = joint.at(wall_mm, list(unknowns))
    joint.lay(now, [problem.friction * p for p in first_push_mn])
    tolerance = RESIDUAL * problem.force_scale_mn
    iterations = 0
    for count in range(PRESS_STEPS):
        last = count == PRESS_STEPS - 1
        if count:
            joint.press(now)
        now, used, converged, residual = _rested(joint, now, tolerance if last else SOFT_RESIDUAL)
        iterations += used
        if not converged:
            break
    return _state(joint, now, LoopState(now.wall, iterations, converged, residual))


def solve_on(problem: Problem, *, before: JointState) -> JointState:
    """Minimise from the rest ``before`` of the same bag and arcs under another load: each point keeps the place where
    it stuck, so this is what follows when the load comes after the rings were let go. Ends as :func:`solve` does."""
    compiled = fast.part("fast_ring")
    if compiled is not None and problem.arcs:
        found = compiled.solve_on(problem, before=before)
        if found.bag.converged:
            return _told(problem, found)
    joint = Joint(problem)
    joint.friction, joint.lead = list(before.friction), list(before.lead_mm)
    now = joint.at(before.bag.at_mm, list(before.unknowns))
    tolerance = RESIDUAL * problem.force_scale_mn
    iterations, converged, residual = 0, False, np.inf
    for count in range(PRESS_STEPS - 1):
        if count:
            joint.press(now)
        now, used, converged, residual = _rested(joint, now, tolerance if count else SOFT_RESIDUAL)
        iterations += used
        if not converged:
            break
    return _state(joint, now, LoopState(now.wall, iterations, converged, residual))


def _rested(joint: Joint, now: At, tolerance: float) -> tuple[At, int, bool, float]:
    """Rest at one firmness of contact, by the energy or else by the forces; as :func:`_settle`."""
    now, used, converged, residual = _settle(joint, now, tolerance)
    if converged:
        return now, used, converged, residual
    now, more, converged, residual = _follow(joint, now, tolerance)
    return now, used + more, converged, residual


def _follow(joint: Joint, now: At, tolerance: float) -> tuple[At, int, bool, float]:
    """Damped Newton steps that lessen the largest unbalanced force, friction always up to date; as :func:`_settle`."""
    scales = joint.scales(now)
    root, diagonal = np.sqrt(scales), np.arange(scales.size)
    joint.rub(now)
    gradient, matrix = joint.derivatives(now)
    residual, shift = float(np.abs(gradient / root).max()), 0.0
    for iterations in range(FOLLOW_ITERATIONS):
        if residual <= tolerance or shift > SHIFT_MOST:
            now.energy = joint.energy(now)
            return now, iterations, residual <= tolerance, residual
        drag = joint.drag(now)
        full = matrix.copy() if drag is None else matrix + drag
        full[diagonal, diagonal] += max(shift, FOLLOW_SHIFT) * scales
        step = _capped(joint, now, _solved(full, gradient))
        before, part = list(joint.friction), 1.0
        for _ in range(FOLLOW_HALVING):
            trial = joint.at(*_moved(joint, now, part * step), now.feet)
            joint.rub(trial)
            new_gradient, new_matrix = joint.derivatives(trial)
            reached = float(np.abs(new_gradient / root).max())
            if reached <= (1 - FOLLOW_GAIN * part) * residual:
                now, gradient, matrix, residual = trial, new_gradient, new_matrix, reached
                shift = shift * SHIFT_DOWN if shift > SHIFT_LEAST else 0.0
                break
            joint.friction = list(before)
            part *= 0.5
        else:
            shift = max(shift * SHIFT_UP, SHIFT_START)
    now.energy = joint.energy(now)
    return now, FOLLOW_ITERATIONS, residual <= tolerance, residual


def _settle(joint: Joint, now: At, tolerance: float) -> tuple[At, int, bool, float]:
    """Newton steps at one firmness of contact: where they end, how many, whether at rest, and the residual [mN]."""
    scales = joint.scales(now)
    root = np.sqrt(scales)
    now.energy = joint.energy(now)
    gradient, matrix = joint.derivatives(now)
    shift, iterations, converged = 0.0, 0, False
    residual = float(np.abs(gradient / root).max())
    scale = joint.problem.force_scale_mn
    for iterations in range(MAX_ITERATIONS + 1):
        if residual <= max(
            tolerance, RUB_RESIDUAL * scale
        ):  # at rest under the friction of before: bring it up to date
            joint.rub(now)
            now.energy = joint.energy(now)
            gradient, matrix = joint.derivatives(now)
            residual = float(np.abs(gradient / root).max())
            converged = residual <= tolerance
        if converged or iterations == MAX_ITERATIONS:
            break
        firm, shift = _positive(matrix, scales, shift)
        near = residual <= (scale if shift == 0 else RUB_RESIDUAL * scale)  # a shift may be friction's own doing
        drag = joint.drag(now) if near else None
        if drag is not None:
            full = _capped(joint, now, _solved(matrix + drag, gradient))
            trial = joint.at(*_moved(joint, now, full), now.feet)
            before = list(joint.friction)
            joint.rub(trial)
            new_gradient, new_matrix = joint.derivatives(trial)
            reached = float(np.abs(new_gradient / root).max())
            if reached <= GAIN_LIMIT * residual:
                now, gradient, matrix, residual = trial, new_gradient, new_matrix, reached
                now.energy = joint.energy(now)
                continue
            joint.friction = before
        step = _capped(joint, now, -gradient / (SHIFT_MOST * scales) if firm is None else _solved(firm, gradient))
        slope = float(gradient @ step)
        rounding = ENERGY_ROUNDING * (abs(now.energy) + scale)
        part = 1.0
        for _ in range(HALVING_STEPS):
            trial = joint.at(*_moved(joint, now, part * step), now.feet)
            if trial.energy <= now.energy + ARMIJO * part * slope + rounding:
                now = trial
                gradient, matrix = joint.derivatives(now)
                residual = float(np.abs(gradient / root).max())
                shift = shift * SHIFT_DOWN if shift > SHIFT_LEAST else 0.0
                break
            part *= 0.5
        else:
            shift = max(shift * SHIFT_UP, SHIFT_START)
    return now, iterations, converged, residual


def _positive(matrix: Floats, scales: Floats, shift: float) -> tuple[Floats | None, float]:
    """The Hessian with the least shift (of those tried) that makes it positive definite; None where none does."""
    diagonal = np.arange(scales.size)
    while shift <= SHIFT_MOST:
        tried = matrix
        if shift:
            tried = matrix.copy()
            tried[diagonal, diagonal] += shift * scales
        if _is_positive(tried):
            return tried, shift
        shift = max(shift * SHIFT_UP, SHIFT_START)
    return None, shift


def _is_positive(matrix: Floats) -> bool:
    """Whether a symmetric matrix is positive definite: by its Cholesky factor, large ones by halves."""
    half = matrix.shape[0] // 2
    if 2 * half <= CHUNK_ROWS:
        try:
            np.linalg.cholesky(matrix)
        except np.linalg.LinAlgError:
            return False
        return True
    first, across = matrix[:half, :half], matrix[:half, half:]
    if not _is_positive(first):
        return False
    taken = product(across.T, _eliminated(first, across))
    return _is_positive(np.asarray(matrix[half:, half:] - taken, dtype=np.float64))


def _solved(matrix: Floats, gradient: Floats) -> Floats:
    """Newton's step; downhill where the matrix has none."""
    try:
        return -_eliminated(matrix, gradient[:, None])[:, 0]
    except np.linalg.LinAlgError:
        return np.asarray(-gradient / SHIFT_MOST, dtype=np.float64)


def _eliminated(matrix: Floats, right: Floats) -> Floats:
    """Solution of a linear system, large ones by halves: the first is eliminated, then the rest."""
    half = matrix.shape[0] // 2
    if 2 * half <= CHUNK_ROWS:
        return np.asarray(np.linalg.solve(matrix, right), dtype=np.float64)
    across, below = matrix[:half, half:], matrix[half:, :half]
    first = _eliminated(matrix[:half, :half], np.concatenate([across, right[:half]], axis=1))
    known, share = first[:, across.shape[1] :], first[:, : across.shape[1]]
    rest = np.asarray(matrix[half:, half:] - product(below, share), dtype=np.float64)
    second = _eliminated(rest, np.asarray(right[half:] - below @ known, dtype=np.float64))
    return np.concatenate([known - share @ second, second])


def _capped(joint: Joint, now: At, step: Floats) -> Floats:
    """The step shortened so that nothing moves further than ``STEP_LIMIT_MM``."""
    longest = float(np.abs(step[: 2 * joint.stations]).max(initial=0.0))
    for arc, shape, rows in zip(joint.arcs, now.shapes, joint.rows, strict=True):
        longest = max(longest, float(np.abs(arc.jacobian(shape) @ step[rows]).max()))
    return step * min(1.0, STEP_LIMIT_MM / longest) if longest > 0 else step


def _moved(joint: Joint, now: At, step: Floats) -> tuple[Floats, list[Floats]]:
    wall = now.wall + step[: 2 * joint.stations].reshape(-1, 2).T
    return wall, [q + step[rows] for q, rows in zip(now.unknowns, joint.rows, strict=True)]


def _told(problem: Problem, found: Any) -> JointState:
    """The state at which the compiled solver ended."""
    joint = Joint(problem)
    now = At(found.bag.at_mm, list(found.unknowns), list(found.shapes), list(found.feet))
    joint.friction, joint.lead = list(found.friction), list(found.lead_mm)
    return _state(joint, now, found.bag)


def _state(joint: Joint, now: At, bag: LoopState) -> JointState:
    return JointState(bag, tuple(joint.friction), tuple(joint.lead), joint, now)

"""The largest turning moment that a disc on its zonule bears at all.

A dead moment M has a rest only where the energy of the zonule, least over all shifts, rises by M a radian:

    V(turn) = min over shifts of E(shift, turn),    rest: V'(turn) = M,    limit: M* = max V'(turn)

V comes back to itself after a whole turn, so its slope is bounded: beyond M* there is no rest at any turn, whatever a
solver does. Forces have no such limit in this model, since fibres only pull harder the further the disc goes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from forestay.mechanics import disc
from forestay.mechanics.fibres import AT_EQUATOR, Sheet
from forestay.mechanics.zonule import Floats, Hold, ZonuleParameters

TURN_STEPS = 48  # turns tried from none to half a turn; V falls beyond: every fibre then pulls back the short way
SHIFT_STEPS = 60  # Newton steps of the shift at each turn, at most
FINE_STEPS = 8  # turns tried again between the neighbours of the best


def limit_torque_mn_mm(
    *,
    support: ArrayLike,
    load_x_mn: ArrayLike,
    load_y_mn: ArrayLike,
    clockwise: bool,
    parameters: ZonuleParameters,
    holds: Sequence[Hold] = (),
    sheets: Sequence[Sheet] = (),
    bed_mn_per_mm: float = 0.0,
) -> Floats:
    """Size of the largest dead moment [mN mm] in that sense with which a rest exists beside the forces.

    Parameters as :func:`forestay.mechanics.disc.equilibrium`. Result: of the shape of the draws, 0 where nothing
    resists. Range: planar; turns up to half a turn.

    >>> springs = ZonuleParameters(5.0, 1.5, 0.2, 10.6, 0.1)
    >>> asked = {"support": [1.0] * 12, "load_x_mn": 0.0, "load_y_mn": 0.0, "clockwise": True, "parameters": springs}
    >>> round(float(limit_torque_mn_mm(**asked)), 1)
    290.9
    """
    loads = tuple(np.asarray(v, dtype=np.float64) for v in (load_x_mn, load_y_mn, 0.0))
    problem = disc.problem_of(
        support,
        loads,
        parameters,
        fibres_per_hour=1,
        holds=holds,
        sheets=sheets or AT_EQUATOR,
        bed_mn_per_mm=bed_mn_per_mm,
    )
    sense = -1.0 if clockwise else 1.0
    shift, most, at_turn = np.zeros((2, problem.draws)), np.zeros(problem.draws), np.zeros(problem.draws)
    best_shift = shift.copy()
    width = np.pi / TURN_STEPS
    for step in range(1, TURN_STEPS + 1):
        turn = np.full(problem.draws, sense * step * width)
        shift, moment = _held_at(problem, shift, turn)
        better = sense * moment > most
        most, at_turn = np.where(better, sense * moment, most), np.where(better, turn, at_turn)
        best_shift = np.where(better, shift, best_shift)
    shift = best_shift
    for step in range(-FINE_STEPS, FINE_STEPS + 1):
        _, moment = _held_at(problem, shift, at_turn + sense * width * step / FINE_STEPS)
        most = np.maximum(most, sense * moment)
    return np.asarray(most.reshape(problem.shape), dtype=np.float64)


def _held_at(problem: disc.Problem, shift: Floats, turn: Floats) -> tuple[Floats, Floats]:
    """Shift (2, n) at which the disc rests when it is held at ``turn`` (n,), and the moment that holds it [mN mm]."""
    at = np.stack([shift[0], shift[1], problem.radius * turn])
    damp = np.zeros(problem.draws)
    energy, gradient, hessian = problem.evaluate(at)
    for _ in range(SHIFT_STEPS):
        open_ = np.abs(gradient[:2]).max(axis=0) > disc.RESIDUAL * problem.unit_mn
        if not open_.any():
            break
        xx, xy, yy = hessian[:3]
        added = damp * problem.unit_mn / problem.prestretch
        xx, yy = xx + added, yy + added
        determinant = xx * yy - xy * xy
        positive = (xx > 0) & (determinant > 0)
        safe = np.where(positive, determinant, 1.0)
        step = np.zeros_like(at)
        step[0] = (xy * gradient[1] - yy * gradient[0]) / safe
        step[1] = (xy * gradient[0] - xx * gradient[1]) / safe
        size = np.maximum(np.hypot(step[0], step[1]), np.finfo(float).tiny)
        step = np.where(open_ & positive, step * np.minimum(1.0, disc.STEP_CAP_MM / size), 0.0)
        trial = at + step
        trial_energy, trial_gradient, trial_hessian = problem.evaluate(trial)
        rounding = disc.ENERGY_ROUNDING * (np.abs(energy) + problem.unit_mn * problem.prestretch)
        fall = disc.ARMIJO * (gradient * step).sum(axis=0)
        accept = positive & (trial_energy <= energy + fall + rounding)
        at, energy = np.where(accept, trial, at), np.where(accept, trial_energy, energy)
        gradient, hessian = np.where(accept, trial_gradient, gradient), np.where(accept, trial_hessian, hessian)
        damp = np.where(accept, damp * disc.SHIFT_DOWN, np.maximum(damp * disc.SHIFT_UP, disc.SHIFT_START))
        damp = np.where(damp < disc.SHIFT_LEAST, 0.0, damp)
    return at[:2], np.asarray(gradient[2] * problem.radius, dtype=np.float64)

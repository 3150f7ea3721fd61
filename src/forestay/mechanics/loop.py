"""Finds the rest shape of the bag's equator: damped Newton steps on the energy of a closed chain of stations."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np

from forestay.mechanics.banded import NotPositiveDefiniteError
from forestay.mechanics.loop_assembly import Assembly, Chain, neighbours
from forestay.mechanics.zonule import HOUR_COUNT, Floats, directions

MAX_ITERATIONS = 300  # Newton steps at most
RESIDUAL = 1e-9  # largest unbalanced force at a station, as a share of the chain's force scale
ROUNDING = 1e-15  # the same, as a share of the largest stiffness times the loop's size: what double precision can reach
STEP_CAP_MM = 0.5  # longest step of any station
SHIFT_START, SHIFT_UP, SHIFT_DOWN, SHIFT_LEAST = 1e-3, 4.0, 0.2, 1e-9  # added stiffness where the factor fails [mN/mm]
SHIFT_MOST = 1e12  # beyond it a plain downhill step is taken
ARMIJO = 1e-4  # share of the promised fall of the energy that a step must bring
HALVINGS = 12  # of a step, at most
STALLED_STEPS = 30  # so many steps in a row without a fall of the energy: the search stands still, and ends
ENERGY_ROUNDING = 1e-14  # a rise of the energy below this share is rounding


@dataclass(frozen=True)
class LoopState:
    """Rest shape: ``at_mm`` (2, N), of two loops (4, N), the equator first; ``iterations``; ``converged``; ``residual_mn`` largest unbalanced force left."""

    at_mm: Floats
    iterations: int
    converged: bool
    residual_mn: float

    @property
    def centre_mm(self) -> Floats:
        """Mean of the stations (2,) [mm]: the bag's centre."""
        return np.asarray(self.at_mm[:2].mean(axis=-1), dtype=np.float64)

    @property
    def area_mm2(self) -> float:
        """Area inside the equator [mm2]."""
        x, y = self.at_mm[:2]
        after = neighbours(x.size)[1]
        return 0.5 * abs(float(x @ y[after] - y @ x[after]))


@lru_cache(maxsize=32)
def station_clocks(stations: int) -> Floats:
    """Clock positions of the stations, clockwise from 12, half a spacing off it: no station lies on the border of two
    clock hours when ``stations`` is a multiple of 24, and the ring of stations is its own mirror image.

    >>> station_clocks(24)[:3].tolist()
    [0.25, 0.75, 1.25]
    """
    return kept(np.asarray((2 * np.arange(stations) + 1) * (0.5 * HOUR_COUNT / stations), dtype=np.float64))


@lru_cache(maxsize=32)
def station_directions(stations: int) -> Floats:
    """Outward unit vectors (2, N) of the stations; the right half is the left half mirrored, to the last bit."""
    right = np.stack(directions(station_clocks(stations)[: stations // 2]))
    left = right[:, ::-1] * np.array([[-1.0], [1.0]])
    return kept(np.concatenate([right, left], axis=1))


def kept(values: Floats) -> Floats:
    """The same, shared by all who ask: nobody may write into it."""
    values.flags.writeable = False
    return values


class System(Protocol):
    """Stiffness of the stations: what :func:`minimise` needs of it."""

    @property
    def stiffest(self) -> float:
        """Largest diagonal term [mN/mm]."""
        ...

    def solve(self, right: Floats, shift: float) -> Floats:
        """Solution of the shifted system; raises where it is not positive definite."""
        ...


class Energy(Protocol):
    """An energy of stations with its derivatives. Stations have two rows (right, up), or two for each of two loops."""

    def energy(self, at: Floats) -> float:
        """Energy [mN mm]."""
        ...

    def derivatives(self, at: Floats) -> tuple[Floats, System]:
        """Gradient [mN] and stiffness [mN/mm]."""
        ...


def solve(chain: Chain, *, start_mm: Floats, force_scale_mn: float) -> LoopState:
    """Minimise the energy of one chain from ``start_mm`` (2, N): see :func:`minimise`."""
    return minimise(Assembly(chain), start_mm=start_mm, force_scale_mn=force_scale_mn)


def minimise(model: Energy, *, start_mm: Floats, force_scale_mn: float) -> LoopState:
    """Minimise an energy from ``start_mm`` (2 or 4 rows, N).

    Newton's step comes from the exact Hessian; where that is not positive definite a shift is added (and taken back
    after success); no station moves more than ``STEP_CAP_MM`` in a step; a step is halved until the energy falls
    (Armijo). ``force_scale_mn`` [mN]: what counts as a force of the problem; rest is reached when no station is out of
    balance by more than ``RESIDUAL`` of it, or what double precision allows beside very stiff parts.
    Always ends: at most ``MAX_ITERATIONS``, or where ``STALLED_STEPS`` in a row bring no fall of the energy (a load that
    has wound the chain up as far as it goes); ``converged`` tells.
    """
    at = start_mm.copy()
    size = float(np.abs(at).max())
    energy = model.energy(at)
    shift = 0.0
    iterations, stalled = 0, 0
    gradient, blocks = model.derivatives(at)
    for iterations in range(MAX_ITERATIONS + 1):
        residual = float(np.abs(gradient).max())
        converged = residual <= max(RESIDUAL * force_scale_mn, ROUNDING * blocks.stiffest * size)
        if converged or iterations == MAX_ITERATIONS or stalled == STALLED_STEPS:
            break
        step, shift = _step(blocks, gradient, shift)
        slope = float((gradient * step).sum())
        rounding = ENERGY_ROUNDING * (abs(energy) + force_scale_mn)
        part = 1.0
        stalled += 1
        for _ in range(HALVINGS):
            trial = at + part * step
            trial_energy = model.energy(trial)
            if trial_energy <= energy + ARMIJO * part * slope + rounding:
                stalled = stalled if trial_energy >= energy - rounding else 0
                at, energy = trial, trial_energy
                gradient, blocks = model.derivatives(at)
                shift = shift * SHIFT_DOWN if shift > SHIFT_LEAST else 0.0
                break
            part *= 0.5
        else:
            shift = max(shift * SHIFT_UP, SHIFT_START)
    return LoopState(at_mm=at, iterations=iterations, converged=converged, residual_mn=residual)


def _step(blocks: System, gradient: Floats, shift: float) -> tuple[Floats, float]:
    """Newton's step with the least shift (of those tried) that makes the Hessian positive definite, capped."""
    while True:
        try:
            step = blocks.solve(-gradient, shift)
            break
        except NotPositiveDefiniteError:
            shift = max(shift * SHIFT_UP, SHIFT_START)
            if shift > SHIFT_MOST:  # not a matrix of this model: a plain downhill step still makes progress
                step = -gradient / SHIFT_MOST
                break
    longest = float(np.sqrt((step * step).reshape(-1, 2, step.shape[-1]).sum(axis=1)).max())
    return step * min(1.0, STEP_CAP_MM / longest) if longest > 0 else step, shift

"""Which clock hours pay when the bag is lifted: a rigid equator that rises and tilts on its fibres under one push.

    E = sum k_i/2 <sqrt(L^2 + w_i^2) - L0>+^2 - F (z + p e_x + q e_y),    w_i = z + R (p x_i + q y_i)

with lift z and tilts p, q. E is convex, so there is one rest at most. Where it is tilted by more than 30 degrees the bag
tips over, and no number is given. The equator stays round and its middle over its place: a soft equator lets a weak side
rise further, so what this says of the weak side is the least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forestay.frame import mirror_by_hour
from forestay.mechanics.zonule import HOUR_COUNT, Floats, ZonuleParameters, directions

MAX_ITERATIONS = 200  # Newton steps at most
RESIDUAL = 1e-9  # largest unbalanced force, as a share of the push
HALVING_STEPS = 40  # of a step, at most
SAME_TOLERANCE_MM = 1e-6  # stretches that differ by less are the same
ARMIJO = 1e-4  # share of the promised fall of the energy that a step must bring
SHIFT_LEAST = 1e-9  # stiffness added to the matrix, as a share of the zonule's: slack fibres alone have none


@dataclass(frozen=True)
class SectorLift:
    """By clock hour 12, 1 .. 11: ``lift_mm`` of the rim and ``stretch_mm`` of a fibre there, ``load_mn`` of the hour's
    fibres; ``held``: whether it rests so; otherwise the bag tips over, and the numbers mean nothing."""

    lift_mm: Floats
    stretch_mm: Floats
    load_mn: Floats
    held: bool

    def pays(self, support: Sequence[float]) -> tuple[int, ...]:
        """Indices of the hours whose fibres are stretched most, of those that have any."""
        there = np.where(np.asarray(support) > 0, self.stretch_mm, -np.inf)
        return tuple(int(i) for i in np.flatnonzero(there >= there.max() - SAME_TOLERANCE_MM))


def sector_lift(
    *, support: Sequence[float], push_mn: float, at_mm: tuple[float, float], parameters: ZonuleParameters
) -> SectorLift:
    """Lift the bag by ``push_mn`` [mN] at ``at_mm`` [mm from its middle, to the examiner's right and up].

    ``support`` (12,) [0-1] by clock hour 12, 1 .. 11. Range: tilts up to 30 degrees. Mirrored input gives the
    mirrored answer. Never raises for a bag that tips over: see ``held``.

    >>> springs = ZonuleParameters(5.0, 1.5, 0.2, 10.6, 0.1)
    >>> even = sector_lift(support=[1.0] * 12, push_mn=2.0, at_mm=(0.0, 0.0), parameters=springs)
    >>> even.held, round(float(even.lift_mm[0]), 2), round(float(np.ptp(even.load_mn)), 6)
    (True, 0.8, 0.0)
    """
    image = mirror_by_hour(tuple(support))
    if image < tuple(support):  # one of two mirror images is worked out, so that both agree exactly
        other = sector_lift(support=image, push_mn=push_mn, at_mm=(-at_mm[0], at_mm[1]), parameters=parameters)
        seen = [np.array(mirror_by_hour(v.tolist())) for v in (other.lift_mm, other.stretch_mm, other.load_mn)]
        return SectorLift(seen[0], seen[1], seen[2], other.held)
    x, y = directions(np.arange(HOUR_COUNT, dtype=np.float64))
    radius, reach = float(parameters.bag_radius_mm), float(parameters.fibre_length_mm)
    free = reach - float(parameters.prestretch_mm)
    stiff = np.asarray(support, dtype=np.float64) * float(parameters.total_stiffness_mn_per_mm) / HOUR_COUNT
    rows = np.stack([np.ones(HOUR_COUNT), x, y])  # unknowns: lift, and rim heights of both tilts
    pull = push_mn * np.array([1.0, at_mm[0] / radius, at_mm[1] / radius])
    added = np.eye(3) * SHIFT_LEAST * float(parameters.total_stiffness_mn_per_mm)

    def told(unknowns: Floats) -> tuple[float, Floats, Floats, Floats, Floats]:
        lift = (rows * unknowns[:, None]).sum(axis=0)
        length = np.sqrt(reach * reach + lift * lift)
        stretch = np.maximum(length - free, 0.0)
        tension = stiff * stretch
        energy = 0.5 * float((tension * stretch).sum()) - float(pull @ unknowns)
        slope = tension * lift / length
        curve = np.where(stretch > 0, stiff, 0.0) * (lift / length) ** 2 + tension * (reach / length) ** 2 / length
        gradient = (rows * slope).sum(axis=1) - pull
        return energy, gradient, (rows * curve) @ rows.T, stretch, lift

    at = np.zeros(3)
    energy, gradient, hessian, stretch, lift = told(at)
    held = False
    for _ in range(MAX_ITERATIONS):
        held = bool(np.abs(gradient).max() <= RESIDUAL * max(push_mn, SHIFT_LEAST))
        if held:
            break
        step = -np.linalg.solve(hessian + added, gradient)
        step *= min(1.0, reach / float(np.abs(step).max()))
        part = 1.0
        for _ in range(HALVING_STEPS):
            trial = told(at + part * step)
            if trial[0] <= energy + ARMIJO * part * float(gradient @ step) + np.finfo(float).eps * abs(energy):
                break
            part *= 0.5
        at = at + part * step
        energy, gradient, hessian, stretch, lift = trial
    level = float(np.ptp(lift)) <= radius  # the sine of 30 degrees times the diameter
    return SectorLift(lift, stretch, stiff * stretch, held and level)

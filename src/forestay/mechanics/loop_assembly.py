"""Energy of the bag's equator as a closed chain of stations, with its exact first and second derivatives.

    E = hoop + bending + zonule + holds - loads

- hoop: every segment pulls by ``EA f(strain)``; f is 0 when slack but for a small remainder, rises through a quadratic
  toe and is linear beyond it; segments under a ring also bear compression.
- bending: ``1/2 (EI/l) (phi - phi0)^2`` at the stations that a ring covers, phi the turning angle between segments.
- zonule and holds: tension-only springs from a station to a fixed point, exact in direction.
- loads: forces of fixed direction at stations, and a turning moment that acts as ``-(M/N) sum angle(x_i)``.

Arrays are (2, N): row 0 to the examiner's right, row 1 up; stations run clockwise from 12.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.banded import solve_cyclic
from forestay.mechanics.zonule import Floats

PAIR = 4  # unknowns of two stations
SIXTH = 1 / 6  # integral of a quadratic toe


@dataclass(frozen=True)
class Hoop:
    """Law of the bag's equator: ``stiffness_mn`` (EA) [mN]; ``toe_strain`` over which tension builds up;
    ``slack_share`` of EA that resists when slack; ``rest_length_mm`` of a segment [mm]; ``bilateral_length_mm`` [mm],
    rest length of a segment under a ring, which is linear; ``covered`` (N,), share of each segment under a ring."""

    stiffness_mn: float
    toe_strain: float
    slack_share: float
    rest_length_mm: float
    bilateral_length_mm: float
    covered: Floats


@dataclass(frozen=True)
class Springs:
    """Tension-only springs: ``station``, ``stiffness_mn_per_mm``, ``free_length_mm`` (m,) and ``anchor_mm`` (2, m).

    ``height_mm`` (m,) or a number: how far the anchor lies in front of (or behind) the plane of the stations [mm]; the
    stations stay in their plane, only the part of the pull in that plane acts on them."""

    station: np.ndarray[tuple[int], np.dtype[np.int64]]
    anchor_mm: Floats
    stiffness_mn_per_mm: Floats
    free_length_mm: Floats
    height_mm: Floats | float = 0.0

    def stretch(self, at: Floats) -> Floats:
        """Stretch of each spring [mm] with the stations at ``at`` (2, N), 0 where slack."""
        reach = at[:, self.station] - self.anchor_mm
        return np.asarray(np.maximum(self.lengths(reach) - self.free_length_mm, 0.0), dtype=np.float64)

    def lengths(self, reach: Floats) -> Floats:
        """Length of each spring [mm] from its reach in the plane (2, m)."""
        square = (reach * reach).sum(axis=0) + np.square(self.height_mm)
        return np.asarray(np.maximum(np.sqrt(square), np.finfo(float).tiny), dtype=np.float64)


@dataclass(frozen=True)
class Chain:
    """Everything that pulls on the stations. ``bending_mn_mm`` (N,) is EI / spacing [mN mm] at each station,
    ``free_turn_rad`` the turning angle of the free ring; ``force_mn`` (2, N); ``torque_mn_mm`` counter-clockwise.
    ``bed_mn_per_mm``: a soft bed that draws every station, both ways, back to ``bed_at_mm`` (2, N), in all."""

    hoop: Hoop
    springs: Springs
    bending_mn_mm: Floats
    free_turn_rad: float
    force_mn: Floats
    torque_mn_mm: float
    bed_mn_per_mm: float = 0.0
    bed_at_mm: Floats | float = 0.0

    @property
    def stations(self) -> int:
        """How many stations the chain has."""
        return int(self.force_mn.shape[-1])


@dataclass(frozen=True)
class Blocks:
    """Hessian by stations: ``here`` (2, 2, N), coupling to the next station ``next1`` and the one after ``next2``."""

    here: Floats
    next1: Floats
    next2: Floats

    def shifted(self, shift: float) -> Blocks:
        """The same with ``shift`` [mN/mm] added to the diagonal."""
        here = self.here.copy()
        here[0, 0] += shift
        here[1, 1] += shift
        return Blocks(here, self.next1, self.next2)

    @property
    def stiffest(self) -> float:
        """Largest diagonal term [mN/mm]."""
        return float(max(self.here[0, 0].max(), self.here[1, 1].max()))

    def solve(self, right: Floats, shift: float) -> Floats:
        """Solution (2, N) of the system with ``shift`` on its diagonal; refuses a matrix that is not positive."""
        diagonal, following = self.shifted(shift).pairs()
        stacked = np.ascontiguousarray(right.T).reshape(-1, PAIR)
        return np.asarray(
            solve_cyclic(diagonal=diagonal, following=following, right=stacked).reshape(-1, 2).T, dtype=np.float64
        )

    def pairs(self) -> tuple[Floats, Floats]:
        """Blocks of two stations each, as :func:`forestay.mechanics.banded.solve_cyclic` takes them."""
        half = self.here.shape[-1] // 2
        here, next1, next2 = (np.moveaxis(part, -1, 0) for part in (self.here, self.next1, self.next2))
        diagonal = np.zeros((half, PAIR, PAIR))
        diagonal[:, :2, :2], diagonal[:, 2:, 2:] = here[0::2], here[1::2]
        diagonal[:, :2, 2:], diagonal[:, 2:, :2] = next1[0::2], np.swapaxes(next1[0::2], -1, -2)
        following = np.zeros((half, PAIR, PAIR))
        following[:, :2, :2] = next2[0::2]
        following[:, 2:, :2] = next1[1::2]
        following[:, 2:, 2:] = next2[1::2]
        return diagonal, following


def toe_law(strain: Floats, toe_strain: float, slack_share: float) -> tuple[Floats, Floats, Floats]:
    """Tension / EA of the slack-to-taut law, its integral and its slope, as functions of strain.

    0 below zero strain, ``strain^2 / (2 toe)`` up to the toe, ``strain - toe / 2`` above; ``slack_share`` times strain
    is added throughout.
    """
    inside = np.clip(strain, 0.0, toe_strain)
    beyond = np.maximum(strain - toe_strain, 0.0)
    tension = inside * inside / (2 * toe_strain) + beyond + slack_share * strain
    stored = (
        SIXTH * inside * inside * inside / toe_strain
        + beyond * (toe_strain + beyond) * 0.5
        + slack_share * strain * strain * 0.5
    )
    slope = inside / toe_strain + slack_share
    return tension, stored, slope


def strain_at(tension_share: float, toe_strain: float, slack_share: float) -> float:
    """Strain at which :func:`toe_law` gives ``tension_share`` (tension / EA, 0 or more)."""
    in_toe = toe_strain * (float(np.sqrt(slack_share**2 + 2 * tension_share / toe_strain)) - slack_share)
    if in_toe <= toe_strain:
        return in_toe
    return (tension_share + toe_strain * 0.5) / (1 + slack_share)


@lru_cache(maxsize=32)
def neighbours(count: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Station before and station after each of so many on a closed chain; not to be written into."""
    here = np.arange(count)
    return np.roll(here, 1), np.roll(here, -1)


class Assembly:
    """Evaluates one chain. Index arrays are made once; nothing else is kept between calls."""

    def __init__(self, chain: Chain) -> None:
        self.chain = chain
        count = chain.stations
        self._before, self._after = neighbours(count)
        self._bends = bool(chain.bending_mn_mm.any())

    def energy(self, at: Floats) -> float:
        """Energy [mN mm] of the stations at ``at`` (2, N) [mm]."""
        chain = self.chain
        along = at[:, self._after] - at
        square = (along * along).sum(axis=0)
        total = float(self._hoop(np.sqrt(square))[0].sum())
        if self._bends:
            change = self._turn(along) - chain.free_turn_rad
            total += 0.5 * float((chain.bending_mn_mm * change * change).sum())
        reach = at[:, chain.springs.station] - chain.springs.anchor_mm
        stretch = np.maximum(chain.springs.lengths(reach) - chain.springs.free_length_mm, 0.0)
        total += 0.5 * float((chain.springs.stiffness_mn_per_mm * stretch * stretch).sum())
        total -= float((chain.force_mn * at).sum())
        if chain.bed_mn_per_mm:
            total += 0.5 * chain.bed_mn_per_mm / chain.stations * float(np.square(at - chain.bed_at_mm).sum())
        if chain.torque_mn_mm:
            total -= chain.torque_mn_mm / chain.stations * self._angle(at)
        return total

    def derivatives(self, at: Floats) -> tuple[Floats, Blocks]:
        """Gradient (2, N) [mN] and Hessian [mN/mm] at ``at``."""
        chain, after, before = self.chain, self._after, self._before
        along = at[:, after] - at
        square = (along * along).sum(axis=0)
        length = np.sqrt(square)
        unit = along / length
        _, tension, slope = self._hoop(length)
        sideways = tension / length
        segment = (slope - sideways) * unit[:, None] * unit[None]
        segment[0, 0] += sideways
        segment[1, 1] += sideways
        pull = tension * unit
        here = np.zeros_like(segment)
        next1 = np.zeros_like(segment)
        next2 = np.zeros_like(segment)
        if self._bends:
            swing = np.stack([-along[1], along[0]]) / square  # gradient of a segment's direction
            moment = chain.bending_mn_mm * (self._turn(along) - chain.free_turn_rad)
            net = moment - moment[after]
            pull = pull + net * swing
            bent = net / (square * square)
            mixed, twice = bent * (along[1] ** 2 - along[0] ** 2), 2 * bent * along[0] * along[1]
            segment[0, 0] += twice
            segment[1, 1] -= twice
            segment[0, 1] += mixed
            segment[1, 0] += mixed
            swing_before = swing[:, before]
            both = -(swing + swing_before)
            stiff = chain.bending_mn_mm
            outer_next = stiff * swing[:, None] * swing[None]
            outer_before = stiff * swing_before[:, None] * swing_before[None]
            here += stiff * both[:, None] * both[None]
            here += outer_before[..., after] + outer_next[..., before]
            next1 += stiff * both[:, None] * swing[None]
            next1 += (stiff * swing_before[:, None] * both[None])[..., after]
            next2 = (stiff * swing_before[:, None] * swing[None])[..., after]
        here += segment + segment[..., before]
        next1 -= segment
        gradient = pull[:, before] - pull - chain.force_mn
        self._add_springs(at, gradient, here)
        if chain.bed_mn_per_mm:
            bed = chain.bed_mn_per_mm / chain.stations
            gradient += bed * (at - chain.bed_at_mm)
            here[0, 0] += bed
            here[1, 1] += bed
        if chain.torque_mn_mm:
            self._add_torque(at, gradient, here)
        return gradient, Blocks(here, next1, next2)

    def spring_stretch(self, at: Floats) -> Floats:
        """Stretch of each spring [mm], 0 where slack."""
        return self.chain.springs.stretch(at)

    def _hoop(self, length: Floats) -> tuple[Floats, Floats, Floats]:
        """Stored energy, tension and slope (d tension / d length) of each segment."""
        hoop = self.chain.hoop
        strain = length / hoop.rest_length_mm - 1
        share, stored, slope = toe_law(strain, hoop.toe_strain, hoop.slack_share)
        free = hoop.stiffness_mn * (1 - hoop.covered)
        energy = free * hoop.rest_length_mm * stored
        tension, stiffness = free * share, free * slope / hoop.rest_length_mm
        if self._bends:
            firm = hoop.stiffness_mn * hoop.covered
            change = length / hoop.bilateral_length_mm - 1
            energy = energy + 0.5 * firm * hoop.bilateral_length_mm * change * change
            tension = tension + firm * change
            stiffness = stiffness + firm / hoop.bilateral_length_mm
        return energy, tension, stiffness

    def _turn(self, along: Floats) -> Floats:
        """Turning angle at each station, counted clockwise (the way the stations run), -pi to pi."""
        back = along[:, self._before]
        turn = np.arctan2(back[0] * along[1] - back[1] * along[0], (back * along).sum(axis=0))
        return np.asarray(turn, dtype=np.float64)

    def _angle(self, at: Floats) -> float:
        """Sum of the stations' polar angles, each measured from its own resting place: no jump at half a turn."""
        count = self.chain.stations
        rest = np.pi * 0.5 - (2 * np.arange(count) + 1) * np.pi / count
        cos, sin = np.cos(rest), np.sin(rest)
        return float(np.arctan2(at[1] * cos - at[0] * sin, at[0] * cos + at[1] * sin).sum())

    def _add_springs(self, at: Floats, gradient: Floats, here: Floats) -> None:
        springs = self.chain.springs
        reach = at[:, springs.station] - springs.anchor_mm
        length = springs.lengths(reach)
        stretch = np.maximum(length - springs.free_length_mm, 0.0)
        tension = springs.stiffness_mn_per_mm * stretch
        unit = reach / length
        sideways = tension / length
        excess = np.where(stretch > 0, springs.stiffness_mn_per_mm, 0.0) - sideways
        block = excess * unit[:, None] * unit[None]
        block[0, 0] += sideways
        block[1, 1] += sideways
        count = self.chain.stations
        force = tension * unit
        for row in range(2):
            gradient[row] += np.bincount(springs.station, weights=force[row], minlength=count)
            for column in range(2):
                here[row, column] += np.bincount(springs.station, weights=block[row, column], minlength=count)

    def _add_torque(self, at: Floats, gradient: Floats, here: Floats) -> None:
        share = self.chain.torque_mn_mm / self.chain.stations
        square = (at * at).sum(axis=0)
        gradient -= share * np.stack([-at[1], at[0]]) / square
        bent = share / (square * square)
        mixed, twice = bent * (at[1] ** 2 - at[0] ** 2), 2 * bent * at[0] * at[1]
        here[0, 0] -= twice
        here[1, 1] += twice
        here[0, 1] -= mixed
        here[1, 0] -= mixed

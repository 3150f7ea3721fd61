"""The empty bag as two closed chains: its equator, the margin of the capsulorhexis, and the flap of capsule between.

    E = E(equator chain) + E(margin chain) + flap + fibres on the flap

Both chains are those of :mod:`forestay.mechanics.loop_assembly` (hoop, bending, fibres, holds, loads, bed). The flap is
a net of tension-only capsule between a station of the equator and the stations of the margin beside it: one strip
straight across and two along the diagonals. Slack capsule resists nothing but for very weak ties that draw each
station of the margin back to its place beside the equator and beside its neighbours: quadratic, so that slack folds do
not buckle. A fibre of the anterior sheet pulls at a point of the flap,
``(1 - f)`` equator + ``f`` margin.

Arrays are (4, N): equator to the right and up, margin to the right and up; stations run clockwise from 12.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from forestay.mechanics.banded import solve_cyclic
from forestay.mechanics.loop_assembly import Assembly, Blocks, Chain, Springs, toe_law
from forestay.mechanics.zonule import Floats

LOOPS = 2
ROWS = 4  # unknowns of one station: equator and margin
PAIR_ROWS = 2 * ROWS
STRIPS = 3  # straight, equator to the next margin station, margin to the next equator station


@dataclass(frozen=True)
class Flap:
    """Net of capsule between equator and margin. ``stiffness_mn`` (3, 1): tension per strain of one strip of each kind
    (straight; equator to next margin station; margin to next equator station) [mN]; ``rest_length_mm`` (3, 1) [mm];
    ``toe_strain`` as for the hoop; ``tie_mn_per_mm`` [mN/mm] of the tie of one station to the
    equator and ``margin_tie_mn_per_mm`` to the next of the margin; ``tied_mm`` (2, 2, N), those two reaches at rest."""

    stiffness_mn: Floats
    rest_length_mm: Floats
    toe_strain: float
    tie_mn_per_mm: float
    margin_tie_mn_per_mm: float
    tied_mm: Floats


@dataclass(frozen=True)
class TwoLoops:
    """The whole net. ``on_flap``: fibres that pull at the flap, one to each station's strip at most, at the share
    ``flap_share`` of the way from equator to margin."""

    equator: Chain
    margin: Chain
    flap: Flap
    on_flap: Springs
    flap_share: float

    @property
    def stations(self) -> int:
        """How many stations each loop has."""
        return self.equator.stations

    def flap_points(self, at: Floats) -> Floats:
        """Where the fibres on the flap pull (2, m) [mm]."""
        station = self.on_flap.station
        return np.asarray((1 - self.flap_share) * at[:2, station] + self.flap_share * at[2:, station], dtype=np.float64)


@dataclass(frozen=True)
class FourRows:
    """Stiffness by stations: ``here`` (4, 4, N), ``next1`` (4, 4, N) to the next station, ``next2`` (2, 2, N), of the
    equator alone, to the one after; ``far`` tells whether there is any of the last."""

    here: Floats
    next1: Floats
    next2: Floats
    far: bool

    @property
    def stiffest(self) -> float:
        """Largest diagonal term [mN/mm]."""
        return float(np.einsum("iin->in", self.here).max())

    def blocks(self, shift: float) -> tuple[Floats, Floats]:
        """Diagonal and following blocks for :func:`forestay.mechanics.banded.solve_cyclic`: one station a block, or
        two where the equator bends."""
        here = np.moveaxis(self.here, -1, 0).copy()
        here[:, range(ROWS), range(ROWS)] += shift
        next1 = np.moveaxis(self.next1, -1, 0)
        if not self.far:
            return here, np.ascontiguousarray(next1)
        half = here.shape[0] // 2
        diagonal, following = np.zeros((LOOPS, half, PAIR_ROWS, PAIR_ROWS))
        diagonal[:, :ROWS, :ROWS], diagonal[:, ROWS:, ROWS:] = here[0::2], here[1::2]
        diagonal[:, :ROWS, ROWS:], diagonal[:, ROWS:, :ROWS] = next1[0::2], np.swapaxes(next1[0::2], -1, -2)
        next2 = np.moveaxis(self.next2, -1, 0)
        following[:, :2, :2] = next2[0::2]
        following[:, ROWS:, :ROWS] = next1[1::2]
        following[:, ROWS : ROWS + 2, ROWS : ROWS + 2] = next2[1::2]
        return diagonal, following

    def solve(self, right: Floats, shift: float) -> Floats:
        """Solution (4, N) of the system with ``shift`` on its diagonal; refuses a matrix that is not positive."""
        diagonal, following = self.blocks(shift)
        stacked = np.ascontiguousarray(right.T).reshape(diagonal.shape[0], -1)
        found = solve_cyclic(diagonal=diagonal, following=following, right=stacked)
        return np.asarray(found.reshape(-1, ROWS).T, dtype=np.float64)


@dataclass
class TwoLoopAssembly:
    """Evaluates one net of two loops."""

    loops: TwoLoops
    _equator: Assembly = field(init=False)
    _margin: Assembly = field(init=False)
    _far: bool = field(init=False)

    def __post_init__(self) -> None:
        self._equator, self._margin = Assembly(self.loops.equator), Assembly(self.loops.margin)
        self._far = bool(np.any(self.loops.equator.bending_mn_mm > 0))

    def energy(self, at: Floats) -> float:
        """Energy [mN mm] of the stations at ``at`` (4, N) [mm]."""
        flap, fibres = self.loops.flap, self.loops.on_flap
        across = self._strips(at)
        strain = np.sqrt((across * across).sum(axis=0)) / flap.rest_length_mm - 1
        stored = toe_law(strain, flap.toe_strain, 0.0)[1]
        total = float((flap.stiffness_mn * flap.rest_length_mm * stored).sum())
        total += 0.5 * flap.tie_mn_per_mm * float(np.square(across[:, 0] - flap.tied_mm[0]).sum())
        along = np.roll(at[2:], -1, axis=-1) - at[2:] - flap.tied_mm[1]
        total += 0.5 * flap.margin_tie_mn_per_mm * float(np.square(along).sum())
        if fibres.station.size:
            reach = self.loops.flap_points(at) - fibres.anchor_mm
            stretch = np.maximum(fibres.lengths(reach) - fibres.free_length_mm, 0.0)
            total += 0.5 * float((fibres.stiffness_mn_per_mm * stretch * stretch).sum())
        return total + self._equator.energy(at[:2]) + self._margin.energy(at[2:])

    def derivatives(self, at: Floats) -> tuple[Floats, FourRows]:
        """Gradient (4, N) [mN] and stiffness [mN/mm] at ``at``."""
        outer, outer_blocks = self._equator.derivatives(at[:2])
        inner, inner_blocks = self._margin.derivatives(at[2:])
        count = self.loops.stations
        gradient = np.concatenate([outer, inner])
        here, next1 = np.zeros((LOOPS, ROWS, ROWS, count))
        for rows, blocks in ((slice(0, 2), outer_blocks), (slice(2, ROWS), inner_blocks)):
            here[rows, rows] = blocks.here
            next1[rows, rows] = blocks.next1
        self._add_flap(at, gradient, here, next1)
        if self.loops.on_flap.station.size:
            self._add_fibres(at, gradient, here)
        return gradient, FourRows(here, next1, _next2(outer_blocks), self._far)

    def flap_stretch(self, at: Floats) -> Floats:
        """Stretch of each fibre on the flap [mm], 0 where slack."""
        fibres = self.loops.on_flap
        stretch = fibres.lengths(self.loops.flap_points(at) - fibres.anchor_mm) - fibres.free_length_mm
        return np.asarray(np.maximum(stretch, 0.0), dtype=np.float64)

    def equator_stretch(self, at: Floats) -> Floats:
        """Stretch of the fibres and holds on the equator [mm]."""
        return self._equator.spring_stretch(at[:2])

    def margin_stretch(self, at: Floats) -> Floats:
        """Stretch of the holds on the margin [mm]."""
        return self._margin.spring_stretch(at[2:])

    @staticmethod
    def _strips(at: Floats) -> Floats:
        """The three strips of every station (2, 3, N), each from equator to margin."""
        outer, inner = at[:2], at[2:]
        return np.stack(
            [inner - outer, np.roll(inner, -1, axis=-1) - outer, inner - np.roll(outer, -1, axis=-1)], axis=1
        )

    def _add_flap(self, at: Floats, gradient: Floats, here: Floats, next1: Floats) -> None:
        flap = self.loops.flap
        across = self._strips(at)
        length = np.maximum(np.sqrt((across * across).sum(axis=0)), np.finfo(float).tiny)
        share, _, slope = toe_law(length / flap.rest_length_mm - 1, flap.toe_strain, 0.0)
        unit = across / length
        sideways = flap.stiffness_mn * share / length
        block = (flap.stiffness_mn * slope / flap.rest_length_mm - sideways) * unit[:, None] * unit[None]
        block[0, 0] += sideways
        block[1, 1] += sideways
        pull = flap.stiffness_mn * share * unit
        block[0, 0, 0] += flap.tie_mn_per_mm
        block[1, 1, 0] += flap.tie_mn_per_mm
        pull[:, 0] += flap.tie_mn_per_mm * (across[:, 0] - flap.tied_mm[0])
        straight, onward, back = range(STRIPS)
        at_outer = block[:, :, straight] + block[:, :, onward] + np.roll(block[:, :, back], 1, axis=-1)
        at_inner = block[:, :, straight] + np.roll(block[:, :, onward], 1, axis=-1) + block[:, :, back]
        gradient[:2] -= pull[:, straight] + pull[:, onward] + np.roll(pull[:, back], 1, axis=-1)
        gradient[2:] += pull[:, straight] + np.roll(pull[:, onward], 1, axis=-1) + pull[:, back]
        here[:2, :2] += at_outer
        here[2:, 2:] += at_inner
        here[:2, 2:] -= block[:, :, straight]
        here[2:, :2] -= block[:, :, straight]
        next1[:2, 2:] -= block[:, :, onward]
        next1[2:, :2] -= block[:, :, back]
        tie = flap.margin_tie_mn_per_mm
        along = tie * (np.roll(at[2:], -1, axis=-1) - at[2:] - flap.tied_mm[1])
        gradient[2:] += np.roll(along, 1, axis=-1) - along
        for row in range(2, ROWS):
            here[row, row] += 2 * tie
            next1[row, row] -= tie

    def _add_fibres(self, at: Floats, gradient: Floats, here: Floats) -> None:
        fibres, share = self.loops.on_flap, self.loops.flap_share
        reach = self.loops.flap_points(at) - fibres.anchor_mm
        length = fibres.lengths(reach)
        stretch = np.maximum(length - fibres.free_length_mm, 0.0)
        tension = fibres.stiffness_mn_per_mm * stretch
        unit = reach / length
        sideways = tension / length
        block = (np.where(stretch > 0, fibres.stiffness_mn_per_mm, 0.0) - sideways) * unit[:, None] * unit[None]
        block[0, 0] += sideways
        block[1, 1] += sideways
        parts = ((slice(0, 2), 1 - share), (slice(2, ROWS), share))
        for rows, part in parts:
            gradient[rows][:, fibres.station] += part * tension * unit
            for columns, other in parts:
                here[rows, columns][..., fibres.station] += part * other * block


def _next2(blocks: Blocks) -> Floats:
    return blocks.next2

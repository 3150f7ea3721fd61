"""Solves the linear systems of a closed chain, or of two side by side, segment by segment.

The ring is cut into equal segments by separating stations. Every segment's inside is solved at once for its own load
and for a unit move of either separator; what is left is one small dense system of the separators alone. The segments
are large enough for the library's factors to do the work, and few enough for the separators to stay a small system. A
matrix that is not positive definite is found on the way and refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.banded import NotPositiveDefiniteError
from forestay.mechanics.zonule import Floats

Ints = NDArray[np.int64]
LENGTHS_GRID = (4, 6, 8, 12, 24)
"""Stations of one segment, of which the cheapest is taken."""
SHARE_GRID, POWERS_GRID = 2.8, (1.5, 1.75)
"""How the time of a factor grows with its size, as measured: many small ones, beside the one of the separators."""


@dataclass(frozen=True)
class Pattern:
    """Where each term of the stiffness is kept: one flat array of the segments' insides (k, n, n), their coupling to the
    separators on both sides (k, n, 2 q), the separators' own (k, q, q), and one place for what is kept elsewhere.

    Unknowns are numbered row by row of the stations' (rows, N). ``inside`` (k, n) and ``between`` (k, q) name those of
    each segment and of the separator before it; ``segment`` and ``position`` (u,) find an unknown again, ``separates``
    (u,) tells which kind it is; ``diagonal`` (u,) its place on the diagonal; ``schur`` the places of the segments' shares
    in the system of the separators."""

    inside: Ints
    between: Ints
    segment: Ints
    position: Ints
    separates: NDArray[np.bool_]
    diagonal: Ints
    schur: Ints

    @property
    def sizes(self) -> tuple[int, int, int]:
        """How many segments, unknowns inside one, unknowns of one separator."""
        return self.inside.shape[0], self.inside.shape[1], self.between.shape[1]

    @property
    def size(self) -> int:
        """Length of the flat array, with the place of what is kept elsewhere."""
        count, inner, outer = self.sizes
        return count * (inner * inner + 2 * inner * outer + outer * outer) + 1

    def places(self, row: Ints, column: Ints) -> Ints:
        """Place of the term of each pair of unknowns; the last place where its mirror image is kept instead."""
        count, inner, outer = self.sizes
        own, other = self.position[row], self.position[column]
        segment, beyond = self.segment[row], self.segment[column]
        coupled = count * inner * inner
        within = segment * inner * inner + own * inner + other
        aside = coupled + segment * 2 * inner * outer + own * 2 * outer + other + outer * (beyond != segment)
        alone = coupled + count * 2 * inner * outer + segment * outer * outer + own * outer + other
        from_inside = np.where(self.separates[column], aside, within)
        return np.where(self.separates[row], np.where(self.separates[column], alone, self.size - 1), from_inside)


@lru_cache(maxsize=32)
def pattern_of(stations: int, rows: int, bends: bool) -> Pattern:
    """The pattern of one loop (``rows`` 2) or two (4) of ``stations``, a multiple of 24, each coupled to the next; where
    the equator ``bends``, its stations also to the one after."""
    length = min(LENGTHS_GRID, key=lambda each: _cost(stations // each, each * rows, rows + 2 * bends))
    count = stations // length
    first = np.arange(count)[:, None] * length
    station, row = np.divmod(np.arange(length * rows), rows)
    wide = np.where(row < 2, 1 + bends, 1)  # stations of a separator: two of a loop that bends
    unknown = row * stations + first + station
    cut = station < wide
    inside, between = unknown[:, ~cut], unknown[:, cut]
    segment, position = np.empty((2, stations * rows), dtype=np.int64)
    separates = np.zeros(stations * rows, dtype=np.bool_)
    for unknowns in (inside, between):
        segment[unknowns] = np.arange(count)[:, None]
        position[unknowns] = np.arange(unknowns.shape[1])
    separates[between] = True
    found = Pattern(inside, between, segment, position, separates, segment, segment)
    every = np.arange(stations * rows)
    return Pattern(
        inside, between, segment, position, separates, found.places(every, every), _schur(count, between.shape[1])
    )


def _cost(count: int, unknowns: int, outer: int) -> float:
    """What a cut into so many segments costs, as measured; no cut has fewer than two."""
    inner = unknowns - outer
    if count < 2 or inner <= 0:
        return float("inf")
    return float(SHARE_GRID * count * inner ** POWERS_GRID[0] + (count * outer) ** POWERS_GRID[1])


def _schur(count: int, outer: int) -> Ints:
    """Places, in the dense system of the separators, of their own terms and of each segment's share."""
    own = np.arange(count)[:, None] * outer + np.arange(outer)
    both = np.concatenate([own, np.roll(own, -1, axis=0)], axis=1)
    whole = count * outer
    parts = [(one[:, :, None] * whole + one[:, None, :]).ravel() for one in (own, both)]
    return np.asarray(np.concatenate(parts), dtype=np.int64)


@dataclass(frozen=True)
class Segments:
    """One stiffness: ``values`` as the pattern keeps them [mN/mm]."""

    pattern: Pattern
    values: Floats

    @property
    def stiffest(self) -> float:
        """Largest diagonal term [mN/mm]."""
        return float(self.values[self.pattern.diagonal].max())

    def solve(self, right: Floats, shift: float) -> Floats:
        """Solution (rows, N) of the system with ``shift`` on its diagonal; refuses a matrix that is not positive."""
        pattern, values = self.pattern, self.values
        count, inner, outer = pattern.sizes
        if shift > 0:
            values = values.copy()
            values[pattern.diagonal] += shift
        coupled, alone = count * inner * inner, count * inner * (inner + 2 * outer)
        within = values[:coupled].reshape(count, inner, inner)
        known = np.empty((count, inner, 2 * outer + 1))
        known[..., :-1] = values[coupled:alone].reshape(count, inner, 2 * outer)
        flat = right.ravel()
        known[..., -1] = flat[pattern.inside]
        try:
            np.linalg.cholesky(within)
            moved = np.linalg.solve(within, known)
            share = known[..., :-1].swapaxes(1, 2) @ moved
            terms = np.concatenate([values[alone:-1], -share[..., :-1].ravel()])
            reduced = np.bincount(pattern.schur, weights=terms).reshape(count * outer, count * outer)
            carried = flat[pattern.between] - share[:, :outer, -1]
            carried -= np.concatenate([share[-1:, outer:, -1], share[:-1, outer:, -1]])
            np.linalg.cholesky(reduced)
            between = np.linalg.solve(reduced, carried.ravel()).reshape(count, outer)
        except np.linalg.LinAlgError:
            raise NotPositiveDefiniteError from None
        beside = np.concatenate([between, np.concatenate([between[1:], between[:1]])], axis=1)
        solution = np.empty_like(flat)
        solution[pattern.between] = between
        solution[pattern.inside] = moved[..., -1] - (moved[..., :-1] @ beside[..., None])[..., 0]
        return solution.reshape(right.shape)

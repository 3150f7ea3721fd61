"""Solves the linear systems of a closed chain, or of two side by side, segment by segment.

The ring is cut into equal segments by separating stations. Every segment's inside is solved at once for its own load
and for a unit move of either separator; what is left is a closed chain of the separators alone, which is cut again until
it is small. The segments are large enough for the library's factors to do the work. A matrix that is not positive
definite is found on the way and refused.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.banded import NotPositiveDefiniteError
from forestay.mechanics.zonule import Floats

Ints = NDArray[np.int64]
LENGTHS_GRID = (4, 6, 8, 12)
"""Stations of one segment, of which the cheapest is taken."""
SHARE_GRID, POWERS_GRID, CUT_GRID = 2.8, (1.5, 1.75), 1500
"""How the time of a factor grows with its size, as measured: of many small ones and of a whole one; what a cut costs."""


@dataclass(frozen=True)
class Pattern:
    """Where each term of a closed chain's stiffness is kept in one flat array: the segments' insides (k, n, n), their
    coupling to the separators on both sides (k, n, 2 q), the separators' own (k, q, q), and a last place for what is
    kept elsewhere.

    ``inside`` (k, n) and ``between`` (k, q) name the unknowns of each segment and of the separator before it; ``segment``
    and ``position`` (u,) find an unknown again, ``separates`` (u,) tells which kind it is. The separators are a chain of
    their own with the pattern ``left``, None where they are solved as a whole."""

    inside: Ints
    between: Ints
    segment: Ints
    position: Ints
    separates: NDArray[np.bool_]
    left: Pattern | None

    @property
    def sizes(self) -> tuple[int, int, int]:
        """How many segments, unknowns inside one, unknowns of one separator."""
        return self.inside.shape[0], self.inside.shape[1], self.between.shape[1]

    @property
    def size(self) -> int:
        """Length of the flat array, with the place of what is kept elsewhere."""
        count, inner, outer = self.sizes
        return count * (inner * inner + 2 * inner * outer + outer * outer) + 1

    @property
    def left_size(self) -> int:
        """Length of the array in which the separators' chain is kept."""
        return self.between.size**2 if self.left is None else self.left.size

    @cached_property
    def diagonal(self) -> Ints:
        """Places (u,) of the diagonal."""
        every = np.arange(self.segment.size)
        return self.places(every, every)

    @cached_property
    def beside(self) -> Ints:
        """The two separators (k, 2 q) beside each segment, as unknowns of their own chain."""
        own = np.arange(self.between.size).reshape(self.between.shape)
        return np.concatenate([own, np.roll(own, -1, axis=0)], axis=1)

    @cached_property
    def shares(self) -> Ints:
        """Places, among the separators, of their own terms and load and of each segment's share in both; loads lie after
        the terms."""
        whole, parts = self.between.size, []
        for one in (self.beside[:, : self.between.shape[1]], self.beside):
            row, column = np.broadcast_arrays(one[:, :, None], one[:, None, :])
            at = row * whole + column if self.left is None else self.left.places(row, column)
            parts.append((at, one[:, :, None] + self.left_size))
        (own, load), share = parts[0], np.concatenate(parts[1], axis=2)
        return np.concatenate([own.ravel(), load.ravel(), share.ravel()])

    def places(self, row: Ints, column: Ints) -> Ints:
        """Place of the term of each pair of unknowns; the last place where its mirror image is kept instead."""
        count, inner, outer = self.sizes
        own, other = self.position[row], self.position[column]
        segment, beyond = self.segment[row], self.segment[column]
        coupled, alone = count * inner * inner, count * inner * (inner + 2 * outer)
        within = segment * inner * inner + own * inner + other
        aside = coupled + segment * 2 * inner * outer + own * 2 * outer + other + outer * (beyond != segment)
        apart = alone + segment * outer * outer + own * outer + other
        from_inside = np.where(self.separates[column], aside, within)
        from_between = np.where(self.separates[column], apart, self.size - 1)
        return np.where(self.separates[row], from_between, from_inside)


@lru_cache(maxsize=32)
def pattern_of(stations: int, rows: int, bends: bool) -> Pattern:
    """The pattern of one loop (``rows`` 2) or two (4) of ``stations``, a multiple of 24, each coupled to the next; where
    the equator ``bends``, its stations also to the one after. Unknowns are numbered row by row: (rows, N)."""
    length = _best(stations, rows, rows + 2 * bends)[1]
    station, row = np.divmod(np.arange(length * rows), rows)
    cut = station < np.where(row < 2, 1 + bends, 1)  # a separator has two stations of a loop that bends
    return _cut(row * stations + np.arange(0, stations, length)[:, None] + station, cut)


def _cut(unknown: Ints, cut: NDArray[np.bool_]) -> Pattern:
    """The pattern of segments (k, u) of unknowns, of which those ``cut`` out (u,) separate them from the one before."""
    inside, between = unknown[:, ~cut], unknown[:, cut]
    segment, position = np.empty((2, unknown.size), dtype=np.int64)
    separates = np.zeros(unknown.size, dtype=np.bool_)
    for unknowns in (inside, between):
        segment[unknowns] = np.arange(unknowns.shape[0])[:, None]
        position[unknowns] = np.arange(unknowns.shape[1])
    separates[between] = True
    count, outer = between.shape
    length = _left(count, outer)[1]
    left = None
    if length:
        left = _cut(np.arange(between.size).reshape(count // length, -1), np.arange(length * outer) < outer)
    return Pattern(inside, between, segment, position, separates, left)


def _best(stations: int, rows: int, outer: int) -> tuple[float, int]:
    """Least cost of a cut, and the stations of a segment with which it is had. ``outer`` unknowns separate two; a cut
    leaves two segments at least."""
    best = (float("inf"), 0)
    for length in LENGTHS_GRID:
        count, inner = stations // length, length * rows - outer
        if stations % length == 0 and count > 1 and inner > 0:
            own = float(SHARE_GRID * count * inner ** POWERS_GRID[0])
            best = min(best, (own + _left(count, outer)[0], length))
    return best


@lru_cache(maxsize=256)
def _left(count: int, outer: int) -> tuple[float, int]:
    """Cost of the separators' chain, and the length of its own segments, 0 where it is solved as a whole."""
    again, length = _best(count, outer, outer)
    return min((float((count * outer) ** POWERS_GRID[1]), 0), (CUT_GRID + again, length))


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
        values = self.values
        if shift > 0:
            values = values.copy()
            values[self.pattern.diagonal] += shift
        try:
            return _solved(self.pattern, values, right.ravel()).reshape(right.shape)
        except np.linalg.LinAlgError:  # also one that rounding alone keeps from being singular
            raise NotPositiveDefiniteError from None


def _solved(pattern: Pattern, values: Floats, right: Floats) -> Floats:
    count, inner, outer = pattern.sizes
    coupled, alone = count * inner * inner, count * inner * (inner + 2 * outer)
    within = values[:coupled].reshape(count, inner, inner)
    known = np.empty((count, inner, 2 * outer + 1))
    known[..., :-1] = values[coupled:alone].reshape(count, inner, 2 * outer)
    known[..., -1] = right[pattern.inside]
    np.linalg.cholesky(within)
    moved = np.linalg.solve(within, known)
    share = known[..., :-1].swapaxes(1, 2) @ moved
    terms = np.concatenate([values[alone:-1], right[pattern.between].ravel(), -share.ravel()])
    counted: Floats = np.asarray(
        np.bincount(pattern.shares, weights=terms, minlength=pattern.left_size + pattern.between.size), dtype=np.float64
    )
    reduced, carried = counted[: pattern.left_size], counted[pattern.left_size :]
    if pattern.left is None:
        whole = reduced.reshape(count * outer, count * outer)
        np.linalg.cholesky(whole)
        own = np.linalg.solve(whole, carried)
    else:
        own = _solved(pattern.left, reduced, carried)
    solution = np.empty_like(right)
    solution[pattern.between] = own.reshape(count, outer)
    solution[pattern.inside] = moved[..., -1] - (moved[..., :-1] @ own[pattern.beside][..., None])[..., 0]
    return solution

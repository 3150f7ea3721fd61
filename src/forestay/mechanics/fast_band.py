"""Compiled factor of a lower band, and solutions with it.

A band is (count, half + 1): row ``i`` keeps columns ``i - half`` to ``i``, the diagonal last. Chains and pairs of loops
have bands of four widths, with and without bending; for these the inner loops have a length that the compiler knows and
lays out flat, which makes them several times as quick as loops whose length it does not know.
"""

from __future__ import annotations

import math
from typing import Any

from forestay.mechanics.fast_compile import compiled
from forestay.mechanics.zonule import Floats

SLACK_NODES, CHAIN_NODES = 5, 9
"""Half-widths of a folded chain (two unknowns a station) that does not bend, and of one that does."""
SLACK_LOOPS_NODES, LOOPS_NODES = 11, 17
"""Half-widths of two folded loops (four unknowns a station) that do not bend, and of two that do."""
PIVOT_LIMIT = 1e-300  # a pivot at or below it: the matrix is not positive definite


def _factor(band: Floats, shift: float, out: Floats) -> bool:
    """Cholesky factor of the shifted lower band into ``out``, whose diagonal is kept as its inverse; False where the
    matrix is not positive definite."""
    if band.shape[1] == SLACK_NODES + 1:
        return bool(_slack_factor(band, shift, out))
    if band.shape[1] == CHAIN_NODES + 1:
        return bool(_chain_factor(band, shift, out))
    if band.shape[1] == SLACK_LOOPS_NODES + 1:
        return bool(_slack_loops_factor(band, shift, out))
    if band.shape[1] == LOOPS_NODES + 1:
        return bool(_loops_factor(band, shift, out))
    return bool(_any_rows(band, shift, out, band.shape[0]))


def _rows(band: Floats, shift: float, out: Floats, last: int) -> bool:
    """The first ``last`` rows of the factor, of a band of any width."""
    half = band.shape[1] - 1
    for i in range(last):
        first = max(0, i - half)
        for j in range(first, i):
            total = band[i, half - i + j]
            for k in range(max(first, j - half), j):
                total -= out[i, half - i + k] * out[j, half - j + k]
            out[i, half - i + j] = total * out[j, half]
        total = band[i, half] + shift
        for k in range(first, i):
            total -= out[i, half - i + k] * out[i, half - i + k]
        if not total > PIVOT_LIMIT:
            return False
        out[i, half] = 1 / math.sqrt(total)
    return True


_any_rows = compiled(_rows, part=True, fastmath={"reassoc", "contract"})


def _factor_of(half: int, fastmath: set[str]) -> Any:
    """The factor of a band of known width."""

    def factor_known(band: Floats, shift: float, out: Floats) -> bool:
        count = band.shape[0]
        if not _any_rows(band, shift, out, min(half, count)):
            return False
        for i in range(half, count):
            first, pivot = i - half, band[i, half] + shift
            for p in range(half):
                total = band[i, p]
                for q in range(p):
                    total -= out[i, q] * out[first + p, half - p + q]
                total *= out[first + p, half]
                out[i, p] = total
                pivot -= total * total
            if not pivot > PIVOT_LIMIT:
                return False
            out[i, half] = 1 / math.sqrt(pivot)
        return True

    return compiled(factor_known, part=True, fastmath=fastmath)


_slack_factor = _factor_of(SLACK_NODES, {"contract"})
_slack_loops_factor = _factor_of(SLACK_LOOPS_NODES, {"contract"})
_chain_factor = _factor_of(CHAIN_NODES, {"contract"})
_loops_factor = _factor_of(LOOPS_NODES, {"reassoc", "contract"})
factor = compiled(_factor)


def _substitute(out: Floats, right: Floats) -> None:
    """Solve in place with the factor of :func:`factor`."""
    if out.shape[1] == SLACK_NODES + 1:
        _slack_ahead(out, right)
        _slack_back(out, right)
    elif out.shape[1] == CHAIN_NODES + 1:
        _chain_ahead(out, right)
        _chain_back(out, right)
    elif out.shape[1] == SLACK_LOOPS_NODES + 1:
        _slack_loops_ahead(out, right)
        _slack_loops_back(out, right)
    elif out.shape[1] == LOOPS_NODES + 1:
        _loops_ahead(out, right)
        _loops_back(out, right)
    else:
        _any_ahead(out, right, out.shape[0])
        _any_back(out, right, out.shape[0])


def _ahead(out: Floats, right: Floats, last: int) -> None:
    """Forward through the first ``last`` rows, of a band of any width."""
    half = out.shape[1] - 1
    for i in range(last):
        total = right[i]
        for k in range(max(0, i - half), i):
            total -= out[i, half - i + k] * right[k]
        right[i] = total * out[i, half]


def _back(out: Floats, right: Floats, last: int) -> None:
    """Back through the first ``last`` rows, of a band of any width."""
    half = out.shape[1] - 1
    for i in range(last - 1, -1, -1):
        right[i] *= out[i, half]
        for k in range(max(0, i - half), i):
            right[k] -= out[i, half - i + k] * right[i]


_any_ahead = compiled(_ahead, part=True, fastmath={"reassoc", "contract"})
_any_back = compiled(_back, part=True, fastmath={"reassoc", "contract"})


def _ahead_of(half: int) -> Any:
    """Forward through a band of known width."""

    def ahead_known(out: Floats, right: Floats) -> None:
        _any_ahead(out, right, min(half, out.shape[0]))
        for i in range(half, out.shape[0]):
            total = right[i]
            for q in range(half):
                total -= out[i, q] * right[i - half + q]
            right[i] = total * out[i, half]

    return compiled(ahead_known, part=True, fastmath={"contract"})


def _back_of(half: int) -> Any:
    """Back through a band of known width."""

    def back_known(out: Floats, right: Floats) -> None:
        count = out.shape[0]
        for i in range(count - 1, half - 1, -1):
            value = right[i] * out[i, half]
            right[i] = value
            for q in range(half):
                right[i - half + q] -= out[i, q] * value
        _any_back(out, right, min(half, count))

    return compiled(back_known, part=True, fastmath={"contract"})


_slack_ahead, _slack_back = _ahead_of(SLACK_NODES), _back_of(SLACK_NODES)
_slack_loops_ahead, _slack_loops_back = _ahead_of(SLACK_LOOPS_NODES), _back_of(SLACK_LOOPS_NODES)
_chain_ahead, _chain_back = _ahead_of(CHAIN_NODES), _back_of(CHAIN_NODES)
_loops_ahead, _loops_back = _ahead_of(LOOPS_NODES), _back_of(LOOPS_NODES)
ahead, back = _chain_ahead, _chain_back
substitute = compiled(_substitute, part=True)

"""The compiled factor of a band is that of scipy's LAPACK, at every width that bags have and at one that none has."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import cholesky_banded

from forestay.mechanics import fast_band
from forestay.mechanics.network import joints

SEED, COUNT, SHIFT = 7, 96, 0.25
KNOWN = (fast_band.SLACK_NODES, fast_band.CHAIN_NODES, fast_band.SLACK_LOOPS_NODES, fast_band.LOOPS_NODES)
ALIKE = 1e-12  # of numbers near one: a hundred roundings of the longest sum


def _band(half: int) -> tuple[np.ndarray, np.ndarray]:
    """A band that is positive definite, by rows as the solver keeps it and by diagonals as LAPACK does."""
    draw = np.random.default_rng(SEED)
    rows = draw.uniform(-1, 1, (COUNT, half + 1))
    rows[:, half] = 2 * half + 1
    for i in range(half):
        rows[i, : half - i] = 0
    below = np.zeros((half + 1, COUNT))
    for k in range(half + 1):
        below[k, : COUNT - k] = rows[k:, half - k]
    return rows, below


@pytest.mark.parametrize("half", [3, *KNOWN])
def test_the_factor_is_that_of_lapack(half: int) -> None:
    rows, below = _band(half)
    out = np.zeros_like(rows)
    assert fast_band.factor(rows, SHIFT, out)
    below[0] += SHIFT
    expected = cholesky_banded(below, lower=True)
    assert 1 / out[:, half] == pytest.approx(expected[0], abs=ALIKE)  # the diagonal is kept as its inverse
    for k in range(1, half + 1):
        assert out[k:, half - k] == pytest.approx(expected[k, : COUNT - k], abs=ALIKE)


@pytest.mark.parametrize("half", [3, *KNOWN])
def test_what_is_not_positive_definite_is_said(half: int) -> None:
    rows, _ = _band(half)
    rows[COUNT // 2, half] = -1
    assert not fast_band.factor(rows, SHIFT, np.zeros_like(rows))


def test_every_width_of_a_bag_is_known() -> None:
    found = {
        joints(stations, rows, bends).wide - 1 for stations in (72, 144) for rows in (2, 4) for bends in (False, True)
    }
    assert found == set(KNOWN)

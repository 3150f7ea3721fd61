"""The cyclic block solver against general dense solvers."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.linalg
from hypothesis import given, settings
from hypothesis import strategies as st

from forestay.mechanics.banded import NotPositiveDefiniteError, dense_matrix, solve_cyclic


def _random_system(blocks: int, size: int, seed: int, systems: tuple[int, ...] = ()) -> tuple[np.ndarray, ...]:
    draw = np.random.default_rng(seed)
    following = draw.normal(size=(*systems, blocks, size, size))
    root = draw.normal(size=(*systems, blocks, size, size))
    # large enough a diagonal makes the whole matrix positive definite (Gershgorin, by blocks)
    bound = 2 * np.linalg.norm(following, axis=(-2, -1)).max() + 0.5
    diagonal = root @ np.swapaxes(root, -1, -2) + bound * np.eye(size)
    return diagonal, following, draw.normal(size=(*systems, blocks, size))


@settings(deadline=None, derandomize=True, max_examples=40)
@given(blocks=st.integers(3, 96), size=st.integers(1, 4), seed=st.integers(0, 10**6))
def test_solution_equals_scipys_cholesky(blocks: int, size: int, seed: int) -> None:
    # reference: scipy.linalg.solve(assume_a="pos") on the full matrix
    diagonal, following, right = _random_system(blocks, size, seed)
    expected = scipy.linalg.solve(dense_matrix(diagonal, following), right.ravel(), assume_a="pos")
    found = solve_cyclic(diagonal=diagonal, following=following, right=right)
    assert found.ravel() == pytest.approx(expected, rel=1e-10, abs=1e-12)


def test_dense_matrix_puts_each_block_where_the_docstring_says() -> None:
    diagonal, following, right = _random_system(5, 2, 3)
    product = dense_matrix(diagonal, following) @ right.ravel()
    by_hand = np.stack(
        [
            following[j - 1].T @ right[j - 1] + diagonal[j] @ right[j] + following[j] @ right[(j + 1) % 5]
            for j in range(5)
        ]
    )
    assert product == pytest.approx(by_hand.ravel(), rel=1e-12)


def test_leading_axes_are_independent_systems() -> None:
    diagonal, following, right = _random_system(36, 4, 7, systems=(3,))
    together = solve_cyclic(diagonal=diagonal, following=following, right=right)
    for one in range(3):
        alone = solve_cyclic(diagonal=diagonal[one], following=following[one], right=right[one])
        assert together[one] == pytest.approx(alone, rel=1e-13)


@pytest.mark.parametrize("blocks", [3, 12, 36, 72])
@pytest.mark.parametrize("where", [0, 1])
def test_an_indefinite_matrix_is_refused(blocks: int, where: int) -> None:
    diagonal, following, right = _random_system(blocks, 4, 11)
    diagonal[where] -= 1000 * np.eye(4)
    with pytest.raises(NotPositiveDefiniteError):
        solve_cyclic(diagonal=diagonal, following=following, right=right)


@pytest.mark.parametrize("blocks", [12, 24, 48])
def test_matrix_that_is_indefinite_only_as_a_whole_is_refused(blocks: int) -> None:
    # 1 on the diagonal, couplings 0.75: each block alone is positive, the alternating vector has eigenvalue 1 - 1.5
    ones = np.ones((blocks, 1, 1))
    with pytest.raises(NotPositiveDefiniteError):
        solve_cyclic(diagonal=ones, following=0.75 * ones, right=np.ones((blocks, 1)))

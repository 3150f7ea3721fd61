"""Solves the linear systems of a closed chain: each station is coupled to its next two neighbours, round the ring.

Two neighbouring stations make one block of four unknowns; the blocks form a cyclic tridiagonal matrix. Every second
block is eliminated, all at once, until few are left: the cost grows in proportion to the stations and no wide border
fills in. A matrix that is not positive definite is found on the way and refused.
"""

from __future__ import annotations

import numpy as np

from forestay.mechanics.zonule import Floats

DENSE_BLOCKS = 12  # below this many blocks an ordinary dense factor is quicker
BLOCK_AXIS = -3  # blocks, then rows and columns of a block


class NotPositiveDefiniteError(ArithmeticError):
    """The matrix has a direction in which the energy does not rise: the caller must shift it."""


def solve_cyclic(*, diagonal: Floats, following: Floats, right: Floats) -> Floats:
    """Solution of a symmetric positive definite block-cyclic tridiagonal system.

    Equation, for block j of M (indices modulo M):
    ``following[j-1].T x[j-1] + diagonal[j] x[j] + following[j] x[j+1] = right[j]``.

    Parameters: ``diagonal`` (..., M, b, b), symmetric; ``following`` (..., M, b, b), coupling of block j to block
    j + 1; ``right`` (..., M, b). Leading axes are independent systems. Result (..., M, b), units of right / matrix.
    Range: M of 3 or more. Raises :class:`NotPositiveDefiniteError` where any of the systems is not.

    >>> import numpy as np
    >>> ones = np.ones((3, 1, 1))
    >>> solve_cyclic(diagonal=4 * ones, following=ones, right=np.full((3, 1), 6.0)).ravel().tolist()
    [1.0, 1.0, 1.0]
    """
    blocks = diagonal.shape[BLOCK_AXIS]
    if blocks % 2 or blocks <= DENSE_BLOCKS:
        return _solve_dense(diagonal, following, right)
    inverse_pivot = _inverse(diagonal[..., 1::2, :, :])
    to_next = following[..., 0::2, :, :]  # even block to the odd one after it
    from_odd = following[..., 1::2, :, :]  # odd block to the even one after it
    next_part = to_next @ inverse_pivot
    before = np.swapaxes(from_odd, -1, -2) @ inverse_pivot  # seen by the even block after the odd one
    right_odd = right[..., 1::2, :, None]
    reduced = diagonal[..., 0::2, :, :] - next_part @ np.swapaxes(to_next, -1, -2) - _after(before @ from_odd)
    right_even = right[..., 0::2, :, None] - next_part @ right_odd - _after(before @ right_odd)
    even = solve_cyclic(diagonal=reduced, following=-(next_part @ from_odd), right=right_even[..., 0])
    neighbour = np.concatenate([even[..., 1:, :], even[..., :1, :]], axis=-2)
    rest = right_odd - np.swapaxes(to_next, -1, -2) @ even[..., None] - from_odd @ neighbour[..., None]
    solution = np.empty_like(right)
    solution[..., 0::2, :] = even
    solution[..., 1::2, :] = (inverse_pivot @ rest)[..., 0]
    return solution


def dense_matrix(diagonal: Floats, following: Floats) -> Floats:
    """The whole matrix (M b, M b) of one system, for the last step of the reduction and for tests."""
    blocks, size = diagonal.shape[BLOCK_AXIS], diagonal.shape[-1]
    matrix = np.zeros((*diagonal.shape[:BLOCK_AXIS], blocks, size, blocks, size))
    here = np.arange(blocks)
    after = (here + 1) % blocks
    for row in range(blocks):
        matrix[..., row, :, row, :] += diagonal[..., row, :, :]
        matrix[..., row, :, after[row], :] += following[..., row, :, :]
        matrix[..., after[row], :, row, :] += np.swapaxes(following[..., row, :, :], -1, -2)
    return matrix.reshape(*diagonal.shape[:BLOCK_AXIS], blocks * size, blocks * size)


def _after(terms: Floats) -> Floats:
    """What odd block j contributes to the even block that follows it."""
    return np.concatenate([terms[..., -1:, :, :], terms[..., :-1, :, :]], axis=BLOCK_AXIS)


def _inverse(matrix: Floats) -> Floats:
    """Inverse through the Cholesky factor, which fails unless the matrix is positive definite."""
    try:
        np.linalg.cholesky(matrix)
        return np.asarray(np.linalg.inv(matrix), dtype=np.float64)
    except np.linalg.LinAlgError:  # also one that rounding alone keeps from being singular
        raise NotPositiveDefiniteError from None


def _solve_dense(diagonal: Floats, following: Floats, right: Floats) -> Floats:
    matrix = dense_matrix(diagonal, following)
    flat = right.reshape(*right.shape[:-2], -1, 1)
    try:
        np.linalg.cholesky(matrix)
        return np.asarray(np.linalg.solve(matrix, flat), dtype=np.float64).reshape(right.shape)
    except np.linalg.LinAlgError:
        raise NotPositiveDefiniteError from None

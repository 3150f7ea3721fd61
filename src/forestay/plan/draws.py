"""One set of draws for everything: a named stream of standard normals per quantity, never seeded by case or side.

Each stream holds the same n quantiles of the normal distribution in an order of its own, so every stream has mean
zero exactly, a control that is moved does not make answers jitter, and mirrored eyes meet the same numbers.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
COUNT = 1000
"""Draws of a full plan."""


@lru_cache(maxsize=8)
def _quantiles(count: int) -> Floats:
    normal = NormalDist()
    return np.array([normal.inv_cdf((i + 0.5) / count) for i in range(count)])


@lru_cache(maxsize=256)
def _stream(name: str, count: int) -> Floats:
    seed = int.from_bytes(hashlib.sha256(name.encode()).digest()[:16], "big")
    order = np.random.Generator(np.random.Philox(seed)).permutation(count)
    stream = _quantiles(count)[order]
    stream.setflags(write=False)
    return stream


class Draws:
    """Standard normal draws by name; ``count`` of each."""

    def __init__(self, count: int = COUNT) -> None:
        self.count = count

    def normal(self, name: str) -> Floats:
        """The stream of that name, shape (count,), mean 0, SD 1; the same in every process."""
        return _stream(name, self.count)

    def by_hour(self, name: str) -> Floats:
        """Twelve streams, one for each clock hour 12, 1 ... 11, shape (12, count)."""
        return np.stack([_stream(f"{name}.{hour}", self.count) for hour in range(12)])

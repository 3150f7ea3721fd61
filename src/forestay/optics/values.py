"""The one type of number that the optics engines take and give: a plain float or an array, draws on the last axis."""

from __future__ import annotations

from typing import Any, Protocol, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

Number: TypeAlias = float | NDArray[np.float64]
"""Scalar in, scalar out; array in, array of the same shape out."""

C = TypeVar("C")


class Read(Protocol):
    """Gives the constants of a kind, wherever they come from."""

    def __call__(self, kind: type[C], /) -> C:
        """The constants, as a filled object of type ``kind``."""


def choose(condition: Any, yes: Number, no: Number) -> Number:
    """``yes`` where the condition holds, else ``no``; a scalar stays a scalar.

    >>> float(choose(True, 1.0, 2.0))
    1.0
    """
    picked: Number = np.where(condition, yes, no)[()]
    return picked

"""Many eyes at once without leaving the cache: a long array is asked block by block, and the answer is the same.

A formula makes some thirty passes over its arrays. On arrays larger than the cache each pass waits for memory; in blocks
that fit it, none does. Elementwise functions only; any shape, scalars and None pass through.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from forestay.optics.values import Number

CHUNK = 16384
"""Eyes in a block: a few arrays of this size fit the second-level cache."""


def in_blocks(ask: Callable[..., Number], **values: Number | None) -> Number:
    """``ask(**values)``, block by block where an array is long and all arrays have one shape.

    >>> long = np.arange(3.0 * CHUNK)
    >>> bool(np.all(in_blocks(lambda x, y: x * y, x=long, y=2.0) == 2.0 * long))
    True
    """
    arrays: dict[str, NDArray[np.float64]] = {
        name: value for name, value in values.items() if isinstance(value, np.ndarray) and value.ndim > 0
    }
    sizes = {array.shape for array in arrays.values()}
    if len(sizes) != 1:
        return ask(**values)
    (shape,) = sizes
    count = int(np.prod(shape))
    if count <= CHUNK:
        return ask(**values)
    flat = {name: array.reshape(-1) for name, array in arrays.items()}
    out = np.empty(count)
    for start in range(0, count, CHUNK):
        part = slice(start, start + CHUNK)
        out[part] = ask(**{**values, **{name: array[part] for name, array in flat.items()}})
    return out.reshape(shape)

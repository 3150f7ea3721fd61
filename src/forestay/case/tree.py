"""One mark over many: the head of a Merkle tree, as RFC 6962 (Certificate Transparency, 2013), section 2.1, defines it.

Short enough to be written on paper, it changes with any leaf, with their number and with their order.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

LEAF, NODE = b"\x00", b"\x01"
"""What stands before a leaf and before a node, so that neither passes for the other."""


def tree_head(leaves: Sequence[bytes]) -> bytes:
    """The 32 bytes that stand for all ``leaves`` in their order; those of SHA-256 over nothing where there are none.

    >>> tree_head([b"a", b"b"]).hex()[:16]
    'b137985ff484fb60'
    """
    if not leaves:
        return hashlib.sha256().digest()
    level = [hashlib.sha256(LEAF + leaf).digest() for leaf in leaves]
    while len(level) > 1:
        pairs = [hashlib.sha256(NODE + a + b).digest() for a, b in zip(level[::2], level[1::2], strict=False)]
        level = pairs + level[len(pairs) * 2 :]  # the odd one goes up as it is
    return level[0]

"""How a trainee comes along: who did the steps, where somebody else took over, and what happened, block by block.

References
----------
Clopper CJ, Pearson ES. Biometrika 1934;26:404 (intervals of the blocks). The sequential test of the failures is that of
:mod:`forestay.statistics.learning_curve`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from forestay.statistics import proportion

How = Literal["alone", "as-agreed", "taken-over"]


@dataclass(frozen=True, slots=True)
class Turn:
    """One operation that a trainee began: the steps by hand, and whether it failed."""

    own: tuple[str, ...]
    """Steps that the trainee did."""
    others: tuple[str, ...]
    """Steps that somebody else did."""
    agreed: tuple[str, ...] = ()
    """Steps that were to be somebody else's from the start."""
    failed: bool = False
    expected: float | None = None
    """Probability of failure told before surgery; None where none was."""

    @property
    def how(self) -> How:
        """Alone, as agreed, or taken over: somebody else did a step that was meant for the trainee.

        >>> Turn(own=("tunnel",), others=("lens",), agreed=("lens",)).how
        'as-agreed'
        >>> Turn(own=("tunnel",), others=("rotation", "lens"), agreed=("lens",)).how
        'taken-over'
        """
        if set(self.others) - set(self.agreed):
            return "taken-over"
        return "as-agreed" if self.others else "alone"

    @property
    def taken_at(self) -> str | None:
        """The first step, in order, that somebody else did although it was meant for the trainee."""
        return next((step for step in self.others if step not in self.agreed), None)


@dataclass(frozen=True)
class Stretch:
    """Consecutive operations of one trainee."""

    first: int
    """Number of the first one, counted from 1."""
    n: int
    alone: int
    as_agreed: int
    taken_over: int
    taken_low: float
    taken_high: float
    """Exact interval of the share taken over."""
    own_share: float
    """Steps by the trainee's own hand, of all steps recorded."""
    failed: int
    expected: float | None
    """Failures told before surgery, over the operations that were told."""


def stretches(turns: Sequence[Turn], *, size: int, fewest: int, level: float) -> tuple[Stretch, ...]:
    """Blocks of ``size`` operations in their order; a last block of fewer than ``fewest`` joins the one before.

    Empty where there are fewer than ``fewest`` operations in all. ``level`` of the intervals [share, 0 to 1].

    >>> own, taken = Turn(("tunnel", "lens"), ()), Turn(("tunnel",), ("lens",))
    >>> [(s.first, s.n, s.taken_over) for s in stretches([taken] * 10 + [own] * 12, size=10, fewest=5, level=0.95)]
    [(1, 10, 10), (11, 12, 0)]
    """
    if len(turns) < fewest:
        return ()
    starts = list(range(0, len(turns), size))
    if len(starts) > 1 and len(turns) - starts[-1] < fewest:
        starts.pop()
    ends = [*starts[1:], len(turns)]
    return tuple(_stretch(turns[a:b], a + 1, level) for a, b in zip(starts, ends, strict=True))


def _stretch(turns: Sequence[Turn], first: int, level: float) -> Stretch:
    how = [turn.how for turn in turns]
    taken, n = how.count("taken-over"), len(turns)
    ends = proportion.exact(events=taken, n=n, level=level)
    own = sum(len(turn.own) for turn in turns)
    steps = own + sum(len(turn.others) for turn in turns)
    told = [turn.expected for turn in turns if turn.expected is not None]
    return Stretch(
        first=first,
        n=n,
        alone=how.count("alone"),
        as_agreed=how.count("as-agreed"),
        taken_over=taken,
        taken_low=float(ends.low),
        taken_high=float(ends.high),
        own_share=own / steps if steps else 0.0,
        failed=sum(turn.failed for turn in turns),
        expected=sum(told) if told else None,
    )

"""Is an amount near what is meant? Passes, warns or stops: a misplaced decimal point or a wrong bottle is caught here."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Verdict = Literal["pass", "warn", "stop"]
ROUNDING = 1e-9
"""Relative slack at the edges of a band, so that 0.8 of 1.0 reckoned in binary still passes."""


@dataclass(frozen=True, slots=True)
class Band:
    """What passes, and beyond what it stops; between them it warns. All four in the unit of the dose."""

    stop_below: float
    pass_low: float
    pass_high: float
    stop_above: float

    def scaled(self, usual: float) -> Band:
        """The band of shares of a usual dose, in that dose's unit."""
        return Band(self.stop_below * usual, self.pass_low * usual, self.pass_high * usual, self.stop_above * usual)

    def judge(self, amount: float) -> Verdict:
        """The verdict on ``amount``; an edge belongs to the milder side.

        >>> band = Band(0.5, 0.8, 1.2, 3.0)
        >>> [band.judge(x) for x in (1.0, 0.8, 0.6, 2.0, 3.0, 9.0, 0.4)]
        ['pass', 'pass', 'warn', 'warn', 'warn', 'stop', 'stop']
        """
        if self.pass_low * (1 - ROUNDING) <= amount <= self.pass_high * (1 + ROUNDING):
            return "pass"
        if self.stop_below * (1 - ROUNDING) <= amount <= self.stop_above * (1 + ROUNDING):
            return "warn"
        return "stop"

"""What a plan's sizes, places and words are worked out from."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.evidence import Reader
from forestay.eye.records import CaseFile
from forestay.eye.situation import Decisions
from forestay.plan.context import OwnIncision
from forestay.plan.estimates import Estimates
from forestay.plan.now import Now


@dataclass(frozen=True)
class Setting:
    """What the measures of any technique are worked out from."""

    case: CaseFile
    estimates: Estimates
    decisions: Decisions
    use: Reader
    own_incisions: tuple[OwnIncision, ...] = ()
    """What the practice's own incisions did, to be weighed in."""
    now: Now = field(default_factory=Now)
    """What has happened in the operation so far."""

    @property
    def weak(self) -> bool:
        """Whether the zonule is treated as weak."""
        return self.estimates.is_weak(self.use)

    @property
    def gap_hours(self) -> float:
        """Clock hours of zonule seen to be lost."""
        return float(len(self.estimates.gap_hours))

    def lacks_kit(self, item: str) -> bool:
        """Whether the theatre says that it has none of ``item``; not knowing is not lacking."""
        has = self.case.theatre.has
        return has is not None and item not in has

"""One eye's bag as the manoeuvres find it: its springs, and what has been put in to help."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from forestay.mechanics.bag_model import Bag, Load, Rim
from forestay.mechanics.fibres import Sheet
from forestay.mechanics.ring_loop import Ring
from forestay.mechanics.zonule import Hold, ZonuleParameters


@dataclass(frozen=True)
class Setting:
    """``springs`` of the zonule; ``ring`` in the empty bag; ``rim`` of the capsulorhexis; ``holds``, instruments;
    ``sheets_empty`` and ``sheets_lens`` of fibres (none: all at the equator); ``bed_mn_per_mm`` [mN/mm], vitreous."""

    springs: ZonuleParameters
    ring: Ring | None = None
    rim: Rim | None = None
    holds: tuple[Hold, ...] = ()
    sheets_empty: tuple[Sheet, ...] = ()
    sheets_lens: tuple[Sheet, ...] = ()
    bed_mn_per_mm: float = 0.0

    def bare(self) -> Setting:
        """The same without ring and instruments."""
        return replace(self, ring=None, holds=())

    def bag(self, support: tuple[float, ...], stage: Literal["empty", "lens"], load: Load | None) -> Bag:
        """The bag at that stage: a ring and a rim act only when it is empty."""
        empty = stage == "empty"
        return Bag(
            support=support,
            springs=self.springs,
            contents=stage,
            ring=self.ring if empty else None,
            holds=self.holds,
            load=load,
            rim=self.rim if empty else None,
            sheets=self.sheets_empty if empty else self.sheets_lens,
            bed_mn_per_mm=self.bed_mn_per_mm,
        )

"""What a reader asks beyond the plan: the order under own weights, and where the plan turns."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.web.views.case import Band
from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class WeightRow:
    """The weight of one measure, as its slider and field show it."""

    key: str = field(metadata=told("name of the measure, as in the address"))
    label: str = field(metadata=told("what is measured"))
    value: str = field(metadata=told("weight as typed; empty: none set"))
    slide: str = field(metadata=told("place of the slider; at its low end while no weight is set"))


@dataclass(frozen=True)
class ScoreRow:
    """One option under the weights."""

    label: str = field(metadata=told("name in words"))
    score: str = field(metadata=told("0: worst in every weighted measure; 1: best in every one"))


@dataclass(frozen=True)
class WeighedView(View):
    """The order under the reader's own weights."""

    case_id: str = field(metadata=told("identity of the case"))
    band: Band = field(metadata=told("whose eye this is"))
    weights: tuple[WeightRow, ...] = field(metadata=told("one for each measure that counts"))
    lead: str = field(metadata=told("the answer: which option comes first, no clear winner, or that nothing is scored"))
    order: tuple[ScoreRow, ...] = field(metadata=told("the options by the weights, best first; empty without weights"))
    turns: tuple[str, ...] = field(metadata=told("the weight at which another option comes first"))
    doubts: tuple[str, ...] = field(metadata=told("what is not known for every option and is left out"))
    caution: str = field(metadata=told("the standing caution"))


@dataclass(frozen=True)
class TurnsView(View):
    """Where the plan turns."""

    case_id: str = field(metadata=told("identity of the case"))
    band: Band = field(metadata=told("whose eye this is"))
    now: str = field(metadata=told("the plan as it is"))
    turns: tuple[str, ...] = field(metadata=told("the value of each input at which it is another plan"))
    steady: str = field(metadata=told("what was tried and turns nothing"))
    tried: int = field(metadata=told("how many plans were made to find out"))
    caution: str = field(metadata=told("the standing caution"))

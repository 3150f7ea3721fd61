"""What a plan is made with, beyond the facts: evidence, the practice's own figures, the date, the draws."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

from forestay.calc.zonule_input import OwnRatio
from forestay.evidence import EvidenceSet, default_evidence
from forestay.eye.lens_shelf import LensShelf
from forestay.plan.device_shelf import DeviceShelf
from forestay.plan.draws import COUNT, Draws
from forestay.risk.own_record import OwnRecord


@dataclass(frozen=True)
class OwnLens:
    """Own eyes with one lens in the bag, one way of measuring length, one formula: the A constant that they ask for.

    ``sd_d``: spread of single eyes around the prediction with that constant [D].
    """

    lens: str
    method: str
    formula: str
    n: int
    a: float
    sd_d: float


@dataclass(frozen=True)
class OwnIncision:
    """Own incisions of one technique, site (of a right eye) and shape: mean flattening and spread of one eye [D]."""

    technique: str
    site: str
    shape: str
    n: int
    mean_d: float
    sd_d: float


@dataclass(frozen=True)
class Practice:
    """The surgeon's own figures. Empty until there are followed-up cases to learn from; empty, they change nothing.

    ``zonule_ratios``: likelihood ratios of signs that this practice uses in the place of those that ship.
    ``records``: own operations by technique against what the model expected of them. ``lenses``: own lens constants.
    ``incisions``: what own incisions did to the cornea. Each is drawn towards the published figure by its number.
    """

    name: str = "none yet"
    digest: str = "empty"
    zonule_ratios: tuple[OwnRatio, ...] = ()
    records: tuple[OwnRecord, ...] = ()
    lenses: tuple[OwnLens, ...] = ()
    incisions: tuple[OwnIncision, ...] = ()


@dataclass(frozen=True)
class Context:
    """Everything that may change a plan and is not a fact of the case."""

    evidence: EvidenceSet
    draws: Draws
    practice: Practice = field(default_factory=Practice)
    today: date | None = None
    devices: DeviceShelf | None = None
    """Devices, drugs and consumables on the shelf; None is "not known"."""
    lenses: LensShelf | None = None
    """The practice's own lens models; None where no shelf is known."""
    settings: str = ""
    """The change of the practice's settings that the shelves come from; empty where they come from elsewhere."""
    searching: bool = True
    """Whether supports of a weak zonule are searched, and loads of the zonule spread over the draws: not while a
    control moves. A load is a rank within the eye and is shown without interval, so a look says the same."""
    looking: bool = False
    """Whether only what stands beside the picture is asked, under a moving hand: no doses, ladders, consent, doubts,
    risks of techniques that cannot come first, nor why one does."""
    deciding: bool = False
    """Whether only decision and technique are asked: margins are then left out where they part no two techniques."""

    @classmethod
    def default(cls, *, draws: int = COUNT, today: date | None = None, lenses: LensShelf | None = None) -> Context:
        """The evidence that ships, 1,000 draws, no figures of one's own."""
        return cls(default_evidence(), Draws(draws), today=today, lenses=lenses)

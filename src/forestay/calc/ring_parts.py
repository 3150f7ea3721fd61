"""Records and small steps that the calculations of open rings share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.mechanics import open_ring_bag, zonule
from forestay.mechanics.bag_model import Bag, BagConstants, BagState
from forestay.mechanics.open_ring_bag import Setting
from forestay.mechanics.open_ring_model import OpenRingConstants, OpenRingState, Piece, PieceState, whole_ring
from forestay.mechanics.open_ring_tie import tied
from forestay.mechanics.ring import require_closing
from forestay.mechanics.ring_loop import RingConstants, closed_diameter_mm
from forestay.mechanics.zonule import ZonuleConstants, ZonuleParameters
from forestay.record import Record
from forestay.text import tr

STILL_MM = 1e-5  # a smaller displacement has no direction
CLOCK_NONE = 12.0  # where no clock hour is said
Clock = Annotated[float, within("clock")]
Share = Annotated[float, within("share")]
Contents = Literal["empty", "lens"]


class RingInput(Record):
    """An open tension ring. Without ``closed_diameter_mm`` the published pairs of sizes give it."""

    free_diameter_mm: Annotated[float, within("free_diameter_mm")]
    closed_diameter_mm: Annotated[float, within("closed_diameter_mm")] | None = None
    spring_mn_per_mm: Annotated[float, within("spring_mn_per_mm")]
    gap_clock: Annotated[float, within("gap_clock")] | None = None


class SegmentInput(Record):
    """A ring segment, sutured to the sclera in its middle."""

    clock: Clock
    arc_deg: Annotated[float, within("segment_arc_deg")]


class PieceContact(Record):
    """What one ring or segment touches. Pushes in millinewtons rest on the ring's stiffness."""

    end_push_mn: tuple[float, float] = Field(description="push of its two ends on the wall, clockwise order")
    push_mn: float = Field(description="push on the wall in all")
    touch_deg: tuple[float | None, float | None] = Field(
        description="from each end to where the arc comes back to the wall; null where it never leaves it"
    )
    stand_off_mm: float = Field(description="widest distance from the wall")
    opening_deg: float = Field(description="angle between its ends; negative where they overlap")
    turned_deg: float = Field(description="how far it turned clockwise from where it was put")
    suture_mn: tuple[float, ...] = Field(description="pull of each suture, in the order of clock hours")
    outline_mm: tuple[tuple[float, float], ...] = Field(description="its points, to the examiner's right and up, mm")


class Band(Record):
    """Range over low and high friction."""

    displacement_mm: tuple[float, float] = Field(description="lowest and highest displacement of the bag's centre")
    peak_load: tuple[float, float] = Field(description="lowest and highest peak load; healthy resting load = 1")


def whole(given: RingInput, constants: RingConstants, *, gap_clock: float, sutured: tuple[float, ...]) -> Piece:
    """The open ring of an input, with its gap at ``gap_clock``."""
    closed = given.closed_diameter_mm
    if closed is None:
        closed = closed_diameter_mm(free_diameter_mm=given.free_diameter_mm, constants=constants)
    require_closing(free_diameter_mm=given.free_diameter_mm, closed_diameter_mm=closed)
    return whole_ring(
        free_diameter_mm=given.free_diameter_mm,
        closed_diameter_mm=closed,
        spring_mn_per_mm=given.spring_mn_per_mm,
        gap_clock=gap_clock,
        sutured_clocks=sutured,
    )


def contact(state: PieceState) -> PieceContact:
    """The contact of one piece as a record."""
    return PieceContact(
        end_push_mn=state.end_push_mn,
        push_mn=float(state.push_mn.sum()),
        touch_deg=state.touch_deg,
        stand_off_mm=state.stand_off_mm,
        opening_deg=state.opening_deg,
        turned_deg=state.turned_deg,
        suture_mn=state.suture_mn,
        outline_mm=tuple((float(x), float(y)) for x, y in state.outline_mm.T),
    )


def band(states: list[OpenRingState], resting_mn: float) -> Band | None:
    """Range over several answers, None where one of them does not rest."""
    if any(state.state not in ("held", "slid") for state in states):
        return None
    moved = [state.bag.displacement_mm for state in states]
    peaks = [max(state.bag.load_mn) / resting_mn for state in states]
    return Band(displacement_mm=(min(moved), max(moved)), peak_load=(min(peaks), max(peaks)))


def direction_of(state: BagState) -> float | None:
    """Clock hour that the bag moves towards, None where it stays."""
    return zonule.clock_of(state.x_mm, state.y_mm) if state.displacement_mm >= STILL_MM else None


class EyeInput(Record):
    """A bag and its zonule. Clock hours are the eye's."""

    bag_diameter_mm: Annotated[float, within("bag_diameter_mm")]
    zonule: tuple[Share, ...] = Field(
        strict=False,
        min_length=12,
        max_length=12,
        description="share of healthy support by clock hour: 12, 1, 2 ... 11",
    )
    contents: Contents | None = Field(default=None, description="what is in the bag; without it, nothing (empty)")
    age_years: Annotated[float, within("age_years")] | None = None
    friction: Annotated[float, within("friction")] | None = None


@dataclass(frozen=True)
class Eye:
    """Everything about the eye that the engines take."""

    low: ZonuleParameters
    high: ZonuleParameters
    contents: Contents
    support: tuple[float, ...]
    bag: BagConstants
    rings: RingConstants
    opened: OpenRingConstants
    friction: float
    doubts: list[Doubt]

    def setting(self, *, friction: float, stations: int) -> Setting:
        """What the engine takes beside bag and ring."""
        return Setting(self.bag, self.rings, self.opened, friction, stations)

    def rest(
        self, pieces: tuple[Piece, ...], *, stiff: bool, friction: float, stations: int, tie: bool = False
    ) -> OpenRingState:
        """Rest with those pieces; ``tie``: their sutures are then drawn until the bag is centred."""
        return open_ring_bag.rest(
            bag=Bag(support=self.support, springs=self.high if stiff else self.low, contents=self.contents),
            pieces=pieces,
            setting=self.setting(friction=friction, stations=stations),
            then=tied if tie else None,
        )


def eye_of(given: EyeInput, use: Reader) -> Eye:
    doubts = []
    constants = use.constants(ZonuleConstants)
    age = constants.usual_age_years if given.age_years is None else given.age_years
    if given.age_years is None:
        doubts.append(Doubt("age-assumed", tr("Age is not given: the zonule of {age:g} years is taken.", age=age)))
    doubts += zonule.age_doubts(age_years=age, constants=constants)
    if given.contents is None:
        doubts.append(Doubt("contents-assumed", tr("Contents are not given: the bag is taken to be empty.")))
    low, high = (
        zonule.parameters(
            bag_diameter_mm=given.bag_diameter_mm, age_years=age, constants=constants, stiffness_scale=scale
        )
        for scale in (1.0, constants.stiffness_scale_high)
    )
    opened = use.constants(OpenRingConstants)
    return Eye(
        low=low,
        high=high,
        contents=given.contents or "empty",
        support=given.zonule,
        bag=use.constants(BagConstants),
        rings=use.constants(RingConstants),
        opened=opened,
        friction=opened.friction if given.friction is None else given.friction,
        doubts=doubts,
    )

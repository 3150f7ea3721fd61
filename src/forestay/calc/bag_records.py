"""What the calculation ``bag`` takes and answers."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.eye.quantity import within
from forestay.mechanics.tie import Knot
from forestay.record import Record

STATE = "held; collapsed: an empty bag that came off or folded; unsupported: nothing holds it"
NAMED = f"{STATE}; overloaded: held without this load, but no rest exists under it"
Told = Literal["held", "collapsed", "unsupported"]
Clock = Annotated[float, within("clock")]
Share = Annotated[float, within("share")]


class RingInput(Record):
    """A tension ring. Without ``gap_clock`` it is a closed ring."""

    free_diameter_mm: Annotated[float, within("free_diameter_mm")]
    spring_mn_per_mm: Annotated[float, within("spring_mn_per_mm")]
    gap_clock: Annotated[float, within("gap_clock")] | None = None


class LoadInput(Record):
    """What pulls at the equator. ``torque``: ``force_mn`` shared evenly round the rim, so that it only turns."""

    kind: Literal["radial", "tangential", "torque"] = Field(
        description="a pull along the clock hour, along the rim, or a turn by force_mn shared evenly round the rim"
    )
    clock: Clock
    force_mn: Annotated[float, within("force_mn")]
    towards: Literal["centre", "sclera"] | None = Field(
        default=None, description="radial: which way the pull goes; without it, towards the centre"
    )
    sense: Literal["clockwise", "counter-clockwise"] | None = Field(
        default=None,
        description="tangential and torque: which way, as the examiner sees the eye; without it, the worse of both",
    )


Sutures = Literal["centred", "just-tight"]
SUTURES = (
    "how sutures to the sclera are tied: drawn until the bag is centred along them (without it), or just tight with the "
    "bag in the middle"
)


class KnotResult(Record):
    """How the sutures to the sclera are tied: all drawn by the same length, before any load."""

    state: Literal["centred", "slack", "limited"] = Field(
        description="centred: drawn until the bag is centred along them; slack: it is so without; limited: drawn as far as "
        "they go, the bag still off centre"
    )
    drawn_mm: float = Field(description="how much shorter each is than just tight with the bag in the middle")
    pulled_mm: float = Field(description="how much of that was drawn while it pulled")

    @classmethod
    def of(cls, knot: Knot | None) -> KnotResult | None:
        """The knot as it is told."""
        if knot is None:
            return None
        return cls(state=knot.state, drawn_mm=knot.drawn_mm, pulled_mm=knot.pulled_mm)


class BagInput(Record):
    """One bag, its zonule, what holds it and what pulls it. Clock hours are the eye's."""

    bag_diameter_mm: Annotated[float, within("bag_diameter_mm")]
    zonule: tuple[Share, ...] = Field(
        strict=False,
        min_length=12,
        max_length=12,
        description="share of healthy support by clock hour: 12, 1, 2 ... 11",
    )
    contents: Literal["empty", "lens"] | None = Field(
        default=None, description="what is in the bag; without it, the lens"
    )
    age_years: Annotated[float, within("age_years")] | None = None
    ring: RingInput | None = Field(
        default=None, description="a tension ring in the bag; without gap_clock a closed one"
    )
    capsule_hooks: tuple[Clock, ...] = Field(
        default=(), strict=False, max_length=12, description="clock hours of hooks"
    )
    segments: tuple[Clock, ...] = Field(
        default=(), strict=False, max_length=4, description="clock hours of sutured ring segments"
    )
    sutures: Sutures | None = Field(default=None, description=SUTURES)
    capsulorhexis_mm: Annotated[float, within("capsulorhexis_mm")] | None = Field(
        default=None, description="diameter of the capsulorhexis: in an empty bag hooks then pull at its margin"
    )
    load: LoadInput | None = Field(default=None, description="what the surgeon pulls with, at the equator")
    fibres: Literal["equator", "sheets"] | None = Field(
        default=None, description="fibres all at the equator (without it), or in an anterior and a posterior sheet"
    )
    vitreous: Literal["none", "formed"] | None = Field(
        default=None, description="formed: the vitreous supports the bag, as a soft bed; without it, no support"
    )


class ScenarioSide(Record):
    """The same bag at one reading of the zonule's stiffness."""

    total_stiffness_mn_per_mm: float = Field(description="stiffness of the whole healthy zonule, mN/mm")
    resting_load_mn: float = Field(description="pull of one healthy clock hour at rest")
    state: Told = Field(description=STATE)
    displacement_mm: float | None = Field(description="how far the bag's centre moves")
    displacement_clock: float | None = Field(description="towards which clock hour")
    peak_load: float | None = Field(description="largest load of a clock hour; healthy resting load = 1")
    peak_load_mn: float | None = Field(description="the same in millinewtons")
    peak_stretch_mm: float | None = Field(description="stretch of the most stretched fibre anywhere")


class Scenario(Record):
    """What rests on poorly known strength: a band, not a prediction."""

    label: str = Field(description="what this is, to be shown with it")
    low: ScenarioSide = Field(description="with the measured pull as that of the whole zonule")
    high: ScenarioSide = Field(description="with the measured pull as that of one of eight hooks")


class HoldLoad(Record):
    """Pull of an instrument, against the resting load of one healthy clock hour."""

    kind: Literal["hook", "segment"] = Field(description="what holds")
    clock: float = Field(description="at which clock hour")
    load: float = Field(description="its pull; healthy resting load of one clock hour = 1")


class BagResult(Record):
    """Loads are compared with the resting load of one healthy clock hour at the same age (1)."""

    state: Told = Field(description=STATE)
    displacement_mm: float | None = Field(description="how far the bag's centre moves")
    displacement_clock: float | None = Field(description="towards which clock hour; null where it does not move")
    load_by_clock_hour: tuple[float, ...] | None = Field(description="12, 1, 2 ... 11; healthy resting load = 1")
    peak_load: float | None = Field(description="the largest of load_by_clock_hour")
    peak_clock: float | None = Field(description="its clock hour; of equal ones the uppermost")
    stretch_by_clock_hour: tuple[float, ...] | None = Field(
        description="mean stretch of the fibres that are there; healthy resting stretch = 1"
    )
    peak_stretch: float | None = Field(description="most stretched fibre anywhere; healthy resting stretch = 1")
    area_share: float | None = Field(description="area inside the equator against rest")
    holds: tuple[HoldLoad, ...] | None = Field(description="pull of each hook and segment")
    depth_pull_by_clock_hour: tuple[float, ...] | None = Field(
        default=None,
        description="with sheets of fibres: pull forward (negative: back), healthy resting load = 1; moves nothing here",
    )
    cause: Literal["overloaded"] | None = Field(
        default=None,
        description="overloaded: the bag is held without this load, but no rest exists under it (limit_share: how much it "
        "bears); else null",
    )
    limit_share: float | None = Field(
        default=None,
        description="where the bag is held without the load and not with it: share of the load up to which it is held; "
        "else null",
    )
    knot: KnotResult | None = Field(
        default=None, description="how the sutures of segments are tied; null without any, or where they are just tight"
    )
    scenario: Scenario = Field(description="what rests on poorly known strength: a band, not a prediction")

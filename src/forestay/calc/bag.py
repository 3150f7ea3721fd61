"""The calculation ``bag``: where the capsular bag goes, and which clock hours carry the load."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.frame import HOURS
from forestay.mechanics import bag as mechanics
from forestay.mechanics import zonule
from forestay.mechanics.bag_model import Bag, BagConstants, BagState, Load, State, by_clock
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.zonule import Hold, ZonuleConstants, ZonuleParameters
from forestay.record import Record
from forestay.text import tr

STILL_MM = 1e-6  # a smaller displacement has no direction
TIE = 1e-9  # clock hours whose loads differ by less than this share carry the same
STATE = "held; collapsed: an empty bag that came off or folded; unsupported: nothing holds it"
Clock = Annotated[float, within("clock")]
Share = Annotated[float, within("share")]


@dataclass(frozen=True)
class HoldConstants:
    """Stiffness [mN/mm], overpull [mm] and arc [degrees] of what holds the equator."""

    PREFIX: ClassVar[str] = "bag_hold"
    hook_stiffness_mn_per_mm: float
    hook_overpull_mm: float
    segment_stiffness_mn_per_mm: float
    segment_arc_deg: float


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
    capsulorhexis_mm: Annotated[float, within("capsulorhexis_mm")] | None = None
    load: LoadInput | None = Field(default=None, description="what the surgeon pulls with, at the equator")


class ScenarioSide(Record):
    """The same bag at one reading of the zonule's stiffness."""

    total_stiffness_mn_per_mm: float = Field(description="stiffness of the whole healthy zonule, mN/mm")
    resting_load_mn: float = Field(description="pull of one healthy clock hour at rest")
    state: State = Field(description=STATE)
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

    state: State = Field(description=STATE)
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
    scenario: Scenario = Field(description="what rests on poorly known strength: a band, not a prediction")


@calculation(
    "bag",
    summary="Where the bag goes and which clock hours carry the load, with lost zonule, ring, hooks and pulls",
    formula="Least energy of the bag's equator on tension-only zonular fibres with resting stretch: a rigid disc with "
    "the lens inside, a flexible loop when empty (bending stiffness where a ring covers it)",
    valid="Planar; displacement below the length of the fibres. No vitreous, posterior capsule or tilt. Compares "
    "within one eye; millimetres and millinewtons are a scenario",
    input=BagInput,
    output=BagResult,
    example={
        "bag_diameter_mm": 10.4,
        "zonule": [1, 1, 1, 1, 0.8, 0, 0, 0, 0.8, 1, 1, 1],
        "contents": "empty",
        "age_years": 71,
        "ring": {"free_diameter_mm": 13.0, "spring_mn_per_mm": 1.2},
        "load": {"kind": "radial", "clock": 5, "force_mn": 1},
    },
)
def bag(given: BagInput, use: Reader) -> tuple[BagResult, list[Doubt]]:
    """Bag, zonule, ring, hooks and loads: see :func:`forestay.mechanics.bag.rest`."""
    if given.capsulorhexis_mm is not None and given.capsulorhexis_mm >= given.bag_diameter_mm:
        raise InvalidInput(
            tr(
                "capsulorhexis_mm is {value:g}; allowed: less than bag_diameter_mm, {bag:g}.",
                value=given.capsulorhexis_mm,
                bag=given.bag_diameter_mm,
            ),
            field="capsulorhexis_mm",
            value=given.capsulorhexis_mm,
            allowed=tr("less than bag_diameter_mm"),
        )
    doubts = _input_doubts(given)
    constants = use.constants(ZonuleConstants)
    age = constants.usual_age_years if given.age_years is None else given.age_years
    if given.age_years is None:
        doubts.append(Doubt("age-assumed", tr("Age is not given: the zonule of {age:g} years is taken.", age=age)))
    doubts += zonule.age_doubts(age_years=age, constants=constants)
    low, high = (
        zonule.parameters(
            bag_diameter_mm=given.bag_diameter_mm, age_years=age, constants=constants, stiffness_scale=scale
        )
        for scale in (1.0, constants.stiffness_scale_high)
    )
    holds = _holds(given, use, low)
    found = [_worst(given, springs, holds, use) for springs in (low, high)]
    doubts += _answer_doubts(given, found[0], found[1], low)
    scenario = Scenario(
        label=tr("Scenario: rests on poorly known strength of the zonule; a band, not a prediction"),
        low=_side(found[0], low),
        high=_side(found[1], high),
    )
    return _result(found[0], low, holds, scenario), doubts


def _holds(given: BagInput, use: Reader, springs: ZonuleParameters) -> tuple[Hold, ...]:
    if not given.capsule_hooks and not given.segments:
        return ()
    constants = use.constants(HoldConstants)
    length = float(springs.fibre_length_mm)
    hooks = tuple(
        Hold(clock, constants.hook_stiffness_mn_per_mm, length, constants.hook_overpull_mm, 0.0)
        for clock in given.capsule_hooks
    )
    return hooks + tuple(
        Hold(clock, constants.segment_stiffness_mn_per_mm, length, 0.0, constants.segment_arc_deg)
        for clock in given.segments
    )


def _worst(given: BagInput, springs: ZonuleParameters, holds: tuple[Hold, ...], use: Reader) -> BagState:
    """The rest of the bag; where the sense of a load is not given, the sense that loads the zonule more."""
    ring = None
    if given.ring is not None:
        ring = Ring(given.ring.free_diameter_mm, given.ring.spring_mn_per_mm, given.ring.gap_clock)
    found = []
    for load in _loads(given.load):
        one = Bag(
            support=given.zonule, springs=springs, contents=given.contents or "lens", ring=ring, holds=holds, load=load
        )
        found.append(
            mechanics.rest(bag=one, constants=use.constants(BagConstants), ring_constants=use.constants(RingConstants))
        )
    return max(found, key=lambda s: (s.state != "held", max(s.load_mn), s.displacement_mm, s.y_mm))


def _loads(load: LoadInput | None) -> tuple[Load | None, ...]:
    if load is None or load.force_mn == 0:
        return (None,)
    if load.kind == "radial":
        return (Load("radial", load.clock, load.force_mn, inward=load.towards != "sclera"),)
    senses = (True, False) if load.sense is None else (load.sense == "clockwise",)
    return tuple(Load(load.kind, load.clock, load.force_mn, clockwise=sense) for sense in senses)


def _direction(state: BagState) -> float | None:
    return zonule.clock_of(state.x_mm, state.y_mm) if state.displacement_mm >= STILL_MM else None


def _peak_clock(loads: tuple[float, ...]) -> float | None:
    """Hour of the largest load; of equal ones the uppermost, so that mirror images answer alike."""
    peak = max(loads)
    if peak <= 0:
        return None
    tied = [row for row, load in enumerate(loads) if load >= peak * (1 - TIE)]
    row = max(tied, key=lambda r: (zonule.direction(HOURS[r])[1], loads[r]))
    return float(HOURS[row])


def _side(state: BagState, springs: ZonuleParameters) -> ScenarioSide:
    held = state.state == "held"
    resting = float(springs.resting_load_mn)
    return ScenarioSide(
        total_stiffness_mn_per_mm=float(springs.total_stiffness_mn_per_mm),
        resting_load_mn=resting,
        state=state.state,
        displacement_mm=state.displacement_mm if held else None,
        displacement_clock=_direction(state) if held else None,
        peak_load=max(state.load_mn) / resting if held else None,
        peak_load_mn=max(state.load_mn) if held else None,
        peak_stretch_mm=state.peak_stretch_mm if held else None,
    )


def _result(state: BagState, springs: ZonuleParameters, holds: tuple[Hold, ...], scenario: Scenario) -> BagResult:
    if state.state != "held":
        return BagResult(
            state=state.state,
            displacement_mm=None,
            displacement_clock=None,
            load_by_clock_hour=None,
            peak_load=None,
            peak_clock=None,
            stretch_by_clock_hour=None,
            peak_stretch=None,
            area_share=None,
            holds=None,
            scenario=scenario,
        )
    resting, prestretch = float(springs.resting_load_mn), float(springs.prestretch_mm)
    loads = tuple(load / resting for load in state.load_mn)
    ordered = by_clock(holds)
    kinds = {hold: "segment" if hold.arc_deg else "hook" for hold in holds}
    return BagResult(
        state=state.state,
        displacement_mm=state.displacement_mm,
        displacement_clock=_direction(state),
        load_by_clock_hour=loads,
        peak_load=max(loads),
        peak_clock=_peak_clock(loads),
        stretch_by_clock_hour=tuple(s / prestretch for s in state.stretch_mm),
        peak_stretch=state.peak_stretch_mm / prestretch,
        area_share=state.area_share,
        holds=tuple(
            HoldLoad(kind=kinds[hold], clock=hold.clock, load=pull / resting)  # type: ignore[arg-type]
            for hold, pull in zip(ordered, state.hold_mn, strict=True)
        ),
        scenario=scenario,
    )


def _input_doubts(given: BagInput) -> list[Doubt]:
    doubts = []
    if given.contents is None:
        doubts.append(Doubt("contents-assumed", tr("Contents are not given: the lens is taken to be in the bag.")))
    if given.ring is not None and given.contents != "empty":
        message = tr("With the lens in it the bag is already rigid: this model shows no effect of the ring.")
        doubts.append(Doubt("ring-with-lens", message))
    elif given.ring is not None and given.ring.gap_clock is not None:
        message = tr("Where a ring's gap lies matters, but this model, a sleeve, does not rank gap positions.")
        doubts.append(Doubt("ring-gap-not-ranked", message))
    elif given.ring is not None:
        message = tr("The ring is taken as closed: its outward push and its gap are left out.")
        doubts.append(Doubt("ring-closed", message))
    if given.capsulorhexis_mm is not None:
        message = tr("The capsulorhexis is not yet part of this model: capsulorhexis_mm changes nothing here.")
        doubts.append(Doubt("capsulorhexis-unused", message))
    return doubts + _load_doubts(given.load)


def _load_doubts(load: LoadInput | None) -> list[Doubt]:
    doubts = []
    if load is not None and load.kind == "radial" and load.towards is None:
        message = tr("The direction of the radial pull is not given: towards the centre is taken.")
        doubts.append(Doubt("load-direction-assumed", message))
    if load is not None and load.kind != "radial" and load.sense is None:
        message = tr("The sense of the load is not given: the worse of clockwise and counter-clockwise is shown.")
        doubts.append(Doubt("load-sense-assumed", message))
    if load is not None and load.force_mn > 0:
        message = tr(
            "What a pull in millinewtons does beside the resting load depends on the zonule's stiffness, which is "
            "uncertain several-fold: see the scenario."
        )
        doubts.append(Doubt("load-scale", message))
    return doubts


def _answer_doubts(given: BagInput, low: BagState, high: BagState, springs: ZonuleParameters) -> list[Doubt]:
    doubts = []
    if low.state == "unsupported" and not any(given.zonule) and not (given.capsule_hooks or given.segments):
        message = tr("No clock hour has any support: nothing holds the bag, and no position can be given.")
        doubts.append(Doubt("unsupported", message))
    elif low.state == "unsupported":
        message = tr(
            "What is left of the zonule goes slack before it balances: it does not hold the lens in this model, which "
            "leaves out the vitreous."
        )
        doubts.append(Doubt("unsupported", message))
    elif low.state == "collapsed" and not low.converged:
        doubts.append(Doubt("no-equilibrium", tr("No rest position was found: the bag is taken as collapsed.")))
    elif low.state == "collapsed":
        message = tr("The empty bag comes off the lost zonule or folds: no position or load can be given.")
        doubts.append(Doubt("collapsed", message))
    if low.state == "held" and low.displacement_mm > float(springs.fibre_length_mm):
        message = tr(
            "The bag moves by more than {limit:g} mm, outside the range of this model: it only says that it is far.",
            limit=float(springs.fibre_length_mm),
        )
        doubts.append(Doubt("outside-model-range", message))
    if low.state != high.state:
        message = tr(
            "With the zonule at its stiffer reading the state is {high}, not {low}: which one holds is not known.",
            high=tr(high.state),
            low=tr(low.state),
        )
        doubts.append(Doubt("state-depends-on-stiffness", message))
    return doubts


CALCULATIONS = (bag,)

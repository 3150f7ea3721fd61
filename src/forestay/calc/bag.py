"""The calculation ``bag``: where the capsular bag goes, and which clock hours carry the load."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from forestay.answer import Doubt
from forestay.calc.bag_holds import drawn_by, holds_of
from forestay.calc.bag_records import BagInput, BagResult, HoldLoad, KnotResult, LoadInput, Scenario, ScenarioSide, Told
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.frame import HOURS
from forestay.mechanics import bag as mechanics
from forestay.mechanics import fibres, zonule
from forestay.mechanics.bag_model import Bag, BagConstants, BagState, Load, Rim, RimConstants, by_clock
from forestay.mechanics.fibres import FibreConstants, Sheet
from forestay.mechanics.limit_load import borne_share
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.tie import Knot, along, drawn
from forestay.mechanics.zonule import Hold, ZonuleConstants, ZonuleParameters
from forestay.text import tr

STILL_MM = 1e-6  # a smaller displacement has no direction
LIMIT_STATIONS = 72  # round the equator of an empty bag whose limit is sought
TIE = 1e-9  # clock hours whose loads differ by less than this share carry the same


@calculation(
    "bag",
    summary="Where the bag goes and which clock hours carry the load, with lost zonule, ring, hooks and pulls",
    formula="Least energy of the bag's equator on tension-only zonular fibres with resting stretch: a rigid disc with "
    "the lens inside, a flexible loop when empty (bending stiffness where a ring covers it), two loops with the flap between when the capsulorhexis is known",
    valid="Planar; displacement below the length of the fibres. No posterior capsule or tilt. Compares "
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
    doubts = input_doubts(given)
    low, high, about = both_readings(given, use)
    doubts += about
    holds = holds_of(given, use, low)
    model = _Model.of(given, use)
    knots = [_knot(given, springs, holds, model) for springs in (low, high)]
    held = [drawn_by(holds, knot) for knot in knots]
    named = [_worst(given, springs, hold, model) for springs, hold in zip((low, high), held, strict=True)]
    found = [replace(one, state=_told(one, given)) for one in named]
    borne = None if found[0].state == "held" else _borne(given, low, held[0], model)
    doubts += _limit_doubts(borne) or _answer_doubts(given, found[0], low)
    doubts += _reading_doubts(found[0], found[1])
    scenario = Scenario(
        label=tr("Scenario: rests on poorly known strength of the zonule; a band, not a prediction"),
        low=_side(found[0], low),
        high=_side(found[1], high),
    )
    result = _result(found[0], low, held[0], model.sheets, scenario)
    cause = "overloaded" if named[0].state == "overloaded" else None
    more = {"limit_share": borne, "cause": cause, "knot": KnotResult.of(knots[0])}
    return result.model_copy(update=more), doubts


def both_readings(given: BagInput, use: Reader) -> tuple[ZonuleParameters, ZonuleParameters, list[Doubt]]:
    """The zonule's springs at the measured stiffness and at its stiffer reading, and the doubts about the age."""
    doubts = []
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
    return low, high, doubts


@dataclass(frozen=True)
class _Model:
    """Which parts of the bag model take part, and their constants."""

    bag: BagConstants
    rings: RingConstants
    rim: Rim | None
    sheets: tuple[Sheet, ...]
    bed_share: float

    @classmethod
    def of(cls, given: BagInput, use: Reader) -> _Model:
        contents = given.contents or "lens"
        rim = None
        if contents == "empty" and given.capsulorhexis_mm is not None:
            rim = Rim(given.capsulorhexis_mm * 0.5, use.constants(RimConstants))
        sheets: tuple[Sheet, ...] = ()
        if given.fibres == "sheets":
            known = use.constants(FibreConstants)
            sheets = fibres.sheets(contents=contents, bag_radius_mm=given.bag_diameter_mm * 0.5, constants=known)
        bed = use.number("fibres.bed_share") if given.vitreous == "formed" else 0.0
        return cls(use.constants(BagConstants), use.constants(RingConstants), rim, sheets, bed)


def _knot(given: BagInput, springs: ZonuleParameters, holds: tuple[Hold, ...], model: _Model) -> Knot | None:
    """How far the sutures of segments are drawn, before any load; None where there are none, or they stay just tight."""
    towards = along(given.segments)
    if towards is None or given.sutures == "just-tight":
        return None

    def shift_mm(draw: float) -> float | None:
        held = drawn_by(holds, Knot(draw, draw, "slack"))
        (bag,) = _bags(given.model_copy(update={"load": None}), springs, held, model)
        found = mechanics.rest(bag=bag, constants=model.bag, ring_constants=model.rings)
        return found.x_mm * float(towards[0]) + found.y_mm * float(towards[1]) if found.converged else None

    return drawn(shift_mm=shift_mm, from_mm=0.0, limit_mm=float(springs.fibre_length_mm))


def _worst(given: BagInput, springs: ZonuleParameters, holds: tuple[Hold, ...], model: _Model) -> BagState:
    """The rest of the bag; where the sense of a load is not given, the sense that loads the zonule more."""
    found = [
        mechanics.rest(bag=one, constants=model.bag, ring_constants=model.rings)
        for one in _bags(given, springs, holds, model)
    ]
    return max(found, key=lambda s: (s.state != "held", max(s.load_mn), s.displacement_mm, s.y_mm))


def _borne(given: BagInput, springs: ZonuleParameters, holds: tuple[Hold, ...], model: _Model) -> float | None:
    """Share of the load that a bag bears which does not bear the whole; None where it is not held without one either."""
    ask = {"constants": model.bag, "ring_constants": model.rings, "stations": LIMIT_STATIONS}
    shares = [borne_share(bag=one, **ask) for one in _bags(given, springs, holds, model)]  # type: ignore[arg-type]
    return min((share for share in shares if share is not None), default=None)


def _bags(given: BagInput, springs: ZonuleParameters, holds: tuple[Hold, ...], model: _Model) -> list[Bag]:
    """The bag under its load, in each sense that it may have."""
    ring = None
    if given.ring is not None:
        ring = Ring(given.ring.free_diameter_mm, given.ring.spring_mn_per_mm, given.ring.gap_clock)
    return [
        Bag(
            support=given.zonule,
            springs=springs,
            contents=given.contents or "lens",
            ring=ring,
            holds=holds,
            load=load,
            rim=model.rim,
            sheets=model.sheets,
            bed_mn_per_mm=model.bed_share * float(springs.total_stiffness_mn_per_mm),
        )
        for load in _loads(given.load)
    ]


def _loads(load: LoadInput | None) -> tuple[Load | None, ...]:
    if load is None or load.force_mn == 0:
        return (None,)
    if load.kind == "radial":
        return (Load("radial", load.clock, load.force_mn, inward=load.towards != "sclera"),)
    senses = (True, False) if load.sense is None else (load.sense == "clockwise",)
    return tuple(Load(load.kind, load.clock, load.force_mn, clockwise=sense) for sense in senses)


def _told(state: BagState, given: BagInput) -> Told:
    """The state by what becomes of the bag; that its load alone is too much is told beside it, as ``cause``."""
    if state.state == "overloaded":
        return "collapsed" if given.contents == "empty" else "unsupported"
    return state.state


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
        state=state.state,  # type: ignore[arg-type]
        displacement_mm=state.displacement_mm if held else None,
        displacement_clock=_direction(state) if held else None,
        peak_load=max(state.load_mn) / resting if held else None,
        peak_load_mn=max(state.load_mn) if held else None,
        peak_stretch_mm=state.peak_stretch_mm if held else None,
    )


def _result(
    state: BagState,
    springs: ZonuleParameters,
    holds: tuple[Hold, ...],
    sheets: tuple[Sheet, ...],
    scenario: Scenario,
) -> BagResult:
    if state.state != "held":
        return BagResult(
            state=state.state,  # type: ignore[arg-type]
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
    depth = fibres.axial_pull_mn(sheets=sheets, springs=springs, hour_load_mn=np.array(state.load_mn)) / resting
    ordered = by_clock(holds)
    kinds = {hold: "segment" if hold.arc_deg else "hook" for hold in holds}
    return BagResult(
        state="held",
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
        depth_pull_by_clock_hour=tuple(float(v) for v in depth) if sheets else None,
        scenario=scenario,
    )


def input_doubts(given: BagInput) -> list[Doubt]:
    """What was assumed, and what this model leaves out."""
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
    if given.capsulorhexis_mm is not None and given.contents != "empty":
        message = tr("With the lens in it the bag is rigid: capsulorhexis_mm changes nothing here.")
        doubts.append(Doubt("capsulorhexis-unused", message))
    if given.fibres == "sheets":
        message = tr("Sheets of fibres pull in depth as well: that pull is shown, but the bag stays in its plane.")
        doubts.append(Doubt("depth-left-out", message))
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


def _limit_doubts(borne: float | None) -> list[Doubt]:
    """A bag that is held without the load and not with it."""
    if borne is None or borne >= 1:
        return []
    message = tr(
        "Held without this load, but not with it: no rest exists beyond {share:.0%} of it as long as it pulls on "
        "unchanged. A hand gives way sooner.",
        share=borne,
    )
    return [Doubt("beyond-limit", message)]


def _answer_doubts(given: BagInput, low: BagState, springs: ZonuleParameters) -> list[Doubt]:
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
    return doubts


def _reading_doubts(low: BagState, high: BagState) -> list[Doubt]:
    """Where the two readings of the zonule's stiffness end in different states."""
    if low.state == high.state:
        return []
    message = tr(
        "With the zonule at its stiffer reading the state is {high}, not {low}: which one holds is not known.",
        high=tr(high.state),
        low=tr(low.state),
    )
    return [Doubt("state-depends-on-stiffness", message)]


CALCULATIONS = (bag,)

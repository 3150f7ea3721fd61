"""The calculation ``zonule-unzipping``: how much zonule an imposed stroke would tear. A scenario, never a prediction."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.bag import both_readings, input_doubts
from forestay.calc.bag_records import STATE, BagInput, Clock, LoadInput, RingInput, Share
from forestay.calc.core import calculation
from forestay.errors import InvalidInput, MissingInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.mechanics import bag as mechanics
from forestay.mechanics.bag_model import Bag, BagConstants, Load, State
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.unzip import STATIONS, UnzipConstants, Unzipped, scattered, unzip
from forestay.mechanics.zonule import ZonuleParameters
from forestay.record import Record
from forestay.text import tr

DRAWS = 5  # of the strengths of single fibres; the middle one is told, with the lowest and the highest
Stroke = Annotated[float, within("stroke_mm")]


class UnzippingInput(Record):
    """One bag, its zonule, and the stroke of an instrument. Clock hours are the eye's."""

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
    clock: Clock = Field(description="clock hour at which the instrument holds the equator")
    kind: Literal["radial", "tangential"] = Field(
        description="which way the hand moves: towards the centre, or along the rim"
    )
    sense: Literal["clockwise", "counter-clockwise"] | None = Field(
        default=None,
        description="tangential: which way, as the examiner sees the eye; without it, the worse of both",
    )
    strokes_mm: tuple[Stroke, ...] | None = Field(
        default=None,
        strict=False,
        min_length=1,
        max_length=8,
        description="rising strokes of the hand, one after another",
    )
    stroke_mm: Stroke | None = None
    scatter: Annotated[float, within("strength_scatter")] | None = None
    rupture_stretch_mm: Annotated[float, within("rupture_stretch_mm")] | None = None


class StrokeRow(Record):
    """One stroke: the middle of several draws of the fibres' strengths."""

    stroke_mm: float = Field(description="how far the hand has moved the instrument")
    torn_share: float = Field(description="share of the fibres that were there which are torn by now, 0 to 1")
    torn_share_range: tuple[float, float] = Field(description="lowest and highest of that over the draws")
    force_mn: float = Field(description="force in the instrument, mN")
    share_of_limit: float | None = Field(
        description="stretch against its limit of the fibre nearest to tearing among those left; null: none is left"
    )
    displacement_mm: float | None = Field(description="how far the bag's centre moves; null: no fibre is left")


class UnzippingSide(Record):
    """The scenario at one reading of the zonule's stiffness."""

    state: State = Field(description=f"before any stroke: {STATE}")
    strokes: tuple[StrokeRow, ...] | None = Field(
        description="one entry for each stroke; null where the bag is not held"
    )


class UnzippingResult(Record):
    """What strokes would tear if fibres were as strong as said: to be shown with its label only."""

    label: str = Field(description="what this is, to be shown with it")
    state: State = Field(description=f"before any stroke: {STATE}")
    strokes: tuple[StrokeRow, ...] | None = Field(
        description="one entry for each stroke, with the zonule as measured; null where the bag is not held"
    )
    stiffer_zonule: UnzippingSide = Field(description="the same with the zonule at its stiffer reading")
    rupture_stretch_mm: float = Field(description="mean rupture stretch taken")
    scatter: float = Field(description="its spread from fibre to fibre taken, share of the mean")
    draws: int = Field(description="how many draws of the fibres' strengths were tried")


@dataclass(frozen=True)
class _Trial:
    """What every stroke shares."""

    strokes: tuple[float, ...]
    constants: UnzipConstants
    bag: BagConstants
    rings: RingConstants

    @property
    def draws(self) -> int:
        return DRAWS if self.constants.strength_scatter > 0 else 1


@calculation(
    "zonule-unzipping",
    summary="How much of the zonule a stroke of an instrument would tear, fibre by fibre: a scenario, not a prediction",
    formula="Rest of the bag with its equator drawn by an imposed stroke through the instrument's give; while a fibre is "
    "stretched beyond its own limit the most overloaded one tears and rest is found again",
    valid="Planar. The limit is that of normal donor eyes; none is known for a diseased zonule. Compares one stroke, "
    "direction or bag with another; not a tearing load, and no margin or chance rests on it",
    input=UnzippingInput,
    output=UnzippingResult,
    example={
        "bag_diameter_mm": 10.4,
        "zonule": [1, 1, 1, 1, 0.6, 0, 0, 0.6, 1, 1, 1, 1],
        "contents": "empty",
        "age_years": 74,
        "clock": 4,
        "kind": "radial",
        "strokes_mm": [1, 2, 3, 4],
        "rupture_stretch_mm": 2.0,
    },
)
def zonule_unzipping(given: UnzippingInput, use: Reader) -> tuple[UnzippingResult, list[Doubt]]:
    """See :func:`forestay.mechanics.unzip.unzip`."""
    strokes = _strokes(given)
    constants = use.constants(UnzipConstants)
    doubts = []
    if given.rupture_stretch_mm is not None:
        constants = replace(constants, limit_mm=given.rupture_stretch_mm)
    else:
        message = tr(
            "The rupture stretch is not given: {limit:g} mm, of normal donor eyes, is taken; a diseased zonule may tear "
            "far earlier.",
            limit=constants.limit_mm,
        )
        doubts.append(Doubt("rupture-stretch-assumed", message))
    if given.scatter is not None:
        constants = replace(constants, strength_scatter=given.scatter)
    else:
        message = tr(
            "The spread of strength between fibres is not given: {share:g} of the mean is taken.",
            share=constants.strength_scatter,
        )
        doubts.append(Doubt("scatter-assumed", message))
    if given.kind == "tangential":
        message = tr(
            "Strokes of one length pull differently hard along the rim and outward: set the two beside one another at "
            "the same pull, not at the same stroke."
        )
        doubts.append(Doubt("like-pull-not-like-stroke", message))
    asked = _as_bag(given)
    low, high, about = both_readings(asked, use)
    trial = _Trial(strokes, constants, use.constants(BagConstants), use.constants(RingConstants))
    sides = [_side(given, springs, trial) for springs in (low, high)]
    result = UnzippingResult(
        label=tr("Scenario: what strokes would tear if the fibres were as strong as said here; not a prediction"),
        state=sides[0].state,
        strokes=sides[0].strokes,
        stiffer_zonule=sides[1],
        rupture_stretch_mm=constants.limit_mm,
        scatter=constants.strength_scatter,
        draws=trial.draws,
    )
    return result, doubts + input_doubts(asked) + about + _answer_doubts(sides, low)


def _strokes(given: UnzippingInput) -> tuple[float, ...]:
    """The strokes, whichever way they are given: rising, and none beyond the middle of the bag."""
    if given.strokes_mm is not None and given.stroke_mm is not None:
        raise InvalidInput(
            tr("strokes_mm and stroke_mm are both given; allowed: one of them."),
            field="stroke_mm",
            value=given.stroke_mm,
            allowed=tr("one of strokes_mm and stroke_mm"),
        )
    single = () if given.stroke_mm is None else (given.stroke_mm,)
    strokes, field = given.strokes_mm or single, "stroke_mm" if single else "strokes_mm"
    if not strokes:
        raise MissingInput(tr("Neither strokes_mm nor stroke_mm is given: one of them is needed."), field="strokes_mm")
    values = ", ".join(f"{stroke:g}" for stroke in strokes)
    rises = all(earlier < later for earlier, later in pairwise(strokes))
    if not rises or strokes[-1] >= given.bag_diameter_mm * 0.5:
        allowed = tr(
            "each longer than the one before, below half of bag_diameter_mm, {half:g}", half=given.bag_diameter_mm * 0.5
        )
        message = tr("{field} is {values}; allowed: {allowed}.", field=field, values=values, allowed=allowed)
        raise InvalidInput(message, field=field, value=values, allowed=allowed)
    return strokes


def _as_bag(given: UnzippingInput) -> BagInput:
    """The same bag as the calculation ``bag`` takes it, with a pull of that kind but no force."""
    sense = given.sense if given.kind == "tangential" else None
    towards: Literal["centre"] | None = "centre" if given.kind == "radial" else None
    return BagInput(
        bag_diameter_mm=given.bag_diameter_mm,
        zonule=given.zonule,
        contents=given.contents,
        age_years=given.age_years,
        ring=given.ring,
        load=LoadInput(kind=given.kind, clock=given.clock, force_mn=0.0, towards=towards, sense=sense),
    )


def _side(given: UnzippingInput, springs: ZonuleParameters, trial: _Trial) -> UnzippingSide:
    """The scenario at one reading; where the sense is not given, the sense that tears more."""
    contents = given.contents or "lens"
    ring = None
    if given.ring is not None and contents == "empty":
        ring = Ring(given.ring.free_diameter_mm, given.ring.spring_mn_per_mm, given.ring.gap_clock)
    bag = Bag(support=given.zonule, springs=springs, contents=contents, ring=ring)
    before = mechanics.rest(bag=bag, constants=trial.bag, ring_constants=trial.rings, stations=STATIONS)
    if before.state != "held":
        return UnzippingSide(state=before.state, strokes=None)
    senses = (True, False) if given.kind == "tangential" and given.sense is None else (given.sense == "clockwise",)
    histories = [_history(replace(bag, load=Load(given.kind, given.clock, 0.0, clockwise=s)), trial) for s in senses]
    found = [history for history in histories if history is not None]
    if len(found) < len(histories):
        return UnzippingSide(state="collapsed", strokes=None)
    return UnzippingSide(state="held", strokes=max(found, key=_severity))


def _severity(rows: tuple[StrokeRow, ...]) -> tuple[float, ...]:
    """How much a history tears, the last stroke first; force and then place decide between equal ones."""
    return (
        *(row.torn_share for row in reversed(rows)),
        *(row.force_mn for row in reversed(rows)),
        *(row.displacement_mm or 0.0 for row in reversed(rows)),
    )


def _history(pulled: Bag, trial: _Trial) -> tuple[StrokeRow, ...] | None:
    """Every stroke over the draws; None where no rest is found.

    Of a bag and its mirror image always the same one is worked out, so that both tear alike to the last bit.
    """
    one = pulled.rounded()
    other = one.mirrored()
    bag = min((one, other), key=Bag.key)
    load = bag.load
    if load is None or load.kind == "torque":
        raise ValueError("a bag without a radial or tangential pull has no stroke")
    tears = []
    for draw in range(trial.draws):
        limits = scattered(generator=np.random.default_rng(draw), constants=trial.constants)
        tears.append(
            unzip(
                bag=bag,
                clock=load.clock,
                stroke_mm=trial.strokes,
                limit_mm=limits,
                constants=trial.bag,
                ring_constants=trial.rings,
                unzip_constants=trial.constants,
                kind=load.kind,
                clockwise=load.clockwise,
            )
        )
    if not all(tear.converged for tear in tears):
        return None
    return tuple(_row(tears, place, stroke) for place, stroke in enumerate(trial.strokes))


def _row(tears: list[Unzipped], place: int, stroke: float) -> StrokeRow:
    """One stroke over the draws."""
    torn = [tear.torn_share[place] for tear in tears]
    middle = float(np.median(torn))
    left = [tear for tear in tears if tear.torn_share[place] < 1] if middle < 1 else []
    return StrokeRow(
        stroke_mm=stroke,
        torn_share=middle,
        torn_share_range=(min(torn), max(torn)),
        force_mn=float(np.median([tear.force_mn[place] for tear in tears])),
        share_of_limit=float(np.median([tear.share_of_limit[place] for tear in left])) if left else None,
        displacement_mm=float(np.median([tear.displacement_mm[place] for tear in left])) if left else None,
    )


def _answer_doubts(sides: list[UnzippingSide], springs: ZonuleParameters) -> list[Doubt]:
    doubts = []
    low, high = sides
    if low.state != "held":
        message = tr("The bag is not held even before any stroke ({state}): there is no scenario.", state=tr(low.state))
        doubts.append(Doubt(low.state, message))
    if low.state != high.state:
        message = tr(
            "With the zonule at its stiffer reading the state is {high}, not {low}: which one holds is not known.",
            high=tr(high.state),
            low=tr(low.state),
        )
        doubts.append(Doubt("state-depends-on-stiffness", message))
    limit = float(springs.fibre_length_mm)
    if any((row.displacement_mm or 0.0) > limit for row in low.strokes or ()):
        message = tr(
            "The bag moves by more than {limit:g} mm, outside the range of this model: it only says that it is far.",
            limit=limit,
        )
        doubts.append(Doubt("outside-model-range", message))
    return doubts


CALCULATIONS = (zonule_unzipping,)

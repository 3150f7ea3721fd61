"""Calculations of the rim: what it bears, what relaxing cuts open and cost, and how it lies on the optic."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.passage_parts import Zonule, finite, stretch_band
from forestay.calc.watch import watched
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.frame import HOURS
from forestay.mechanics import optic_overlap as optic
from forestay.mechanics import relaxing_cuts as cuts
from forestay.mechanics import rim_strength as rim
from forestay.mechanics.capsulorhexis import CapsulorhexisConstants
from forestay.mechanics.flap import FlapConstants
from forestay.mechanics.geometry import require
from forestay.mechanics.passage import PassageConstants
from forestay.mechanics.support_search_model import SupportConstants
from forestay.mechanics.wheel_path import wheel_path
from forestay.record import Record
from forestay.text import tr

MOST_CUTS = 3
"""Cuts that are read; more make a can-opener of it."""
USUAL_CUTS = 2
"""Cuts where the number is not given: one to each side of the tunnel."""


class StrengthInput(Record):
    """The opening: shape, how it was made, whether its rim is whole."""

    diameter_mm: Annotated[float, within("diameter_mm")]
    short_axis_mm: Annotated[float, within("short_axis_mm")] | None = None
    shape: Annotated[rim.Shape, Field(description="shape of the opening")] | None = None
    continuity: Annotated[rim.Continuity, Field(description="whether the rim is whole")] | None = None
    made: Annotated[rim.Made, Field(description="how it was made")] | None = None


class Series(Record):
    """One published test, as printed."""

    test: str = Field(description="what was tested")
    load_mn: tuple[float, ...] = Field(description="mean pull at tearing, by group")
    stretch: float = Field(description="mean stretch at tearing")
    source: str = Field(description="where it was published")


class LoadScenario(Record):
    """Pull on a split fixture by two ways the capsule may follow: for comparing openings, not a tear load."""

    label: str = Field(description="what this is, to be shown with it")
    least_mn: float = Field(description="each circle of capsule slides along like a sleeve")
    most_mn: float = Field(description="each circle is carried along with the rim")
    published: tuple[Series, ...] = Field(description="measured pulls, of openings of about 5 mm")


class StrengthOutput(Record):
    """Length of the edge, stretch at which such rims tear, and what would pass unstretched or at the lower bound."""

    girth_mm: float = Field(description="length of the opening's edge")
    equivalent_mm: float = Field(description="diameter of the round opening with the same edge")
    tear_stretch: float = Field(description="stretch at which such rims tear, mean")
    tear_stretch_sd: float = Field(description="one standard deviation of it; 0 where none may be counted on")
    lower_bound: float = Field(description="stretch that the weakest tested rims bore; 1: none to count on")
    continuous: bool = Field(description="whether the rim may be counted on to stretch")
    measured: bool = Field(description="whether that was measured for such a rim")
    girth_at_lower_bound_mm: float = Field(description="edge stretched to the lower bound")
    scenario: LoadScenario | None = Field(description="pull at the mean tear stretch; null for a rim that is not whole")


@calculation(
    "capsulorhexis-strength",
    summary="What the rim of this opening bears, by shape, maker and continuity",
    formula="girth of circle, ellipse or teardrop; stretch of donor rims, spread of the split fixture, pig rims below",
    valid="donor and pig eyes; teardrops and diathermy were weaker by an unpublished amount",
    input=StrengthInput,
    output=StrengthOutput,
    example={"diameter_mm": 5.3, "shape": "round", "continuity": "continuous", "made": "torn"},
)
def strength_calculation(given: StrengthInput, use: Reader) -> tuple[StrengthOutput, list[Doubt]]:
    """Stretch from the rows of evidence; the pull only as a labelled scenario."""
    doubts: list[Doubt] = []
    shape, continuity, made = given.shape or "round", given.continuity or "continuous", given.made or "torn"
    for field, word in (("shape", shape), ("continuity", continuity), ("made", made)):
        if getattr(given, field) is None:
            words = tr("{field} was not given: {word} was taken.", field=field, word=word)
            doubts.append(Doubt(f"assumed-{field}", words))
    limits = watched(use, CapsulorhexisConstants)
    constants = watched(use, rim.RimStrengthConstants)
    found = rim.rim_strength(shape=shape, continuity=continuity, made=made, limits=limits, constants=constants)
    doubts.extend(found.doubts)
    if given.short_axis_mm is None and shape != "round":
        words = tr("The short way across was not given: the opening is measured as round.")
        doubts.append(Doubt("assumed-short-axis", words))
    short = given.diameter_mm if given.short_axis_mm is None else given.short_axis_mm
    girth = float(rim.opening_girth_mm(shape=shape, diameter_mm=given.diameter_mm, short_axis_mm=short))
    output = StrengthOutput(
        girth_mm=girth,
        equivalent_mm=girth / math.pi,
        tear_stretch=found.tear_stretch,
        tear_stretch_sd=found.tear_stretch_sd,
        lower_bound=found.lower_bound,
        continuous=found.continuous,
        measured=found.measured,
        girth_at_lower_bound_mm=girth * found.lower_bound,
        scenario=_load(girth / math.pi, found.tear_stretch, use) if found.continuous else None,
    )
    return output, doubts


def _load(diameter_mm: float, stretch: float, use: Reader) -> LoadScenario | None:
    skin = watched(use, FlapConstants)
    if diameter_mm >= skin.bag_diameter_mm:
        return None
    least, most = rim.fixture_load_mn(
        diameter_mm=diameter_mm,
        stretch=stretch,
        bag_diameter_mm=skin.bag_diameter_mm,
        thickness_um=use.number("rim_strength.disc_thickness_um"),
        law=skin.law,
    )
    extension = use.number("rim_strength.fixture_extension_mm")
    drawn = rim.fixture_stretch(diameter_mm=use.number("rim_strength.fixture_diameter_mm"), extension_mm=extension)
    rows = (
        (tr("split fixture, human"), "rim_strength.fixture_load_mn", float(drawn)),
        (
            tr("torn by hand, pig"),
            "rim_strength.pig_torn_load_mn",
            watched(use, CapsulorhexisConstants).lowest_tear_stretch,
        ),
        (tr("laser, pig"), "rim_strength.pig_laser_load_mn", use.number("rim_strength.pig_laser_stretch")),
    )
    series = []
    for test, key, reached in rows:
        row = use.row(key)
        value = row.value if isinstance(row.value, tuple) else (row.value,)
        loads = tuple(v for v in value if isinstance(v, float))
        series.append(Series(test=test, load_mn=loads, stretch=reached, source=row.source.citation))
    label = tr("Scenario for comparing openings: capsule differs several-fold between eyes; never a tear load.")
    return LoadScenario(label=label, least_mn=least, most_mn=most, published=tuple(series))


class CutsInput(Record):
    """Nucleus, opening, the cuts thought of, the zonule and the tunnel."""

    nucleus_diameter_mm: Annotated[float, within("nucleus_diameter_mm")]
    nucleus_thickness_mm: Annotated[float, within("nucleus_thickness_mm")]
    diameter_mm: Annotated[float, within("diameter_mm")]
    room_mm: Annotated[float, within("room_mm")] | None = None
    bag_diameter_mm: Annotated[float, within("bag_diameter_mm")] | None = None
    cuts: Annotated[int, Field(ge=1, le=MOST_CUTS, description="number of cuts")] | None = None
    cut_mm: Annotated[float, within("cut_mm")] | None = None
    zonule: Zonule | None = None
    centre_clock: Annotated[float, within("centre_clock")]


class CutsOutput(Record):
    """How long the cuts must be, where they go, what they gain over the whole rim, and what they cost."""

    clocks: tuple[float, ...] = Field(description="clock hours of the cuts, off the weak zonule")
    missing_flat_mm: float | None = Field(
        description="edge missing for the flat way once the rim is cut; 0: none; null: no room for it"
    )
    missing_tipped_mm: float | None = Field(description="edge missing for the tipped way; null: no room for it")
    cut_needed_mm: float | None = Field(
        description="length of each cut for the easier way; 0: the whole rim does; null: no cut helps"
    )
    longest_cut_mm: float = Field(description="longest cut that stays clear of the zonule's insertion")
    enough: bool = Field(description="whether cuts that long open enough")
    cut_mm: float = Field(description="length of each cut that the next figures rest on")
    girth_before_mm: float = Field(description="edge of the whole rim at the stretch planned with")
    girth_after_mm: float = Field(description="edge with the lips of the cuts, unstretched: an upper bound")
    gain_mm: float = Field(description="the second less the first: a short cut may lose more than it gains")
    equivalent_mm: float = Field(description="diameter of the round opening with the edge after the cuts")
    excludes_ring: bool = Field(description="whether a tension ring is ruled out afterwards")
    rim_continuous: bool = Field(description="whether the rim is still whole")


@calculation(
    "relaxing-cuts",
    summary="Relaxing cuts in the rim: how long, where, what they gain and what they cost",
    formula="edge after = pi d + 2 n c; before = pi d s; longest cut = (bag - d) / 2 - insertion of the zonule",
    valid="geometry; lips that fold away freely; where a cut tears on is not known",
    input=CutsInput,
    output=CutsOutput,
    example={
        "nucleus_diameter_mm": 8.2,
        "nucleus_thickness_mm": 3.9,
        "diameter_mm": 5.0,
        "room_mm": 4.2,
        "bag_diameter_mm": 10.4,
        "cuts": 2,
        "zonule": [0.9, 0.9, 0.4, 0.4, 0.8, 0.9, 0.9, 0.9, 0.9, 0.9, 0.9, 0.9],
        "centre_clock": 12,
    },
)
def cuts_calculation(given: CutsInput, use: Reader) -> tuple[CutsOutput, list[Doubt]]:
    """Once cut, a rim is not stretched: what is missing of the edge must come from the lips of the cuts."""
    doubts: list[Doubt] = []
    constants = watched(use, cuts.RelaxingCutConstants)
    number = given.cuts
    if number is None:
        number = USUAL_CUTS
        doubts.append(Doubt("assumed-cuts", tr("The number of cuts was not given: {n} were taken.", n=number)))
    low, _ = stretch_band(None, given.zonule, use, doubts)
    whole = math.pi * given.diameter_mm
    flat, tipped = _girths(given, use, doubts)
    longest = _longest(given, constants, use, doubts)
    needed = _needed(flat, tipped, whole, low, number)
    length = given.cut_mm if given.cut_mm is not None else min(longest if needed is None else needed, longest)
    lips = float(cuts.gained_girth_mm(cuts=number, cut_mm=length)) if length > 0 else whole * (low - 1)
    if needed == 0:
        words = tr("No cut is needed: the whole rim lets the nucleus out at the stretch planned with.")
        doubts.append(Doubt("no-cut-needed", words))
    if length > longest:
        words = tr("A cut of {cut:g} mm reaches the zonule's insertion: it may run on to the back.", cut=length)
        doubts.append(Doubt("cut-too-long", words))
    places = _places(given, number, constants, use, doubts)
    output = CutsOutput(
        clocks=places,
        missing_flat_mm=_short_of(flat, whole),
        missing_tipped_mm=_short_of(tipped, whole),
        cut_needed_mm=needed,
        longest_cut_mm=longest,
        enough=needed is not None and needed <= longest,
        cut_mm=length,
        girth_before_mm=whole * low,
        girth_after_mm=whole + lips,
        gain_mm=lips - whole * (low - 1),
        equivalent_mm=(whole + lips) / math.pi,
        excludes_ring=length > 0,
        rim_continuous=length == 0,
    )
    if length == 0:
        return output, doubts
    words = tr(
        "Cuts end the whole rim: no tension ring and no optic capture afterwards, the lens may shift, and a cut may "
        "tear on under load."
    )
    doubts.append(Doubt("cuts-exclude-ring", words))
    return output, doubts


def _places(
    given: CutsInput, number: int, constants: cuts.RelaxingCutConstants, use: Reader, doubts: list[Doubt]
) -> tuple[float, ...]:
    """Where the cuts stand, and those of them that cannot be kept off the weak zonule."""
    support = given.zonule or (1.0,) * len(HOURS)
    places = cuts.place_cuts(cuts=number, support=support, tunnel_clock=given.centre_clock, constants=constants)
    if given.zonule is None:
        return places
    limit = watched(use, SupportConstants).weak_share
    over = [f"{place:g}" for place in places if cuts.behind(place, support, constants.reach_hours) < limit]
    if over:
        words = tr("No place off the weak zonule is left for these cuts: {clocks}.", clocks=", ".join(over))
        doubts.append(Doubt("cuts-over-weak", words))
    return places


def _needed(flat: float | None, tipped: float | None, whole: float, stretch: float, number: int) -> float | None:
    """Length of each cut for the easier way; none while the whole rim does at its stretch."""
    ways = [girth for girth in (flat, tipped) if girth is not None]
    if not ways:
        return None
    if min(ways) <= whole * stretch:
        return 0.0
    return float(cuts.cut_needed_mm(missing_girth_mm=min(ways) - whole, cuts=number))


def _short_of(girth: float | None, whole: float) -> float | None:
    return None if girth is None else max(girth - whole, 0.0)


def _girths(given: CutsInput, use: Reader, doubts: list[Doubt]) -> tuple[float | None, float | None]:
    """Girth that the flat and the tipped way ask for."""
    room = given.room_mm
    if room is None:
        room = given.nucleus_diameter_mm + given.nucleus_thickness_mm
        words = tr("The room in front was not given: the nucleus is taken to have enough to tip.")
        doubts.append(Doubt("assumed-room", words))
    path = wheel_path(
        nucleus_diameter_mm=given.nucleus_diameter_mm,
        nucleus_thickness_mm=given.nucleus_thickness_mm,
        room_above_mm=room,
        room_below_mm=watched(use, PassageConstants).room_below_mm,
    )
    worst = finite(path.worst_girth_mm)
    if worst is None:
        words = tr("There is no room for the whole nucleus: chamber or bag is shallower than the nucleus is thick.")
        doubts.append(Doubt("chamber-too-shallow", words))
        return None, None
    return math.pi * given.nucleus_diameter_mm, worst


def _longest(given: CutsInput, constants: cuts.RelaxingCutConstants, use: Reader, doubts: list[Doubt]) -> float:
    bag = given.bag_diameter_mm
    if bag is None:
        bag = use.number("flap.bag_diameter_mm")
        words = tr("The bag's diameter was not given: {bag:g} mm was taken.", bag=bag)
        doubts.append(Doubt("assumed-bag", words))
    require(
        holds=given.diameter_mm < bag,
        field="diameter_mm",
        value=given.diameter_mm,
        allowed=tr("less than {widest:g} mm, the bag", widest=bag),
    )
    return float(cuts.longest_cut_mm(capsulorhexis_mm=given.diameter_mm, bag_diameter_mm=bag, constants=constants))


class OverlapInput(Record):
    """Optic and opening."""

    optic_mm: Annotated[float, within("optic_mm")]
    diameter_mm: Annotated[float, within("diameter_mm")]
    decentration_mm: Annotated[float, within("decentration_mm")] | None = None
    pseudoexfoliation: Annotated[bool, Field(description="whether the eye has pseudoexfoliation")] | None = None


class OverlapOutput(Record):
    """How the rim lies on the optic now, and how large the opening will be."""

    overlap_least_mm: float = Field(description="least overlap of rim on optic; negative: the optic's edge lies bare")
    overlap_greatest_mm: float = Field(description="greatest overlap")
    covered_share: float = Field(description="share of the rim that lies on the optic; 1: all round")
    lies: Literal["all-round", "partly", "nowhere"] = Field(description="how the rim lies on the optic")
    three_months_mm: float = Field(description="diameter of the opening at three months, mean of a series")
    year_mm: float = Field(description="diameter within a year, by loss of area")
    area_loss_three_months: float = Field(description="share of the area lost at three months")
    advised_low_mm: float = Field(description="smallest opening advised for this optic")
    advised_high_mm: float = Field(description="largest opening advised for this optic")


@calculation(
    "optic-overlap",
    summary="How the rim lies on the lens's optic, centred or not, and how the opening shrinks afterwards",
    formula="(optic - d) / 2, less and more by the decentration; d (1 - 0.1387) at three months; d sqrt(1 - area lost)",
    valid="round opening on round optic; means of groups after phacoemulsification, without a published spread",
    input=OverlapInput,
    output=OverlapOutput,
    example={"optic_mm": 6.0, "diameter_mm": 5.25, "decentration_mm": 0.3, "pseudoexfoliation": True},
)
def overlap_calculation(given: OverlapInput, use: Reader) -> tuple[OverlapOutput, list[Doubt]]:
    """Overlap from both circles; contraction from two series."""
    doubts: list[Doubt] = []
    apart, exfoliation = given.decentration_mm, given.pseudoexfoliation
    if apart is None:
        apart = 0.0
        doubts.append(Doubt("assumed-centred", tr("The opening is taken to be centred on the optic.")))
    if exfoliation is None:
        exfoliation = False
        doubts.append(Doubt("assumed-no-pseudoexfoliation", tr("The eye is taken not to have pseudoexfoliation.")))
    found = optic.optic_overlap(optic_mm=given.optic_mm, capsulorhexis_mm=given.diameter_mm, decentration_mm=apart)
    later = optic.contracted(
        capsulorhexis_mm=given.diameter_mm,
        pseudoexfoliation=exfoliation,
        constants=watched(use, optic.ContractionConstants),
    )
    words = tr("How far an opening shrinks is told as the mean of a group: no spread was published.")
    doubts.append(Doubt("contraction-mean", words))
    if float(later.year_mm) > float(later.three_months_mm):
        words = tr(
            "Three months and a year come from two series that do not agree: no opening grows again. Plan on the smaller."
        )
        doubts.append(Doubt("series-disagree", words))
    advised = use.row("contraction.best_share_of_optic")
    least, share, three = float(found.least_mm), float(found.covered_share), float(later.three_months_mm)
    if least < 0:
        words = tr("Part of the optic's edge lies bare: a larger optic, or a smaller and better centred opening.")
        doubts.append(Doubt("optic-bare", words))
    output = OverlapOutput(
        overlap_least_mm=least,
        overlap_greatest_mm=float(found.greatest_mm),
        covered_share=share,
        lies="all-round" if share == 1 else "partly" if share > 0 else "nowhere",
        three_months_mm=three,
        year_mm=float(later.year_mm),
        area_loss_three_months=1 - (three / given.diameter_mm) ** 2,
        advised_low_mm=given.optic_mm * (advised.low or 0.0),
        advised_high_mm=given.optic_mm * (advised.high or 0.0),
    )
    return output, doubts

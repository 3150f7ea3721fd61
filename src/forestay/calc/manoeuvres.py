"""The calculation ``manoeuvre-loads``: what each step of the operation does to this bag and its zonule."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.bag_holds import RimHoldConstants
from forestay.calc.bag_records import NAMED, Clock, RingInput, Share
from forestay.calc.core import calculation
from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.mechanics import manoeuvre, zonule
from forestay.mechanics.bag_model import BagConstants, Rim, RimConstants, State
from forestay.mechanics.bag_setting import Setting
from forestay.mechanics.manoeuvre import Manoeuvre, ManoeuvreLoad
from forestay.mechanics.reserve import reserve
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.unzip import UnzipConstants
from forestay.mechanics.zonule import Hold, ZonuleConstants, ZonuleParameters
from forestay.record import Record
from forestay.text import tr

SAME_TOLERANCE = 1e-6
"""Share by which two stretches may differ and still count as the same."""


@dataclass(frozen=True)
class ManoeuvreConstants:
    """Each manoeuvre: ``kind``, ``toward``, ``stage`` and the row of its ``share`` of the first puncture."""

    PREFIX: ClassVar[str] = "manoeuvre"
    puncture: Mapping[str, Any]
    capsulorhexis_pull: Mapping[str, Any]
    hydrodissection: Mapping[str, Any]
    rotation: Mapping[str, Any]
    pole_lift: Mapping[str, Any]
    whole_nucleus: Mapping[str, Any]
    cortex_radial: Mapping[str, Any]
    cortex_tangential: Mapping[str, Any]
    ring_insertion: Mapping[str, Any]
    lens_insertion: Mapping[str, Any]


@dataclass(frozen=True)
class ManoeuvreQuotes:
    """Published figures to show beside the model's: peel of cortex, tangential over radial; lens travel in pig eyes at
    0, 90, 180, 270 degrees of weakness [mm]; tool force of a capsulorhexis [mN]."""

    PREFIX: ClassVar[str] = "manoeuvre_quote"
    separation_tangential_over_radial: float
    lens_travel_mm: tuple[float, ...]
    capsulorhexis_force_mn: float


class ManoeuvresInput(Record):
    """One eye before its operation. Clock hours are the eye's."""

    bag_diameter_mm: Annotated[float, within("bag_diameter_mm")]
    zonule: tuple[Share, ...] = Field(
        strict=False,
        min_length=12,
        max_length=12,
        description="share of healthy support by clock hour: 12, 1, 2 ... 11",
    )
    tunnel_clock: Clock = Field(description="the hand's side: clock hour of the main incision")
    work_clock: Clock | None = Field(
        default=None,
        description="clock hour at which cortex is stripped; without it, the weakest that still has zonule",
    )
    age_years: Annotated[float, within("age_years")] | None = None
    ring: RingInput | None = Field(default=None, description="a tension ring that is in once the bag is empty")
    capsule_hooks: tuple[Clock, ...] = Field(
        default=(), strict=False, max_length=12, description="clock hours of capsule hooks, in from the start"
    )
    capsulorhexis_mm: Annotated[float, within("capsulorhexis_mm")] | None = Field(
        default=None, description="diameter of the capsulorhexis; without it the empty bag is its equator alone"
    )
    vitreous: Literal["none", "formed"] | None = Field(
        default=None, description="formed: the vitreous supports the bag, as a soft bed; without it, no support"
    )


class ManoeuvreResult(Record):
    """One manoeuvre. Loads and stretches: healthy, at rest = 1."""

    manoeuvre: str = Field(description="its key")
    meaning: str = Field(description="what is done")
    kind: str = Field(description="radial, tangential, torque, or lift (its part in the plane)")
    toward: str = Field(
        description="away from the tunnel, toward it, inward at the hour worked at, along it, or a turn"
    )
    stage: Literal["lens", "empty"] = Field(description="with the lens in the bag, or with the bag empty")
    share: float = Field(description="its pull as a share of the first puncture")
    source: str = Field(description="where that share comes from")
    state: State = Field(description=NAMED)
    centring_mm: float | None = Field(description="distance of the bag's centre from its healthy place, at rest")
    displacement_mm: float | None = Field(description="the same under the manoeuvre")
    displacement_clock: float | None = Field(description="towards which clock hour; null where it does not move")
    load_by_clock_hour: tuple[float, ...] | None = Field(description="12, 1, 2 ... 11; healthy resting load = 1")
    peak_stretch: float | None = Field(description="most stretched fibre; healthy resting stretch = 1")
    relative_to_healthy: float | None = Field(description="that against a healthy eye under the same manoeuvre")
    reserve_left: float | None = Field(
        description="share left of what a zonule at the weak end of normal bears; negative: short; null: nothing holds"
    )


class ManoeuvreScenario(Record):
    """What rests on poorly known strength."""

    label: str = Field(description="what this is, to be shown with it")
    puncture_force_mn: float = Field(description="force of the first puncture that the loads are shares of, mN")
    share_of_limit: tuple[float | None, ...] = Field(
        description="most stretched fibre against the rupture stretch of normal donor eyes, in the order of loads"
    )


class ManoeuvresResult(Record):
    """Every manoeuvre, in the order of an operation."""

    work_clock: float = Field(description="clock hour at which cortex is stripped")
    borne_stretch: float = Field(description="what a fibre bears: hardest of these steps at the weak end of normal")
    loads: tuple[ManoeuvreResult, ...] = Field(description="one entry for each manoeuvre")
    shortest: str = Field(description="the manoeuvre with the least reserve")
    separation_tangential_over_radial: float = Field(
        description="published peel of cortex, tangential over radial stripping: quoted, not derived here"
    )
    published_lens_travel_mm: tuple[float, ...] = Field(
        description="lens travel when the capsule is first held, pig: intact, weakness like 90, 180, 270 degrees"
    )
    published_capsulorhexis_force_mn: float = Field(description="tool force of an expert, root mean square")
    scenario: ManoeuvreScenario = Field(description="what rests on poorly known strength: a band, not a prediction")


def table(use: Reader) -> tuple[Manoeuvre, ...]:
    """The manoeuvres from their rows, in the order of an operation."""
    rows = use.constants(ManoeuvreConstants)
    made = []
    for one in fields(rows):
        known = getattr(rows, one.name)
        row = use.row(known["share"])
        made.append(
            Manoeuvre(
                key=one.name.replace("_", "-"),
                kind=known["kind"],
                toward=known["toward"],
                stage=known["stage"],
                share=use.number(known["share"]),
                source=row.source.citation,
            )
        )
    return tuple(made)


@calculation(
    "manoeuvre-loads",
    summary="What each manoeuvre does to the bag: displacement, load by clock hour, centring and reserve left",
    formula="Rest of the rigid or empty bag under each manoeuvre's pull, a share of the puncture that moves a healthy "
    "lens by the measured travel; reserve = 1 - peak stretch / stretch borne at the weak end of normal",
    valid="Compares within one eye. Only the part of a lift that lies in the plane. No tearing load is predicted",
    input=ManoeuvresInput,
    output=ManoeuvresResult,
    example={
        "bag_diameter_mm": 10.4,
        "zonule": [1, 1, 1, 1, 0.8, 0, 0, 0.8, 1, 1, 1, 1],
        "tunnel_clock": 10,
        "age_years": 74,
        "vitreous": "formed",
    },
)
def manoeuvre_loads(given: ManoeuvresInput, use: Reader) -> tuple[ManoeuvresResult, list[Doubt]]:
    """Manoeuvres on one bag: see :func:`forestay.mechanics.manoeuvre.loads`."""
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
    constants = use.constants(ZonuleConstants)
    age = constants.usual_age_years if given.age_years is None else given.age_years
    doubts = zonule.age_doubts(age_years=age, constants=constants)
    if given.age_years is None:
        doubts.append(Doubt("age-assumed", tr("Age is not given: the zonule of {age:g} years is taken.", age=age)))
    springs = zonule.parameters(bag_diameter_mm=given.bag_diameter_mm, age_years=age, constants=constants)
    setting = _setting(given, springs, use)
    work = given.work_clock
    if work is None:
        work = manoeuvre.weakest_hour(support=given.zonule, tunnel_clock=given.tunnel_clock)
    if given.capsule_hooks:
        doubts.append(
            Doubt("hooks-from-start", tr("Hooks are taken to be in before every manoeuvre, the puncture too."))
        )
    doubts += _stage_doubts(given)
    asked, force = (
        table(use),
        manoeuvre.puncture_force_mn(springs=springs, travel_mm=use.number("load.puncture_travel_mm")),
    )
    bag, rings = use.constants(BagConstants), use.constants(RingConstants)
    found = manoeuvre.loads(
        manoeuvres=asked,
        setting=setting,
        support=given.zonule,
        force_mn=force,
        tunnel_clock=given.tunnel_clock,
        work_clock=work,
        constants=bag,
        ring_constants=rings,
    )
    borne = manoeuvre.borne_stretch(
        manoeuvres=asked,
        setting=setting,
        borne_share=use.number("load.borne_share"),
        force_mn=force,
        tunnel_clock=given.tunnel_clock,
        constants=bag,
        ring_constants=rings,
    )
    doubts.extend(_unloaded(asked, found))
    return _result(asked, found, springs, (borne, force, work), use), doubts


def _unloaded(asked: tuple[Manoeuvre, ...], found: dict[str, ManoeuvreLoad]) -> list[Doubt]:
    """Steps that stretch the fibres left less than in a healthy eye: fibres that pulled against them are gone."""
    less = [
        one.key
        for one in asked
        if found[one.key].state == "held" and found[one.key].relative_to_healthy < 1 - SAME_TOLERANCE
    ]
    if not less:
        return []
    words = tr(
        "In some steps the fibres left are stretched less than in a healthy eye ({steps}): those that pulled against "
        "them are lost. That is no strength gained: the lens lies farther off, see centring.",
        steps=", ".join(less),
    )
    return [Doubt("unloaded-by-loss", words)]


def _setting(given: ManoeuvresInput, springs: ZonuleParameters, use: Reader) -> Setting:
    ring = None
    if given.ring is not None:
        ring = Ring(given.ring.free_diameter_mm, given.ring.spring_mn_per_mm, given.ring.gap_clock)
    rim = None
    if given.capsulorhexis_mm is not None:
        rim = Rim(given.capsulorhexis_mm * 0.5, use.constants(RimConstants))
    holds: tuple[Hold, ...] = ()
    if given.capsule_hooks:
        hook = use.constants(RimHoldConstants)
        length = float(springs.fibre_length_mm)
        if given.capsulorhexis_mm is not None:
            length += (given.bag_diameter_mm - given.capsulorhexis_mm) * 0.5
        holds = tuple(
            Hold(clock, hook.stiffness_mn_per_mm, length, hook.overpull_mm, 0.0, "rim" if rim else "equator")
            for clock in given.capsule_hooks
        )
    bed = (
        use.number("fibres.bed_share") * float(springs.total_stiffness_mn_per_mm) if given.vitreous == "formed" else 0.0
    )
    return Setting(springs=springs, ring=ring, rim=rim, holds=holds, bed_mn_per_mm=bed)


def _stage_doubts(given: ManoeuvresInput) -> list[Doubt]:
    doubts = [
        Doubt(
            "lift-in-plane",
            tr(
                "Of lifting a pole or the whole nucleus only the pull in the plane of the bag is worked out, not its depth."
            ),
        )
    ]
    if given.vitreous is None:
        message = tr("The vitreous is not given: no support by it is taken, which is the worse case.")
        doubts.append(Doubt("vitreous-assumed", message))
    return doubts


def _result(
    asked: tuple[Manoeuvre, ...],
    found: dict[str, ManoeuvreLoad],
    springs: ZonuleParameters,
    scales: tuple[float, float, float],
    use: Reader,
) -> ManoeuvresResult:
    borne, force, work = scales
    limit, quotes = use.constants(UnzipConstants).limit_mm, use.constants(ManoeuvreQuotes)
    entries, shares, left = [], [], []
    for one in asked:
        load = found[one.key]
        spare = reserve(peak=load.peak_stretch, borne=borne, prestretch_mm=float(springs.prestretch_mm), limit_mm=limit)
        held = load.state == "held"
        left.append(float(spare.left))
        shares.append(float(spare.share_of_limit) if held else None)
        entries.append(
            ManoeuvreResult(
                manoeuvre=one.key,
                meaning=use.row(f"manoeuvre.{one.key.replace('-', '_')}").meaning,
                kind=one.kind,
                toward=one.toward,
                stage=one.stage,
                share=one.share,
                source=one.source,
                state=load.state,
                centring_mm=load.centring_mm if held else None,
                displacement_mm=load.displacement_mm if held else None,
                displacement_clock=load.displacement_clock,
                load_by_clock_hour=load.load_by_hour,
                peak_stretch=load.peak_stretch if held else None,
                relative_to_healthy=load.relative_to_healthy if held else None,
                reserve_left=float(spare.left) if held else None,
            )
        )
    label = tr("Scenario: rests on poorly known strength of the zonule; a band, not a prediction")
    return ManoeuvresResult(
        work_clock=work,
        borne_stretch=borne,
        loads=tuple(entries),
        shortest=asked[left.index(min(left))].key,
        separation_tangential_over_radial=quotes.separation_tangential_over_radial,
        published_lens_travel_mm=quotes.lens_travel_mm,
        published_capsulorhexis_force_mn=quotes.capsulorhexis_force_mn,
        scenario=ManoeuvreScenario(label=label, puncture_force_mn=force, share_of_limit=tuple(shares)),
    )


CALCULATIONS = (manoeuvre_loads,)

"""What the calculations of the nucleus's way share: bands of stretch, draws of the nucleus, and the flat push."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Annotated, Protocol, TypeAlias

import numpy as np
from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.watch import watched
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.frame import HOURS
from forestay.mechanics.capsulorhexis import CapsulorhexisConstants
from forestay.mechanics.flap import FlapConstants
from forestay.mechanics.flap_table import prolapse_estimate
from forestay.mechanics.geometry import Floats, Numbers
from forestay.mechanics.passage import PassageConstants, even_draws
from forestay.mechanics.rim_strength import Continuity, RimStrengthConstants
from forestay.mechanics.sector_lift import SectorLift, sector_lift
from forestay.mechanics.support_search_model import SupportConstants
from forestay.mechanics.unzip import UnzipConstants
from forestay.mechanics.zonule import ZonuleConstants, age_doubts, parameters, total_stiffness_mn_per_mm
from forestay.record import Record
from forestay.text import tr

BAND_DRAWS = 255
"""Draws of nucleus and stretch behind an interval."""
LEAST_SUPPORT = 1e-3
"""Mean support that is read as this one, so that a push has something to push against."""
Zonule: TypeAlias = Annotated[
    tuple[Annotated[float, within("share")], ...],
    Field(
        strict=False,
        min_length=12,
        max_length=12,
        description="share of healthy support by clock hour: 12, 1, 2 ... 11",
    ),
]


class PushSide(Record):
    """The flat push at one reading of the zonule's stiffness."""

    zonule_mn_per_mm: float = Field(description="stiffness of the whole zonule as it is, mN/mm")
    force_mn: float | None = Field(
        description="largest upward push until the rim slips over; null: the zonule gives first"
    )
    zonule_stretch_mm: float | None = Field(
        description="how far that drags the zonule, the same all round; null where no donor zonule bore as much"
    )


class Scenario(Record):
    """What rests on poorly known strength: a band, not a prediction."""

    label: str = Field(description="what this is, to be shown with it")
    low: PushSide = Field(description="with the measured pull as that of the whole zonule")
    high: PushSide = Field(description="with the measured pull as that of one of eight hooks")


class Pushed(Protocol):
    """What a push is worked out from."""

    @property
    def nucleus_diameter_mm(self) -> float: ...
    @property
    def nucleus_diameter_sd_mm(self) -> float | None: ...
    @property
    def nucleus_thickness_mm(self) -> float: ...
    @property
    def nucleus_thickness_sd_mm(self) -> float | None: ...
    @property
    def diameter_mm(self) -> float: ...
    @property
    def zonule(self) -> tuple[float, ...] | None: ...
    @property
    def age_years(self) -> float | None: ...


def finite(value: Numbers) -> float | None:
    """The number, or None where there is none."""
    return float(value) if math.isfinite(float(value)) else None


def weak(zonule: tuple[float, ...] | None, use: Reader) -> bool | None:
    """Whether the zonule counts as weak for the rim's stretch, as a whole or in a gap; None where it is not known.

    A push up on the rim drags at the fibres beside a gap whatever holds elsewhere.
    """
    if zonule is None:
        return None
    if min(zonule) < watched(use, SupportConstants).weak_share:
        return True
    return mean_support(zonule) < watched(use, PassageConstants).weak_support


def mean_support(zonule: tuple[float, ...]) -> float:
    """Mean share of healthy support, to the same last digit in both eyes."""
    return math.fsum(zonule) / len(zonule)


def stretch_band(
    given: float | None,
    zonule: tuple[float, ...] | None,
    use: Reader,
    doubts: list[Doubt],
    continuity: Continuity | None = None,
) -> tuple[float, float]:
    """Stretch of the rim planned with, least and most, and what was assumed for it."""
    if given is not None:
        return given, given
    if continuity is not None and continuity != "continuous":
        kept = watched(use, RimStrengthConstants).broken_stretch
        words = tr("The rim is not whole: it is planned to bear a stretch of {kept:g} and no more.", kept=kept)
        doubts.append(Doubt("rim-not-continuous", words))
        return kept, kept
    if weak(zonule, use):
        constants = watched(use, PassageConstants)
        low, high = constants.weak_stretch_low, constants.weak_stretch_high
        words = tr(
            "The zonule is weak: its fibres pay before the rim does, so a stretch of {low:g} to {high:g} is planned with.",
            low=low,
            high=high,
        )
        doubts.append(Doubt("fibres-pay-first", words))
        return low, high
    low, high = use.number("size.stretch_sound"), watched(use, CapsulorhexisConstants).lowest_tear_stretch
    words = tr("The tolerated stretch was not given: {low:g} to {high:g} is planned with.", low=low, high=high)
    doubts.append(Doubt("assumed-stretch", words))
    if zonule is None:
        words = tr("The zonule was not given: it is taken as sound; where it is weak plan with less stretch.")
        doubts.append(Doubt("assumed-zonule", words))
    return low, high


def nucleus_draws(given: Pushed, doubts: list[Doubt]) -> tuple[Floats, Floats, Floats]:
    """Even draws of diameter and thickness [mm], and of the place in the band of stretch (0 to 1)."""
    spread = (given.nucleus_diameter_sd_mm, given.nucleus_thickness_sd_mm)
    if None in spread:
        words = tr("Without a standard deviation of the nucleus's size the interval holds the rim's stretch alone.")
        doubts.append(Doubt("nucleus-exact", words))
    else:
        words = tr(
            "Diameter and thickness of the nucleus are drawn independently: how they go together is not published."
        )
        doubts.append(Doubt("assumed-independent", words))
    even = even_draws(count=BAND_DRAWS, quantities=3)
    normal = NormalDist()
    deviate = np.array([[normal.inv_cdf(float(p)) for p in row] for row in even[:2]])
    wide, thick = given.nucleus_diameter_mm, given.nucleus_thickness_mm
    drawn_wide = wide + (spread[0] or 0.0) * deviate[0]
    drawn_thick = thick + (spread[1] or 0.0) * deviate[1]
    return np.maximum(drawn_wide, wide / 2), np.maximum(drawn_thick, thick / 2), even[2]


def prolapse_scenario(given: Pushed, use: Reader, doubts: list[Doubt]) -> tuple[float | None, float, Scenario]:
    """Drag of the zonule over a healthy one's, the push [mN], and push and drag at both readings of its stiffness."""
    constants = watched(use, ZonuleConstants)
    skin = watched(use, FlapConstants)
    age = given.age_years
    if age is None:
        age = constants.usual_age_years
        words = tr("The age was not given: the zonule of {age:g} years was taken.", age=age)
        doubts.append(Doubt("assumed-age", words))
    doubts.extend(age_doubts(age_years=age, constants=constants))
    share = 1.0 if given.zonule is None else max(mean_support(given.zonule), LEAST_SUPPORT)
    healthy = total_stiffness_mn_per_mm(age_years=age, constants=constants)
    scales = np.array([1.0, constants.stiffness_scale_high])
    found = prolapse_estimate(
        nucleus_diameter_mm=given.nucleus_diameter_mm,
        nucleus_thickness_mm=given.nucleus_thickness_mm,
        capsulorhexis_mm=given.diameter_mm,
        zonule_mn_per_mm=healthy * np.append(share * scales, 1.0),
        constants=skin,
    )
    force, drag = np.asarray(found.force_mn), np.asarray(found.zonule_stretch_mm)
    if not np.all(found.inside):
        words = tr("Nucleus, opening or zonule lie beyond the pushes that were solved: the nearest of these is told.")
        doubts.append(Doubt("outside-studied-range", words))
    if drag[0] > skin.zonule_length_mm:
        words = tr(
            "Pushed up flat, the nucleus would drag this zonule by more than its own length: the bag would follow it "
            "rather than let it go."
        )
        doubts.append(Doubt("bag-follows", words))
    doubts.append(
        Doubt(
            "push-even",
            tr(
                "The push is worked out with a zonule even all round; zonule_pays says which hours bear more than that."
            ),
        )
    )
    most = watched(use, UnzipConstants).limit_mm

    def side(scale: float, push: float, stretch: float) -> PushSide:
        borne = stretch <= most and (given.zonule is None or max(given.zonule) > 0)
        return PushSide(
            zonule_mn_per_mm=float(healthy * share * scale),
            force_mn=float(push) if borne else None,
            zonule_stretch_mm=float(stretch) if borne else None,
        )

    low, high = (side(*values) for values in zip(scales, force, drag, strict=False))
    if low.force_mn is None or high.force_mn is None:
        words = tr(
            "No zonule bears what this push asks: donor zonules ruptured at {most:g} mm, and the bag comes along first.",
            most=most,
        )
        doubts.append(Doubt("zonule-gives-first", words))
    label = tr("Scenario, not a prediction: the strength of capsule and zonule is known only several-fold.")
    ratio = None
    if given.zonule is not None and low.zonule_stretch_mm is not None:
        ratio = float(drag[0] / drag[2]) if drag[2] > 0 else 1.0
    return ratio, float(force[0]), Scenario(label=label, low=low, high=high)


def paying_hours(
    given: Pushed, push_mn: float, use: Reader, doubts: list[Doubt]
) -> tuple[tuple[int, ...] | None, float | None]:
    """Clock hours that pay for the push, and by how much more than in an even zonule with as much in all."""
    if given.zonule is None or push_mn <= 0:
        return None, None
    constants, skin = watched(use, ZonuleConstants), watched(use, FlapConstants)
    age = constants.usual_age_years if given.age_years is None else given.age_years
    springs = parameters(bag_diameter_mm=skin.bag_diameter_mm, age_years=age, constants=constants)

    def lifted(support: tuple[float, ...]) -> SectorLift:
        return sector_lift(support=support, push_mn=push_mn, at_mm=(0.0, 0.0), parameters=springs)

    found, even = lifted(given.zonule), lifted((mean_support(given.zonule),) * len(given.zonule))
    if not found.held or not even.held:
        words = tr(
            "What is left of the zonule does not keep the bag level under this push: it tips over the weak side."
        )
        doubts.append(Doubt("bag-tips", words))
        return None, None
    pays = found.pays(given.zonule)
    return tuple(HOURS[i] for i in pays), float(found.stretch_mm[pays[0]] / even.stretch_mm.max())

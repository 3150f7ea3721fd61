"""Calculation of what an incision does to the cornea: published means, drift, and the surgeon's own record."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.frame import meridian_deg
from forestay.optics import incision
from forestay.optics.incision import IncisionPriors, OwnRecord, WeighingConstants
from forestay.record import Record
from forestay.text import tr


class OwnIncisions(Record):
    """The surgeon's own eyes with this incision: flattening along it, at six weeks or later."""

    n: Annotated[int, Field(ge=1, le=100_000, description="eyes")]
    mean_d: Annotated[float, within("induced_d")]
    sd_d: Annotated[float, Field(ge=0, le=10, description="standard deviation of the flattening, one component")]


class IncisionAstigmatismInput(Record):
    """An incision."""

    technique: Annotated[
        str, Field(description="manual-small-incision, phacoemulsification, extracapsular or intracapsular")
    ]
    side: Annotated[str, Field(description="right or left eye")]
    centre_clock: Annotated[float, within("clock")]
    shape: Annotated[str, Field(description="straight, frown or chevron")]
    length_mm: Annotated[float, within("outer_lip_mm")]
    suture: Annotated[
        str | None, Field(description="none, horizontal or x for a tunnel; in-place or removed for a large wound")
    ] = None
    depth_um: Annotated[float | None, Field(ge=50, le=900, description="depth of the cut in micrometres")] = None
    own: Annotated[OwnIncisions | None, Field(description="own record, weighed in")] = None


class IncisionAstigmatismOutput(Record):
    """What is to be expected along the incision."""

    flattening_d: Annotated[float, Field(description="flattening along the incision's meridian; negative steepens it")]
    sd_d: Annotated[float, Field(description="one standard deviation for each double-angle component")]
    meridian_deg: Annotated[float, Field(description="meridian of the incision, which flattens")]
    axis_deg: Annotated[float, Field(description="meridian that steepens")]
    published_d: Annotated[float, Field(description="flattening by published series alone")]
    own_weight: Annotated[float, Field(description="weight of the own record, 0 to 1")]
    day_1_d: Annotated[float | None, Field(description="a day after surgery; null where no series says")]
    week_1_d: Annotated[float | None, Field(description="a week after surgery; null where no series says")]


@calculation(
    "incision-astigmatism",
    summary="What an incision does to the cornea, by place, shape and suture, with the surgeon's own record weighed in",
    formula="published mean m0; with n own eyes of mean m and SD s: w = n t^2 / (n t^2 + s^2), (1 - w) m0 + w m",
    valid="published series of six weeks or more; no law of length; shape and depth are weak effects",
    input=IncisionAstigmatismInput,
    output=IncisionAstigmatismOutput,
    example={
        "technique": "manual-small-incision",
        "side": "right",
        "centre_clock": 12,
        "shape": "frown",
        "length_mm": 6.5,
        "depth_um": 420,
        "own": {"n": 40, "mean_d": 0.7, "sd_d": 0.5},
    },
)
def incision_astigmatism_calculation(
    given: IncisionAstigmatismInput, use: Reader
) -> tuple[IncisionAstigmatismOutput, list[Doubt]]:
    """Published mean, own record, drift."""
    site = incision.site_of(clock=given.centre_clock, side=given.side)
    found = incision.induced(
        kind=given.technique,
        site=site,
        shape=given.shape,
        length_mm=given.length_mm,
        suture=given.suture,
        priors=use.constants(IncisionPriors),
    )
    doubts = list(found.doubts)
    weight, mean, sd = 0.0, found.flattening_d, found.sd_d
    if given.own is not None:
        own = OwnRecord(n=given.own.n, mean_d=given.own.mean_d, sd_d=given.own.sd_d)
        weighed = incision.weighed(found, own, constants=use.constants(WeighingConstants))
        weight, mean, sd = weighed.weight, weighed.flattening_d, weighed.sd_d
    early: dict[str, float | None] = {"day_1": None, "week_1": None}
    if given.technique == "manual-small-incision" and given.suture in (None, "none"):
        for when, key in (("day_1", "incision.drift_day_1"), ("week_1", "incision.drift_week_1")):
            factors = use.table(key)
            early[when] = mean * float(factors[given.shape]) if given.shape in factors else None
    if given.depth_um is not None:
        doubts.append(_depth_doubt(use))
    along = meridian_deg(given.centre_clock) % 180
    output = IncisionAstigmatismOutput(
        flattening_d=mean,
        sd_d=sd,
        meridian_deg=along,
        axis_deg=(along + 90) % 180,
        published_d=found.flattening_d,
        own_weight=weight,
        day_1_d=early["day_1"],
        week_1_d=early["week_1"],
    )
    return output, doubts


def _depth_doubt(use: Reader) -> Doubt:
    deep, shallow = use.row("incision.deep_cut_d"), use.row("incision.shallow_cut_d")
    says = tr(
        "Depth is not counted: in one series of {n} eyes cuts of 400 micrometres or more changed the cornea by"
        " {deep:.2f} ± {deep_sd:.2f} D, shallower ones by {shallow:.2f} ± {shallow_sd:.2f} D.",
        n=deep.n,
        deep=use.number("incision.deep_cut_d"),
        deep_sd=deep.sd,
        shallow=use.number("incision.shallow_cut_d"),
        shallow_sd=shallow.sd,
    )
    return Doubt("depth-not-counted", says)


CALCULATIONS = (incision_astigmatism_calculation,)

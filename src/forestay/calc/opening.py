"""Calculations of ways in and out: the pupil on hooks, and the tunnel."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.tunnel_seal import stated_sagitta_mm
from forestay.calc.watch import watched
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.situation import TunnelShape
from forestay.mechanics import pupil, tunnel
from forestay.mechanics.geometry import require
from forestay.optics import incision
from forestay.record import Record
from forestay.text import tr

MOST_HOOKS = 12
"""Hooks that are read; more than one an hour round the pupil is a slip of the pen."""
MANUAL = "manual-small-incision"
"""The kind of cut that a tunnel is."""


class Hook(Record):
    """One hook: where, and how far from the pupil's centre its sharp corner is drawn."""

    clock: Annotated[float, within("clock")]
    reach_mm: Annotated[float, within("reach_mm")]


class PupilInput(Record):
    """Pupil before hooks, and the hooks."""

    pupil_mm: Annotated[float, within("pupil_mm")]
    hooks: tuple[Hook, ...] = Field(strict=False, max_length=MOST_HOOKS, description="hooks; an empty list for none")
    corner_radius_mm: Annotated[float, within("corner_radius_mm")] | None = None


class PupilOutput(Record):
    """The opening: area, largest circle (diameter), length of its edge and how far that was stretched."""

    area_mm2: Annotated[float, Field(description="area of the opening")]
    largest_circle_mm: Annotated[float, Field(description="diameter of the largest circle in it, wherever centred")]
    margin_mm: Annotated[float, Field(description="length of the pupil's edge")]
    margin_stretch: Annotated[float, Field(description="length of the edge over that of the round pupil")]
    taut: Annotated[bool, Field(description="whether the edge is drawn straight between the hooks")]


@calculation(
    "pupil",
    summary="What hooks make of a pupil: the largest circle seen through it, and the stretch of its edge",
    formula="polygon of the hooks' corners if it shows at least the pupil's own circle, else the hull of the corners "
    "and the least disc that leaves that circle; stretch = edge / (pi pupil)",
    valid="geometry alone; at what stretch the edge tears was never measured",
    input=PupilInput,
    output=PupilOutput,
    example={
        "pupil_mm": 3.0,
        "hooks": [
            {"clock": 1.5, "reach_mm": 3.5},
            {"clock": 4.5, "reach_mm": 3.5},
            {"clock": 7.5, "reach_mm": 3.5},
            {"clock": 10.5, "reach_mm": 3.5},
        ],
    },
)
def pupil_calculation(given: PupilInput, use: Reader) -> tuple[PupilOutput, list[Doubt]]:
    """The opening on the hooks as placed."""
    found = pupil.opening(
        clocks=[hook.clock for hook in given.hooks],
        reach_mm=[hook.reach_mm for hook in given.hooks],
        pupil_mm=given.pupil_mm,
        corner_radius_mm=given.corner_radius_mm or 0.0,
    )
    output = PupilOutput(
        area_mm2=float(found.area_mm2),
        largest_circle_mm=float(found.largest_circle_mm),
        margin_mm=float(found.margin_mm),
        margin_stretch=float(found.margin_stretch),
        taut=bool(found.taut),
    )
    holding = [bool(held) for held in found.holding]
    straight = float(found.straight_circle_mm) if len(given.hooks) > 2 else 0.0
    return output, _pupil_doubts(given, output, holding, straight, use) if given.hooks else []


def _pupil_doubts(
    given: PupilInput, found: PupilOutput, holding: list[bool], straight_mm: float, use: Reader
) -> list[Doubt]:
    scatter = use.constants(pupil.PupilConstants)
    words = tr(
        "The hooks are taken to land where they were put; each lands about {reach:g} mm and {angle:g} rad from there, "
        "and the circle is then usually smaller.",
        reach=scatter.hook_reach_sd_mm,
        angle=scatter.hook_angle_sd_rad,
    )
    doubts = [Doubt("hooks-exact", words)]
    if given.corner_radius_mm is None:
        doubts.append(Doubt("sharp-corners", tr("The corners are taken as sharp; a wire rounds them a little.")))
    if not found.taut:
        words = tr(
            "The hooks do not draw the edge straight all round: the opening is the round pupil with what they pull out."
        )
        doubts.append(Doubt("edge-not-taut", words))
    if 0 < straight_mm < given.pupil_mm:
        words = tr(
            "Drawn straight between these hooks the edge would show {mm:.1f} mm, less than the pupil alone; hooks draw "
            "outward, so the pupil is taken to keep its own width.",
            mm=straight_mm,
        )
        doubts.append(Doubt("straight-would-close", words))
    idle = [f"{hook.clock:g}" for hook, held in zip(given.hooks, holding, strict=True) if not held]
    if idle:
        doubts.append(Doubt("hook-idle", tr("These hooks hold nothing of the edge: {clocks}.", clocks=", ".join(idle))))
    if found.margin_stretch > 1:
        doubts.append(Doubt("no-tear-limit", tr("At what stretch the pupil's edge tears was never measured.")))
    return doubts


class TunnelInput(Record):
    """Nucleus, instruments and tunnel. Lips are straight-line distances between their ends."""

    side: Annotated[Literal["right", "left"], Field(description="right or left eye")]
    nucleus_diameter_mm: Annotated[float, within("nucleus_diameter_mm")]
    nucleus_thickness_mm: Annotated[float, within("nucleus_thickness_mm")]
    instrument_thickness_mm: Annotated[float, within("instrument_thickness_mm")] | None = None
    tissue_give: Annotated[float, within("tissue_give")] | None = None
    inner_lip_mm: Annotated[float, within("inner_lip_mm")]
    outer_lip_mm: Annotated[float, within("outer_lip_mm")]
    sagitta_mm: Annotated[float, within("sagitta_mm")] | None = None
    shape: Annotated[TunnelShape, Field(description="shape of the outer lip")]
    distance_from_limbus_mm: Annotated[float, within("distance_from_limbus_mm")]
    centre_clock: Annotated[float, within("centre_clock")]
    white_to_white_mm: Annotated[float, within("white_to_white_mm")] | None = None


class TunnelOutput(Record):
    """Lip needed, lip there, and the flattening that the cut induces along its meridian."""

    needed_lip_mm: Annotated[float, Field(description="lip length through which nucleus and instruments pass")]
    lip_length_mm: Annotated[float, Field(description="length of the outer lip unfolded in its plane")]
    margin_inner_mm: Annotated[float, Field(description="inner lip less what is needed")]
    margin_outer_mm: Annotated[float, Field(description="outer lip, unfolded, less what is needed")]
    induced_d: Annotated[float, Field(description="flattening along the meridian of the cut, 0 or more")]
    induced_sd_d: Annotated[float, Field(description="one standard deviation of each component of it")]
    arc_deg: Annotated[
        float | None, Field(description="angle that the cut takes up round the cornea; null without white_to_white_mm")
    ]


@calculation(
    "tunnel",
    summary="Will nucleus and instruments pass the tunnel, and what the cut does to the cornea",
    formula="needed lip = perimeter of an ellipse D x (T + instruments) / (2 give); lip there: chord, arc or two limbs",
    valid="a curved lip that unfolds wholly; induced flattening from series of 6 to 7 mm tunnels at six weeks",
    input=TunnelInput,
    output=TunnelOutput,
    example={
        "side": "left",
        "nucleus_diameter_mm": 7.43,
        "nucleus_thickness_mm": 3.28,
        "instrument_thickness_mm": 0.3,
        "tissue_give": 1.15,
        "inner_lip_mm": 8.5,
        "outer_lip_mm": 6.5,
        "sagitta_mm": 1.5,
        "shape": "frown",
        "distance_from_limbus_mm": 2.0,
        "centre_clock": 12,
    },
)
def tunnel_calculation(given: TunnelInput, use: Reader) -> tuple[TunnelOutput, list[Doubt]]:
    """Lip needed against both lips, and the induced flattening of the prior for this site and shape."""
    doubts: list[Doubt] = []
    needed = float(
        tunnel.needed_lip_mm(
            nucleus_diameter_mm=given.nucleus_diameter_mm,
            nucleus_thickness_mm=given.nucleus_thickness_mm,
            instrument_thickness_mm=_or_none_said(given.instrument_thickness_mm, doubts),
            tissue_give=_or_stiff(given.tissue_give, doubts),
        )
    )
    sagitta = stated_sagitta_mm(given.shape, given.sagitta_mm, given.outer_lip_mm, use, doubts)
    length = float(tunnel.lip_length_mm(chord_mm=given.outer_lip_mm, sagitta_mm=sagitta, shape=given.shape))
    if given.shape != "straight":
        words = tr("A curved lip is taken to unfold wholly: its length is an upper bound.")
        doubts.append(Doubt("unfolds-wholly", words))
    if given.inner_lip_mm < given.outer_lip_mm:
        words = tr("The inner lip is shorter than the outer chord; it is usually made wider.")
        doubts.append(Doubt("inner-lip-shorter", words))
    flattening, spread = _induced(given, use, doubts)
    output = TunnelOutput(
        needed_lip_mm=needed,
        lip_length_mm=length,
        margin_inner_mm=given.inner_lip_mm - needed,
        margin_outer_mm=length - needed,
        induced_d=flattening,
        induced_sd_d=spread,
        arc_deg=_arc_deg(given),
    )
    return output, doubts


def _or_none_said(thickness_mm: float | None, doubts: list[Doubt]) -> float:
    if thickness_mm is not None:
        return thickness_mm
    words = tr("No instrument was given: the nucleus is taken to pass alone.")
    doubts.append(Doubt("assumed-no-instrument", words))
    return 0.0


def _or_stiff(give: float | None, doubts: list[Doubt]) -> float:
    if give is not None:
        return give
    words = tr("No give was stated: the lips are taken not to stretch.")
    doubts.append(Doubt("assumed-no-give", words))
    return 1.0


def _induced(given: TunnelInput, use: Reader, doubts: list[Doubt]) -> tuple[float, float]:
    found = incision.induced(
        kind=MANUAL,
        site=incision.site_of(clock=given.centre_clock, side=given.side),
        shape=given.shape,
        length_mm=given.outer_lip_mm,
        priors=watched(use, incision.IncisionPriors),
    )
    doubts.extend(found.doubts)
    words = tr("How far behind the limbus the cut lies does not enter: no series gives a coefficient for it.")
    doubts.append(Doubt("distance-not-counted", words))
    flattening = float(found.flattening_d)
    if flattening < 0:
        words = tr("Such a cut steepens its meridian ({value:.2f} D); 0 is given as its flattening.", value=-flattening)
        doubts.append(Doubt("steepens", words))
    return max(flattening, 0.0), float(found.sd_d)


def _arc_deg(given: TunnelInput) -> float | None:
    if given.white_to_white_mm is None:
        return None
    across = given.white_to_white_mm + 2 * given.distance_from_limbus_mm
    for field, chord, room in (
        ("outer_lip_mm", given.outer_lip_mm, across),
        ("inner_lip_mm", given.inner_lip_mm, given.white_to_white_mm),
    ):
        words = tr("no more than the circle that it lies on is wide, {room:g} mm", room=room)
        require(holds=chord <= room, field=field, value=chord, allowed=words)
    return float(
        tunnel.arc_deg(
            chord_mm=given.outer_lip_mm,
            distance_from_limbus_mm=given.distance_from_limbus_mm,
            white_to_white_mm=given.white_to_white_mm,
        )
    )

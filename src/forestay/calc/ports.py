"""Calculations round the pupil and the ports: patterns and expanders, the arrangement on the clock; and, from the files
beside, the tunnel's seal, the nucleus under the cornea, and the search for support."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.calc.port_plan import port_plan_calculation
from forestay.calc.support import support_search_calculation
from forestay.calc.tunnel_seal import nucleus_clearance_calculation, tunnel_seal_calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.mechanics import expander, ports_pattern, tenting
from forestay.mechanics.geometry import require
from forestay.record import Record
from forestay.text import tr

Clock = Annotated[float, within("clock")]
MOST_HOOKS = 12
"""Hooks that are read; more than one an hour round the pupil is a slip of the pen."""
MOST_ROWS = 8
"""Expanders and port heights that are read at a time."""


class Expander(Record):
    """A ring expander in general terms."""

    shape: Literal["round", "square"] = Field(description="round, or square with four points")
    nominal_opening_mm: Annotated[float, within("nominal_opening_mm")]


class LayoutInput(Record):
    """Pupil before anything, and what might widen it."""

    pupil_mm: Annotated[float, within("pupil_mm")]
    incision_clock: Annotated[float, within("incision_clock")]
    hooks: int = Field(default=4, ge=3, le=MOST_HOOKS, description="hooks, evenly spaced")
    reach_mm: Annotated[float, within("reach_mm")]
    corner_radius_mm: Annotated[float, within("corner_radius_mm")] | None = None
    expanders: tuple[Expander, ...] | None = Field(
        default=None, strict=False, max_length=MOST_ROWS, description="ring expanders; without it the two sizes in use"
    )
    lens_clock: Clock | None = Field(default=None, description="towards which clock hour the lens is displaced")
    lens_offset_mm: Annotated[float, within("lens_offset_mm")] = 0.0
    k_mean_d: Annotated[float, within("k_mean_d")] | None = None
    white_to_white_mm: Annotated[float, within("white_to_white_mm")] | None = None
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")] | None = None
    ovd_gain_mm: Annotated[float, within("ovd_gain_mm")] | None = None
    ports_inside_limbus_mm: tuple[Annotated[float, within("port_inside_limbus_mm")], ...] = Field(
        default=(0.0,), strict=False, max_length=MOST_ROWS, description="how far inside the limbus the hooks enter"
    )


class View(Record):
    """What one way of widening the pupil shows."""

    kind: Literal["square", "diamond", "extra", "round-expander", "square-expander"] = Field(
        description="hooks in a square (incision between two), a diamond (one at the incision), a square with one more "
        "at the incision; or an expander"
    )
    nominal_opening_mm: float | None = Field(description="of an expander")
    clocks: tuple[float, ...] = Field(description="where hooks or corners stand; empty for a round expander")
    area_mm2: float = Field(description="area of the opening")
    largest_circle_mm: float = Field(description="diameter of the largest circle in it, wherever centred")
    circle_about_pupil_mm: float = Field(description="diameter of the largest circle about the pupil's centre")
    circle_about_lens_mm: float = Field(description="diameter of the largest circle about the lens's centre")
    margin_mm: float = Field(description="length of the pupil's edge")
    margin_stretch: float = Field(description="length of the edge over that of the round pupil; no limit is known")
    reach_to_incision_mm: float = Field(description="how far the opening reaches towards the incision")
    holds: bool = Field(description="whether it widens the pupil at all")


class Approach(Record):
    """How steeply a hook comes down on the edge."""

    port_inside_limbus_mm: float = Field(description="where the port enters the chamber, inside the limbus")
    angle_deg: float = Field(description="angle between hook and iris as it takes the edge, without OVD")
    lift_fraction: float = Field(description="share of the pull that lifts the iris then")
    angle_drawn_deg: float = Field(description="the same once the edge is drawn out")
    angle_with_ovd_deg: float = Field(description="angle as it takes the edge, chamber filled first")
    lift_fraction_with_ovd: float = Field(description="share of the pull that lifts the iris then")


class LayoutOutput(Record):
    """Every way beside the others."""

    views: tuple[View, ...] = Field(description="patterns of hooks, then expanders")
    approach: tuple[Approach, ...] = Field(description="empty without corneal power, width and chamber depth")


@calculation(
    "pupil-layout",
    summary="Patterns of hooks and ring expanders beside one another, and how steeply hooks come down on the iris",
    formula="hull of pupil and corners; circle about a point p: 2 min (h(u) - p.u); attack angle atan((h0 - z) / (r - "
    "r_m)) under a spherical cornea, lift = sin",
    valid="geometry alone; an edge that neither slips nor tears",
    input=LayoutInput,
    output=LayoutOutput,
    example={
        "pupil_mm": 3.0,
        "incision_clock": 12,
        "hooks": 4,
        "reach_mm": 3.54,
        "lens_clock": 4,
        "lens_offset_mm": 0.4,
        "k_mean_d": 43.5,
        "white_to_white_mm": 11.7,
        "chamber_depth_mm": 3.1,
        "ports_inside_limbus_mm": [0, 0.5, 1.0],
    },
)
def pupil_layout_calculation(given: LayoutInput, use: Reader) -> tuple[LayoutOutput, list[Doubt]]:
    """Hooks in three patterns, expanders, and the hooks' approach."""
    doubts: list[Doubt] = []
    lens = {"lens_clock": given.lens_clock or 12.0, "lens_offset_mm": given.lens_offset_mm}
    if given.lens_offset_mm and given.lens_clock is None:
        words = tr("Where the lens is displaced to was not given: 12 o'clock was taken.")
        doubts.append(Doubt("assumed-lens-clock", words))
    views = [_hook_view(pattern, given, lens) for pattern in ports_pattern.PATTERNS]
    views += [_expander_view(one, given, lens) for one in _expanders(given, use, doubts)]
    doubts.append(Doubt("no-tear-limit", tr("At what stretch the pupil's edge tears was never measured.")))
    if not all(view.holds for view in views):
        words = tr("An expander no wider than the pupil holds nothing.")
        doubts.append(Doubt("expander-idle", words))
    return LayoutOutput(views=tuple(views), approach=_approach(given, use, doubts)), doubts


def _hook_view(pattern: str, given: LayoutInput, lens: dict[str, float]) -> View:
    found = ports_pattern.pattern_view(
        pattern=pattern,
        count=given.hooks,
        incision_clock=given.incision_clock,
        reach_mm=given.reach_mm,
        pupil_mm=given.pupil_mm,
        corner_radius_mm=given.corner_radius_mm or 0.0,
        **lens,
    )
    return View(
        kind=pattern,  # type: ignore[arg-type]
        nominal_opening_mm=None,
        clocks=found.clocks,
        area_mm2=float(found.area_mm2),
        largest_circle_mm=float(found.largest_circle_mm),
        circle_about_pupil_mm=float(found.circle_about_pupil_mm),
        circle_about_lens_mm=float(found.circle_about_lens_mm),
        margin_mm=float(found.margin_mm),
        margin_stretch=float(found.margin_stretch),
        reach_to_incision_mm=float(found.reach_to_incision_mm),
        holds=bool(found.margin_stretch > 1),
    )


def _expanders(given: LayoutInput, use: Reader, doubts: list[Doubt]) -> tuple[Expander, ...]:
    if given.expanders is not None:
        return given.expanders
    sizes = use.constants(expander.ExpanderConstants)
    words = tr(
        "No expander was given: the two nominal openings in use were taken, {small:g} and {large:g} mm; a square one's "
        "nominal opening is taken as its side.",
        small=sizes.small_opening_mm,
        large=sizes.large_opening_mm,
    )
    doubts.append(Doubt("assumed-expanders", words))
    return tuple(
        Expander(shape=shape, nominal_opening_mm=size)
        for shape in ("round", "square")
        for size in (sizes.small_opening_mm, sizes.large_opening_mm)
    )


def _expander_view(one: Expander, given: LayoutInput, lens: dict[str, float]) -> View:
    corners = ports_pattern.hook_places(
        pattern="square", count=expander.CORNER_COUNT, incision_clock=given.incision_clock
    )
    common = {
        "shape": one.shape,
        "nominal_opening_mm": one.nominal_opening_mm,
        "pupil_mm": given.pupil_mm,
        "first_corner_clock": corners[0].clock,
        "incision_clock": given.incision_clock,
    }
    found = expander.expansion(**common, **lens)  # type: ignore[arg-type]
    about = expander.expansion(**common).circle_about_lens_mm  # type: ignore[arg-type]
    return View(
        kind="round-expander" if one.shape == "round" else "square-expander",
        nominal_opening_mm=one.nominal_opening_mm,
        clocks=tuple(place.clock for place in corners) if one.shape == "square" else (),
        area_mm2=float(found.area_mm2),
        largest_circle_mm=float(found.largest_circle_mm),
        circle_about_pupil_mm=float(about),
        circle_about_lens_mm=float(found.circle_about_lens_mm),
        margin_mm=float(found.margin_mm),
        margin_stretch=float(found.margin_stretch),
        reach_to_incision_mm=float(found.reach_to_incision_mm),
        holds=bool(found.holds),
    )


def _approach(given: LayoutInput, use: Reader, doubts: list[Doubt]) -> tuple[Approach, ...]:
    if given.k_mean_d is None or given.white_to_white_mm is None or given.chamber_depth_mm is None:
        words = tr("Without corneal power, white-to-white and chamber depth the hooks' approach is not given.")
        doubts.append(Doubt("no-approach", words))
        return ()
    gain = given.ovd_gain_mm
    if gain is None:
        gain = use.number("chamber.ovd_gain_mm")
        words = tr("The deepening by viscosurgical device was not given: {value:g} mm was taken.", value=gain)
        doubts.append(Doubt("assumed-ovd-gain", words))
    words = tr("The plane of the pupil is taken at the depth of the chamber, and the cornea as a sphere to the limbus.")
    doubts.append(Doubt("spherical-cornea", words))
    radius = tenting.corneal_radius_mm(k_mean_d=given.k_mean_d, keratometric_index=use.number("keratometry.index"))

    drawn_to = max(given.reach_mm, given.pupil_mm / 2)
    for inside in given.ports_inside_limbus_mm:
        port = given.white_to_white_mm / 2 - inside
        words = tr("no more than {most:g} mm: a cornea of this power is not wider", most=2 * (float(radius) + inside))
        require(holds=port <= radius, field="white_to_white_mm", value=given.white_to_white_mm, allowed=words)
        words = tr("less than the port's distance from the middle, {port:g} mm", port=port)
        require(holds=given.pupil_mm / 2 < port, field="pupil_mm", value=given.pupil_mm, allowed=words)
        require(holds=given.reach_mm < port, field="reach_mm", value=given.reach_mm, allowed=words)

    def angle(inside: float, depth: float, edge: float) -> tenting.Attack:
        return tenting.attack(
            radius_mm=radius,
            white_to_white_mm=given.white_to_white_mm or 0.0,
            pupil_plane_depth_mm=depth,
            port_inside_limbus_mm=inside,
            margin_radius_mm=edge,
        )

    rows = []
    for inside in given.ports_inside_limbus_mm:
        before = angle(inside, given.chamber_depth_mm, given.pupil_mm / 2)
        drawn = angle(inside, given.chamber_depth_mm, drawn_to)
        filled = angle(inside, given.chamber_depth_mm + gain, given.pupil_mm / 2)
        rows.append(
            Approach(
                port_inside_limbus_mm=inside,
                angle_deg=float(before.angle_deg),
                lift_fraction=float(before.lift_fraction),
                angle_drawn_deg=float(drawn.angle_deg),
                angle_with_ovd_deg=float(filled.angle_deg),
                lift_fraction_with_ovd=float(filled.lift_fraction),
            )
        )
    behind = [f"{row.port_inside_limbus_mm:g}" for row in rows if row.angle_deg < 0]
    if behind:
        words = tr(
            "In so shallow a chamber a hook that enters {inside} mm inside the limbus comes from behind the plane of the "
            "iris (an angle below 0): enter farther forward.",
            inside=", ".join(behind),
        )
        doubts.append(Doubt("port-behind-iris", words))
    return tuple(rows)


CALCULATIONS = (
    pupil_layout_calculation,
    port_plan_calculation,
    tunnel_seal_calculation,
    nucleus_clearance_calculation,
    support_search_calculation,
)

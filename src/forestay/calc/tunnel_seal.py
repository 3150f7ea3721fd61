"""Calculations of the held nucleus: through the tunnel, with the tunnel's seal; and under the dome of the cornea."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from forestay.answer import Doubt
from forestay.calc.core import calculation
from forestay.evidence import Reader
from forestay.eye.quantity import within
from forestay.eye.situation import TunnelShape
from forestay.mechanics import chamber, chamber_dome, pocket, sealing, tenting
from forestay.record import Record
from forestay.text import tr


class TunnelSealInput(Record):
    """Nucleus, what holds it, and the tunnel."""

    nucleus_diameter_mm: Annotated[float, within("nucleus_diameter_mm")]
    nucleus_thickness_mm: Annotated[float, within("nucleus_thickness_mm")]
    with_loop: bool = Field(default=True, description="whether a wire loop lies under the nucleus")
    with_bar: bool = Field(default=False, description="whether a second instrument lies on top of it")
    tissue_give: Annotated[float, within("tissue_give")] | None = None
    outer_lip_mm: Annotated[float, within("outer_lip_mm")]
    sagitta_mm: Annotated[float, within("sagitta_mm")] | None = None
    shape: Annotated[TunnelShape, Field(description="shape of the outer lip")]
    pocket_each_side_mm: Annotated[float, within("pocket_each_side_mm")] | None = None
    distance_from_limbus_mm: Annotated[float, within("distance_from_limbus_mm")]
    inner_lip_length_mm: Annotated[float, within("inner_lip_length_mm")]


class TunnelSealOutput(Record):
    """Both lips against the held nucleus, as a band over the give of the lips; and the geometry of the seal."""

    girth_mm: float = Field(description="shortest line round nucleus and instruments")
    needed_lip_mm: float = Field(description="lip needed at the stated give")
    needed_lip_stiff_mm: float = Field(description="lip needed if the lips do not give")
    needed_lip_yielding_mm: float = Field(description="lip needed at the most give considered")
    outer_lip_mm: float = Field(description="outer lip unfolded")
    inner_lip_mm: float = Field(description="inner lip with its pockets")
    margin_mm: float = Field(description="the shorter lip less what is needed, at the stated give")
    margin_low_mm: float = Field(description="the same if the lips do not give")
    margin_high_mm: float = Field(description="the same at the most give considered")
    short_lip: str | None = Field(description="which lip is too short at the stated give: outer, inner, both; or null")
    chord_needed_mm: float = Field(description="outer chord of this shape that would do, at the stated give")
    length_mm: float = Field(description="length of the tunnel from groove to inner lip")
    length_over_width: float = Field(description="length over width of the outer cut")
    square: bool = Field(description="whether it is at least as long as wide")
    lip_long_enough: bool = Field(description="whether the inner lip has the least length taught")
    rests_on_lip: bool = Field(description="not square, but with its lip: it seals by lip, plane and pressure")
    think_of_suture: bool = Field(description="wider than taught without a suture, or a short lip")


@calculation(
    "tunnel-seal",
    summary="Do both lips pass the nucleus as it is held, over the band of their give, and what the seal rests on",
    formula="needed lip = hull of ellipse, loop and bar / (2 give); outer lip unfolded, inner = chord + 2 pockets; square "
    "rule length >= width",
    valid="instruments that do not sink in; seals tested on tunnels of up to 4 mm in cadaver eyes",
    input=TunnelSealInput,
    output=TunnelSealOutput,
    example={
        "nucleus_diameter_mm": 7.13,
        "nucleus_thickness_mm": 3.05,
        "with_loop": True,
        "with_bar": True,
        "outer_lip_mm": 6.5,
        "sagitta_mm": 1.5,
        "shape": "frown",
        "pocket_each_side_mm": 1.0,
        "distance_from_limbus_mm": 2.0,
        "inner_lip_length_mm": 1.5,
    },
)
def tunnel_seal_calculation(given: TunnelSealInput, use: Reader) -> tuple[TunnelSealOutput, list[Doubt]]:
    """Both lips and the seal."""
    doubts: list[Doubt] = []
    band = use.row("tunnel.tissue_give")
    low, high = float(band.low or 1.0), float(band.high or 1.0)
    give = use.number("tunnel.tissue_give") if given.tissue_give is None else given.tissue_give
    if given.tissue_give is None:
        words = tr(
            "No give was stated: {value:g} was taken, from a band of {low:g} to {high:g}.",
            value=give,
            low=low,
            high=high,
        )
        doubts.append(Doubt("assumed-give", words))
    side = given.pocket_each_side_mm
    if side is None:
        side = use.number("tunnel.inner_lip_extra_mm") / 2
        words = tr("Pockets were not given: {value:g} mm on each side was taken.", value=side)
        doubts.append(Doubt("assumed-pocket", words))
    sagitta = stated_sagitta_mm(given.shape, given.sagitta_mm, given.outer_lip_mm, use, doubts)
    if given.shape != "straight":
        words = tr("A curved lip is taken to unfold wholly: its length is an upper bound.")
        doubts.append(Doubt("unfolds-wholly", words))
    tools = use.constants(pocket.PocketConstants)
    stiff = float(
        pocket.needed_lip_held_mm(
            nucleus_diameter_mm=given.nucleus_diameter_mm,
            nucleus_thickness_mm=given.nucleus_thickness_mm,
            constants=tools,
            with_loop=given.with_loop,
            with_bar=given.with_bar,
            tissue_give=1.0,
        )
    )
    cut = pocket.lips(
        outer_chord_mm=given.outer_lip_mm,
        sagitta_mm=sagitta,
        shape=given.shape,
        pocket_each_side_mm=side,
        needed_mm=stiff / give,
    )
    short = float(min(cut.outer_mm, cut.inner_mm))
    length, seal = _seal(given, use, doubts)
    output = TunnelSealOutput(
        girth_mm=2 * stiff,
        needed_lip_mm=float(cut.needed_mm),
        needed_lip_stiff_mm=stiff / low,
        needed_lip_yielding_mm=stiff / high,
        outer_lip_mm=float(cut.outer_mm),
        inner_lip_mm=float(cut.inner_mm),
        margin_mm=float(cut.margin_mm),
        margin_low_mm=short - stiff / low,
        margin_high_mm=short - stiff / high,
        short_lip=_short(cut),
        chord_needed_mm=_chord(stiff / give, sagitta, given.shape, side),
        length_mm=length,
        length_over_width=float(seal.length_over_width),
        square=bool(seal.square),
        lip_long_enough=bool(seal.lip_least),
        rests_on_lip=bool(seal.rests_on_lip),
        think_of_suture=bool(seal.think_of_suture),
    )
    return output, doubts


def stated_sagitta_mm(
    shape: TunnelShape, sagitta_mm: float | None, chord_mm: float, use: Reader, doubts: list[Doubt]
) -> float:
    """Height of the outer lip over its chord: 0 for a straight one, the usual where it was not given."""
    if shape == "straight":
        if sagitta_mm:
            words = tr("A straight lip has no height: sagitta_mm was not used.")
            doubts.append(Doubt("sagitta-not-used", words))
        return 0.0
    if sagitta_mm is not None:
        return sagitta_mm
    usual = min(use.number("tunnel.sagitta_mm"), chord_mm / 2)
    words = tr("The height of the {shape} was not given: {value:g} mm was taken.", shape=shape, value=usual)
    doubts.append(Doubt("assumed-sagitta", words))
    return usual


def _short(cut: pocket.Lips) -> str | None:
    outer, inner = cut.margin_outer_mm < 0, cut.margin_inner_mm < 0
    if outer and inner:
        return "both"
    return "outer" if outer else "inner" if inner else None


def _chord(needed: float, sagitta: float, shape: str, side: float) -> float:
    outer = pocket.chord_for_lip_mm(wanted_mm=needed, sagitta_mm=sagitta, shape=shape)
    return max(float(outer), needed - 2 * side)


def _seal(given: TunnelSealInput, use: Reader, doubts: list[Doubt]) -> tuple[float, sealing.Seal]:
    limits = use.constants(sealing.SealingConstants)
    length = float(
        sealing.radial_length_mm(
            distance_from_limbus_mm=given.distance_from_limbus_mm, inner_lip_length_mm=given.inner_lip_length_mm
        )
    )
    found = sealing.scleral_seal(
        width_mm=given.outer_lip_mm,
        length_mm=length,
        inner_lip_length_mm=given.inner_lip_length_mm,
        constants=limits,
    )
    words = tr(
        "The three lines of the limbus lie up to 2 mm apart: distance and lip must be measured from the same one."
    )
    doubts.append(Doubt("limbus-datum", words))
    if not found.square:
        words = tr(
            "The tunnel is not square: it seals by lip, clean plane and pressure, so test it at the end. The "
            "{load:g} psi that square tunnels held are a load on a point of the globe, never a pressure in an eye.",
            load=limits.point_load_psi,
        )
        doubts.append(Doubt("not-square", words))
    return length, found


class ClearanceInput(Record):
    """Nucleus, chamber and layers of viscosurgical device."""

    nucleus_diameter_mm: Annotated[float, within("nucleus_diameter_mm")]
    nucleus_thickness_mm: Annotated[float, within("nucleus_thickness_mm")]
    chamber_depth_mm: Annotated[float, within("chamber_depth_mm")]
    k_mean_d: Annotated[float, within("k_mean_d")]
    corneal_thickness_um: Annotated[float, within("corneal_thickness_um")] | None = None
    ovd_gain_mm: Annotated[float, within("ovd_gain_mm")] | None = None
    white_to_white_mm: Annotated[float, within("white_to_white_mm")] | None = None
    front_layer_mm: Annotated[float, within("layer_mm")] = 0.0
    behind_layer_mm: Annotated[float, within("layer_mm")] = 0.0


class ClearanceOutput(Record):
    """Room under the dome of the cornea."""

    room_mm: float = Field(description="from the back of the cornea to the plane of the opening, chamber filled")
    dome_radius_mm: float = Field(description="radius of the back of the cornea")
    flat_mm: float = Field(description="narrowest layer before the nucleus lying flat in the chamber; below 0: no room")
    fits_flat: bool = Field(description="whether it lies flat with the layers asked for")
    steepest_deg: float | None = Field(description="steepest tilt of the whole nucleus there; null if not even flat")
    turns_freely: bool = Field(description="whether it can be turned through every tilt there")
    edge_in_opening_mm: float = Field(description="narrowest layer before it tipped on edge, its centre in the opening")


@calculation(
    "nucleus-clearance",
    summary="Room for the nucleus under the dome of the cornea, flat and tipped, with viscosurgical device around it",
    formula="R less the farthest point of a tilted ellipsoid from the cornea's centre; room = depth - cornea / 1000 + gain",
    valid="spherical cornea of even thickness; in front of the iris",
    input=ClearanceInput,
    output=ClearanceOutput,
    example={
        "nucleus_diameter_mm": 7.43,
        "nucleus_thickness_mm": 3.28,
        "chamber_depth_mm": 2.9,
        "k_mean_d": 43.5,
        "corneal_thickness_um": 535,
        "ovd_gain_mm": 0.9,
        "white_to_white_mm": 11.7,
    },
)
def nucleus_clearance_calculation(given: ClearanceInput, use: Reader) -> tuple[ClearanceOutput, list[Doubt]]:
    """The nucleus in the filled chamber."""
    doubts: list[Doubt] = []

    def usual(value: float | None, row: str, code: str, words: str) -> float:
        if value is not None:
            return value
        taken = use.number(row)
        doubts.append(Doubt(code, tr(words, value=taken)))
        return taken

    cornea = usual(
        given.corneal_thickness_um,
        "anatomy.corneal_thickness_um",
        "assumed-corneal-thickness",
        "The cornea's thickness was not given: the average, {value:g} micrometres, was taken.",
    )
    gain = usual(
        given.ovd_gain_mm,
        "chamber.ovd_gain_mm",
        "assumed-ovd-gain",
        "The deepening by viscosurgical device was not given: {value:g} mm was taken.",
    )
    across = usual(
        given.white_to_white_mm,
        "anatomy.white_to_white_mm",
        "assumed-white-to-white",
        "White-to-white was not given: the average, {value:g} mm, was taken.",
    )
    doubts.append(Doubt("spherical-cornea", tr("The cornea is taken as a sphere of even thickness out to the limbus.")))
    front = tenting.corneal_radius_mm(k_mean_d=given.k_mean_d, keratometric_index=use.number("keratometry.index"))
    dome = float(chamber_dome.inner_radius_mm(outer_radius_mm=front, corneal_thickness_um=cornea))
    room = float(
        chamber.room_mm(chamber_depth_mm=given.chamber_depth_mm, corneal_thickness_um=cornea, ovd_gain_mm=gain)
    )
    found = chamber_dome.fit(
        nucleus_diameter_mm=given.nucleus_diameter_mm,
        nucleus_thickness_mm=given.nucleus_thickness_mm,
        dome_radius_mm=dome,
        room_mm=room,
        front_layer_mm=given.front_layer_mm,
        behind_layer_mm=given.behind_layer_mm,
        furthest_mm=max((across - given.nucleus_diameter_mm) / 2, 0.0),
    )
    flat, steepest = float(found.flat_mm), float(found.steepest_deg)
    fits = flat >= given.front_layer_mm
    output = ClearanceOutput(
        room_mm=room,
        dome_radius_mm=dome,
        flat_mm=flat,
        fits_flat=fits,
        steepest_deg=steepest if fits else None,
        turns_freely=bool(found.turns_freely),
        edge_in_opening_mm=float(found.edge_in_opening_mm),
    )
    return output, doubts

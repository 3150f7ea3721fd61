"""What the rim of the opening bears, by its shape, how it was made and whether it is whole, from published tests.

Stretch is length over length at rest. Rims tore at a mean stretch in donor eyes; the split fixture (two half-round
shoes drawn apart in the opening) gives the spread; openings torn by hand in pig eyes give the lower bound. For shapes
and makers of which only the direction is published ("weaker"), the lower bound is planned upon, and this is said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal, get_args

import numpy as np

from forestay.answer import Doubt
from forestay.errors import InvalidInput
from forestay.mechanics.capsulorhexis import CapsulorhexisConstants
from forestay.mechanics.flap_membrane import CapsuleLaw, respond
from forestay.mechanics.geometry import Floats, Numbers, ellipse_perimeter_mm, plain, require, require_positive
from forestay.text import tr

Shape = Literal["round", "oval", "teardrop"]
Continuity = Literal["continuous", "tag", "can-opener", "cut"]
Made = Literal["torn", "diathermy", "laser"]
INTEGRAL_NODES = 400
"""Rings over which the pull of the fixture is summed."""


@dataclass(frozen=True)
class RimStrengthConstants:
    """Published tests beside those of ``CapsulorhexisConstants``. ``fixture_diameter_mm`` d of the split fixture's
    openings, ``fixture_extension_sd_mm`` spread of how far they were drawn [mm]; ``broken_stretch`` [-] planned for a
    rim that is not whole."""

    PREFIX: ClassVar[str] = "rim_strength"
    fixture_diameter_mm: float
    fixture_extension_sd_mm: float
    broken_stretch: float


@dataclass(frozen=True)
class RimStrength:
    """Stretch at which such a rim tears: ``tear_stretch`` mean, ``tear_stretch_sd``, ``lower_bound``; ``continuous``:
    whether the rim may be counted on at all; ``measured``: whether the mean was measured for such a rim."""

    tear_stretch: float
    tear_stretch_sd: float
    lower_bound: float
    continuous: bool
    measured: bool
    doubts: tuple[Doubt, ...]


def rim_strength(
    *,
    shape: Shape,
    continuity: Continuity,
    made: Made,
    limits: CapsulorhexisConstants,
    constants: RimStrengthConstants,
) -> RimStrength:
    """Stretch at which a rim tears, with its spread.

    A continuous torn rim, round or oval (the length counts): mean of donor eyes, spread of the split fixture. A
    teardrop, or diathermy: weaker in every comparison, without a number: the lower bound. A tag, a can-opener or a
    cut: nothing to count on beyond ``broken_stretch``.

    Parameters: ``shape``, ``continuity``, ``made``; ``limits``, ``constants``. Result: :class:`RimStrength`. Donors of
    extracapsular age; no relation to age was found for stretch. Unknown words are refused.

    References: Assia 1991, IOVS 32:2835; doi 10.1136/bjo.78.5.392; pubmed 23245363.
    """
    for field, word, known in (("shape", shape, Shape), ("continuity", continuity, Continuity), ("made", made, Made)):
        if word not in get_args(known):
            words = ", ".join(get_args(known))
            message = tr("{field} is {value}; allowed: {words}.", field=field, value=word, words=words)
            raise InvalidInput(message, field=field, value=word, allowed=words)
    if continuity != "continuous":
        words = tr(
            "A rim that is not whole bears no stretch that may be planned upon: it tears on from its weakest point."
        )
        kept = constants.broken_stretch
        return RimStrength(kept, 0.0, 1.0, False, False, (Doubt("rim-not-continuous", words),))
    spread = _fixture_spread(constants)
    if shape == "teardrop" or made == "diathermy":
        words = tr(
            "Such a rim was weaker than a round torn one in every comparison, by how much was not published: the lower "
            "bound of {bound:g} is taken.",
            bound=limits.lowest_tear_stretch,
        )
        weakest = limits.lowest_tear_stretch
        return RimStrength(weakest, spread, 1.0, True, False, (Doubt("rim-weaker-unmeasured", words),))
    doubts: tuple[Doubt, ...] = ()
    if made == "laser":
        words = tr("Laser-made rims were stronger than torn ones in one series and weaker in another: taken as equal.")
        doubts = (Doubt("laser-rim-disputed", words),)
    return RimStrength(limits.mean_tear_stretch, spread, limits.lowest_tear_stretch, True, made == "torn", doubts)


def _fixture_spread(constants: RimStrengthConstants) -> float:
    unit = fixture_stretch(diameter_mm=constants.fixture_diameter_mm, extension_mm=constants.fixture_extension_sd_mm)
    return float(unit) - 1


def fixture_stretch(*, diameter_mm: Numbers, extension_mm: Numbers) -> Numbers:
    """Stretch of a rim of diameter d on two half-round shoes drawn apart by e: 1 + 2 e / (pi d).

    Parameters: ``diameter_mm`` above 0, ``extension_mm`` 0 or more [mm]. Result [-].

    >>> round(float(fixture_stretch(diameter_mm=5.3, extension_mm=5.85)), 3)
    1.703
    """
    require_positive(diameter_mm=diameter_mm)
    require(holds=np.asarray(extension_mm) >= 0, field="extension_mm", value=extension_mm, allowed=tr("0 or more"))
    return plain(1 + 2 * np.asarray(extension_mm) / (np.pi * np.asarray(diameter_mm)))


def fixture_extension_mm(*, diameter_mm: Numbers, stretch: Numbers) -> Numbers:
    """How far the shoes are apart at a stretch: (s - 1) pi d / 2, the inverse of :func:`fixture_stretch` [mm].

    >>> round(float(fixture_extension_mm(diameter_mm=5.3, stretch=1.62)), 2)
    5.16
    """
    require_positive(diameter_mm=diameter_mm)
    require(holds=np.asarray(stretch) >= 1, field="stretch", value=stretch, allowed=tr("1 or more"))
    return plain((np.asarray(stretch) - 1) * np.pi * np.asarray(diameter_mm) / 2)


def fixture_load_mn(
    *, diameter_mm: float, stretch: float, bag_diameter_mm: float, thickness_um: float, law: CapsuleLaw
) -> tuple[float, float]:
    """Pull on the shoes at a stretch of the rim, by two ways the capsule around it may follow: (least, most) [mN].

    Both limbs of every circle from the rim out to the equator pull: F = 2 h sum P(stretch) d rho, P the pull of a strip.
    Least: each circle slides along the shoes like a sleeve and is only as long as the rim, so it is slack once longer.
    Most: each circle is carried along with the rim and lengthened by the same 2 e.

    Parameters: ``diameter_mm`` d, ``bag_diameter_mm`` [mm], d below the bag; ``stretch`` of the rim 1 or more [-];
    ``thickness_um`` [um]; ``law``. Result [mN]. Without friction on the shoes; the back capsule is not counted.
    """
    require(
        holds=np.asarray(diameter_mm) < bag_diameter_mm,
        field="diameter_mm",
        value=diameter_mm,
        allowed=tr("less than {widest:g} mm, the bag", widest=bag_diameter_mm),
    )
    extension = fixture_extension_mm(diameter_mm=diameter_mm, stretch=stretch)
    edges = np.linspace(diameter_mm / 2, bag_diameter_mm / 2, INTEGRAL_NODES + 1)
    radius, width = (edges[1:] + edges[:-1]) / 2, np.diff(edges)
    sleeve = stretch * diameter_mm / (2 * radius)
    carried = 1 + float(extension) / (np.pi * radius)
    least, most = (2 * thickness_um * float(_strip_mpa(s, law) @ width) for s in (sleeve, carried))
    return least, most


def _strip_mpa(stretch: Floats, law: CapsuleLaw) -> Floats:
    """Pull of a strip over its width and thickness at rest [MPa]."""
    return respond(meridian=np.zeros_like(stretch), hoop=stretch, law=law).second


def opening_girth_mm(*, shape: Shape, diameter_mm: Numbers, short_axis_mm: Numbers) -> Numbers:
    """Length of the edge of an opening: a circle, an ellipse, or a circle drawn out to a point (teardrop).

    Parameters: ``diameter_mm`` the long way across, ``short_axis_mm`` the short way, above 0, no more than the long
    one [mm]; a round opening has both the same. Teardrop: a circle of ``short_axis_mm`` with two straight tangents to
    a point ``diameter_mm`` from its far side.
    Result [mm].

    >>> round(float(opening_girth_mm(shape="oval", diameter_mm=7.13, short_axis_mm=3.05)), 2)
    16.64
    """
    require_positive(diameter_mm=diameter_mm, short_axis_mm=short_axis_mm)
    require(
        holds=np.asarray(short_axis_mm) <= np.asarray(diameter_mm),
        field="short_axis_mm",
        value=short_axis_mm,
        allowed=tr("no more than the long way across"),
    )
    if shape == "round":
        require(
            holds=np.asarray(short_axis_mm) == np.asarray(diameter_mm),
            field="short_axis_mm",
            value=short_axis_mm,
            allowed=tr("as much as the long way across where the opening is round"),
        )
    if shape != "teardrop":
        return ellipse_perimeter_mm(diameter_mm=diameter_mm, thickness_mm=short_axis_mm)
    radius, reach = np.asarray(short_axis_mm) / 2, np.asarray(diameter_mm) - np.asarray(short_axis_mm) / 2
    tangent = np.sqrt(np.maximum(reach**2 - radius**2, 0))
    return plain(2 * tangent + 2 * radius * (np.pi - np.arccos(np.minimum(radius / reach, 1))))

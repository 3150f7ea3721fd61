"""Does the tunnel seal by its geometry: the square rule and the length of its inner lip.

In cadaver eyes a scleral tunnel as long as wide with an inner corneal lip held best, and worse when wider, shorter or
with a shorter lip. The tunnel for a whole nucleus is never square: its sealing rests on the lip, a clean plane and the
pressure in the eye, so it is tested at the end. The 525 psi of those tests are a load on a point of the globe and are
never compared with a pressure in an eye.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.mechanics.geometry import Numbers, plain, require, require_positive
from forestay.text import tr


@dataclass(frozen=True)
class SealingConstants:
    """What was tested, and what is taught, from the evidence."""

    PREFIX: ClassVar[str] = "sealing"
    square_ratio: float
    """Length over width from which tunnels held best [-]."""
    best_lip_mm: float
    least_lip_mm: float
    suture_width_mm: float
    point_load_psi: float
    corneal_length_mm: float
    corneal_width_mm: float


@dataclass(frozen=True)
class Seal:
    """The geometry of a tunnel against what held; each a number, or draws. 1 for yes, 0 for no."""

    length_over_width: Numbers
    square: Numbers
    """Whether it is at least as long as wide: the tested rule."""
    lip_best: Numbers
    """Whether the inner lip is as long as the one tested best."""
    lip_least: Numbers
    """Whether it has at least the shortest lip that is taught."""
    rests_on_lip: Numbers
    """Whether it is not square but has the lip: it seals by lip, plane and pressure, and is tested at the end."""
    think_of_suture: Numbers
    """Whether it is wider than taught without a suture, or its lip shorter."""
    square_length_mm: Numbers
    """How long it would have to be to be square."""


def radial_length_mm(*, distance_from_limbus_mm: Numbers, inner_lip_length_mm: Numbers) -> Numbers:
    """Length of a tunnel from its groove to its inner lip: distance behind the limbus plus corneal lip [mm].

    Parameters: both [mm] 0 or more, from the same line of the limbus: its three lines lie up to 2 mm apart, so that
    the line used belongs to the number. Result: [mm].

    >>> radial_length_mm(distance_from_limbus_mm=2.0, inner_lip_length_mm=1.5)
    3.5
    """
    for name, size in (
        ("distance_from_limbus_mm", distance_from_limbus_mm),
        ("inner_lip_length_mm", inner_lip_length_mm),
    ):
        require(holds=np.asarray(size) >= 0, field=name, value=size, allowed=tr("0 or more"))
    return plain(np.asarray(distance_from_limbus_mm, dtype=np.float64) + np.asarray(inner_lip_length_mm))


def scleral_seal(
    *, width_mm: Numbers, length_mm: Numbers, inner_lip_length_mm: Numbers, constants: SealingConstants
) -> Seal:
    """A scleral tunnel's geometry against what held.

    Parameters: ``width_mm`` chord of the outer cut, ``length_mm`` from groove to inner lip [mm] above 0,
    ``inner_lip_length_mm`` part of it in clear cornea [mm], 0 to ``length_mm``, ``constants``. Result: :class:`Seal`.
    Population: cadaver eyes, tunnels of 3.2 to 4 mm; at 6 to 7 mm no leak pressure was published.

    >>> from forestay.evidence import default_evidence
    >>> c = default_evidence().reader().constants(SealingConstants)
    >>> wide = scleral_seal(width_mm=6.5, length_mm=4.0, inner_lip_length_mm=1.5, constants=c)
    >>> round(wide.length_over_width, 2), wide.square, wide.rests_on_lip, wide.think_of_suture
    (0.62, 0.0, 1.0, 0.0)

    References: Ernest et al., J Cataract Refract Surg 1993;19:457; doi 10.1016/s0886-3350(13)80651-7.
    """
    require_positive(width_mm=width_mm, length_mm=length_mm)
    lip = np.asarray(inner_lip_length_mm, dtype=np.float64)
    require(
        holds=(lip >= 0) & ~(lip > np.asarray(length_mm)),
        field="inner_lip_length_mm",
        value=lip,
        allowed=tr("0 to the length of the tunnel"),
    )
    width, length, lip = np.broadcast_arrays(np.asarray(width_mm, dtype=np.float64), np.asarray(length_mm), lip)
    ratio = length / width
    known = ~np.isnan(ratio + lip)
    square = ratio >= constants.square_ratio
    return Seal(
        length_over_width=plain(ratio),
        square=_told(square, known),
        lip_best=_told(lip >= constants.best_lip_mm, known),
        lip_least=_told(lip >= constants.least_lip_mm, known),
        rests_on_lip=_told(~square & (lip >= constants.least_lip_mm), known),
        think_of_suture=_told((width > constants.suture_width_mm) | (lip < constants.least_lip_mm), known),
        square_length_mm=plain(width * constants.square_ratio),
    )


def corneal_seal(*, width_mm: Numbers, length_mm: Numbers, constants: SealingConstants) -> Numbers:
    """Whether a clear corneal cut has the geometry that held: 1 or 0.

    Cuts of up to 3.5 mm were much stronger from 2.0 mm of length on. Parameters: ``width_mm``, ``length_mm`` [mm] above
    0, ``constants``. Result: 1.0 or 0.0. In the living eye 3 to 4 of 7 unsutured cuts let ink in: test it all the same.

    >>> from forestay.evidence import default_evidence
    >>> c = default_evidence().reader().constants(SealingConstants)
    >>> corneal_seal(width_mm=3.2, length_mm=2.0, constants=c), corneal_seal(width_mm=3.2, length_mm=1.8, constants=c)
    (1.0, 0.0)

    Reference: doi 10.1016/s0886-3350(96)80310-5.
    """
    require_positive(width_mm=width_mm, length_mm=length_mm)
    width, length = np.broadcast_arrays(np.asarray(width_mm, dtype=np.float64), np.asarray(length_mm, dtype=np.float64))
    good = (width <= constants.corneal_width_mm) & (length >= constants.corneal_length_mm)
    return _told(good, ~np.isnan(width + length))


def _told(flag: object, known: object) -> Numbers:
    return plain(np.where(np.asarray(known, dtype=bool), np.where(np.asarray(flag, dtype=bool), 1.0, 0.0), np.nan))

"""How large the hard nucleus probably is: from its hardness, not from age and not from a swollen lens."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.answer import Doubt
from forestay.errors import InvalidInput
from forestay.mechanics.geometry import Numbers, plain, require, require_positive
from forestay.text import tr

WHITE: tuple[str, ...] = ("white", "intumescent", "hypermature")
"""Lenses whose nucleus cannot be seen, and whose thickness is fluid or cortex."""
APPEARANCES: tuple[str, ...] = ("clear", "nuclear", "brown", "black", *WHITE)
GRADE_LIMIT_SOFTEST = 1
GRADE_LIMIT_HARDEST = 5
"""The ends of the hardness scale."""


@dataclass(frozen=True)
class NucleusConstants:
    """Extracted nuclei, and how their size goes with colour, from the evidence."""

    PREFIX: ClassVar[str] = "nucleus"
    mean_diameter_mm: float
    diameter_sd_mm: float
    mean_thickness_mm: float
    thickness_sd_mm: float
    colour_diameter_correlation: float
    colour_thickness_correlation: float
    mean_grade: float
    """Grade that an average extracted nucleus has on the scale 1 to 5."""
    grade_sd: float
    """Steps of the scale that make one standard deviation of colour."""
    black_diameter_mm: float
    black_thickness_mm: float
    least_cortex_mm: float
    """Cortex that even a large nucleus leaves, front and back together [mm]."""


@dataclass(frozen=True)
class NucleusSize:
    """Size of the hard nucleus with one standard deviation around it, and what to doubt."""

    diameter_mm: Numbers
    diameter_sd_mm: Numbers
    thickness_mm: Numbers
    thickness_sd_mm: Numbers
    doubts: tuple[Doubt, ...]


def nucleus_size(
    *,
    grade: Numbers,
    appearance: str | None,
    lens_thickness_mm: Numbers | None,
    constants: NucleusConstants,
) -> NucleusSize:
    """Diameter and thickness of the hard nucleus by hardness.

    mean + r SD z with z = (grade - mean grade) / steps per SD; scatter SD sqrt(1 - r^2). A black nucleus has at least
    the size that teaching gives it. Behind white cortex the colour cannot be seen, so the whole SD is kept. The
    nucleus is never thicker than the lens less its least cortex; a thick lens never makes it larger.

    Parameters: ``grade`` 1 soft to 5 hard [-], ``appearance`` of the cataract or None, ``lens_thickness_mm`` [mm] or
    None, ``constants``. Result: :class:`NucleusSize` [mm]. Population: 130 nuclei of extracapsular surgery, over 40
    years; hardness, diameter and thickness had no relation to age. Grades outside 1 to 5 are refused.

    >>> from forestay.evidence import default_evidence
    >>> c = default_evidence().reader().constants(NucleusConstants)
    >>> size = nucleus_size(grade=4.0, appearance="brown", lens_thickness_mm=4.6, constants=c)
    >>> round(size.diameter_mm, 2), round(size.thickness_mm, 2)
    (7.43, 3.28)

    Reference: Indian J Ophthalmol, January 1995 (n = 130).
    """
    require(
        holds=(np.asarray(grade) >= GRADE_LIMIT_SOFTEST) & (np.asarray(grade) <= GRADE_LIMIT_HARDEST),
        field="grade",
        value=grade,
        allowed=tr("{low} to {high}", low=GRADE_LIMIT_SOFTEST, high=GRADE_LIMIT_HARDEST),
    )
    if appearance is not None and appearance not in APPEARANCES:
        known = ", ".join(APPEARANCES)
        message = tr("{field} is {value}; allowed: {words}.", field="appearance", value=appearance, words=known)
        raise InvalidInput(message, field="appearance", value=appearance, allowed=known)
    z = (np.asarray(grade, dtype=np.float64) - constants.mean_grade) / constants.grade_sd
    wide: Numbers = constants.mean_diameter_mm + constants.colour_diameter_correlation * constants.diameter_sd_mm * z
    thick: Numbers = (
        constants.mean_thickness_mm + constants.colour_thickness_correlation * constants.thickness_sd_mm * z
    )
    doubts: list[Doubt] = []
    if appearance == "black":
        wide, thick = np.maximum(wide, constants.black_diameter_mm), np.maximum(thick, constants.black_thickness_mm)
        doubts.append(Doubt("black-nucleus", tr("Black nuclei are larger than their colour predicts.")))
    hidden = appearance in WHITE
    if hidden:
        words = tr(
            "A white lens hides its nucleus and is thick with fluid or cortex: the size rests on the grade that was "
            "given, and a thick lens was not taken for a thick nucleus."
        )
        doubts.append(Doubt("hidden-nucleus", words))
    if lens_thickness_mm is not None:
        thick = _inside_the_lens(thick, lens_thickness_mm, constants, doubts)
    shape = np.broadcast_shapes(np.shape(wide), np.shape(thick))
    wide_sd = _scatter(constants.diameter_sd_mm, constants.colour_diameter_correlation, hidden)
    thick_sd = _scatter(constants.thickness_sd_mm, constants.colour_thickness_correlation, hidden)
    return NucleusSize(
        plain(np.broadcast_to(wide, shape)),
        plain(np.full(shape, wide_sd)),
        plain(np.broadcast_to(thick, shape)),
        plain(np.full(shape, thick_sd)),
        tuple(doubts),
    )


def _scatter(sd_mm: float, correlation: float, hidden: bool) -> float:
    known = 0.0 if hidden else correlation
    return float(sd_mm * np.sqrt(1 - known**2))


def _inside_the_lens(
    thick: Numbers, lens_thickness_mm: Numbers, constants: NucleusConstants, doubts: list[Doubt]
) -> Numbers:
    require_positive(lens_thickness_mm=lens_thickness_mm)
    room = np.asarray(lens_thickness_mm, dtype=np.float64) - constants.least_cortex_mm
    require(
        holds=room > 0,
        field="lens_thickness_mm",
        value=lens_thickness_mm,
        allowed=tr("more than {least:g} mm", least=constants.least_cortex_mm),
    )
    if np.any(room < thick):
        doubts.append(
            Doubt("thin-lens", tr("The lens is thinner than its nucleus should be: the nucleus was made to fit in it."))
        )
    return plain(np.minimum(thick, room))

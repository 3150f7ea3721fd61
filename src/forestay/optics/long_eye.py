"""Adjusted lengths: what may be done to the length of a long eye before a power formula, each chosen by name, never twice.

    linear   L' = min(L, a L + b) above 25 mm, by formula (2011 and 2018 coefficients)
    segments L' = c + s L - t LT      (an estimate of the length by segments of one index each)

A linear adjustment takes off length only, so that nothing jumps where its line crosses the measured length; where the
line lies below already at 25 mm a jump is left, and said. Inputs [mm]: axial length 14 to 40, lens thickness 2 to 9. Up
to 25 mm a linear adjustment leaves the length as it is.

References: Wang, Koch et al., J Cataract Refract Surg 2011;37:2018 and 2018;44:1396; Cooke, Cooke 2019.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias, get_args

import numpy as np

from forestay.answer import Doubt
from forestay.errors import InvalidInput, MissingInput
from forestay.optics.values import Number, Read, choose
from forestay.text import tr

Adjustment: TypeAlias = Literal["none", "linear-2011", "linear-2018", "segments"]
ADJUSTMENTS: tuple[Adjustment, ...] = get_args(Adjustment)
LengthIs: TypeAlias = Literal["as-measured", "by-segments", "adjusted"]


@dataclass(frozen=True, slots=True)
class Linear2011:
    """Slope [mm per mm] and offset [mm] by formula, and the length above which they are for [mm]."""

    PREFIX: ClassVar[str] = "lens_power.linear_2011"
    above_mm: float
    lines: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Linear2018:
    """As :class:`Linear2011`, the later coefficients."""

    PREFIX: ClassVar[str] = "lens_power.linear_2018"
    above_mm: float
    lines: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Segments:
    """Offset [mm], weight of the length and weight of the lens thickness [mm per mm]."""

    PREFIX: ClassVar[str] = "lens_power.segments"
    offset_mm: float
    length_weight: float
    lens_weight: float


@dataclass(frozen=True, slots=True)
class Adjusted:
    """The length for the formula [mm], how it was adjusted, and what to say of it."""

    axial_length_mm: Number
    adjustment: Adjustment
    doubts: tuple[Doubt, ...]


def lines(adjustment: Adjustment, read: Read) -> Mapping[str, tuple[float, float]]:
    """Slope and offset by formula of a linear adjustment; empty for the others, which need none."""
    if adjustment == "linear-2011":
        return read(Linear2011).lines
    return read(Linear2018).lines if adjustment == "linear-2018" else {}


def linear_mm(*, axial_length_mm: Number, slope: float, offset_mm: float, above_mm: float) -> Number:
    """The adjusted length [mm] above ``above_mm`` [mm], never longer than the measured one; NaN stays NaN.

    >>> round(float(linear_mm(axial_length_mm=28.0, slope=0.8289, offset_mm=4.2663, above_mm=25.0)), 3)
    27.476
    """
    line = slope * axial_length_mm + offset_mm
    return choose(np.greater(axial_length_mm, above_mm), np.minimum(axial_length_mm, line), axial_length_mm)


def segments_mm(*, axial_length_mm: Number, lens_thickness_mm: Number, constants: Segments) -> Number:
    """Estimate [mm] of the length by segments from one printed with a single index, and the lens thickness [mm].

    >>> told = Segments(offset_mm=1.23853, length_weight=0.95855, lens_weight=0.05467)
    >>> round(segments_mm(axial_length_mm=26.0, lens_thickness_mm=4.5, constants=told), 3)
    25.915
    """
    return constants.offset_mm + constants.length_weight * axial_length_mm - constants.lens_weight * lens_thickness_mm


def adjusted(
    adjustment: Adjustment,
    *,
    formula: str,
    axial_length_mm: Number,
    lens_thickness_mm: Number | None,
    length_is: LengthIs,
    read: Read,
) -> Adjusted:
    """The length for ``formula`` after one adjustment, or the error that says why it must not be made.

    ``length_is`` says what the given length is already; a length by segments or an adjusted one is not adjusted again.
    """
    if adjustment == "none":
        return Adjusted(axial_length_mm, adjustment, ())
    if length_is != "as-measured":
        raise InvalidInput(
            tr(
                "length_adjustment is {adjustment}, but the length is {state} already: never adjust twice.",
                adjustment=adjustment,
                state=tr(length_is.replace("-", " ")),
            ),
            field="length_adjustment",
            value=adjustment,
            allowed="none",
        )
    if adjustment == "segments":
        return _by_segments(axial_length_mm, lens_thickness_mm, read)
    told = read(Linear2011) if adjustment == "linear-2011" else read(Linear2018)
    if formula not in told.lines:
        known = ", ".join(told.lines)
        raise InvalidInput(
            tr("The adjustment {adjustment} is published for {known} only.", adjustment=adjustment, known=known),
            field="length_adjustment",
            value=adjustment,
            allowed=tr("none, or one of these formulas: {known}", known=known),
        )
    slope, offset = told.lines[formula]
    found = linear_mm(axial_length_mm=axial_length_mm, slope=slope, offset_mm=offset, above_mm=told.above_mm)
    line = _Line(adjustment, formula, slope, offset)
    return Adjusted(found, adjustment, _said(line, axial_length_mm, found, above_mm=told.above_mm))


@dataclass(frozen=True, slots=True)
class _Line:
    adjustment: Adjustment
    formula: str
    slope: float
    offset_mm: float


def _by_segments(axial_length_mm: Number, lens_thickness_mm: Number | None, read: Read) -> Adjusted:
    if lens_thickness_mm is None:
        raise MissingInput(
            tr("lens_thickness_mm is missing; the length by segments needs it."),
            field="lens_thickness_mm",
            allowed=tr("the thickness of the lens in mm"),
        )
    constants = read(Segments)
    found = segments_mm(axial_length_mm=axial_length_mm, lens_thickness_mm=lens_thickness_mm, constants=constants)
    says = tr("The length was taken by segments, estimated from the printed one and the lens thickness, once.")
    return Adjusted(found, "segments", (Doubt("length-adjusted", says),))


def _said(line: _Line, before: Number, after: Number, *, above_mm: float) -> tuple[Doubt, ...]:
    """What was done, and where a jump is left; for a single eye only."""
    if np.ndim(before) > 0:
        return ()
    if float(before) <= above_mm:
        says = tr("Up to {limit:g} mm the adjustment leaves the length as it is.", limit=above_mm)
        return (Doubt("length-not-adjusted-here", says),)
    says = tr(
        "The length was adjusted for {formula} by {adjustment}, once: {before:.2f} to {after:.2f} mm.",
        formula=line.formula,
        adjustment=line.adjustment,
        before=float(before),
        after=float(after),
    )
    doubts = [Doubt("length-adjusted", says)]
    jump = above_mm - min(above_mm, line.slope * above_mm + line.offset_mm)
    if jump > 0:
        says = tr(
            "This adjustment makes the length jump by {jump:.2f} mm at {limit:g} mm: near it, compare both sides.",
            jump=jump,
            limit=above_mm,
        )
        doubts.append(Doubt("adjustment-jumps", says))
    return tuple(doubts)

"""Acuity from one notation to another, and the bands that outcomes are counted in.

References
----------
Gregori NZ, Feuer W, Rosenfeld PJ. Retina 2010;30:1046 (letters from a Snellen fraction). Beck RW and others. Am J
Ophthalmol 2003;135:194 (letters and logMAR). DICOM PS3.17, annex RR (the visual acuity score).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

Values = NDArray[np.float64]
Band = Literal["good", "borderline", "poor"]

EDGE_ROUNDING = 1e-9
"""Acuities on an edge belong to the better band, whatever the rounding of the last digit."""


@dataclass(frozen=True, slots=True)
class AcuityConstants:
    """Scales of letters and of the score, the edges of the bands, and the change that counts as a loss."""

    PREFIX: ClassVar[str] = "acuity"
    letters_at_one: float
    letters_per_log: float
    score_at_one: float
    score_per_log: float
    letters_on_chart: float
    good_older_decimal: float
    good_newer_decimal: float
    poor_below_decimal: float
    loss_logmar: float


class Notations(NamedTuple):
    """One acuity in four notations."""

    decimal: Values
    logmar: Values
    letters: Values
    """Letters of the 100-letter chart, about; not below 0 and not above its 100."""
    score: Values
    """Visual acuity score: 15 above the letters, and no count of letters."""


def logmar_of_decimal(decimal: ArrayLike) -> Values:
    """-log10 of the decimal acuity.

    ``decimal`` above 0, scalar or array.

    >>> round(float(logmar_of_decimal(6 / 18)), 4)
    0.4771
    """
    found: Values = -np.log10(np.asarray(decimal, float))
    return found


def decimal_of_logmar(logmar: ArrayLike) -> Values:
    """10 to the power of minus the logMAR.

    >>> round(float(decimal_of_logmar(1.0)), 12)
    0.1
    """
    found: Values = np.exp(-np.asarray(logmar, float) / np.log10(np.e))
    return found


def logmar_of_letters(letters: ArrayLike, *, constants: AcuityConstants) -> Values:
    """logMAR of a count of letters: (85 - letters) / 50.

    ``letters`` 0 to 100, of the chart that is read from 4 m with 30 letters added; scalar or array.
    """
    found: Values = (constants.letters_at_one - np.asarray(letters, float)) / constants.letters_per_log
    return found


def logmar_of_score(score: ArrayLike, *, constants: AcuityConstants) -> Values:
    """logMAR of a visual acuity score: (100 - score) / 50."""
    found: Values = (constants.score_at_one - np.asarray(score, float)) / constants.score_per_log
    return found


def notations(logmar: ArrayLike, *, constants: AcuityConstants) -> Notations:
    """An acuity [logMAR] in all notations.

    letters = 85 - 50 logMAR, held within the chart; score = 100 - 50 logMAR.
    """
    x = np.asarray(logmar, float)
    letters = constants.letters_at_one - constants.letters_per_log * x
    return Notations(
        decimal=decimal_of_logmar(x),
        logmar=x,
        letters=np.clip(letters, 0, constants.letters_on_chart),
        score=constants.score_at_one - constants.score_per_log * x,
    )


def band(decimal: float, *, good_decimal: float, poor_below_decimal: float) -> Band:
    """The band of an acuity by its decimal value, edges to the better one; 0 for what is counted as no acuity.

    >>> band(6 / 18, good_decimal=6 / 18, poor_below_decimal=6 / 60)
    'good'
    >>> band(5 / 60, good_decimal=6 / 18, poor_below_decimal=6 / 60)
    'poor'
    """
    if decimal >= good_decimal - EDGE_ROUNDING:
        return "good"
    return "borderline" if decimal >= poor_below_decimal - EDGE_ROUNDING else "poor"


def lost(*, before_logmar: float, after_logmar: float, constants: AcuityConstants) -> bool:
    """Whether acuity fell by the change that counts as a loss (a doubling of the visual angle) or more."""
    return after_logmar - before_logmar >= constants.loss_logmar - EDGE_ROUNDING

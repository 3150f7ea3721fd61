"""Two readings of the length of one eye, taken in two ways: do they agree, and what do they say together.

Both are brought to one scale, that of immersion: a contact reading has the mean compression added back; light is
printed on that scale by instruments in use. Then, with one standard deviation s of each way,

    misfit = (L1 - L2) / sqrt(s1^2 + s2^2),   together = (L1 / s1^2 + L2 / s2^2) / (1 / s1^2 + 1 / s2^2)

and ``together`` is given only where the two agree: an average of two readings that disagree is a third wrong one.
Two readings in the same way share its error, so they are averaged without narrowing. Inputs: lengths 14 to 40 mm.

Reference: immersion and contact in 92 adult eyes, PMC4881192; light, immersion and contact in 196 eyes, Hitzenberger.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias

from forestay.optics.error import ErrorConstants, LengthMethod
from forestay.optics.ultrasound import Contact, Immersion
from forestay.optics.values import Read

Agreement: TypeAlias = Literal["agree", "note", "recheck"]


@dataclass(frozen=True, slots=True)
class TwoLengthsConstants:
    """Misfit, in standard deviations of the difference, from which it is noted and from which it is measured again."""

    PREFIX: ClassVar[str] = "two_lengths"
    note_sd: float
    recheck_sd: float


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: as displayed with the right velocity [mm], and how it was taken."""

    axial_length_mm: float
    method: LengthMethod


@dataclass(frozen=True, slots=True)
class Compared:
    """Differences are first less second.

    ``raw_mm`` as displayed, ``expected_mm`` what the two ways alone explain, ``misfit_mm`` what is left, ``spread_mm``
    one SD of that, ``misfit_sd`` in such SDs; ``together_mm`` with ``together_sd_mm`` where they agree, else None.
    """

    raw_mm: float
    expected_mm: float
    misfit_mm: float
    spread_mm: float
    misfit_sd: float
    agreement: Agreement
    together_mm: float | None
    together_sd_mm: float | None


def added_back_mm(method: LengthMethod, *, read: Read) -> float:
    """What is added to a reading of that way to bring it to the scale of immersion [mm]."""
    return read(Contact).compression_mm if method == "ultrasound-contact" else 0.0


def sd_mm(method: LengthMethod, *, read: Read) -> float:
    """One standard deviation of a length taken that way, its compression added back [mm]."""
    if method == "optical":
        return read(ErrorConstants).optical_length_sd_mm
    return read(Contact).sd_mm if method == "ultrasound-contact" else read(Immersion).sd_mm


def compared(first: Reading, second: Reading, *, read: Read) -> Compared:
    """How two readings of one eye fit one another."""
    limits = read(TwoLengthsConstants)
    added = [added_back_mm(r.method, read=read) for r in (first, second)]
    lengths = [r.axial_length_mm + a for r, a in zip((first, second), added, strict=True)]
    spreads = [sd_mm(r.method, read=read) for r in (first, second)]
    misfit, spread = lengths[0] - lengths[1], math.hypot(*spreads)
    apart = abs(misfit) / spread
    agreement: Agreement = "recheck" if apart > limits.recheck_sd else "note" if apart > limits.note_sd else "agree"
    together = together_sd = None
    if agreement != "recheck":
        weights = [1 / (s * s) for s in spreads]
        together = sum(w * v for w, v in zip(weights, lengths, strict=True)) / sum(weights)
        together_sd = spreads[0] if first.method == second.method else 1 / math.sqrt(sum(weights))
    return Compared(
        raw_mm=first.axial_length_mm - second.axial_length_mm,
        expected_mm=added[1] - added[0],
        misfit_mm=misfit,
        spread_mm=spread,
        misfit_sd=misfit / spread,
        agreement=agreement,
        together_mm=together,
        together_sd_mm=together_sd,
    )

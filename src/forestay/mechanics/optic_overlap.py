"""How the rim of the opening lies on the lens's optic, and how the opening shrinks in the months after."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from forestay.mechanics.geometry import Numbers, plain, require, require_positive
from forestay.text import tr


@dataclass(frozen=True)
class ContractionConstants:
    """``diameter_loss`` share of the diameter lost at three months, mean; ``area_loss_pseudoexfoliation`` and
    ``area_loss_control`` shares of the area lost within a year (the control's is an upper bound)."""

    PREFIX: ClassVar[str] = "contraction"
    diameter_loss: float
    area_loss_pseudoexfoliation: float
    area_loss_control: float


@dataclass(frozen=True)
class Overlap:
    """``least_mm`` and ``greatest_mm`` overlap of rim on optic [mm], negative where the optic's edge lies bare;
    ``covered_share`` of the rim that lies on the optic, 1 all round."""

    least_mm: Numbers
    greatest_mm: Numbers
    covered_share: Numbers


def optic_overlap(*, optic_mm: Numbers, capsulorhexis_mm: Numbers, decentration_mm: Numbers) -> Overlap:
    """Overlap of a round rim on a round optic: (optic - d) / 2, less and more by the decentration.

    Share of the rim that lies on the optic: the angle where d/2 from its own centre is inside the optic,
    cos(angle) < (R^2 - r^2 - e^2) / (2 r e).

    Parameters: ``optic_mm``, ``capsulorhexis_mm`` diameters [mm], above 0; ``decentration_mm`` e, distance of their
    centres [mm], 0 or more. Result: :class:`Overlap`.

    >>> found = optic_overlap(optic_mm=6.0, capsulorhexis_mm=5.25, decentration_mm=0.0)
    >>> found.least_mm, found.covered_share
    (0.375, 1.0)
    """
    require_positive(optic_mm=optic_mm, capsulorhexis_mm=capsulorhexis_mm)
    require(
        holds=np.asarray(decentration_mm) >= 0, field="decentration_mm", value=decentration_mm, allowed=tr("0 or more")
    )
    outer, inner, apart = np.broadcast_arrays(
        np.asarray(optic_mm, dtype=np.float64) / 2,
        np.asarray(capsulorhexis_mm, dtype=np.float64) / 2,
        np.asarray(decentration_mm, dtype=np.float64),
    )
    centred = outer - inner
    offset = np.where(apart > 0, apart, 1)
    limit = np.clip((outer**2 - inner**2 - apart**2) / (2 * inner * offset), -1, 1)
    share = np.where(apart > 0, 1 - np.arccos(limit) / np.pi, np.where(centred >= 0, 1.0, 0.0))
    share = np.where(np.isnan(centred + apart), np.nan, share)
    return Overlap(plain(centred - apart), plain(centred + apart), plain(share))


def diameter_after_area_loss_mm(*, capsulorhexis_mm: Numbers, area_loss: Numbers) -> Numbers:
    """Diameter of a round opening that lost a share of its area: d sqrt(1 - loss) [mm]; loss 0 to 1.

    >>> round(float(diameter_after_area_loss_mm(capsulorhexis_mm=1.0, area_loss=0.25)), 3)
    0.866
    """
    require_positive(capsulorhexis_mm=capsulorhexis_mm)
    loss = np.asarray(area_loss)
    require(holds=(loss >= 0) & (loss <= 1), field="area_loss", value=area_loss, allowed=tr("0 to 1"))
    return plain(np.asarray(capsulorhexis_mm) * np.sqrt(1 - loss))


@dataclass(frozen=True)
class Contracted:
    """Diameter of the opening later [mm]: at ``three_months_mm``, mean; within a year by area, ``year_mm``."""

    three_months_mm: Numbers
    year_mm: Numbers


def contracted(*, capsulorhexis_mm: Numbers, pseudoexfoliation: bool, constants: ContractionConstants) -> Contracted:
    """How small the opening becomes: two published series, one by diameter, one by area.

    Parameters: ``capsulorhexis_mm`` [mm] above 0; ``pseudoexfoliation``; ``constants``. Result: :class:`Contracted`. The
    series by diameter does not tell pseudoexfoliation apart. Means of groups; no spread was published.

    >>> c = ContractionConstants(0.1387, 0.25, 0.10)
    >>> round(contracted(capsulorhexis_mm=6.0, pseudoexfoliation=True, constants=c).three_months_mm, 3)
    5.168

    References: pubmed 8784631 (166 eyes); Hayashi 1998, Br J Ophthalmol 82:1429.
    """
    require_positive(capsulorhexis_mm=capsulorhexis_mm)
    loss = constants.area_loss_pseudoexfoliation if pseudoexfoliation else constants.area_loss_control
    return Contracted(
        plain(np.asarray(capsulorhexis_mm) * (1 - constants.diameter_loss)),
        diameter_after_area_loss_mm(capsulorhexis_mm=capsulorhexis_mm, area_loss=loss),
    )

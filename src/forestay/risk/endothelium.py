"""What an operation takes from the corneal endothelium, and what age takes afterwards.

The share lost is a normal truncated at the least and greatest loss, with the published mean (and, where the spread was
published, that spread: :mod:`forestay.risk.truncated`). No eye loses exactly nothing, so the chance of ending below a
threshold has no step where the count before surgery passes that threshold.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forestay.risk.normal import central, normal_cdf, normal_nodes, normal_quantile
from forestay.risk.truncated import Truncated, with_mean

LOSS_STEPS = 200
"""Points across the spread of loss when ageing is added."""
AGEING_STEPS = 20
"""Points across the spread of ageing."""


@dataclass(frozen=True)
class Loss:
    """The loss of one technique at one hardness: a share of cells, normal, truncated at least and greatest.

    ``mean`` of the truncated loss, ``sd`` of the normal before it is truncated, ``least``, ``greatest`` [share of cells].
    It does not depend on the count, so that a lower count never ends higher.
    """

    mean: float
    sd: float
    least: float
    greatest: float

    @property
    def shares(self) -> Truncated:
        """The distribution of the share lost; asked where ``sd`` is above 0."""
        return with_mean(mean=self.mean, sd=self.sd, least=self.least, greatest=self.greatest)


@dataclass(frozen=True)
class Ageing:
    """Yearly exponential loss of a quiet eye: ``mean`` and ``sd`` [share a year]."""

    mean: float
    sd: float


def loss_at(
    *,
    grade: float,
    reference_grade: float,
    mean_at_reference: float,
    slope_per_grade: float,
    sd_eye: float,
    sd_series: float,
    least: float,
    greatest: float,
) -> Loss:
    """Loss by hardness: mean + slope x (grade - reference), one line without steps.

    Parameters: ``grade`` [1-5], ``mean_at_reference`` [share of cells], ``slope_per_grade`` [share of cells a grade],
    ``sd_eye`` [between eyes, before truncation], ``sd_series`` [between published series]. Result [share of cells]; the
    two spreads add as squares.

    >>> loss_at(grade=3, reference_grade=3, mean_at_reference=0.2, slope_per_grade=0.05, sd_eye=0.03, sd_series=0.04,
    ...         least=0, greatest=0.8).sd
    0.05
    """
    mean = mean_at_reference + slope_per_grade * (grade - reference_grade)
    return Loss(min(max(mean, least), greatest), float(np.hypot(sd_eye, sd_series)), least, greatest)


def under_conditions(loss: Loss, *, shift: float, shift_sd: float) -> Loss:
    """The loss with what the chamber and the OVD add or spare [share of cells], its spread added as squares.

    A shift of the mean for all counts alike, so that a lower count still never ends higher.
    """
    mean = min(max(loss.mean + shift, loss.least), loss.greatest)
    return Loss(mean, float(np.hypot(loss.sd, shift_sd)), loss.least, loss.greatest)


def chamber_shift(*, chamber_depth_mm: float, from_mm: float, per_mm: float) -> float:
    """Additional share lost in a shallow chamber: per_mm x how much shallower than from_mm, 0 where it is deeper.

    Parameters: ``chamber_depth_mm`` [mm], ``from_mm`` [mm], ``per_mm`` [share of cells a millimetre]. No step, and never
    less in a shallower chamber.

    >>> round(chamber_shift(chamber_depth_mm=2.0, from_mm=2.5, per_mm=0.05), 3)
    0.025
    """
    return per_mm * max(from_mm - chamber_depth_mm, 0.0)


def mean_after(*, count_per_mm2: ArrayLike, loss: Loss) -> Any:
    """Count once the cornea has healed, at the mean loss: count x (1 - mean share lost) [cells/mm2].

    >>> round(mean_after(count_per_mm2=1800, loss=Loss(0.177, 0.1, 0.0, 0.8)))
    1481
    """
    count = np.asarray(count_per_mm2, dtype=float) * (1 - loss.mean)
    return float(count) if count.ndim == 0 else count


def after_surgery(*, count_per_mm2: ArrayLike, loss_z: ArrayLike, loss: Loss) -> Any:
    """Count once the cornea has healed: count x (1 - share lost), the share at the quantile of ``loss_z``.

    Parameters: ``count_per_mm2`` [cells/mm2 before], ``loss_z`` [standard normal; high is a great loss; 0 the median],
    ``loss``. Result [cells/mm2], the shape of ``count_per_mm2`` and ``loss_z`` together. Strictly rising in the count.

    >>> round(after_surgery(count_per_mm2=1800, loss_z=0, loss=Loss(0.177, 0.0, 0.0, 0.8)))
    1481
    """
    z = np.asarray(loss_z, dtype=float)
    share = loss.shares.quantile(normal_cdf(z)) if loss.sd > 0 else np.full(z.shape, loss.mean)
    count = np.asarray(count_per_mm2, dtype=float) * (1 - share)
    return float(count) if count.ndim == 0 else count


def aged(*, count_per_mm2: ArrayLike, years: ArrayLike, per_year: ArrayLike) -> Any:
    """Count after ``years`` of exponential loss: count x exp(-rate x years).

    Parameters: ``count_per_mm2`` [cells/mm2], ``years`` [years], ``per_year`` [share a year]. Result [cells/mm2].

    >>> round(aged(count_per_mm2=2715, years=10.6, per_year=0.006))
    2548
    """
    count = np.asarray(count_per_mm2, dtype=float) * np.exp(
        -np.asarray(per_year, dtype=float) * np.asarray(years, dtype=float)
    )
    return float(count) if count.ndim == 0 else count


def interval(*, count_per_mm2: float, loss: Loss, ageing: Ageing, years: float, level: float) -> tuple[float, float]:
    """Low and high count ``years`` after surgery, holding the share ``level`` of eyes like this one.

    At 0 years the quantiles of the truncated normal itself; later those of loss and ageing together on a fixed grid. Both
    are proportional to the count.
    """
    below, above = central(level)
    if years == 0:
        ends = normal_quantile(above), normal_quantile(below)
        low, high = (after_surgery(count_per_mm2=count_per_mm2, loss_z=z, loss=loss) for z in ends)
        return low, high
    counts = _grid(count_per_mm2, loss, ageing, years)
    return float(np.quantile(counts, below)), float(np.quantile(counts, above))


def probability_below(
    *, threshold_per_mm2: float, count_per_mm2: float, loss: Loss, ageing: Ageing, years: float
) -> float:
    """Probability that the count ends below ``threshold_per_mm2`` [cells/mm2] ``years`` after surgery.

    Exact for the truncated normal at 0 years: P(share lost > 1 - threshold / count), 1 from the threshold down. Later the
    mean of that over ageing. Without a step in count, threshold or mean loss, and monotone in each.
    """
    rates = np.array([0.0]) if years == 0 else _rates(ageing)
    needed = 1 - threshold_per_mm2 / aged(count_per_mm2=count_per_mm2, years=years, per_year=rates)
    beyond = loss.shares.above(needed) if loss.sd > 0 else (loss.mean > needed).astype(float)
    return float(np.mean(beyond))


def _rates(ageing: Ageing) -> NDArray[np.float64]:
    return np.maximum(ageing.mean + ageing.sd * normal_nodes(AGEING_STEPS), 0)


def _grid(count_per_mm2: float, loss: Loss, ageing: Ageing, years: float) -> NDArray[np.float64]:
    healed = after_surgery(count_per_mm2=count_per_mm2, loss_z=normal_nodes(LOSS_STEPS), loss=loss)
    return np.asarray(aged(count_per_mm2=healed[:, np.newaxis], years=years, per_year=_rates(ageing))).ravel()

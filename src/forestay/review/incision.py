"""What one's own incisions did to the cornea: centroid and spread by place and shape, turned to the incision."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forestay.evidence import Reader
from forestay.frame import meridian_deg, temporal_hour
from forestay.review.groups import grouped
from forestay.review.outcome import Outcome
from forestay.statistics import shrinkage


@dataclass(frozen=True)
class OwnIncision:
    """Induced astigmatism of one kind of incision [D]; flattening along its meridian is positive."""

    kind: str
    n: int
    flattening_d: float
    along_sd_d: float
    across_d: float
    """Double-angle part at 45 degrees to the incision; far from 0 hints at a wrong axis or a twisted wound."""
    across_sd_d: float
    mean_magnitude_d: float
    """Mean size whatever its axis: larger than the predictable part."""
    predicted_d: float | None
    own_weight: float
    planned_d: float
    """Flattening to plan with: own figure and published prior by their weights."""


def place(outcome: Outcome) -> str | None:
    """Where the incision lies: superior, temporal, nasal, inferior or oblique, with its shape."""
    clock = outcome.incision_clock
    if clock is None or outcome.side not in ("left", "right"):
        return None
    temporal = temporal_hour("left" if outcome.side == "left" else "right")
    hours = {"superior": 12.0, "inferior": 6.0, "temporal": temporal, "nasal": 12 - temporal}
    near = min(hours, key=lambda name: min((clock - hours[name]) % 12, (hours[name] - clock) % 12))
    distance = min((clock - hours[near]) % 12, (hours[near] - clock) % 12)
    where = near if distance <= 1 else "oblique"
    return f"{where} {outcome.incision_kind}" if outcome.incision_kind else where


def turned(outcome: Outcome) -> tuple[float, float] | None:
    """The change turned so that the incision lies at 0: (flattening along it, part across) [D]."""
    if outcome.induced is None or outcome.incision_clock is None:
        return None
    double = 2 * math.radians(meridian_deg(outcome.incision_clock))
    x, y = outcome.induced.x_d, outcome.induced.y_d
    along = x * math.cos(double) + y * math.sin(double)
    across = -x * math.sin(double) + y * math.cos(double)
    return -along, -across if outcome.side == "left" else across


def own_incisions(outcomes: Sequence[Outcome], use: Reader) -> tuple[OwnIncision, ...]:
    """Centroids by kind of incision, where there are enough eyes; left eyes are mirrored before pooling."""
    eyes = [o for o in outcomes if turned(o) is not None]
    fewest = use.number("audit.fewest_for_centroid")
    found = []
    for kind, group in grouped(eyes, place).items():
        if len(group) < fewest:
            continue
        parts = np.array([turned(o) for o in group], float)
        spread = parts.std(axis=0, ddof=1)
        told = [o.predicted_induced_d for o in group if o.predicted_induced_d is not None]
        predicted = float(np.mean(told)) if told else None
        shrunk = shrinkage.mean(
            parts[:, 0],
            prior_mean=predicted if predicted is not None else float(parts[:, 0].mean()),
            between_sd=use.number("audit.between_incisions_d"),
            within_sd=float(spread[0]),
        )
        found.append(
            OwnIncision(
                kind=kind,
                n=len(group),
                flattening_d=float(parts[:, 0].mean()),
                along_sd_d=float(spread[0]),
                across_d=float(parts[:, 1].mean()),
                across_sd_d=float(spread[1]),
                mean_magnitude_d=float(np.hypot(parts[:, 0], parts[:, 1]).mean()),
                predicted_d=predicted,
                own_weight=shrunk.own_weight,
                planned_d=shrunk.mean,
            )
        )
    return tuple(found)

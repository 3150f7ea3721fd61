"""The rest of outcome against plan: follow-up, acuity, cells, pressure, sizes, steps and support."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forestay.evidence import Reader
from forestay.review.groups import grouped
from forestay.review.outcome import Outcome

CATEGORY_ACUITY = ("CF", "HM", "PL", "NPL")


@dataclass(frozen=True)
class FollowUp:
    """How many came back; those who do not may be the worst."""

    operated: int
    seen: int
    seen_late: int
    late_from_day: int

    @property
    def share_late(self) -> float:
        """Share of operated eyes seen from that day on."""
        return self.seen_late / self.operated if self.operated else 0.0


@dataclass(frozen=True)
class Acuity:
    """Bands of the older scheme by type of acuity; categories of counting fingers and worse are poor."""

    type: str
    n: int
    good: int
    borderline: int
    poor: int
    target: float | None
    """Share of good results asked for, with available correction; None for other types."""


@dataclass(frozen=True)
class Difference:
    """Done less planned of one measured size."""

    name: str
    n: int
    mean: float
    sd: float | None
    same: int


@dataclass(frozen=True)
class Agreement:
    """A step or support: planned and used, planned only, used only."""

    name: str
    both: int
    planned_only: int
    used_only: int


@dataclass(frozen=True)
class Cells:
    """Loss of corneal endothelial cells by technique [share of the count before]."""

    technique: str
    n: int
    mean_loss: float
    sd_loss: float | None


@dataclass(frozen=True)
class Pressures:
    """Pressure at the first visit, on the day of the operation or the day after, by technique [mmHg]."""

    technique: str
    n: int
    operated: int
    """Eyes operated by this technique, measured then or not."""
    mean_mmhg: float
    sd_mmhg: float
    treat_above_mmhg: float
    raised: int
    """Eyes above that pressure."""


def follow_up(outcomes: Sequence[Outcome], use: Reader) -> FollowUp:
    """Fraction followed, shown beside every outcome."""
    late = int(use.number("audit.final_from_day"))
    seen = [o for o in outcomes if o.last_day is not None]
    return FollowUp(len(outcomes), len(seen), sum((o.last_day or 0) >= late for o in seen), late)


def acuity(outcomes: Sequence[Outcome], use: Reader) -> tuple[Acuity, ...]:
    """Last acuity from the late day on, by its type; types are never mixed."""
    late = use.number("audit.final_from_day")
    good, poor = use.number("audit.good_logmar"), use.number("audit.poor_logmar")
    eyes = [o for o in outcomes if o.acuity_day is not None and o.acuity_day >= late]
    found = []
    for kind, group in grouped(eyes, lambda o: o.acuity_type).items():
        if len(group) < use.number("audit.smallest_group"):
            continue
        bands = [_band(o, good, poor) for o in group]
        found.append(
            Acuity(
                type=kind,
                n=len(group),
                good=bands.count("good"),
                borderline=bands.count("borderline"),
                poor=bands.count("poor"),
                target=use.number("audit.benchmark.good_acuity") if kind == "habitual" else None,
            )
        )
    return tuple(found)


EDGE_ROUNDING = 1e-4
"""6/18 and 6/60 written as rounded logMAR still fall into the better band."""


def _band(outcome: Outcome, good: float, poor: float) -> str:
    if outcome.acuity in CATEGORY_ACUITY or outcome.acuity_logmar is None:
        return "poor"
    if outcome.acuity_logmar <= good + EDGE_ROUNDING:
        return "good"
    return "borderline" if outcome.acuity_logmar <= poor + EDGE_ROUNDING else "poor"


def differences(outcomes: Sequence[Outcome], use: Reader) -> tuple[Difference, ...]:
    """Sizes made against sizes planned; too few are left out."""
    found = []
    for name in dict.fromkeys(name for o in outcomes for name in o.sizes):
        gaps = np.array(
            [
                did - planned
                for o in outcomes
                for planned, did in [o.sizes.get(name, (None, None))]
                if did is not None and planned is not None
            ]
        )
        if gaps.size < use.number("audit.smallest_group"):
            continue
        sd = float(gaps.std(ddof=1)) if gaps.size > 1 else None
        found.append(Difference(name, int(gaps.size), float(gaps.mean()), sd, int(np.sum(np.abs(gaps) < SAME))))
    return tuple(found)


SAME = 1e-9
"""Sizes that agree to this are the same."""


def agreements(outcomes: Sequence[Outcome]) -> tuple[Agreement, ...]:
    """Supports planned and used."""
    names = dict.fromkeys(name for o in outcomes for name in (*o.supports_planned, *o.supports_used))
    return tuple(_agreement(name, outcomes) for name in names)


def _agreement(name: str, outcomes: Sequence[Outcome]) -> Agreement:
    planned = [name in o.supports_planned for o in outcomes]
    used = [name in o.supports_used for o in outcomes]
    both = sum(a and b for a, b in zip(planned, used, strict=True))
    return Agreement(name, both, sum(planned) - both, sum(used) - both)


def steps(outcomes: Sequence[Outcome]) -> tuple[Agreement, ...]:
    """Planned steps that were not recorded as done, and steps done that were not planned."""
    eyes = [o for o in outcomes if o.steps_planned]
    names = dict.fromkeys(name for o in eyes for name in (*o.steps_planned, *o.steps_done))
    found = []
    for name in names:
        planned = [name in o.steps_planned for o in eyes]
        did = [name in o.steps_done for o in eyes]
        both = sum(a and b for a, b in zip(planned, did, strict=True))
        found.append(Agreement(name, both, sum(planned) - both, sum(did) - both))
    return tuple(found)


def cells(outcomes: Sequence[Outcome], use: Reader) -> tuple[Cells, ...]:
    """Cell loss by technique, where there are enough eyes."""
    eyes = [o for o in outcomes if o.cells_before and o.cells_after is not None]
    found = []
    for technique, group in grouped(eyes, lambda o: o.technique).items():
        if len(group) < use.number("audit.smallest_group"):
            continue
        loss = np.array([1 - (o.cells_after or 0) / (o.cells_before or 1) for o in group])
        found.append(Cells(technique, len(group), float(loss.mean()), float(loss.std(ddof=1))))
    return tuple(found)


def pressures(outcomes: Sequence[Outcome], use: Reader) -> tuple[Pressures, ...]:
    """First pressure by technique, where it was measured in enough eyes."""
    limit = use.number("act.pressure_treat_mmhg")
    found = []
    for technique, group in grouped(outcomes, lambda o: o.technique).items():
        values = np.array([o.pressure_day_one_mmhg for o in group if o.pressure_day_one_mmhg is not None], float)
        if values.size < use.number("audit.smallest_group"):
            continue
        raised = int((values > limit).sum())
        ends = float(values.mean()), float(values.std(ddof=1))
        found.append(Pressures(technique, int(values.size), len(group), *ends, limit, raised))
    return tuple(found)


def mix(outcomes: Sequence[Outcome], use: Reader) -> dict[str, tuple[int | None, int]]:
    """Case-mix: how many have each sign, of how many in whom it was recorded; None for a few, whom it might give away."""
    fewest = use.number("audit.smallest_group")
    names = dict.fromkeys(name for o in outcomes for name in o.mix)
    found: dict[str, tuple[int | None, int]] = {}
    for name in names:
        present = sum(bool(o.mix.get(name)) for o in outcomes)
        known = sum(o.mix.get(name) is not None for o in outcomes)
        if known >= fewest:
            few = 0 < present < fewest or 0 < known - present < fewest
            found[name] = (None if few else present, known)
    return found

"""Refraction against plan: errors by stratum, own lens constants, and whether the told intervals held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forestay.calc.personal_constant import personal_constant_calculation
from forestay.errors import ForestayError
from forestay.evidence import Reader
from forestay.review.complications import published_words
from forestay.review.groups import grouped
from forestay.review.outcome import Outcome
from forestay.statistics import calibration, shrinkage
from forestay.statistics.errors import Summary, summary

NORMAL_95 = 1.959963984540054
"""Two-sided 95 % point of the normal distribution."""


@dataclass(frozen=True)
class Stratum:
    """Errors of eyes that may be pooled: achieved less predicted [D]."""

    name: str
    errors: Summary | None
    n: int
    half_width_d: float | None
    """Half the 95 % interval of the mean error."""
    coverage: float | None
    """Share of eyes within the 95 % interval that was told before surgery."""
    benchmarks: tuple[tuple[str, float], ...] = ()
    """Meaning with population, and share, of published standards; only for eyes that they were made for."""
    bins: tuple[tuple[float, int], ...] = ()
    """Middle [D] and number of eyes of each bar of a picture; the outermost hold all beyond."""


@dataclass(frozen=True)
class OwnConstant:
    """A lens constant from own eyes of one lens and one length method, drawn towards the one that was used."""

    lens: str
    length_method: str
    formula: str
    n: int
    constant: dict[str, float]
    sd_d: float | None
    """Spread of single eyes around the prediction with that constant [D]."""
    mean_error_d: float
    half_width_d: float
    own_weight: float
    planned_shift_d: float
    """Refraction by which the next prediction moves: the mean error times the weight of the own eyes [D]."""


def stratum_of(outcome: Outcome) -> str:
    """Eyes that may be pooled: in the bag without complication, in the bag with one, elsewhere."""
    if outcome.lens_position != "bag":
        return "elsewhere"
    complicated = outcome.rupture or outcome.happened("zonular-dialysis", "vitreous-in-chamber")
    return "bag-complicated" if complicated else "bag"


def final(outcomes: Sequence[Outcome], use: Reader) -> list[Outcome]:
    """Eyes with a predicted and a final refraction."""
    from_day = use.number("audit.final_from_day")
    return [o for o in outcomes if o.refraction_error_d is not None and (o.refraction_day or 0) >= from_day]


def strata(outcomes: Sequence[Outcome], use: Reader) -> tuple[Stratum, ...]:
    """Errors by stratum; a stratum too small to show keeps its number only."""
    groups = grouped(final(outcomes, use), stratum_of)
    return tuple(_stratum(name, groups.get(name, []), use) for name in ("bag", "bag-complicated", "elsewhere"))


def _stratum(name: str, eyes: list[Outcome], use: Reader) -> Stratum:
    if len(eyes) < use.number("audit.smallest_group"):
        return Stratum(name, None, len(eyes), None, None)
    errors = np.array([o.refraction_error_d for o in eyes], float)
    found = summary(errors, bands=use.numbers("audit.bands_d"))
    told = [(o.predicted_sd_d, o.refraction_error_d) for o in eyes if o.predicted_sd_d is not None]
    coverage = None
    if told:
        sd, error = np.array(told, float).T
        coverage = calibration.interval_coverage(low=-NORMAL_95 * sd, high=NORMAL_95 * sd, observed=error)
    half_width = NORMAL_95 * (found.sd or 0.0) / len(eyes) ** 0.5
    rows = [use.row(key) for key in STANDARDS] if name == "bag" else []
    standards = tuple((published_words(row), float(str(row.value))) for row in rows)
    return Stratum(name, found, len(eyes), half_width, coverage, standards, _bins(errors))


STANDARDS = (
    "audit.benchmark.within_half",
    "audit.benchmark.within_one",
    "audit.benchmark.registry_within_half",
)
"""Published shares that uncomplicated eyes in the bag are compared with."""


BIN_D, OUTERMOST = 0.25, 8
"""Width of a bar, and bars on either side of 0."""


def _bins(errors: np.ndarray) -> tuple[tuple[float, int], ...]:
    at = np.clip(np.round(errors / BIN_D), -OUTERMOST, OUTERMOST).astype(int)
    return tuple((i * BIN_D, int(np.sum(at == i))) for i in range(-OUTERMOST, OUTERMOST + 1))


def own_constants(outcomes: Sequence[Outcome], use: Reader) -> tuple[OwnConstant, ...]:
    """Constants by lens, length method and formula, from uncomplicated eyes in the bag, where there are enough."""
    eyes = [o for o in final(outcomes, use) if stratum_of(o) == "bag"]
    fewest = use.number("audit.fewest_for_constant")
    found = []
    for key, group in grouped(eyes, _kind).items():
        if len(group) < fewest:
            continue
        lens, method, formula = key.split("\t")
        cases = [_case(o) for o in group]
        try:
            answer = personal_constant_calculation(formula=formula, cases=cases)
        except ForestayError:
            continue
        errors = np.array([o.refraction_error_d for o in group], float)
        sd = float(errors.std(ddof=1))
        shrunk = shrinkage.mean(
            errors, prior_mean=0.0, between_sd=use.number("audit.between_surgeons_d"), within_sd=max(sd, SMALLEST_SD_D)
        )
        found.append(
            OwnConstant(
                lens=lens,
                length_method=method,
                formula=formula,
                n=len(group),
                constant=answer.result.constant,
                sd_d=answer.result.sd_d,
                mean_error_d=float(errors.mean()),
                half_width_d=NORMAL_95 * sd / len(group) ** 0.5,
                own_weight=shrunk.own_weight,
                planned_shift_d=shrunk.mean,
            )
        )
    return tuple(found)


SMALLEST_SD_D = 1e-6
"""Guards the weight of eyes that happen to be all alike."""


def _kind(outcome: Outcome) -> str | None:
    parts = (outcome.lens_model, outcome.length_method, outcome.formula)
    known = all(part is not None for part in (*parts, outcome.axial_length_mm, outcome.k1_d, outcome.k2_d))
    return "\t".join(str(part) for part in parts) if known and outcome.lens_power_d is not None else None


def _case(outcome: Outcome) -> dict[str, float]:
    keys = {
        # The length that the plan reckoned with: a constant learnt from another length would be off by the difference.
        "axial_length_mm": outcome.length_used_mm or outcome.axial_length_mm,
        "k1_d": outcome.k1_d,
        "k2_d": outcome.k2_d,
        "chamber_depth_mm": outcome.chamber_depth_mm,
        "power_d": outcome.lens_power_d,
        "refraction_d": outcome.refraction_d,
    }
    return {name: float(value) for name, value in keys.items() if value is not None}

"""Invented practices with known truth, of any size: for tests of what a review recovers, benchmarks, and a look.

Nothing here is a clinical figure; every case made here is marked as invented.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from forestay.evidence import default_evidence
from forestay.optics import formulas, vergence
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_model import Measured
from forestay.optics.vergence import VergenceConstants
from forestay.review.from_plan import Foretold
from forestay.review.outcome import Outcome, Vector

Column = NDArray[np.generic]
FIRST_DAY = date(2024, 1, 1)
NORMAL_90 = 1.6448536269514722
"""Two-sided 90 % point of the normal distribution: level of the intervals that a plan tells."""
CELL_LOSS = (0.11, 0.11 + 0.06 * NORMAL_90, 0.11 - 0.06 * NORMAL_90)
"""Loss of cells as told: mean, and the ends of which the greater loss leaves the fewer cells."""
CHUNK = 250_000
"""Cases made in one go; chunk number and seed fix every number, whatever makes it."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What is true of an invented practice. A review should find it again."""

    surgeons: int = 4
    planned_a: float = 118.4
    true_a: float = 118.75
    refraction_sd_d: float = 0.45
    told_sd_d: float = 0.45
    flattening_d: float = 0.9
    flattening_sd_d: float = 0.35
    told_flattening_d: float = 0.7
    told_flattening_sd_d: float = 0.4
    odds_ratio: float = 1.0
    """Odds of rupture over those told, for every surgeon but the last."""
    last_odds_ratio: float = 1.0
    """The same for the last surgeon."""
    infection: float = 0.0004
    followed: float = 0.85
    cases_per_day: int = 8
    taken_over: float = 0.3
    """Share of the last surgeon's first operations that another one takes over; it falls by half every 100."""


def columns(n: int, *, seed: int, truth: Truth, chunk: int = 0) -> dict[str, Column]:
    """``n`` operated eyes as columns; ``seed`` and ``chunk`` fix the numbers."""
    generator = np.random.Generator(np.random.Philox(key=seed, counter=[0, 0, 0, chunk]))
    use = default_evidence().reader()
    model, optics = formulas.model("SRK/T", use.constants), use.constants(VergenceConstants)
    length = np.round(generator.normal(23.5, 1.1, n).clip(20.5, 29), 2)
    k = generator.normal(44.0, 1.4, n).clip(39, 49)
    half = np.abs(generator.normal(0, 0.4, n))
    eye = Measured(length, k, None)
    planned, true = model.eye(eye, AConstant(truth.planned_a)), model.eye(eye, AConstant(truth.true_a))
    power = np.round(2 * np.asarray(vergence.power_d(eye=planned, target_d=-0.5, constants=optics))) / 2
    predicted = np.asarray(vergence.refraction_d(eye=planned, power_d=power, constants=optics))
    achieved = np.asarray(vergence.refraction_d(eye=true, power_d=power, constants=optics))
    achieved = achieved + generator.normal(0, truth.refraction_sd_d, n)
    surgeon = generator.integers(0, truth.surgeons, n)
    told = np.clip(np.exp(generator.normal(np.log(0.03), 0.7, n)), 0.003, 0.6)
    odds = np.where(surgeon == truth.surgeons - 1, truth.last_odds_ratio, truth.odds_ratio)
    risk = odds * told / (1 - told + odds * told)
    return {
        "day": np.arange(n) // truth.cases_per_day + chunk * CHUNK // truth.cases_per_day,
        "surgeon": surgeon,
        "left": generator.random(n) < 0.5,
        "age_years": np.round(generator.normal(69, 9, n).clip(40, 98)),
        "axial_length_mm": length,
        "k1_d": np.round(k - half, 2),
        "k2_d": np.round(k + half, 2),
        "power_d": power,
        "predicted_refraction_d": predicted,
        "refraction_d": achieved,
        "told_rupture": told,
        "rupture": generator.random(n) < risk,
        "infection": generator.random(n) < truth.infection,
        "flattening_d": generator.normal(truth.flattening_d, truth.flattening_sd_d, n),
        "across_d": generator.normal(0, truth.flattening_sd_d, n),
        "followed": generator.random(n) < truth.followed,
        "pseudoexfoliation": generator.random(n) < 0.2,
        "brown": generator.random(n) < 0.35,
        "cells_before": np.round(generator.normal(2350, 300, n).clip(900, 3400)),
        "cell_loss": generator.normal(0.11, 0.06, n).clip(0, 0.8),
        "logmar": np.round(np.abs(generator.normal(0.15, 0.22, n)), 2),
    }


def outcomes(n: int, *, seed: int, truth: Truth) -> list[Outcome]:
    """``n`` invented operated eyes, as a review takes them."""
    apart = np.random.Generator(np.random.Philox(key=seed, counter=[0, 0, 1, 0]))
    chance = apart.random(n)
    pressure = np.round(apart.normal(FIRST_PRESSURE_MMHG, PRESSURE_SD_MMHG, n).clip(4, 55))
    made = columns(n, seed=seed, truth=truth) | {"pressure": pressure}
    return list(_rows(made, chance.tolist(), truth))


FIRST_PRESSURE_MMHG, PRESSURE_SD_MMHG = 19.0, 6.0
"""Pressure on the day after, as invented."""


STEPS = ("tunnel", "capsulorhexis", "hydrodissection", "nucleus-up", "nucleus-out", "cortex", "lens", "close")
"""Steps of an invented operation."""
HALVED_AFTER = 100
"""Operations of a trainee after which a step is taken over half as often."""


def _hands(surgeon: str, trainee: bool, before: int, chance: float, truth: Truth) -> tuple[tuple[str, str], ...]:
    """Who did the steps: a trainee's later operations are taken over less often, from the nucleus on."""
    taken = trainee and chance < truth.taken_over * 0.5 ** (before / HALVED_AFTER)
    from_step = STEPS.index("nucleus-up") if taken else len(STEPS)
    return tuple((step, surgeon if i < from_step else "surgeon-1") for i, step in enumerate(STEPS))


def _rows(column: dict[str, Column], chance: list[float], truth: Truth) -> Iterator[Outcome]:
    values = {name: data.tolist() for name, data in column.items()}
    begun = [0] * truth.surgeons
    for i in range(len(values["day"])):
        row = {name: data[i] for name, data in values.items()}
        who, trainee = f"surgeon-{int(row['surgeon']) + 1}", int(row["surgeon"]) == truth.surgeons - 1
        hands = _hands(who, trainee, begun[int(row["surgeon"])], chance[i], truth)
        begun[int(row["surgeon"])] += 1
        seen = row["followed"]
        events = ["posterior-capsule-tear", "vitreous-in-chamber"] if row["rupture"] else []
        events += ["endophthalmitis"] if row["infection"] else []
        # The incision lies at 12 o'clock: flattening along 90 is +x of the double angle; left eyes are mirrored.
        across = -row["across_d"] if row["left"] else row["across_d"]
        yield Outcome(
            case_id=f"invented-{i + 1:07d}",
            operated_on=FIRST_DAY + timedelta(days=int(row["day"])),
            surgeon=who,
            grade="senior-trainee" if trainee else "consultant",
            invented=True,
            age_years=row["age_years"],
            side="left" if row["left"] else "right",
            mix={"pseudoexfoliation": row["pseudoexfoliation"], "brown-or-white": row["brown"]},
            technique_planned="manual-small-incision",
            technique="manual-small-incision",
            lens_model="invented rigid lens",
            lens_power_d=row["power_d"],
            lens_position="bag",
            formula="SRK/T",
            length_method="ultrasound-immersion",
            axial_length_mm=row["axial_length_mm"],
            k1_d=row["k1_d"],
            k2_d=row["k2_d"],
            chamber_depth_mm=None,
            predicted_refraction_d=row["predicted_refraction_d"],
            predicted_sd_d=truth.told_sd_d,
            refraction_d=row["refraction_d"] if seen else None,
            refraction_day=42 if seen else None,
            risks={"capsule-rupture": row["told_rupture"]},
            model_risks={"capsule-rupture": row["told_rupture"]},
            risks_of="manual-small-incision",
            events=tuple(events),
            incision_clock=12.0,
            incision_kind="frown",
            predicted_induced_d=truth.told_flattening_d,
            predicted_induced_sd_d=truth.told_flattening_sd_d,
            induced=Vector(row["flattening_d"], across) if seen else None,
            cells_before=row["cells_before"],
            cells_after=row["cells_before"] * (1 - row["cell_loss"]) if seen else None,
            pressure_day_one_mmhg=row["pressure"],
            acuity_logmar=row["logmar"] if seen else None,
            acuity_type="best-corrected" if seen else None,
            acuity_day=42 if seen else None,
            last_day=42 if seen else 1,
            foretold=(
                Foretold("capsule-rupture", row["told_rupture"], of_this_eye=True),
                Foretold("endophthalmitis", truth.infection, of_this_eye=False),
            ),
            hands=hands,
            refraction_half_d=truth.told_sd_d * NORMAL_90,
            cells_told=tuple(row["cells_before"] * (1 - loss) for loss in CELL_LOSS),
        )

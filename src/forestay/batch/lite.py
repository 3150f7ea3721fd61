"""The plan in brief for a table of eyes: power and refraction told, and the risk of rupture, column by column.

Only what closed formulas give; margins and support need the whole plan of one eye. A value that a formula refuses is
missing in the answer, never guessed.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from forestay.calc.risk import read_model
from forestay.evidence import EvidenceSet, default_evidence
from forestay.eye.quantity import bounds
from forestay.optics import formulas, vergence
from forestay.optics.lens_constants import AConstant
from forestay.optics.lens_model import Measured
from forestay.optics.vergence import VergenceConstants

Column = NDArray[np.generic]
NEEDED = ("axial_length_mm", "k1_d", "k2_d", "age_years")
FLAGS = ("male", "glaucoma", "pseudoexfoliation", "brown_or_white", "no_fundus_view", "alpha_blocker")
"""Columns that may be there: True where the sign is present. A column that is not there is averaged over the mix."""


def plan(
    columns: Mapping[str, Column],
    *,
    a_constant: float,
    target_d: float,
    step_d: float,
    evidence: EvidenceSet | None = None,
) -> dict[str, Column]:
    """Power [D] for ``target_d`` by SRK/T, the multiple of ``step_d`` next to it, its refraction, and the risk.

    ``columns``: arrays of one length, named as in :data:`NEEDED` and :data:`FLAGS`.
    """
    use = (evidence or default_evidence()).reader()
    optics = use.constants(VergenceConstants)
    length = _inside("axial_length_mm", columns)
    k = (_inside("k1_d", columns) + _inside("k2_d", columns)) / 2
    eye = formulas.model("SRK/T", use.constants).eye(Measured(length, k, None), AConstant(a_constant))
    power = np.asarray(vergence.power_d(eye=eye, target_d=target_d, constants=optics), float)
    label = np.round(power / step_d) * step_d
    return {
        "power_d": power,
        "label_power_d": label,
        "refraction_d": np.asarray(vergence.refraction_d(eye=eye, power_d=label, constants=optics), float),
        "rupture": risk(columns, evidence=evidence),
    }


def _inside(name: str, columns: Mapping[str, Column]) -> NDArray[np.float64]:
    """The column with impossible values missing."""
    low, high = bounds(name)
    values = np.asarray(columns[name], float)
    inside: NDArray[np.float64] = np.where((values >= low) & (values <= high), values, np.nan)
    return inside


def risk(columns: Mapping[str, Column], *, evidence: EvidenceSet | None = None) -> NDArray[np.float64]:
    """Probability of capsule rupture or vitreous loss by the model of 2009, a consultant operating.

    Known factors enter by their odds ratio; a factor without a column enters by its mean odds ratio over the mix, which
    keeps to the exact average within its curvature (below 1 % of the risk for common factors).
    """
    model, _ = read_model("uk-2009", (evidence or default_evidence()).reader())
    age = _inside("age_years", columns)
    log_odds = np.full(age.shape, model.intercept)
    for factor in model.factors:
        ratios = np.log(np.array(factor.odds_ratios))
        if factor.name == "age":
            starts = [float(level.split("-")[0]) for level in factor.levels[1:]]
            log_odds = log_odds + ratios[np.searchsorted(starts, age, side="right")]
        elif factor.name == "surgeon_grade":
            continue
        else:
            name = "male" if factor.name == "sex" else factor.name
            if name in columns:
                log_odds = log_odds + np.where(np.asarray(columns[name], bool), ratios[1], 0.0)
            else:
                log_odds = log_odds + np.log(np.dot(factor.mix, factor.odds_ratios))
    found: NDArray[np.float64] = np.where(np.isnan(age), np.nan, 1 / (1 + np.exp(-log_odds)))
    return np.minimum(found, model.cap)

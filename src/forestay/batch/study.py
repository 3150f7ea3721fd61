"""Studies over many eyes: invent a practice, plan its eyes in brief. Each chunk is one Parquet file."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import numpy as np

from forestay import __version__
from forestay.batch import lite
from forestay.batch.units import Progress, Runner, Unit, keep, units
from forestay.evidence import default_evidence
from forestay.review.invented import CHUNK, Truth, columns

TARGET_D, STEP_D = -0.5, 0.5
OF_SURGEON, MOST_SURGEONS, YEARS = 2_500, 500, 10
"""Operations of one surgeon, most surgeons, and years, that a large invented register is spread over."""
FEW_VALUES = frozenset(
    (
        "day",
        "surgeon",
        "age_years",
        "axial_length_mm",
        "k1_d",
        "k2_d",
        "power_d",
        "label_power_d",
        "cells_before",
        "logmar",
    )
)
"""Columns of numbers that repeat: kept as a dictionary. The others are kept as they are, which reads faster."""
ROW_GROUP = 125_000
DAYS_OF_YEAR = 365


def invent(
    n: int,
    folder: Path,
    *,
    seed: int,
    run: Runner,
    truth: Truth | None = None,
    progress: Progress = lambda _a, _b: None,
) -> tuple[Unit, ...]:
    """``n`` invented operated eyes, marked as such in every file."""
    wanted = units("invented", chunks=-(-n // CHUNK), folder=folder, parameters=_what(n, seed, truth or register(n)))
    run(invent_chunk, wanted, progress=progress)
    return wanted


def plan_in_brief(
    n: int,
    folder: Path,
    *,
    seed: int,
    run: Runner,
    truth: Truth | None = None,
    progress: Progress = lambda _a, _b: None,
) -> tuple[Unit, ...]:
    """The plan in brief of the same ``n`` invented eyes."""
    parameters = _what(n, seed, truth or register(n)) | {"target_d": TARGET_D, "step_d": STEP_D}
    wanted = units("planned", chunks=-(-n // CHUNK), folder=folder, parameters=parameters)
    run(plan_chunk, wanted, progress=progress)
    return wanted


def register(n: int) -> Truth:
    """A practice of ``n`` operations; a large one is a register of many surgeons over some years."""
    usual = Truth()
    return replace(
        usual,
        surgeons=min(MOST_SURGEONS, max(usual.surgeons, n // OF_SURGEON)),
        cases_per_day=max(usual.cases_per_day, n // (YEARS * DAYS_OF_YEAR)),
    )


def _what(n: int, seed: int, truth: Truth) -> dict[str, Any]:
    return {
        "n": n,
        "seed": seed,
        "truth": asdict(truth),
        "engine": __version__,
        "evidence": default_evidence().digest,
        "numpy": np.__version__,
    }


def invent_chunk(unit: Unit) -> None:
    """One file of invented eyes."""
    _keep(unit, _made(unit)[0])


def plan_chunk(unit: Unit) -> None:
    """One file of plans in brief, from eyes made anew."""
    made, given = _made(unit)
    found = lite.plan(
        {**made, "brown_or_white": made["brown"]},
        a_constant=given["truth"]["planned_a"],
        target_d=given["target_d"],
        step_d=given["step_d"],
    )
    _keep(unit, found)


def _made(unit: Unit) -> tuple[dict[str, lite.Column], dict[str, Any]]:
    given = json.loads(unit.parameters)
    n = min(CHUNK, given["n"] - unit.chunk * CHUNK)
    return columns(n, seed=given["seed"], truth=Truth(**given["truth"]), chunk=unit.chunk), given


def _keep(unit: Unit, found: dict[str, lite.Column]) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    table = pa.table({name: pa.array(data, from_pandas=True) for name, data in found.items()})
    marked = table.replace_schema_metadata({"forestay": unit.parameters, "invented": "yes"})
    repeats = [name for name in table.column_names if name in FEW_VALUES]
    packed = {
        name: "zstd" if name in FEW_VALUES or pa.types.is_boolean(table.schema.field(name).type) else "none"
        for name in table.column_names
    }
    keep(
        unit,
        lambda path: pq.write_table(marked, path, compression=packed, use_dictionary=repeats, row_group_size=ROW_GROUP),
    )

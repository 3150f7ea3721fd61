"""Audit of tables of any size: counts and sums by group over Parquet files, within a limit of memory.

Nothing is kept but immutable files; missing is NULL, never NaN; events are counted as whole numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.statistics import funnel, proportion
from forestay.text import tr

MEMORY_LIMIT, THREADS = "1500MB", 2


@dataclass(frozen=True)
class Group:
    """One surgeon in a table."""

    surgeon: str
    n: int
    events: int
    expected: float
    ratio: float
    rate: float
    exact: tuple[float, float]
    outer: tuple[float, float]
    outside: bool
    followed: int
    mean_error_d: float | None
    within_half: float | None
    within_one: float | None


@dataclass(frozen=True)
class Year:
    """All surgeons in one year of the table."""

    year: int
    n: int
    events: int
    expected: float


@dataclass(frozen=True)
class Audit:
    """The whole table in figures."""

    n: int
    events: int
    expected: float
    groups: tuple[Group, ...]
    years: tuple[Year, ...]


BY_SURGEON = """
SELECT surgeon, count(*)::BIGINT, sum(rupture::INT)::BIGINT, sum(told_rupture),
  sum(followed::INT)::BIGINT,
  avg(CASE WHEN followed THEN refraction_d - predicted_refraction_d END),
  avg(CASE WHEN followed THEN (abs(refraction_d - predicted_refraction_d) <= ?)::INT END),
  avg(CASE WHEN followed THEN (abs(refraction_d - predicted_refraction_d) <= ?)::INT END)
FROM read_parquet(?) GROUP BY surgeon ORDER BY surgeon
"""
BY_YEAR = """
SELECT (day // 365)::BIGINT AS year, count(*)::BIGINT, sum(rupture::INT)::BIGINT, sum(told_rupture)
FROM read_parquet(?) GROUP BY year ORDER BY year
"""


def audit(files: Sequence[Path], use: Reader) -> Audit:
    """Observed against expected ruptures by surgeon and year, and refraction errors, over all rows."""
    import duckdb

    if not files:
        raise InvalidInput(
            tr("There is no table to audit in that folder."), field="folder", allowed=tr("a folder of Parquet files")
        )
    names = [str(path) for path in files]
    with duckdb.connect(config={"memory_limit": MEMORY_LIMIT, "threads": THREADS}) as base:
        surgeons = base.execute(BY_SURGEON, [*use.numbers("audit.bands_d"), names]).fetchall()
        years = base.execute(BY_YEAR, [names]).fetchall()
    n, events = sum(row[1] for row in surgeons), sum(row[2] for row in surgeons)
    return Audit(
        n=n,
        events=events,
        expected=sum(row[3] for row in surgeons),
        groups=tuple(_group(row, events / n, use) for row in surgeons),
        years=tuple(Year(*row) for row in years),
    )


def _group(row: tuple[Any, ...], target: float, use: Reader) -> Group:
    surgeon, n, events, expected, followed, mean, half, one = row
    exact = proportion.exact(events=events, n=n, level=use.number("audit.usual_level"))
    _, outer_level = use.numbers("audit.funnel_levels")
    # Case-mix enters by the size: limits are those of a series whose expected count at the common rate is this one's.
    size = max(1.0, expected / target) if target > 0 else n
    outer = funnel.limits(n=round(size), target=target, level=outer_level)
    rate = events / size
    return Group(
        surgeon=str(surgeon),
        n=n,
        events=events,
        expected=expected,
        ratio=events / expected if expected else 0.0,
        rate=events / n,
        exact=(float(exact.low), float(exact.high)),
        outer=(float(outer.low), float(outer.high)),
        outside=not float(outer.low) <= rate <= float(outer.high),
        followed=followed,
        mean_error_d=mean,
        within_half=half,
        within_one=one,
    )

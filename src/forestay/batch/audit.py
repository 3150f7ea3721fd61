"""Audit of tables of any size: counts and sums by group over Parquet files, within a limit of memory.

Nothing is kept but immutable files; missing is NULL, never NaN; events are counted as whole numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from forestay.errors import InvalidInput
from forestay.evidence import Reader
from forestay.review.groups import kept_apart
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
    withheld: int
    """Surgeons with too few cases to be shown; their cases are in the whole."""


COUNTS = """
SELECT surgeon, (day // 365)::INTEGER AS year, count(*)::BIGINT, count_if(rupture)::BIGINT, sum(told_rupture),
  count_if(followed)::BIGINT, count(error)::BIGINT, sum(error),
  count_if(abs(error) <= ?)::BIGINT, count_if(abs(error) <= ?)::BIGINT
FROM (
  SELECT surgeon, day, rupture, told_rupture, followed,
    CASE WHEN followed THEN refraction_d - predicted_refraction_d END AS error
  FROM read_parquet(?)
) GROUP BY surgeon, year ORDER BY surgeon, year
"""
"""One pass over the tables: counts and sums by surgeon and year, from which everything else is added up."""
NEEDED = ("surgeon", "day", "rupture", "told_rupture", "followed", "refraction_d", "predicted_refraction_d")


def audit(files: Sequence[Path], use: Reader) -> Audit:
    """Observed against expected ruptures by surgeon and year, and refraction errors, over all rows.

    Surgeons and years with fewer cases than may be shown are counted in the whole and named nowhere.
    """
    import duckdb

    if not files:
        raise InvalidInput(
            tr("There is no table to audit in that folder."), field="folder", allowed=tr("a folder of Parquet files")
        )
    names = [str(path) for path in files]
    with duckdb.connect(config={"memory_limit": MEMORY_LIMIT, "threads": THREADS}) as base:
        _refuse_other_tables(base, names)
        rows = base.execute(COUNTS, [*use.numbers("audit.bands_d"), names]).fetchnumpy()
    parts = np.array([np.asarray(column, float) for column in list(rows.values())[2:]])
    surgeons, by_surgeon = _added(np.asarray(rows["surgeon"]), parts)
    years, by_year = _added(np.asarray(rows["year"]), parts)
    fewest = use.number("audit.smallest_group")
    groups, withheld = _groups(surgeons, by_surgeon, fewest, use)
    n, events, expected = by_surgeon[:3].sum(axis=1).tolist()
    return Audit(
        n=int(n),
        events=int(events),
        expected=expected,
        groups=groups,
        years=tuple(
            Year(int(year), int(size), int(hit), told)
            for (year, size, hit, told), show in zip(
                zip(years.tolist(), *by_year[:3].tolist(), strict=True),
                kept_apart(by_year[0].astype(int).tolist(), fewest=fewest, smallest=fewest),
                strict=True,
            )
            if show
        ),
        withheld=withheld,
    )


def _refuse_other_tables(base: Any, names: list[str]) -> None:
    import duckdb

    try:
        columns = base.execute("DESCRIBE SELECT * FROM read_parquet(?)", [names]).fetchall()
    except duckdb.Error:
        raise InvalidInput(
            tr("The tables cannot be read as Parquet files of one form."),
            field="folder",
            allowed=tr("a folder of Parquet files"),
        ) from None
    missing = [name for name in NEEDED if name not in {column[0] for column in columns}]
    if missing:
        raise InvalidInput(
            tr("The tables lack {names}.", names=", ".join(missing)), field="folder", allowed=", ".join(NEEDED)
        )


def _added(keys: NDArray[np.generic], parts: NDArray[np.float64]) -> tuple[NDArray[np.generic], NDArray[np.float64]]:
    """The parts added up by key. Counts are whole and below 2^53, so that they stay exact."""
    names, at = np.unique(keys, return_inverse=True)
    return names, np.array([np.bincount(at, weights=part, minlength=names.size) for part in np.nan_to_num(parts)])


def _groups(
    surgeons: NDArray[np.generic], sums: NDArray[np.float64], fewest: float, use: Reader
) -> tuple[tuple[Group, ...], int]:
    """Surgeons with enough cases to be shown, and how many are not."""
    n, events, expected, followed, measured, error, half, one = sums
    target = events.sum() / n.sum()
    exact = proportion.exact(events=events, n=n, level=use.number("audit.usual_level"))
    _, outer_level = use.numbers("audit.funnel_levels")
    # Case-mix enters by the size: limits are those of a series whose expected count at the common rate is this one's.
    size = np.maximum(1.0, expected / target) if target > 0 else n
    outer = funnel.limits(n=np.round(size), target=float(target), level=outer_level)
    rate = events / size
    outside = (rate < outer.low) | (rate > outer.high)
    shown = np.flatnonzero(kept_apart(n.astype(int).tolist(), fewest=fewest, smallest=fewest)).tolist()
    found = tuple(
        Group(
            surgeon=str(surgeons[i]),
            n=int(n[i]),
            events=int(events[i]),
            expected=float(expected[i]),
            ratio=float(events[i] / expected[i]) if expected[i] else 0.0,
            rate=float(events[i] / n[i]),
            exact=(float(exact.low[i]), float(exact.high[i])),
            outer=(float(outer.low[i]), float(outer.high[i])),
            outside=bool(outside[i]),
            followed=int(followed[i]),
            mean_error_d=float(error[i] / measured[i]) if measured[i] else None,
            within_half=float(half[i] / measured[i]) if measured[i] else None,
            within_one=float(one[i] / measured[i]) if measured[i] else None,
        )
        for i in shown
    )
    return found, surgeons.size - len(shown)

"""Supports in order: three measures of each, and how many others are better in one and as good in the rest."""

from __future__ import annotations

from dataclasses import replace

from forestay.mechanics.support_search_model import KINDS, Row

VALUE_ROUNDING = 3
"""Decimal places to which two outcomes count as equal (a micrometre, a thousandth of what is borne or carried): below what
is shown, and above what the number of stations and the solvers, numpy or compiled, leave open where nothing differs."""


def measures(row: Row) -> tuple[float, float, float]:
    """The three measures, each the smaller the better."""
    values = (row.displacement_mm or 0.0, -(row.reserve or 0.0), row.peak_load or 0.0)
    return tuple(round(v, VALUE_ROUNDING) for v in values)  # type: ignore[return-value]


def rank(rows: list[Row]) -> list[Row]:
    """The rows in order, best first, each told whether nothing beats it (the order:
    :func:`forestay.mechanics.support_search.search`)."""
    holding = [row for row in rows if row.held]
    found = [measures(row) for row in holding]
    places = [sorted({m[k] for m in found}) for k in range(3)]

    def beaten(mine: tuple[float, float, float]) -> int:
        return sum(all(a <= b for a, b in zip(theirs, mine, strict=True)) and theirs != mine for theirs in found)

    def order(row: Row) -> tuple[object, ...]:
        mine = measures(row)
        total = sum(places[k].index(mine[k]) for k in range(3))
        return (
            (row.reserve or 0.0) < 0,
            beaten(mine),
            total,
            KINDS.index(row.support.kind),
            len(row.support.hooks) + len(row.support.segments),
        )

    failing = [row for row in rows if not row.held]
    failing.sort(
        key=lambda row: (-sum(o.held for o in row.by_step), KINDS.index(row.support.kind), len(row.support.hooks))
    )
    return [replace(row, best=not beaten(measures(row))) for row in sorted(holding, key=order)] + failing

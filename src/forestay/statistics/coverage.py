"""How much of the need for surgery in a population is met, and how much of it well: counts of persons of a survey.

References
----------
Ramke J and others. PLoS One 2017;12:e0172342 (effective coverage; relative quality gap).
"""

from __future__ import annotations

from typing import NamedTuple


class SurgicalCoverage(NamedTuple):
    """Shares of the persons in need; None where nobody is in need, or no one was operated."""

    coverage: float | None
    effective: float | None
    quality_gap: float | None
    """Share of the coverage that is lost because the eye does not see well."""


def surgical_coverage(
    *, one_operated: int, both_operated: int, unoperated: int, one_good: int, both_good: int
) -> SurgicalCoverage:
    """Coverage (x + y)/(x + y + z), effective coverage (a + b)/(x + y + z), and the gap between the two over the first.

    ``one_operated`` x: persons with one eye operated and an operable cataract in the other; ``both_operated`` y;
    ``unoperated`` z: operable cataract in both, neither operated; ``one_good`` a: of x, those who see well with the
    operated eye; ``both_good`` b: of y, those who see well with at least one.

    >>> found = surgical_coverage(one_operated=120, both_operated=180, unoperated=200, one_good=80, both_good=150)
    >>> round(found.coverage, 2), round(found.effective, 2), round(found.quality_gap, 5)
    (0.6, 0.46, 0.23333)
    """
    done, need = one_operated + both_operated, one_operated + both_operated + unoperated
    good = one_good + both_good
    return SurgicalCoverage(
        coverage=done / need if need else None,
        effective=good / need if need else None,
        quality_gap=(done - good) / done if done else None,
    )


def quality_gap(*, coverage: float, effective: float) -> float:
    """(coverage - effective) / coverage, of published shares or percentages.

    >>> round(quality_gap(coverage=14.3, effective=3.8), 3)
    0.734
    """
    return (coverage - effective) / coverage

"""Published rates of complications, picked for one technique and one eye.

A series is a record of what happened to other people's patients: quoted beside the eye in hand, never multiplied by
anything. The rows are data; this file says which of them speak about which eye.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Protocol


class RowLike(Protocol):
    """What is needed of a row of evidence: number, interval, words."""

    @property
    def key(self) -> str: ...
    @property
    def value(self) -> Any: ...
    @property
    def low(self) -> float | None: ...
    @property
    def high(self) -> float | None: ...
    @property
    def interval(self) -> str | None: ...
    @property
    def meaning(self) -> str: ...
    @property
    def population(self) -> str | None: ...


@dataclass(frozen=True, slots=True)
class Rate:
    """A published rate [share of eyes].

    ``name`` is the last part of the row's key, ``key`` the whole of it. ``interval`` says what low and high are; where
    the series gives none it is None, and low and high are the value itself.
    """

    name: str
    value: float
    low: float
    high: float
    interval: str | None
    key: str
    meaning: str
    population: str | None


@dataclass(frozen=True, slots=True)
class Eye:
    """What decides which series speak about an eye. ``None`` is "not known" and picks nothing special."""

    pseudoexfoliation: bool | None = None
    brown: bool | None = None
    white: bool | None = None
    diabetes: bool | None = None
    long_eye: bool | None = None
    posterior_polar: bool | None = None
    trainee: bool | None = None


ALL: tuple[str, ...] = (
    "endophthalmitis_with_moxifloxacin",
    "endophthalmitis_without_antibiotic",
    "dropped_nucleus",
    "detachment",
    "haemorrhage",
    "macular_oedema",
    "late_dislocation",
)
"""Rates told whatever the technique."""

BY_TECHNIQUE: dict[str, tuple[str, ...]] = {
    "manual-small-incision": ("manual.intraoperative", "manual.capsule_rupture"),
    "phacoemulsification": ("phaco.intraoperative", "phaco.capsule_rupture"),
    "extracapsular": ("extracapsular.intraoperative", "extracapsular.vitreous_loss"),
    "intracapsular": ("intracapsular.serious", "intracapsular.macular_oedema"),
}
"""Rates of one technique in all eyes."""

BY_FINDING: dict[tuple[str, str], tuple[str, ...]] = {
    ("manual-small-incision", "trainee"): ("manual.trainee",),
    ("phacoemulsification", "trainee"): ("phaco.trainee",),
    ("manual-small-incision", "pseudoexfoliation"): (
        "manual.dialysis_pseudoexfoliation",
        "manual.complication_pseudoexfoliation",
    ),
    ("phacoemulsification", "pseudoexfoliation"): ("phaco.complication_pseudoexfoliation",),
    ("manual-small-incision", "white"): ("manual.capsule_rupture_white", "manual.oedema_white"),
    ("phacoemulsification", "white"): ("phaco.capsule_rupture_white", "phaco.oedema_white"),
    ("manual-small-incision", "brown"): ("manual.capsule_rupture_brown", "manual.oedema_brown"),
    ("phacoemulsification", "posterior_polar"): ("phaco.capsule_rupture_polar",),
    ("", "diabetes"): ("macular_oedema_diabetes",),
    ("", "long_eye"): ("capsule_rupture_high_myopia", "detachment_high_myopia"),
    ("", "pseudoexfoliation"): ("late_dislocation_pseudoexfoliation",),
}
"""Rates of one technique (or of any, where empty) in eyes with a finding."""

AFTER_CAPSULE_RUPTURE: tuple[str, ...] = (
    "endophthalmitis_after_rupture",
    "endophthalmitis_after_rupture_with_moxifloxacin",
    "detachment_after_rupture",
)
"""Rates told once the capsule has ruptured."""


def rate(row: RowLike) -> Rate:
    """A row as a rate; without interval, low and high are the value itself."""
    value = float(row.value)
    return Rate(
        name=row.key.rsplit(".", maxsplit=1)[-1],
        value=value,
        low=value if row.low is None else row.low,
        high=value if row.high is None else row.high,
        interval=None if row.low is None else row.interval,
        key=row.key,
        meaning=row.meaning,
        population=row.population,
    )


def pick(row: Callable[[str], RowLike], *, technique: str, eye: Eye) -> tuple[Rate, ...]:
    """The published rates that speak about this technique in this eye, the most specific last.

    ``row`` gives a row of evidence by key (a reader counts it as used). ``technique`` is a key of
    :data:`BY_TECHNIQUE`; a technique's trainee rates are never put on another technique.
    """
    names = [*BY_TECHNIQUE[technique], *ALL]
    for (of_technique, finding), found in BY_FINDING.items():
        if of_technique in ("", technique) and getattr(eye, finding):
            names += found
    return tuple(rate(row(f"series.{name}")) for name in names)


def after_capsule_rupture(row: Callable[[str], RowLike]) -> tuple[Rate, ...]:
    """The published rates that speak about an eye whose capsule has ruptured."""
    return tuple(rate(row(f"series.{name}")) for name in AFTER_CAPSULE_RUPTURE)

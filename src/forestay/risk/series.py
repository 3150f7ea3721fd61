"""Published rates of complications, picked for one technique and one eye.

A series is a record of what happened to other people's patients: quoted beside the eye in hand, as it stands. Definitions overlap (any complication during surgery holds capsule rupture, which holds some vitreous loss),
so rates are never added up. Published ratios of a sign are told beside the rate of the same complication; one alone may be
put on the rate that it was counted against (:mod:`forestay.risk.raised`), several never. The rows are data; this file says which of them speak about which eye.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

COMPLICATIONS = (
    "intraoperative",
    "capsule-rupture",
    "vitreous-loss",
    "zonular-dialysis",
    "dropped-nucleus",
    "choroidal-haemorrhage",
    "pressure-rise",
    "early-oedema",
    "corneal-decompensation",
    "endophthalmitis",
    "macular-oedema",
    "detachment",
    "late-displacement",
    "serious",
)
"""What can go wrong, in the order in which it may. ``intraoperative`` and ``serious`` hold several of the others."""


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
    """A published rate [share of eyes], or a published ratio of a sign [-].

    ``name`` is the last part of the row's key, ``key`` the whole of it; ``complication`` one of :data:`COMPLICATIONS`.
    ``interval`` says what low and high are; where the series gives none it is None, and low and high are the value.
    """

    name: str
    complication: str
    value: float
    low: float
    high: float
    interval: str | None
    key: str
    meaning: str
    population: str | None
    finding: str = ""
    """The finding whose eyes it speaks of; empty: any eye. A ratio of the same finding is in it already."""


@dataclass(frozen=True, slots=True)
class Eye:
    """What decides which series speak about an eye. ``None`` is "not known" and picks nothing special.

    ``young``, ``old`` and ``very_old`` are the age bands of the series that use them; ``long_eye`` is the high myopia
    of one series, ``longish_eye`` the length above which another counts detachment more often.
    """

    pseudoexfoliation: bool | None = None
    brown: bool | None = None
    white: bool | None = None
    diabetes: bool | None = None
    long_eye: bool | None = None
    posterior_polar: bool | None = None
    trainee: bool | None = None
    glaucoma: bool | None = None
    guttae: bool | None = None
    male: bool | None = None
    young: bool | None = None
    old: bool | None = None
    very_old: bool | None = None
    longish_eye: bool | None = None
    raised_pressure: bool | None = None
    corneal_opacity: bool | None = None
    small_pupil: bool | None = None
    synechiae: bool | None = None
    vitrectomy: bool | None = None
    fellow_oedema: bool | None = None
    loose_lens: bool | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """One row: its key below ``series.``, its complication, the technique and the finding that it speaks of."""

    key: str
    complication: str
    technique: str = ""
    """Empty: any technique."""
    finding: str = ""
    """Empty: any eye."""
    base: str = ""
    """Of a ratio: the rate that it may be put on, whose eyes it was counted in or that has it known how many of them have
    the sign (``series_share.`` and the key). Empty: told beside only."""
    of_odds: bool = True
    """Of a ratio: of odds; else of rates or hazards."""


MANUAL, PHACO = "manual-small-incision", "phacoemulsification"
EXTRA, INTRA = "extracapsular", "intracapsular"
TECHNIQUES = (MANUAL, PHACO, EXTRA, INTRA)

RATES: tuple[Entry, ...] = (
    Entry("manual.intraoperative", "intraoperative", MANUAL),
    Entry("phaco.intraoperative", "intraoperative", PHACO),
    Entry("extracapsular.intraoperative", "intraoperative", EXTRA),
    Entry("manual.trainee", "intraoperative", MANUAL, "trainee"),
    Entry("phaco.trainee", "intraoperative", PHACO, "trainee"),
    Entry("manual.complication_pseudoexfoliation", "intraoperative", MANUAL, "pseudoexfoliation"),
    Entry("phaco.complication_pseudoexfoliation", "intraoperative", PHACO, "pseudoexfoliation"),
    Entry("manual.capsule_rupture", "capsule-rupture", MANUAL),
    Entry("phaco.capsule_rupture", "capsule-rupture", PHACO),
    Entry("manual.capsule_rupture_pseudoexfoliation", "capsule-rupture", MANUAL, "pseudoexfoliation"),
    Entry("manual.capsule_rupture_white", "capsule-rupture", MANUAL, "white"),
    Entry("phaco.capsule_rupture_white", "capsule-rupture", PHACO, "white"),
    Entry("manual.capsule_rupture_brown", "capsule-rupture", MANUAL, "brown"),
    Entry("capsule_rupture_polar", "capsule-rupture", PHACO, "posterior_polar"),
    Entry("capsule_rupture_polar", "capsule-rupture", MANUAL, "posterior_polar"),
    Entry("capsule_rupture_polar", "capsule-rupture", EXTRA, "posterior_polar"),
    Entry("capsule_rupture_high_myopia", "capsule-rupture", PHACO, "long_eye"),
    Entry("manual.vitreous_loss", "vitreous-loss", MANUAL),
    Entry("manual.vitreous_loss_teaching", "vitreous-loss", MANUAL),
    Entry("phaco.vitreous_loss_teaching", "vitreous-loss", PHACO),
    Entry("extracapsular.vitreous_loss", "vitreous-loss", EXTRA),
    Entry("intracapsular.vitreous_loss", "vitreous-loss", INTRA),
    Entry("manual.vitreous_loss_pseudoexfoliation", "vitreous-loss", MANUAL, "pseudoexfoliation"),
    Entry("phaco.vitreous_loss_pseudoexfoliation", "vitreous-loss", PHACO, "pseudoexfoliation"),
    Entry("phaco.vitrectomy_loose_lens", "vitreous-loss", PHACO, "loose_lens"),
    Entry("manual.dialysis", "zonular-dialysis", MANUAL),
    Entry("phaco.dialysis", "zonular-dialysis", PHACO),
    Entry("manual.dialysis_pseudoexfoliation", "zonular-dialysis", MANUAL, "pseudoexfoliation"),
    Entry("phaco.dialysis_pseudoexfoliation", "zonular-dialysis", PHACO, "pseudoexfoliation"),
    Entry("dropped_nucleus", "dropped-nucleus"),
    Entry("haemorrhage", "choroidal-haemorrhage"),
    Entry("haemorrhage_audit", "choroidal-haemorrhage"),
    Entry("pressure_rise", "pressure-rise"),
    Entry("pressure_rise_glaucoma", "pressure-rise", "", "glaucoma"),
    Entry("manual.oedema_white", "early-oedema", MANUAL, "white"),
    Entry("phaco.oedema_white", "early-oedema", PHACO, "white"),
    Entry("manual.oedema_brown", "early-oedema", MANUAL, "brown"),
    Entry("graft_per_year", "corneal-decompensation"),
    Entry("graft_per_year_dense", "corneal-decompensation", PHACO, "white"),
    Entry("graft_per_year_guttata", "corneal-decompensation", "", "guttae"),
    Entry("manual.endophthalmitis_with_moxifloxacin", "endophthalmitis", MANUAL),
    Entry("manual.endophthalmitis_without_antibiotic", "endophthalmitis", MANUAL),
    Entry("phaco.endophthalmitis_with_moxifloxacin", "endophthalmitis", PHACO),
    Entry("phaco.endophthalmitis_without_antibiotic", "endophthalmitis", PHACO),
    Entry("endophthalmitis_with_moxifloxacin", "endophthalmitis"),
    Entry("endophthalmitis_without_antibiotic", "endophthalmitis"),
    Entry("endophthalmitis_with_cefuroxime", "endophthalmitis"),
    Entry("endophthalmitis_without_cefuroxime", "endophthalmitis"),
    Entry("macular_oedema", "macular-oedema"),
    Entry("intracapsular.macular_oedema", "macular-oedema", INTRA),
    Entry("macular_oedema_diabetes", "macular-oedema", "", "diabetes"),
    Entry("detachment", "detachment"),
    Entry("detachment_high_myopia", "detachment", "", "long_eye"),
    Entry("late_dislocation", "late-displacement"),
    Entry("late_dislocation_pseudoexfoliation", "late-displacement", "", "pseudoexfoliation"),
    Entry("intracapsular.serious", "serious", INTRA),
)
"""Every rate that may be quoted before surgery."""

AFTER_RUPTURE: tuple[Entry, ...] = (
    Entry("endophthalmitis_after_rupture", "endophthalmitis"),
    Entry("endophthalmitis_after_rupture_with_moxifloxacin", "endophthalmitis"),
    Entry("detachment_after_rupture", "detachment"),
    Entry("graft_per_year_after_rupture", "corneal-decompensation"),
)
"""Rates told once the capsule has ruptured."""

RATIOS: tuple[Entry, ...] = (
    Entry("capsule_rupture_opacity", "capsule-rupture", "", "corneal_opacity"),
    Entry("phaco.dialysis_pseudoexfoliation", "zonular-dialysis", PHACO, "pseudoexfoliation"),
    Entry("manual.complication_pseudoexfoliation", "intraoperative", MANUAL, "pseudoexfoliation"),
    Entry("dropped_nucleus_pupil", "dropped-nucleus", "", "small_pupil", "dropped_nucleus"),
    Entry("dropped_nucleus_pseudoexfoliation", "dropped-nucleus", "", "pseudoexfoliation", "dropped_nucleus"),
    Entry("dropped_nucleus_vitrectomy", "dropped-nucleus", "", "vitrectomy", "dropped_nucleus"),
    Entry("dropped_nucleus_synechiae", "dropped-nucleus", "", "synechiae", "dropped_nucleus"),
    Entry("haemorrhage_pressure", "choroidal-haemorrhage", "", "raised_pressure", "haemorrhage_audit"),
    Entry("haemorrhage_glaucoma", "choroidal-haemorrhage", "", "glaucoma", "haemorrhage_audit"),
    Entry("haemorrhage_very_old", "choroidal-haemorrhage", "", "very_old"),
    Entry("graft_guttata", "corneal-decompensation", "", "guttae"),
    Entry("macular_oedema_fellow", "macular-oedema", "", "fellow_oedema"),
    Entry("detachment_young", "detachment", "", "young"),
    Entry("detachment_old", "detachment", "", "old"),
    Entry("detachment_male", "detachment", "", "male", "detachment", of_odds=False),
    Entry("detachment_long", "detachment", "", "longish_eye"),
    Entry("late_dislocation_pseudoexfoliation", "late-displacement", "", "pseudoexfoliation"),
)
"""Published ratios of a sign: told beside the rate of the same complication. Never two of them on one rate."""

UNKNOWN_TO_MODEL = ("posterior_polar", "loose_lens")
"""Findings with a series of capsule or vitreous that the national model does not hold. A lens that moves stands in it only as
one with pseudoexfoliation, whether it has one of them or both."""
HELD_IN = {"long_eye": ("longish_eye",)}
"""What the eyes of a finding are already: those of high myopia are longer than the other series' limit."""
WITHOUT_BAG = ("late-displacement",)
"""What cannot happen where lens and bag come out together."""


def rate(row: RowLike, complication: str = "", finding: str = "") -> Rate:
    """A row as a rate; without interval, low and high are the value itself."""
    value = float(row.value)
    return Rate(
        name=row.key.rsplit(".", maxsplit=1)[-1],
        complication=complication,
        value=value,
        low=value if row.low is None else row.low,
        high=value if row.high is None else row.high,
        interval=None if row.low is None else row.interval,
        key=row.key,
        meaning=row.meaning,
        population=row.population,
        finding=finding,
    )


def _speaks(entry: Entry, technique: str, eye: Eye) -> bool:
    if entry.technique not in ("", technique) or (technique == INTRA and entry.complication in WITHOUT_BAG):
        return False
    return not entry.finding or bool(getattr(eye, entry.finding))


def pick(row: Callable[[str], RowLike], *, technique: str, eye: Eye) -> tuple[Rate, ...]:
    """The published rates that speak about this technique in this eye, by complication.

    ``row`` gives a row of evidence by key (a reader counts it as used). ``technique`` is one of :data:`TECHNIQUES`;
    a technique's trainee rates are never put on another technique, and where a complication has been counted for the
    technique itself under the same name, the figure for any technique is left out.
    """
    spoken = [entry for entry in RATES if _speaks(entry, technique, eye)]
    own = {entry.key.partition(".")[2] for entry in spoken if entry.technique}
    kept = [entry for entry in spoken if entry.technique or entry.key not in own]
    kept.sort(key=lambda entry: COMPLICATIONS.index(entry.complication))
    return tuple(rate(row(f"series.{entry.key}"), entry.complication, entry.finding) for entry in kept)


def ratios(row: Callable[[str], RowLike], *, technique: str, eye: Eye) -> tuple[Rate, ...]:
    """The published ratios of this eye's signs, by complication."""
    return tuple(
        rate(row(f"series_ratio.{entry.key}"), entry.complication, entry.finding)
        for entry in RATIOS
        if _speaks(entry, technique, eye)
    )


def beside(ratio: Rate, rate: Rate, rates: Sequence[Rate]) -> bool:
    """Whether a ratio is told beside a rate: of the same complication, of a sign that those eyes do not have already, and
    that has no rate of its own among the ``rates`` told (which says it without a second base)."""
    if ratio.complication != rate.complication or ratio.finding in (rate.finding, *HELD_IN.get(rate.finding, ())):
        return False
    return not any(r.complication == ratio.complication and r.finding == ratio.finding for r in rates)


def after_capsule_rupture(row: Callable[[str], RowLike]) -> tuple[Rate, ...]:
    """The published rates that speak about an eye whose capsule has ruptured."""
    return tuple(rate(row(f"series.{entry.key}"), entry.complication) for entry in AFTER_RUPTURE)

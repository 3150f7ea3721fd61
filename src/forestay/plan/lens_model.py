"""The plan's lens as a value: powers by position with their error, the formulas, what to measure again, the boxes."""

from __future__ import annotations

from dataclasses import dataclass

from forestay.plan.model_risk import Origin


@dataclass(frozen=True)
class LensErrorPart:
    """One part of the error of the refraction: its name, one SD from it alone [D], its share of the variance."""

    part: str
    label: str
    sd_d: float
    share: float


@dataclass(frozen=True)
class LensBox:
    """The box to have for a position: model and power on the label, what it leaves, how many there are."""

    lens: str
    kind: str
    power_d: float
    refraction_d: float
    in_region: float | None
    boxes: int | None
    constant_a: float
    articles: tuple[str, ...] = ()
    """Article numbers (GTIN) that boxes of this model bear; empty where the shelf does not name them."""


@dataclass(frozen=True)
class LensPosition:
    """Power for one position of the lens."""

    position: str
    label: str
    power_d: float | None
    choices: tuple[dict[str, float], ...]
    sd_d: float | None
    low_d: float | None
    high_d: float | None
    note: str
    allowed: bool
    origin: Origin
    best_power_d: float | None = None
    """Power to have: most likely in the accepted region, else nearest to the target."""
    best_refraction_d: float | None = None
    within_half: float | None = None
    within_one: float | None = None
    in_region: float | None = None
    parts: tuple[LensErrorPart, ...] = ()
    contact_lens_d: float | None = None
    kinds: tuple[str, ...] = ()
    never: tuple[str, ...] = ()
    """Kinds that must not lie here, each with why."""
    published: tuple[str, ...] = ()
    box: LensBox | None = None
    box_says: str = ""
    box_is_near: bool = False
    """The box comes near enough to the aim to be the one planned; the interval is then for it."""


@dataclass(frozen=True)
class LensFormula:
    """One power formula in this eye, and whether it suits."""

    name: str
    state: str
    state_words: str
    why: tuple[str, ...]
    usual: bool
    taken: bool
    counts: bool
    power_d: float | None
    refraction_d: float | None


@dataclass(frozen=True)
class LensRemeasure:
    """What measuring again would gain: the chance of a refraction within 0.5 D afterwards, and its gain."""

    measure: str
    label: str
    sd_d: float
    within_half: float
    gain_half: float


@dataclass(frozen=True)
class LensPlan:
    """Power by position, and what it rests on."""

    formula: str | None
    length_mm: float | None
    length_sd_mm: float | None
    target_d: float
    positions: tuple[LensPosition, ...]
    says: tuple[str, ...]
    formulas: tuple[LensFormula, ...] = ()
    compared_on_d: float | None = None
    """The one lens on which the formulas are compared."""
    disagreement_d: float | None = None
    """SD of the refractions of the formulas that count, with that lens: model uncertainty."""
    remeasure: tuple[LensRemeasure, ...] = ()
    region_d: tuple[float, float] | None = None
    displaced: dict[str, float | str | None] | None = None
    """What the place where the bag is expected to lie costs a lens in it; None where there is nothing to say."""
    learnt: tuple[str, ...] = ()
    """What the fellow eye and this eye's disease say of the prediction; not counted in the powers."""
    shelf: str | None = None
    """What the boxes rest on: the practice's own shelf, or an invented one; None without a shelf."""

"""What an incision induces: published centroids by site, kind, shape and suture, with their spread.

No law of length and distance is used: the much-taught cube of length has no published coefficient and clinical
exponents run from 0.5 to 2.3. Outside the lengths that the series used the mean stays and the spread widens. Shape is
a weak effect (the randomised trial found no significant difference).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal, TypeAlias, get_args

import numpy as np

from forestay.answer import Doubt
from forestay.errors import InvalidInput
from forestay.frame import Side, mirror_hour, wrap_hour
from forestay.text import tr

Kind: TypeAlias = Literal["manual-small-incision", "clear-corneal", "extracapsular", "intracapsular"]
Site: TypeAlias = Literal[
    "superior", "superonasal", "nasal", "inferonasal", "inferior", "inferotemporal", "temporal", "superotemporal"
]
SITES: tuple[Site, ...] = get_args(Site)
"""The eight sites of a right eye, clockwise as the examiner sees them, from 12."""

PHACO_KINDS: Mapping[str, Kind] = {"phacoemulsification": "clear-corneal"}
"""Techniques whose wound goes by another name here."""


@dataclass(frozen=True, slots=True)
class IncisionPriors:
    """Centroids [D, flattening along the incision] and spread for each component [D]; lengths [mm]."""

    PREFIX: ClassVar[str] = "incision"
    manual_superior_d: float
    manual_superior_sd_d: float
    manual_temporal_d: float
    manual_temporal_sd_d: float
    manual_superotemporal_d: float
    manual_superotemporal_sd_d: float
    manual_nasal_d: float
    manual_nasal_sd_d: float
    manual_superonasal_d: float
    manual_superonasal_sd_d: float
    manual_lower_d: float
    manual_lower_sd_d: float
    horizontal_suture_d: float
    horizontal_suture_sd_d: float
    x_suture_d: float
    x_suture_sd_d: float
    clear_corneal_superior_d: float
    clear_corneal_superior_sd_d: float
    clear_corneal_temporal_d: float
    clear_corneal_temporal_sd_d: float
    clear_corneal_other_d: float
    clear_corneal_other_sd_d: float
    extracapsular_late_d: float
    extracapsular_early_d: float
    extracapsular_sd_d: float
    intracapsular_sd_d: float
    shape_factor: Mapping[str, float]
    manual_band_mm: tuple[float, float]
    clear_corneal_band_mm: tuple[float, float]
    extracapsular_band_mm: tuple[float, float]
    widening_d_per_mm: float


@dataclass(frozen=True, slots=True)
class Induced:
    """Flattening along the incision's meridian [D; negative steepens it], spread for each component [D], doubts."""

    flattening_d: float
    sd_d: float
    doubts: tuple[Doubt, ...]


@dataclass(frozen=True, slots=True)
class WeighingConstants:
    """How far surgeons' means lie from the published one [D, one SD]."""

    PREFIX: ClassVar[str] = "incision.weighing"
    between_surgeons_sd_d: float


@dataclass(frozen=True, slots=True)
class OwnRecord:
    """A surgeon's own eyes with one incision: their number, mean flattening and its spread for a component [D]."""

    n: int
    mean_d: float
    sd_d: float


@dataclass(frozen=True, slots=True)
class Weighed:
    """Flattening and spread [D] with the own record counted, and the weight that it has, 0 to 1."""

    flattening_d: float
    sd_d: float
    weight: float


def weighed(published: Induced, own: OwnRecord, *, constants: WeighingConstants) -> Weighed:
    """The published mean drawn towards the surgeon's own: w = n t^2 / (n t^2 + s^2), mean (1 - w) m0 + w m.

    ``t`` is how far surgeons' means lie apart; s the spread of single eyes, the published one where a single own eye
    or eyes without any spread say nothing of it. The spread left for the next eye is that of single eyes, mixed by the
    same weight, and what is not known of the mean.
    """
    apart = constants.between_surgeons_sd_d * constants.between_surgeons_sd_d
    single = own.sd_d if own.n > 1 and own.sd_d > 0 else published.sd_d
    weight = own.n * apart / (own.n * apart + single * single)
    mean = (1 - weight) * published.flattening_d + weight * own.mean_d
    variance = (1 - weight) * (published.sd_d * published.sd_d + apart) + weight * single * single
    return Weighed(mean, float(np.sqrt(variance)), weight)


def site_of(*, clock: float, side: str) -> Site:
    """The site of a clock position [0 < h <= 12, as an examiner faces the patient] in a ``right`` or ``left`` eye.

    Each site covers one and a half hours.

    >>> site_of(clock=12, side="left"), site_of(clock=9, side="right"), site_of(clock=3, side="left")
    ('superior', 'temporal', 'temporal')
    """
    sides: tuple[Side, ...] = ("right", "left")
    if side not in sides:
        raise _not_one_of("side", side, sides)
    hour = wrap_hour(clock) if side == "right" else mirror_hour(wrap_hour(clock))
    return SITES[round(hour / 12 * len(SITES)) % len(SITES)]


def induced(
    *, kind: str, site: str, shape: str, length_mm: float, priors: IncisionPriors, suture: str | None = None
) -> Induced:
    """What an incision induces.

    ``kind``: manual-small-incision, clear-corneal (or phacoemulsification), extracapsular, intracapsular; ``site`` one
    of :data:`SITES`; ``shape``: straight, frown, chevron; ``length_mm``: chord of the outer lip [mm]. ``suture``: none,
    horizontal or x for a tunnel; in-place or removed for a large wound; not said: none, and removed.
    """
    kind = PHACO_KINDS.get(kind, kind)
    if kind not in _KINDS:
        raise _not_one_of("kind", kind, (*_KINDS, *PHACO_KINDS))
    if site not in SITES:
        raise _not_one_of("site", site, SITES)
    if shape not in priors.shape_factor:
        raise _not_one_of("shape", shape, tuple(priors.shape_factor))
    mean, spread, band, doubts = _KINDS[kind](_Asked(site, shape, suture), priors)
    low, high = band
    outside = max(low - length_mm, length_mm - high, 0)
    if outside > 0:
        says = tr(
            "What the incision induces was measured for {low:g} to {high:g} mm; at {length:g} mm the mean is kept"
            " and its spread widened.",
            low=low,
            high=high,
            length=length_mm,
        )
        doubts.append(Doubt("incision-length-outside-series", says))
    return Induced(mean, float(np.hypot(spread, priors.widening_d_per_mm * outside)), tuple(doubts))


@dataclass(frozen=True, slots=True)
class _Asked:
    site: str
    shape: str
    suture: str | None


Prior: TypeAlias = tuple[float, float, tuple[float, float], list[Doubt]]
"""Flattening [D], spread [D], the lengths that it was measured at [mm], and doubts."""


def _manual(asked: _Asked, priors: IncisionPriors) -> Prior:
    by_site = {
        "superior": (priors.manual_superior_d, priors.manual_superior_sd_d),
        "temporal": (priors.manual_temporal_d, priors.manual_temporal_sd_d),
        "superotemporal": (priors.manual_superotemporal_d, priors.manual_superotemporal_sd_d),
        "nasal": (priors.manual_nasal_d, priors.manual_nasal_sd_d),
        "superonasal": (priors.manual_superonasal_d, priors.manual_superonasal_sd_d),
    }
    by_suture = {
        "horizontal": (priors.horizontal_suture_d, priors.horizontal_suture_sd_d),
        "x": (priors.x_suture_d, priors.x_suture_sd_d),
    }
    _check_suture(asked, ("none", *by_suture))
    doubts = []
    if asked.suture in by_suture:
        mean, spread = by_suture[asked.suture]
        if asked.site != "superior":
            says = tr("The effect of a suture was measured in superior tunnels only; it is used here unchanged.")
            doubts.append(Doubt("suture-measured-superior-only", says))
        return mean, spread, priors.manual_band_mm, doubts
    mean, spread = by_site.get(asked.site, (priors.manual_lower_d, priors.manual_lower_sd_d))
    if asked.site not in ("superior", "temporal", "superotemporal"):
        doubts.append(_no_series(tr("manual tunnel"), asked))
    factor = priors.shape_factor[asked.shape]
    if factor != 1:
        says = tr("The effect of the tunnel's shape is weak: the randomised trial found no significant difference.")
        doubts.append(Doubt("shape-effect-weak", says))
    return mean * factor, spread, priors.manual_band_mm, doubts


def _clear_corneal(asked: _Asked, priors: IncisionPriors) -> Prior:
    _check_suture(asked, ("none",))
    by_site = {
        "superior": (priors.clear_corneal_superior_d, priors.clear_corneal_superior_sd_d),
        "temporal": (priors.clear_corneal_temporal_d, priors.clear_corneal_temporal_sd_d),
    }
    mean, spread = by_site.get(asked.site, (priors.clear_corneal_other_d, priors.clear_corneal_other_sd_d))
    doubts = [] if asked.site in by_site else [_no_series(tr("clear-corneal incision"), asked)]
    return mean, spread, priors.clear_corneal_band_mm, doubts


def _extracapsular(asked: _Asked, priors: IncisionPriors) -> Prior:
    _check_suture(asked, ("removed", "in-place"))
    band = priors.extracapsular_band_mm
    if asked.suture == "in-place":
        return priors.extracapsular_early_d, priors.extracapsular_sd_d, band, []
    says = tr(
        "With its sutures in, a large wound steepens its meridian by about {early:.1f} D at six weeks; the value here"
        " is for the time after they are out.",
        early=-priors.extracapsular_early_d,
    )
    return priors.extracapsular_late_d, priors.extracapsular_sd_d, band, [Doubt("sutures-counted-as-out", says)]


def _intracapsular(asked: _Asked, priors: IncisionPriors) -> Prior:
    mean, _, band, doubts = _extracapsular(asked, priors)
    return mean, priors.intracapsular_sd_d, band, [*doubts, _no_series(tr("intracapsular wound"), asked)]


_KINDS: Mapping[str, Callable[[_Asked, IncisionPriors], Prior]] = {
    "manual-small-incision": _manual,
    "clear-corneal": _clear_corneal,
    "extracapsular": _extracapsular,
    "intracapsular": _intracapsular,
}


def _no_series(wound: str, asked: _Asked) -> Doubt:
    says = tr(
        "No series says what a {wound} induces here ({site}); the value is our assumption.",
        wound=wound,
        site=tr(asked.site),
    )
    return Doubt("no-series-for-site", says)


def _check_suture(asked: _Asked, known: tuple[str, ...]) -> None:
    if asked.suture is not None and asked.suture not in known:
        raise _not_one_of("suture", asked.suture, known)


def _not_one_of(field: str, value: str, known: tuple[str, ...]) -> InvalidInput:
    allowed = ", ".join(known)
    return InvalidInput(
        tr("{field} is {value}; allowed: {allowed}.", field=field, value=repr(value), allowed=allowed),
        field=field,
        value=value,
        allowed=allowed,
    )

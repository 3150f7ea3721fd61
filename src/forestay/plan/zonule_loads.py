"""What each manoeuvre asks of the zonule of this eye, against what a healthy zonule comes through.

Comparative by construction. Loads are scaled so that the first puncture moves a healthy lens as far as was measured;
the other manoeuvres are shares of it. The measure is the stretch of the most stretched fibre, resting = 1. An eye at the
weak end of normal comes through its hardest routine step, so that step's stretch is what a fibre bears; a manoeuvre is
short where this eye's most stretched fibre is asked for more. Nothing here is a probability of a patient's outcome.

The draws run on the rigid disc with the lens in the bag; what an empty bag and a ring change is one solve of the
flexible bag each, at the mean zonule, by which the draws are scaled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from forestay.evidence import Reader
from forestay.frame import HOURS, hour_distance, wrap_hour
from forestay.mechanics import bag as mechanics
from forestay.mechanics import disc, zonule
from forestay.mechanics.bag_model import Bag, BagConstants, Contents, Load
from forestay.mechanics.ring_loop import Ring, RingConstants
from forestay.mechanics.zonule import ZonuleConstants, ZonuleParameters

Floats = NDArray[np.float64]
CALIBRATION_STEPS = 65
"""Forces tried at once when the puncture force of a healthy eye is found; between them it is interpolated."""
CALIBRATION_SPAN = 4.0
"""The largest force tried, as a multiple of what the small-motion stiffness would need."""


@dataclass(frozen=True)
class Manoeuvre:
    """One manoeuvre: which row gives its share of the puncture's load, and which way it pulls.

    ``toward``: ``away`` from the incision, ``tunnel`` toward it, ``inward`` at the weakest hour, ``turn`` a torque.
    ``stage``: with the ``lens`` in the bag, or with the bag ``empty``.
    """

    key: str
    row: str
    toward: str
    stage: str
    techniques: tuple[str, ...]


SMALL = ("manual-small-incision", "phacoemulsification")
OPEN = (*SMALL, "extracapsular")
MANOEUVRES: tuple[Manoeuvre, ...] = (
    Manoeuvre("puncture", "load.puncture_share", "away", "lens", OPEN),
    Manoeuvre("capsulorhexis-pull", "load.rhexis_share", "away", "lens", SMALL),
    Manoeuvre("hydrodissection", "load.hydrodissection_share", "away", "lens", OPEN),
    Manoeuvre("rotation", "load.rotation_share", "turn", "lens", SMALL),
    Manoeuvre("pole-lift", "load.pole_share", "tunnel", "lens", ("manual-small-incision",)),
    Manoeuvre("whole-nucleus", "load.nucleus_share", "tunnel", "lens", ("manual-small-incision", "extracapsular")),
    Manoeuvre("cortex", "load.cortex_share", "inward", "empty", OPEN),
    Manoeuvre("ring", "load.ring_share", "away", "empty", SMALL),
    Manoeuvre("lens-in", "load.lens_share", "away", "empty", OPEN),
)


@dataclass(frozen=True)
class Loads:
    """Stretch of the most stretched fibre, healthy resting stretch = 1, for each manoeuvre."""

    borne: float
    """What a healthy eye of this age comes through at its hardest step of the technique."""
    healthy: dict[str, float]
    centre: dict[str, float]
    draws: dict[str, Floats]
    rest_by_hour: tuple[float, ...]
    """Resting load by clock hour at the mean zonule, healthy = 1."""
    displacement_mm: float
    displacement_clock: float | None


def springs(*, bag_diameter_mm: float, age_years: float, use: Reader) -> ZonuleParameters:
    """The springs of this bag at this age, at the stiffness as read."""
    return zonule.parameters(
        bag_diameter_mm=bag_diameter_mm, age_years=age_years, constants=use.constants(ZonuleConstants)
    )


@lru_cache(maxsize=512)
def puncture_force_mn(parameters: ZonuleParameters, travel_mm: float) -> float:
    """The sideways force [mN] that moves a healthy lens by ``travel_mm``."""
    total = float(parameters.total_stiffness_mn_per_mm)
    forces = np.linspace(0, CALIBRATION_SPAN * total * travel_mm, CALIBRATION_STEPS)
    moved = disc.equilibrium(
        support=np.ones(12), load_x_mn=0.0, load_y_mn=-forces, torque_mn_mm=0.0, parameters=parameters
    ).displacement_mm
    return float(np.interp(travel_mm, moved, forces))


def _direction(manoeuvre: Manoeuvre, tunnel_at: float, weakest: float) -> tuple[float, float]:
    clock = {"away": wrap_hour(tunnel_at + 6), "tunnel": tunnel_at, "inward": wrap_hour(weakest + 6), "turn": 12.0}
    x, y = zonule.direction(clock[manoeuvre.toward])
    return x, y


ANSWER_STEPS = 72
"""Stations of the flexible bag: enough for an answer, half of what a picture takes."""
FEW_STEPS = 16
"""Draws up to which all manoeuvres are solved in one go; with more, each is solved and remembered alone."""
Pull = tuple[float, float, float]
"""Force to the examiner's right and up [mN], torque counter-clockwise [mN mm]."""


def _pull(manoeuvre: Manoeuvre, share: float, at: _Where) -> Pull:
    force = share * at.force_mn
    if manoeuvre.toward == "turn":
        return 0.0, 0.0, force * float(at.parameters.bag_radius_mm)
    x, y = _direction(manoeuvre, at.tunnel, at.weakest)
    return force * x, force * y, 0.0


def _peak(support: Floats, manoeuvres: Sequence[Manoeuvre], shares: Sequence[float], at: _Where) -> Floats:
    """Stretch of the most stretched fibre (k, n), resting healthy = 1, for every manoeuvre and draw.

    Remembered by content: a control that leaves zonule and incision alone does not solve them again, and two
    techniques that pull alike share one answer.
    """
    pulls = [_pull(m, share, at) for m, share in zip(manoeuvres, shares, strict=True)]
    n = support.shape[1]
    if not pulls:
        return np.zeros((0, n))
    contents = np.ascontiguousarray(support).tobytes()
    if n <= FEW_STEPS:
        return _peaks_of(contents, n, tuple(pulls), at.parameters)
    return np.concatenate([_peaks_of(contents, n, (pull,), at.parameters) for pull in pulls])


@lru_cache(maxsize=256)
def _peaks_of(contents: bytes, n: int, pulls: tuple[Pull, ...], parameters: ZonuleParameters) -> Floats:
    support = np.frombuffer(contents).reshape(12, n)
    columns = np.tile(support, (1, len(pulls)))
    load_x, load_y, torque = (np.repeat([pull[i] for pull in pulls], n) for i in range(3))
    state = disc.equilibrium(
        support=columns, load_x_mn=load_x, load_y_mn=load_y, torque_mn_mm=torque, parameters=parameters
    )
    relative = state.stretch_mm / float(parameters.prestretch_mm)
    held = np.where(columns > 0, relative, 0.0).max(axis=0)
    peak: Floats = np.where(np.asarray(state.state) == "held", held, np.inf).reshape(len(pulls), n)
    peak.setflags(write=False)
    return peak


@dataclass(frozen=True)
class _Where:
    """Where the forces act, and how large the puncture's is."""

    parameters: ZonuleParameters
    force_mn: float
    tunnel: float
    weakest: float


@dataclass(frozen=True)
class EmptyBag:
    """What the flexible empty bag, with or without a ring, puts on the rigid disc's answer: one solve each."""

    bag: BagConstants
    rings: RingConstants
    ring: Ring
    yielding: float
    """Multiple of what a healthy eye bears at which a load is shown where the bag gives way altogether."""

    @classmethod
    def read(cls, use: Reader) -> EmptyBag:
        """The constants of bag and ring, with a ring of medium stiffness."""
        ring = Ring(use.number("ring.free_diameter_mm"), use.number("load.ring_spring_mn_per_mm"), None)
        return cls(
            use.constants(BagConstants), use.constants(RingConstants), ring, use.number("load.yielding_multiple")
        )

    def scale(self, support: tuple[float, ...], m: Manoeuvre, share: float, at: _Where, *, ring: bool) -> float:
        """Peak stretch in the empty bag over peak stretch on the disc, for one load at the mean zonule; 1 with a lens in."""
        if m.stage != "empty":
            return 1.0
        clock = at.weakest if m.toward == "inward" else wrap_hour(at.tunnel + 6)
        if len(set(support)) == 1:
            clock = 12.0  # an even zonule answers alike all round
        load = Load("radial", clock, share * at.force_mn, inward=m.toward == "inward")
        pairs: tuple[tuple[Contents, bool], ...] = (("empty", ring), ("lens", False))
        peaks = [
            _peak_of(Bag(support, at.parameters, contents, self.ring if with_ring else None, (), load), self)
            for contents, with_ring in pairs
        ]
        if not np.isfinite(peaks[1]) or peaks[1] == 0:
            return 1.0
        return float(peaks[0] / peaks[1])


@lru_cache(maxsize=512)
def _peak_of(bag: Bag, empty: EmptyBag) -> float:
    state = mechanics.rest(bag=bag, constants=empty.bag, ring_constants=empty.rings, stations=ANSWER_STEPS)
    return state.peak_stretch_mm if state.state == "held" else float("inf")


def weakest_hour(mean_support: Floats, tunnel_at: float) -> float:
    """The clock hour with the least zonule that still has some; of equals, the one farthest from the tunnel."""
    hours = [h for h, s in zip(HOURS, mean_support, strict=True) if s > 0] or list(HOURS)
    by_hour = dict(zip(HOURS, mean_support, strict=True))
    gap = [h for h, s in zip(HOURS, mean_support, strict=True) if s <= 0]

    def rank(hour: float) -> tuple[float, float, float]:
        beside = min((hour_distance(hour, g) for g in gap), default=0.0)
        return beside, float(by_hour[int(hour)]), -hour_distance(hour, tunnel_at)

    return float(min(hours, key=rank))


def loads(
    *,
    technique: str,
    support: Floats,
    support_mean: Floats,
    lent: Floats,
    parameters: ZonuleParameters,
    tunnel_at: float,
    ring: bool,
    use: Reader,
) -> Loads:
    """Loads of every manoeuvre of ``technique``; none where lens and bag are taken out together (nothing is spared).

    ``support`` (12, n) and ``support_mean`` (12,) [share of healthy support]; ``lent`` (12,) what capsule hooks add at
    their hours once they are in; ``ring``: whether a tension ring is in before the lens (and before the cortex).
    """
    chosen = [m for m in MANOEUVRES if technique in m.techniques]
    shares = [use.number(m.row) for m in chosen]
    force = puncture_force_mn(parameters, use.number("load.puncture_travel_mm"))
    where = _Where(parameters, force, tunnel_at, weakest_hour(support_mean, tunnel_at))
    empty = EmptyBag.read(use)
    share = use.number("load.borne_share")
    sound = (share,) * 12
    healthy = _peak(np.full((12, 1), share), chosen, shares, where)[:, 0]
    healthy = healthy * [empty.scale(sound, m, s, where, ring=False) for m, s in zip(chosen, shares, strict=True)]
    before = [i for i, m in enumerate(chosen) if m.key in ("puncture", "capsulorhexis-pull")]
    after = [i for i in range(len(chosen)) if i not in before]
    peaks = np.zeros((len(chosen), support.shape[1] + 1))
    bare = np.concatenate([support_mean[:, None], support], axis=1)
    helped = np.minimum(bare + lent[:, None], 1.0)
    for part, columns in ((before, bare), (after, helped)):
        if part:
            peaks[part] = _peak(columns, [chosen[i] for i in part], [shares[i] for i in part], where)
    mean = tuple(float(v) for v in np.minimum(support_mean + lent, 1.0))
    scale = [empty.scale(mean, m, s, where, ring=ring and m.key != "ring") for m, s in zip(chosen, shares, strict=True)]
    peaks *= np.array(scale)[:, None]
    borne = float(healthy.max(initial=0.0))
    peaks = np.minimum(peaks, empty.yielding * borne)
    rest = disc.equilibrium(support=support_mean, load_x_mn=0.0, load_y_mn=0.0, torque_mn_mm=0.0, parameters=parameters)
    moved = float(np.asarray(rest.displacement_mm).reshape(-1)[0])
    x, y = float(np.asarray(rest.x_mm).reshape(-1)[0]), float(np.asarray(rest.y_mm).reshape(-1)[0])
    tension = np.asarray(rest.tension_mn).reshape(12, -1)[:, 0] / float(parameters.resting_load_mn)
    return Loads(
        borne=borne,
        healthy={m.key: float(h) for m, h in zip(chosen, healthy, strict=True)},
        centre={m.key: float(p[0]) for m, p in zip(chosen, peaks, strict=True)},
        draws={m.key: p[1:] for m, p in zip(chosen, peaks, strict=True)},
        rest_by_hour=tuple(float(t) for t in tension),
        displacement_mm=moved,
        displacement_clock=zonule.clock_of(x, y) if moved > disc.RESIDUAL else None,
    )


def lent_by_hooks(clocks: Sequence[float], share: float) -> Floats:
    """Support that capsule hooks lend by clock hour (12,), shared between the two hours that a hook stands between."""
    lent = np.zeros(12)
    for clock in clocks:
        for index, hour in enumerate(HOURS):
            lent[index] += share * max(0.0, 1.0 - hour_distance(clock, hour))
    return lent

"""What each manoeuvre asks of the zonule of this eye, against what a healthy zonule comes through.

Comparative by construction. Loads are scaled so that the first puncture moves a healthy lens as far as was measured;
the other manoeuvres are shares of it. The measure is the stretch of the most stretched fibre, resting = 1. An eye at the
weak end of normal comes through its hardest routine step, so that step's stretch is what a fibre bears; a manoeuvre is
short where this eye's most stretched fibre is asked for more. Nothing here is a probability of a patient's outcome.

The draws run on the rigid disc with the lens in the bag; what an empty bag and a ring change is one solve of the
flexible bag each, at the mean zonule, by which the draws are scaled. A ring is the open one, its ends where they are
planned.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache, partial

import numpy as np
from numpy.typing import NDArray

from forestay.calc.borne import ANSWER_STEPS, borne_stretch
from forestay.calc.manoeuvres import table
from forestay.evidence import Reader
from forestay.frame import HOURS, hour_distance
from forestay.mechanics import bag as mechanics
from forestay.mechanics import disc, manoeuvre, zonule
from forestay.mechanics.bag_model import Bag, BagConstants, BagState, Load
from forestay.mechanics.manoeuvre import Manoeuvre
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.zonule import ZonuleConstants, ZonuleParameters
from forestay.plan import ring_loads
from forestay.plan.ring_loads import PlannedRing, RingedRest

Floats = NDArray[np.float64]
SMALL = ("manual-small-incision", "phacoemulsification")
OPEN = (*SMALL, "extracapsular")
TECHNIQUES: dict[str, tuple[str, ...]] = {
    "puncture": OPEN,
    "capsulorhexis-pull": SMALL,
    "hydrodissection": OPEN,
    "rotation": SMALL,
    "pole-lift": ("manual-small-incision",),
    "whole-nucleus": ("manual-small-incision", "extracapsular"),
    "cortex-radial": OPEN,
    "cortex-tangential": OPEN,
    "ring-insertion": SMALL,
    "lens-insertion": OPEN,
}
"""Which technique has which manoeuvre."""
BEFORE_HOOKS = ("puncture", "capsulorhexis-pull")
"""Manoeuvres done before a capsule hook can hold anything."""
KEPT_LIMIT = 512
"""Answers of the rigid disc that are remembered."""
Pull = tuple[float, float, float]
"""Force to the examiner's right and up [mN], torque counter-clockwise [mN mm]."""


@dataclass(frozen=True)
class Loads:
    """Stretch of the most stretched fibre, healthy resting stretch = 1, for each manoeuvre."""

    borne: float
    """What an eye at the weak end of normal comes through at its hardest step of the technique."""
    centre: dict[str, float]
    draws: dict[str, Floats]
    rest_by_hour: tuple[float, ...]
    """Resting load by clock hour at the mean zonule, healthy = 1."""
    displacement_mm: float
    displacement_clock: float | None
    ring_asked: Callable[[], RingedRest] | None

    @cached_property
    def ring_rest(self) -> RingedRest | None:
        """The empty bag with the planned ring in it and capsule hooks out again, nothing pulling; None without a ring.
        Worked out when it is asked for: of the options, only the one that is chosen tells it."""
        return None if self.ring_asked is None else self.ring_asked()


def springs(*, bag_diameter_mm: float, age_years: float, use: Reader) -> ZonuleParameters:
    """The springs of this bag at this age, at the stiffness as read."""
    return zonule.parameters(
        bag_diameter_mm=bag_diameter_mm, age_years=age_years, constants=use.constants(ZonuleConstants)
    )


@dataclass(frozen=True)
class _Where:
    """Where the forces act, and how large the puncture's is."""

    parameters: ZonuleParameters
    force_mn: float
    tunnel: float
    worked_at: float

    def acts(self, m: Manoeuvre) -> tuple[Load, ...]:
        """The load of a manoeuvre, in both senses where the sense is free."""
        return m.loads(force_mn=self.force_mn, tunnel_clock=self.tunnel, work_clock=self.worked_at)

    def pull(self, load: Load) -> Pull:
        """A load as it acts on the rigid disc."""
        return _pull_of(load, self.parameters)


@lru_cache(maxsize=512)
def _pull_of(load: Load, parameters: ZonuleParameters) -> Pull:
    return Bag((1.0,) * 12, parameters, "lens", None, (), load).load_on_disc()


def _peak(support: Floats, manoeuvres: Sequence[Manoeuvre], at: _Where) -> Floats:
    """Stretch of the most stretched fibre (k, n), resting healthy = 1, for every manoeuvre and draw.

    Of two senses the worse counts. Remembered by content: a control that leaves zonule and incision alone does not
    solve them again, and two techniques that pull alike share one answer.
    """
    if not manoeuvres:
        return np.zeros((0, support.shape[1]))
    pulls = [[at.pull(load) for load in at.acts(m)] for m in manoeuvres]
    asked = tuple(dict.fromkeys(pull for senses in pulls for pull in senses))
    found = _peaks_of(np.ascontiguousarray(support), asked, at.parameters)
    return np.stack([np.max([found[pull] for pull in senses], axis=0) for senses in pulls])


_PEAKS: dict[tuple[bytes, Pull, ZonuleParameters], Floats] = {}


def _peaks_of(support: Floats, pulls: tuple[Pull, ...], parameters: ZonuleParameters) -> dict[Pull, Floats]:
    """Peaks (n,) under each pull: those not remembered are solved in one go, each is remembered alone."""
    contents = support.tobytes()
    known = {pull: _PEAKS.get((contents, pull, parameters)) for pull in pulls}
    left = [pull for pull, peak in known.items() if peak is None]
    if left:
        if len(_PEAKS) + len(left) > KEPT_LIMIT:
            _PEAKS.clear()
        for pull, peak in zip(left, _solved(support, left, parameters), strict=True):
            known[pull] = _PEAKS[contents, pull, parameters] = peak
    return {pull: peak for pull, peak in known.items() if peak is not None}


def _solved(support: Floats, pulls: Sequence[Pull], parameters: ZonuleParameters) -> Floats:
    """Peaks (pulls, n) on the rigid disc; infinite where nothing holds."""
    n = support.shape[1]
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


def lens_peaks(
    support: Floats,
    manoeuvres: Sequence[Manoeuvre],
    *,
    parameters: ZonuleParameters,
    force_mn: float,
    tunnel_at: float,
    worked_at: float,
) -> Floats:
    """Stretch of the most stretched fibre for each manoeuvre with the lens in the bag, (manoeuvres, columns)."""
    return _peak(support, manoeuvres, _Where(parameters, force_mn, tunnel_at, worked_at))


@dataclass(frozen=True)
class EmptyBag:
    """What the flexible empty bag, with or without a ring, puts on the rigid disc's answer: one solve each."""

    bag: BagConstants
    rings: RingConstants
    planned: PlannedRing
    yielding: float
    """Multiple of what a healthy eye bears at which a load is shown where the bag gives way altogether."""

    @classmethod
    def read(cls, use: Reader) -> EmptyBag:
        """The constants of bag and ring."""
        planned = PlannedRing.read(use)
        return cls(planned.bag, planned.rings, planned, use.number("load.yielding_multiple"))

    def scale(
        self, support: tuple[float, ...], m: Manoeuvre, at: _Where, *, on_disc: float, ring_gap: float | None
    ) -> float:
        """Peak stretch in the empty bag over ``on_disc``, that on the disc, for one load at the mean zonule [healthy
        resting stretch = 1]; the scale is 1 with a lens in.

        ``ring_gap`` [clock hours] where the ends of the ring lie that is in before this manoeuvre; None without one.
        """
        if m.stage != "empty" or not np.isfinite(on_disc) or on_disc == 0:
            return 1.0
        acts = at.acts(m)
        gap = None if m.key in m.BEFORE_RING else ring_gap
        if gap is None:
            if len(set(support)) == 1:  # an even zonule answers alike all round
                acts = tuple(replace(load, clock=12.0) for load in acts)
            bagged = max(_peak_of(Bag(support, at.parameters, "empty", load=load), self) for load in acts)
        else:
            bagged = max(ring_loads.peak_stretch_mm(support, at.parameters, load, gap, self.planned) for load in acts)
        return float(bagged / float(at.parameters.prestretch_mm) / on_disc)


@lru_cache(maxsize=512)
def _peak_of(bag: Bag, empty: EmptyBag) -> float:
    state = mechanics.rest(
        bag=bag,
        constants=empty.bag,
        ring_constants=empty.rings,
        stations=ANSWER_STEPS,
        alone=_left_alone(replace(bag, load=None), empty),
    )
    return state.peak_stretch_mm if state.state == "held" else float("inf")


@lru_cache(maxsize=128)
def _left_alone(bag: Bag, empty: EmptyBag) -> BagState:
    """The bag without a load: every load on it begins from there, so it is solved once for all of them."""
    return mechanics.rest(bag=bag, constants=empty.bag, ring_constants=empty.rings, stations=ANSWER_STEPS)


def loads(
    *,
    technique: str,
    support: Floats,
    support_mean: Floats,
    lent: Floats,
    parameters: ZonuleParameters,
    tunnel_at: float,
    ring_gap: float | None,
    nucleus_share: float | None,
    use: Reader,
) -> Loads:
    """Loads of every manoeuvre of ``technique``; none where lens and bag are taken out together (nothing is spared).

    ``support`` (12, n) and ``support_mean`` (12,) [share of healthy support]; ``lent`` (12,) what capsule hooks add at
    their hours once they are in; ``ring_gap`` [clock hours] where the ends of a tension ring lie that is in before the
    lens (and before the cortex), None without one; ``nucleus_share`` the push that brings this nucleus through its opening, as a share of the first puncture.
    """
    chosen = [
        m if nucleus_share is None or m.key != "whole-nucleus" else replace(m, share=nucleus_share)
        for m in table(use)
        if technique in TECHNIQUES[m.key]
    ]
    force = manoeuvre.puncture_force_mn(springs=parameters, travel_mm=use.number("load.puncture_travel_mm"))
    worked_at = manoeuvre.weakest_hour(support=tuple(float(v) for v in support_mean), tunnel_clock=tunnel_at)
    where = _Where(parameters, force, tunnel_at, worked_at)
    empty = EmptyBag.read(use)
    borne = borne_stretch(springs=parameters, use=use) if chosen else 0.0
    bare = np.concatenate([support_mean[:, None], support], axis=1)
    helped = np.minimum(bare + lent[:, None], 1.0)
    mean = tuple(float(v) for v in helped[:, 0])
    peaks: dict[str, Floats] = {}
    for columns, part in (
        (bare, [m for m in chosen if m.key in BEFORE_HOOKS]),
        (helped, [m for m in chosen if m.key not in BEFORE_HOOKS]),
    ):
        peaks |= {m.key: row for m, row in zip(part, _peak(columns, part, where), strict=True)}
    scaled = {
        m.key: peaks[m.key] * empty.scale(mean, m, where, on_disc=float(peaks[m.key][0]), ring_gap=ring_gap)
        for m in chosen
    }
    shown = {key: np.minimum(peak, empty.yielding * borne) for key, peak in scaled.items()}
    rest = disc.equilibrium(support=support_mean, load_x_mn=0.0, load_y_mn=0.0, torque_mn_mm=0.0, parameters=parameters)
    x, y, moved = (float(np.ravel(v)[0]) for v in (rest.x_mm, rest.y_mm, rest.displacement_mm))
    tension = np.reshape(rest.tension_mn, (12, -1))[:, 0] / float(parameters.resting_load_mn)
    return Loads(
        borne=borne,
        centre={key: float(peak[0]) for key, peak in shown.items()},
        draws={key: peak[1:] for key, peak in shown.items()},
        rest_by_hour=tuple(float(t) for t in tension),
        displacement_mm=moved,
        displacement_clock=zonule.clock_of(x, y) if moved > disc.RESIDUAL else None,
        ring_asked=None if ring_gap is None else partial(_ring_rest, support_mean, parameters, ring_gap, empty.planned),
    )


def _ring_rest(support: Floats, parameters: ZonuleParameters, gap: float, planned: PlannedRing) -> RingedRest:
    """The bag as it is left: capsule hooks are out again."""
    shares = tuple(float(v) for v in support)
    return ring_loads.rest(support=shares, parameters=parameters, gap_clock=gap, planned=planned)


def lent_by_hooks(clocks: Sequence[float], share: float) -> Floats:
    """Support that capsule hooks lend by clock hour (12,), shared between the two hours that a hook stands between."""
    lent = np.zeros(12)
    for clock in clocks:
        for index, hour in enumerate(HOURS):
            lent[index] += share * max(0.0, 1.0 - hour_distance(clock, hour))
    return lent

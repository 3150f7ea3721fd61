"""What each manoeuvre does to the bag: how far it moves, what every clock hour then carries, what reserve is left.

A manoeuvre is a row: which way it pulls in the plane, with what in the bag, and how hard beside the first puncture. The
puncture's force is the one that moves the healthy lens of this very model by the measured travel; so everything is
relative to a healthy eye of the same age, and the zonule's poorly known stiffness drops out of the comparison.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import ClassVar, Literal

import numpy as np

from forestay.errors import InvalidInput
from forestay.frame import HOURS, hour_distance, wrap_hour
from forestay.mechanics import disc
from forestay.mechanics.bag import rest
from forestay.mechanics.bag_draws import rest_draws
from forestay.mechanics.bag_model import Bag, BagConstants, BagState, Load, State
from forestay.mechanics.bag_setting import Setting
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.zonule import HOUR_COUNT, Floats, ZonuleParameters, clock_of
from forestay.text import tr

Kind = Literal["radial", "tangential", "torque", "lift"]
Toward = Literal["away", "tunnel", "inward", "along", "turn"]
CALIBRATION_STEPS = 65  # forces tried at once when the puncture's force is found; between them it is interpolated
CALIBRATION_LIMIT = 4.0  # the largest force tried, as a multiple of what the small-motion stiffness would need


@dataclass(frozen=True)
class Manoeuvre:
    """One manoeuvre. ``kind``: a ``radial`` or ``tangential`` pull at the equator, a ``torque``, or a ``lift`` of which
    only the part in the plane acts here. ``toward``: ``away`` from the hand's side, toward the ``tunnel``, ``inward``
    from the hour worked at, ``along`` the equator there (the worse sense), or a ``turn`` (either sense). ``stage``: with
    the ``lens`` in the bag or with the bag ``empty``. ``share`` of the first puncture's force; ``source`` of that."""

    key: str
    kind: Kind
    toward: Toward
    stage: Literal["lens", "empty"]
    share: float
    source: str

    BEFORE_RING: ClassVar[tuple[str, ...]] = ("ring-insertion",)

    def loads(self, *, force_mn: float, tunnel_clock: float, work_clock: float) -> tuple[Load, ...]:
        """Its load or loads (both senses where the sense is free) [mN]; the worst of them counts.

        ``force_mn`` of the puncture; ``tunnel_clock`` the hand's side; ``work_clock`` the hour worked at."""
        pull = self.share * force_mn
        if self.toward == "turn":
            return tuple(Load("torque", float(HOUR_COUNT), pull, clockwise=sense) for sense in (True, False))
        if self.toward == "along":
            return tuple(Load("tangential", work_clock, pull, clockwise=sense) for sense in (True, False))
        if self.toward == "inward":
            return (Load("radial", work_clock, pull),)
        clock = wrap_hour(tunnel_clock + HOUR_COUNT * 0.5) if self.toward == "away" else tunnel_clock
        return (Load("radial", clock, pull, inward=False),)


@dataclass(frozen=True)
class ManoeuvreLoad:
    """What one manoeuvre does. ``state``; ``centring_mm`` distance of the bag's centre from its healthy place at rest
    and ``displacement_mm`` under the manoeuvre [mm], ``displacement_clock`` towards which hour; ``load_by_hour`` (12)
    and ``peak_stretch``, healthy resting load and stretch = 1; ``relative_to_healthy``: peak stretch against that of a
    healthy eye under the same manoeuvre. Where nothing holds, numbers are infinite or None and the state says so."""

    state: State
    centring_mm: float
    displacement_mm: float
    displacement_clock: float | None
    load_by_hour: tuple[float, ...] | None
    peak_stretch: float
    relative_to_healthy: float


@lru_cache(maxsize=512)
def puncture_force_mn(*, springs: ZonuleParameters, travel_mm: float) -> float:
    """Sideways force that moves a healthy lens by the measured travel [mN].

    Equation: the force at which the rigid disc's displacement is ``travel_mm`` [mm]. Range: travel below the fibres'
    length. ``springs``: one eye's, plain numbers.

    >>> round(puncture_force_mn(springs=ZonuleParameters(5.0, 1.5, 0.2, 10.6, 0.1), travel_mm=0.44), 2)
    2.2
    """
    most = CALIBRATION_LIMIT * float(springs.total_stiffness_mn_per_mm) * travel_mm
    forces = np.linspace(0, most, CALIBRATION_STEPS)
    moved = disc.equilibrium(
        support=np.ones(HOUR_COUNT), load_x_mn=0.0, load_y_mn=-forces, torque_mn_mm=0.0, parameters=springs
    ).displacement_mm
    return float(np.interp(travel_mm, moved, forces))


def weakest_hour(*, support: Sequence[float], tunnel_clock: float) -> float:
    """The hour to fear for: beside the gap, the weakest there, of equals the one farthest from the hand.

    ``support`` (12,) [0-1] by clock hour; an eye without any zonule answers with the hour opposite the hand.

    >>> weakest_hour(support=[1.0] * 6 + [0.0, 0.0, 0.4] + [1.0] * 3, tunnel_clock=12)
    8.0
    """
    return weakest_hours(support=support, tunnel_clock=tunnel_clock)[0]


def weakest_hours(*, support: Sequence[float], tunnel_clock: float) -> tuple[float, ...]:
    """The hour to fear for, as :func:`weakest_hour`; two where two are alike in all that counts there.

    >>> weakest_hours(support=[1.0] * 5 + [0.0] * 3 + [1.0] * 4, tunnel_clock=12)
    (4.0, 8.0)
    """
    gap = [hour for hour, share in zip(HOURS, support, strict=True) if share <= 0]
    left = [(hour, share) for hour, share in zip(HOURS, support, strict=True) if share > 0]
    if not left:
        return (wrap_hour(tunnel_clock + HOUR_COUNT * 0.5),)

    def rank(one: tuple[int, float]) -> tuple[float, float, float]:
        beside = min((hour_distance(one[0], g) for g in gap), default=0.0)
        return beside, one[1], -hour_distance(one[0], tunnel_clock)

    first = min(rank(one) for one in left)
    return tuple(float(one[0]) for one in left if rank(one) == first)


def loads(
    *,
    manoeuvres: Sequence[Manoeuvre],
    setting: Setting,
    support: Sequence[float],
    force_mn: float,
    tunnel_clock: float,
    work_clock: float,
    constants: BagConstants,
    ring_constants: RingConstants,
) -> dict[str, ManoeuvreLoad]:
    """What every manoeuvre does to one eye.

    Parameters: ``manoeuvres``; ``setting``, the springs and what helps (ring and rim act in the empty bag; instruments
    in both); ``support`` (12,) [0-1] by clock hour 12, 1 .. 11; ``force_mn`` [mN] of the puncture
    (:func:`puncture_force_mn`); ``tunnel_clock`` and ``work_clock`` [clock hours]; constants of the bag. Result: by
    key. Exactly mirrored input gives exactly mirrored answers. Never raises for a bag that fails.
    """
    if len(support) != HOUR_COUNT:
        raise InvalidInput(
            tr("support has {count} numbers; allowed: 12", count=len(support)), field="support", allowed="12"
        )
    shares = tuple(float(v) for v in support)
    resting = float(setting.springs.resting_load_mn), float(setting.springs.prestretch_mm)
    answers = {}
    for one in manoeuvres:
        acts = one.loads(force_mn=force_mn, tunnel_clock=tunnel_clock, work_clock=work_clock)
        healthy, here = setting.bare(), replace(setting, ring=None) if one.key in one.BEFORE_RING else setting
        sound = _worst([_rest(healthy, (1.0,) * HOUR_COUNT, one, a, constants, ring_constants) for a in acts])
        found = _worst([_rest(here, shares, one, a, constants, ring_constants) for a in acts])
        alone = _rest(here, shares, one, None, constants, ring_constants)
        answers[one.key] = _answer(found, alone, sound, resting)
    return answers


def _rest(  # noqa: PLR0917 - one question of `loads`
    setting: Setting,
    support: tuple[float, ...],
    manoeuvre: Manoeuvre,
    load: Load | None,
    constants: BagConstants,
    ring_constants: RingConstants,
) -> BagState:
    return _kept(setting.bag(support, manoeuvre.stage, load), constants, ring_constants)


@lru_cache(maxsize=1024)
def _kept(bag: Bag, constants: BagConstants, ring_constants: RingConstants) -> BagState:
    alone = None if bag.load is None else _kept(replace(bag, load=None), constants, ring_constants)
    return rest(bag=bag, constants=constants, ring_constants=ring_constants, alone=alone)


def _worst(states: Sequence[BagState]) -> BagState:
    return max(states, key=lambda s: (s.state != "held", s.peak_stretch_mm, s.displacement_mm, s.y_mm))


def _answer(found: BagState, alone: BagState, sound: BagState, resting: tuple[float, float]) -> ManoeuvreLoad:
    resting_mn, prestretch = resting
    if found.state != "held":
        return ManoeuvreLoad(found.state, float("inf"), float("inf"), None, None, float("inf"), float("inf"))
    moved = found.displacement_mm
    return ManoeuvreLoad(
        state=found.state,
        centring_mm=alone.displacement_mm,
        displacement_mm=moved,
        displacement_clock=clock_of(found.x_mm, found.y_mm) if moved > disc.RESIDUAL else None,
        load_by_hour=tuple(v / resting_mn for v in found.load_mn),
        peak_stretch=found.peak_stretch_mm / prestretch,
        relative_to_healthy=found.peak_stretch_mm / sound.peak_stretch_mm,
    )


def borne_stretch(
    *,
    manoeuvres: Sequence[Manoeuvre],
    setting: Setting,
    borne_share: float,
    force_mn: float,
    tunnel_clock: float,
    constants: BagConstants,
    ring_constants: RingConstants,
) -> float:
    """What a fibre bears: largest peak stretch of these manoeuvres in an eye with ``borne_share`` [0-1] of healthy
    support at every hour and no help, healthy resting stretch = 1."""
    found = loads(
        manoeuvres=manoeuvres,
        setting=setting.bare(),
        support=(borne_share,) * HOUR_COUNT,
        force_mn=force_mn,
        tunnel_clock=tunnel_clock,
        work_clock=wrap_hour(tunnel_clock + HOUR_COUNT * 0.5),
        constants=constants,
        ring_constants=ring_constants,
    )
    return max((one.peak_stretch for one in found.values()), default=0.0)


def peak_stretch_draws(
    *,
    manoeuvre: Manoeuvre,
    setting: Setting,
    support: Floats,
    force_mn: float,
    tunnel_clock: float,
    work_clock: float,
    constants: BagConstants,
    ring_constants: RingConstants,
) -> Floats:
    """Peak stretch (n,) of one manoeuvre in draws of the zonule, healthy resting stretch = 1; infinite where nothing
    holds.

    ``support`` (12, n) [0-1]. With the lens in the bag the rigid disc answers; the empty bag takes the setting's ring,
    but no rim, sheets or instruments (the draws' model), and its peak is that of the stations.
    """
    acts = manoeuvre.loads(force_mn=force_mn, tunnel_clock=tunnel_clock, work_clock=work_clock)
    peaks = []
    for load in acts:
        here = replace(setting, ring=None) if manoeuvre.key in manoeuvre.BEFORE_RING else setting
        bag = here.bag((1.0,) * HOUR_COUNT, manoeuvre.stage, load)
        if manoeuvre.stage == "lens":
            force_x, force_y, torque = bag.load_on_disc()
            state = disc.equilibrium(
                support=support,
                load_x_mn=force_x,
                load_y_mn=force_y,
                torque_mn_mm=torque,
                parameters=setting.springs,
                holds=bag.holds,
                sheets=bag.sheets,
                bed_mn_per_mm=bag.bed_mn_per_mm,
            )
            there = np.where(support > 0, state.stretch_mm, 0.0).max(axis=0)
            peaks.append(np.where(np.asarray(state.state) == "held", there, np.inf))
        else:
            plain = replace(bag, rim=None, sheets=(), holds=())
            found = rest_draws(
                bag=plain, support=support, stiffness_scale=1.0, constants=constants, ring_constants=ring_constants
            )
            peaks.append(np.where(found.state == "held", found.peak_stretch_mm, np.inf))
    return np.asarray(np.max(peaks, axis=0) / float(setting.springs.prestretch_mm), dtype=np.float64)

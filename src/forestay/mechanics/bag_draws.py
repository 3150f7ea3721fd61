"""Many draws of one empty bag, with or without a ring: the zonule varies, the bag and what is in it stay the same."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from forestay.errors import InvalidInput
from forestay.mechanics import fast
from forestay.mechanics.bag import rest
from forestay.mechanics.bag_model import Bag, BagConstants
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.zonule import HOUR_COUNT, Floats
from forestay.text import tr

STATIONS = 72  # round the equator of a draw: answers to 0.2 % with a ring


@dataclass(frozen=True)
class BagDraws:
    """Answers of many draws; the last axis is the draw. ``state`` words as in
    :class:`forestay.mechanics.bag_model.BagState`; ``x_mm``, ``y_mm`` the bag's centre; ``load_mn`` (12, n) pull by
    clock hour; ``peak_stretch_mm`` the most stretched fibre at a station; ``failed``: draws for which no rest was found
    (counted as collapsed), other than those that are ``overloaded``, for which there is none."""

    state: NDArray[np.str_]
    x_mm: Floats
    y_mm: Floats
    load_mn: Floats
    peak_stretch_mm: Floats
    iterations: NDArray[np.int64]
    converged: NDArray[np.bool_]

    @property
    def failed(self) -> int:
        """How many draws found no rest."""
        return int((~self.converged & (self.state != "overloaded")).sum())


def rest_draws(
    *,
    bag: Bag,
    support: ArrayLike,
    stiffness_scale: ArrayLike,
    constants: BagConstants,
    ring_constants: RingConstants,
    stations: int = STATIONS,
) -> BagDraws:
    """Where an empty bag comes to rest in each draw, by least energy (:func:`forestay.mechanics.bag.rest`).

    Parameters: ``bag``, empty, its own ``support`` set aside (one loop: no rim, sheets or holds); ``support`` (12, n)
    share of healthy support by clock hour; ``stiffness_scale``, a number or (n,), multiplies the zonule's stiffness;
    ``constants``, ``ring_constants``; ``stations``, a multiple of 24. Result: :class:`BagDraws`.

    The peak here is that of the stations (:func:`~forestay.mechanics.bag.rest` also reads it off at the edges of hours).
    Draws are worked out one after another in numpy; compiled (:mod:`forestay.mechanics.fast`) they go side by side, on
    every core, with the same answers. Range as for one bag; a draw that fails is a named state, never an error.
    """
    share = np.asarray(support, dtype=np.float64)
    if share.ndim != 2 or share.shape[0] != HOUR_COUNT or not bool(np.all((share >= 0) & (share <= 1))):
        raise InvalidInput(
            tr("support needs 12 rows of numbers from 0 to 1"), field="support", allowed="(12, n), 0 to 1"
        )
    if bag.contents != "empty" or bag.rim is not None or bag.sheets or bag.holds:
        raise InvalidInput(
            tr("draws take an empty bag of one loop, without holds"), field="bag", allowed=tr("an empty bag alone")
        )
    if stations % (2 * HOUR_COUNT):
        raise InvalidInput(
            tr("stations is {value}; allowed: a multiple of 24", value=stations), field="stations", allowed="24 n"
        )
    scale = np.ascontiguousarray(np.broadcast_to(stiffness_scale, share.shape[1:]), dtype=np.float64)
    alone = _solve(replace(bag, load=None), share, scale, constants, ring_constants, stations)
    if bag.load is None:
        return alone
    left = alone.state == "held"  # what is not held when left alone is not held under a load either
    loaded = _solve(bag, share[:, left], scale[left], constants, ring_constants, stations)
    for whole, part in ((getattr(alone, name), getattr(loaded, name)) for name in alone.__dataclass_fields__):
        whole[..., left] = part
    return alone


def _solve(  # noqa: PLR0917 - the arguments of rest_draws, checked
    bag: Bag, share: Floats, scale: Floats, constants: BagConstants, ring_constants: RingConstants, stations: int
) -> BagDraws:
    compiled = fast.part("fast_draws")
    if compiled is not None:
        quick: BagDraws = compiled.rest_draws(bag, share, scale, constants, ring_constants, stations)
        return quick
    draws = share.shape[1]
    state = np.empty(draws, dtype="<U11")
    place, load, peak = np.empty((2, draws)), np.empty((HOUR_COUNT, draws)), np.empty(draws)
    iterations, converged = np.empty(draws, dtype=np.int64), np.empty(draws, dtype=np.bool_)
    total = float(bag.springs.total_stiffness_mn_per_mm)
    for n in range(draws):
        springs = replace(bag.springs, total_stiffness_mn_per_mm=total * float(scale[n]))
        one = replace(bag, support=tuple(float(v) for v in share[:, n]), springs=springs)
        found = rest(bag=one, constants=constants, ring_constants=ring_constants, stations=stations)
        state[n], place[:, n], load[:, n] = found.state, (found.x_mm, found.y_mm), found.load_mn
        peak[n] = found.station_stretch_mm
        iterations[n], converged[n] = found.iterations, found.converged
    return BagDraws(state, place[0], place[1], load, peak, iterations, converged)

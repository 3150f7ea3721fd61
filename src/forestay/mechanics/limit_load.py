"""How much of a dead pull a bag bears, where it does not bear the whole of it.

A pull that stays as it is while the bag gives way has a limit: up to it there is a rest, at it the bag no longer
resists a further step (a limit point), beyond it there is none. That is a state of the bag, not a failure of the solver;
this says where it lies, as a share of the pull asked for.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from forestay.mechanics import bag as bag_engine
from forestay.mechanics import disc
from forestay.mechanics.bag_model import Bag, BagConstants
from forestay.mechanics.ring_loop import RingConstants
from forestay.mechanics.zonule import Floats

SCAN_STEPS = 64  # shares tried at once with the lens in the bag; then as many between the last that rests and the next
HALVING_STEPS = 10  # of the share with an empty bag: known to a thousandth


def borne_share(*, bag: Bag, constants: BagConstants, ring_constants: RingConstants, stations: int) -> float | None:
    """Share [0-1] of the bag's load up to which it comes to rest and is held; 1 where it bears the whole load; None
    where it has no load, or is not held without one.

    Parameters as :func:`forestay.mechanics.bag.rest`. The pull grows from nothing to what is asked for, and the first
    share without a rest counts. Range: planar, a pull of fixed size and direction.
    """
    if bag.load is None:
        return None
    ask = {"constants": constants, "ring_constants": ring_constants, "stations": stations}
    alone = bag_engine.rest(bag=replace(bag, load=None), **ask)  # type: ignore[arg-type]
    if alone.state != "held":
        return None
    if bag_engine.rest(bag=bag, alone=alone, **ask).state == "held":  # type: ignore[arg-type]
        return 1.0
    if bag.contents == "lens":
        low = _held_up_to(bag, np.linspace(0.0, 1.0, SCAN_STEPS + 1))
        return _held_up_to(bag, np.linspace(low, low + 1 / SCAN_STEPS, SCAN_STEPS + 1))
    low, high = 0.0, 1.0
    for _ in range(HALVING_STEPS):
        middle = (low + high) * 0.5
        part = replace(bag, load=replace(bag.load, force_mn=bag.load.force_mn * middle))
        held = bag_engine.rest(bag=part, alone=alone, **ask).state == "held"  # type: ignore[arg-type]
        low, high = (middle, high) if held else (low, middle)
    return low


def _held_up_to(bag: Bag, shares: Floats) -> float:
    """The last of rising ``shares`` of the load before the first at which the lens is not held."""
    force_x, force_y, torque = bag.load_on_disc()
    found = disc.equilibrium(
        support=np.asarray(bag.support)[:, None],
        load_x_mn=force_x * shares,
        load_y_mn=force_y * shares,
        torque_mn_mm=torque * shares,
        parameters=bag.springs,
        holds=bag.holds,
        sheets=bag.sheets,
        bed_mn_per_mm=bag.bed_mn_per_mm,
    )
    held = np.logical_and.accumulate(np.asarray(found.state) == "held")
    return float(shares[held][-1])

"""How the zonule unzips under an imposed stroke: one fibre at a time, the most overloaded first. A scenario.

The hand moves an instrument by a stroke; the instrument gives. (Under a constant force the answer would be all or
nothing, an artefact.) Each fibre tears at its own stretch: a limit with scatter. Limits are those of normal donor eyes
and are not known for a diseased zonule: shares torn are shown as a labelled scenario only, never as a tearing load.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Literal

import numpy as np
from numpy.random import Generator

from forestay.mechanics import fast, loop
from forestay.mechanics.bag_chain import chain_of, joined
from forestay.mechanics.bag_model import Bag, BagConstants, Load
from forestay.mechanics.loop_assembly import Assembly, Chain, Springs
from forestay.mechanics.ring_loop import RingConstants, overlap_share
from forestay.mechanics.zonule import HOUR_COUNT, Floats

STATIONS = 72  # and fibres, round the equator
LEAST_STRENGTH_SMALLEST = 0.05  # a fibre's limit is never below this share of the mean, however it is drawn
RIGID = 1000  # a bag with the lens in it is stiffer than its zonule by this

Kind = Literal["radial", "tangential"]


@dataclass(frozen=True)
class UnzipConstants:
    """``limit_mm`` mean rupture stretch [mm]; ``strength_scatter`` [share of it, one standard deviation];
    ``instrument_mn_per_mm`` give of hand and instrument [mN/mm]."""

    PREFIX: ClassVar[str] = "unzip"
    limit_mm: float
    strength_scatter: float
    instrument_mn_per_mm: float


@dataclass(frozen=True)
class Unzipped:
    """History over the strokes. ``torn_share`` of the fibres that were there [0-1]; ``force_mn`` in the instrument;
    ``displacement_mm`` of the bag's centre; ``share_of_limit``: stretch against limit of the fibre nearest to tearing
    among those left; ``torn`` (strokes, N) which; ``solves`` in all; ``converged``, whether each solve found rest."""

    stroke_mm: tuple[float, ...]
    torn_share: tuple[float, ...]
    force_mn: tuple[float, ...]
    displacement_mm: tuple[float, ...]
    share_of_limit: tuple[float, ...]
    torn: np.ndarray[tuple[int, int], np.dtype[np.bool_]]
    solves: int
    converged: bool


def scattered(*, generator: Generator, constants: UnzipConstants, fibres: int = STATIONS) -> Floats:
    """Limits (N,) [mm] of single fibres, normally scattered about the mean."""
    strength = 1 + constants.strength_scatter * generator.standard_normal(fibres)
    return np.asarray(constants.limit_mm * np.maximum(strength, LEAST_STRENGTH_SMALLEST), dtype=np.float64)


def unzip(
    *,
    bag: Bag,
    clock: float,
    stroke_mm: tuple[float, ...],
    limit_mm: Floats,
    constants: BagConstants,
    ring_constants: RingConstants,
    unzip_constants: UnzipConstants,
    kind: Kind = "radial",
    clockwise: bool = True,
) -> Unzipped:
    """Which fibres tear while the equator at ``clock`` is drawn towards the centre, or along the rim.

    Parameters: ``bag``, one loop, its load set aside, rigid with the lens in it; ``clock`` [clock hours]; ``stroke_mm``
    rising strokes of the hand [mm]; ``limit_mm`` (N,) rupture stretch of each fibre [mm], N the number of stations;
    constants; ``kind`` of pull, ``tangential`` with its sense ``clockwise`` as the examiner sees the eye. Result:
    :class:`Unzipped`. Range: strokes below the bag's radius; a torn fibre does not mend, so the torn share never falls.
    Always ends: each solve that leaves an overloaded fibre tears one, and once none is left the bag stays where it was.
    """
    stations = limit_mm.size
    plain = replace(bag, load=None, rim=None)
    chain, at = chain_of(bag=plain, constants=constants, ring_constants=ring_constants, stations=stations)
    if bag.contents == "lens":
        chain = _rigid(chain, plain)
    tool = _tool(plain, constants, unzip_constants, clock, stations)
    way = Load(kind, clock, 1.0, clockwise=clockwise).pull_mn()  # a unit vector
    there = chain.springs.stiffness_mn_per_mm[:stations] > 0
    torn = np.zeros(stations, dtype=np.bool_)
    rows: list[tuple[float, float, float, float]] = []
    history, solves, converged = [], 0, True
    scale = float(bag.springs.total_stiffness_mn_per_mm) * float(bag.springs.prestretch_mm)
    for stroke in stroke_mm:
        while (there & ~torn).any():
            pulled, hand = _pulled(chain, tool, torn, (stroke * way[0], stroke * way[1]))
            found = fast.minimise(Assembly(pulled), start_mm=at, force_scale_mn=scale)
            at, solves, converged = found.at_mm, solves + 1, converged and found.converged
            stretch = Assembly(pulled).spring_stretch(at)
            over = np.where(there & ~torn, stretch[:stations] / limit_mm, 0.0)
            if not over.max() > 1:
                force = float((stretch[-hand:] * pulled.springs.stiffness_mn_per_mm[-hand:]).sum())
                most = float(over.max())
                break
            torn[int(over.argmax())] = True
        else:
            force, most = 0.0, 0.0
        share = float((torn & there).sum()) / max(int(there.sum()), 1)
        rows.append((share, force, float(np.hypot(*at.mean(axis=1))), most))
        history.append(torn.copy())
    shares, forces, moved, nearest = (tuple(v) for v in zip(*rows, strict=True))
    return Unzipped(stroke_mm, shares, forces, moved, nearest, np.array(history), solves, converged)


def _tool(bag: Bag, constants: BagConstants, unzip_constants: UnzipConstants, clock: float, stations: int) -> Springs:
    """The instrument before its stroke: springs without length from the stations it holds to where they rest."""
    width = HOUR_COUNT / stations
    spread = max(constants.load_spread_hours, width)
    part = overlap_share(clock=loop.station_clocks(stations), width_hours=width, centre_clock=clock, arc_hours=spread)
    where = np.flatnonzero(part)
    rest = float(bag.springs.bag_radius_mm) * loop.station_directions(stations)[:, where]
    stiffness = unzip_constants.instrument_mn_per_mm * part[where] / part.sum()
    return Springs(where, rest, stiffness, np.zeros(where.size), np.zeros(where.size))


def _pulled(
    chain: Chain, tool: Springs, torn: np.ndarray[tuple[int], np.dtype[np.bool_]], stroke: tuple[float, float]
) -> tuple[Chain, int]:
    """The chain with its torn fibres gone and the instrument moved by ``stroke``; how many springs that has."""
    stiffness = chain.springs.stiffness_mn_per_mm.copy()
    stiffness[: torn.size][torn] = 0.0
    moved = replace(tool, anchor_mm=tool.anchor_mm + np.array(stroke)[:, None])
    springs = joined([replace(chain.springs, stiffness_mn_per_mm=stiffness), moved])
    return replace(chain, springs=springs), tool.station.size


def _rigid(chain: Chain, bag: Bag) -> Chain:
    """The chain of a bag with the lens in it: it neither bends nor stretches beside any zonule."""
    radius, total = float(bag.springs.bag_radius_mm), float(bag.springs.total_stiffness_mn_per_mm)
    count = chain.stations
    spacing = 2 * radius * float(np.sin(np.pi / count))
    hoop = replace(
        chain.hoop,
        stiffness_mn=RIGID * total * radius,
        bilateral_length_mm=spacing,
        covered=np.ones(count),
    )
    bending = np.full(count, RIGID * total * radius * radius / spacing)
    return replace(chain, hoop=hoop, bending_mn_mm=bending, free_turn_rad=-2 * np.pi / count)

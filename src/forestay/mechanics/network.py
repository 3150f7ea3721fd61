"""One net of springs as plain arrays: a chain of stations, or the two loops of a bag with its capsulorhexis.

What pulls on what is listed once (strips of capsule, ties, fibres and instruments, bending, loads), with no regard to
which loop it belongs to. Both solvers take the net so: numpy (:mod:`forestay.mechanics.net`) and compiled
(:mod:`forestay.mechanics.fast_loop`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from forestay.mechanics.loop_assembly import Assembly, Chain, Springs
from forestay.mechanics.two_loop import ROWS, STRIPS, TwoLoopAssembly, TwoLoops
from forestay.mechanics.zonule import Floats


@dataclass(frozen=True)
class Network:
    """One net, in the order that the compiled kernels take it. Stations are named by their first unknown, the ring folded
    flat (:func:`places`).

    ``axial`` (m, 3): EA and rest length of a strip, and its rest length under a ring; ``firm`` (m,) EA under a ring;
    ``ends`` (m, 2) its stations; ``laws`` (m, 2) toe strain and slack share; ``tie`` (t, 3) stiffness and the reach at
    rest, ``tie_at`` (t, 2); ``fibre`` (f, 6) anchor (x, y), height, stiffness, free length, and the share of the way
    between the stations ``fibre_at`` (f, 2) at which it pulls; ``bend`` (b, 2) stiffness and free turn at the middle
    one of ``bend_at`` (b, 3); ``load``, ``bed`` and ``bed_at`` by unknown; ``turn`` the turning moment on each station;
    ``rest_angle`` (n, 3) first unknown, cosine and sine of each station's place at rest."""

    axial: Floats
    firm: Floats
    ends: NDArray[np.int64]
    laws: Floats
    tie: Floats
    tie_at: NDArray[np.int64]
    fibre: Floats
    fibre_at: NDArray[np.int64]
    bend: Floats
    bend_at: NDArray[np.int64]
    load: Floats
    bed: Floats
    bed_at: Floats
    turn: float
    rest_angle: Floats


@lru_cache(maxsize=32)
def places(stations: int, rows: int) -> NDArray[np.int64]:
    """First unknown of each station: the ring folded flat (0, N-1, 1, N-2 ...), ``rows`` unknowns a station."""
    station = np.arange(stations)
    fold = np.where(station < stations // 2, 2 * station, 2 * (stations - 1 - station) + 1)
    return np.asarray(fold * rows, dtype=np.int64)


@lru_cache(maxsize=32)
def unknowns_of(stations: int, rows: int) -> NDArray[np.int64]:
    """Every unknown (rows, N) of each station."""
    return places(stations, rows)[None] + np.arange(rows)[:, None]


@lru_cache(maxsize=32)
def rest_angles(stations: int, rows: int) -> Floats:
    """First unknown of each station, and cosine and sine of its resting direction."""
    angle = np.pi * 0.5 - (2 * np.arange(stations) + 1) * np.pi / stations
    return np.stack([places(stations, rows).astype(np.float64), np.cos(angle), np.sin(angle)], axis=1)


def network_of(model: object) -> Network | None:
    """The net of a chain or of two loops; None for any other model."""
    if type(model) is Assembly:
        return _network(model.chain, None)
    if type(model) is TwoLoopAssembly:
        return _network(model.loops.equator, model.loops)
    return None


@dataclass(frozen=True)
class Joints:
    """What is coupled to what, of one chain or two: it hangs on the number of stations alone. ``wide``: columns of the
    lower band."""

    ends: NDArray[np.int64]
    tie_at: NDArray[np.int64]
    bend_at: NDArray[np.int64]
    wide: int


@lru_cache(maxsize=32)
def joints(stations: int, rows: int, bends: bool) -> Joints:
    """Ends of the strips (equator; then margin and flap), ends of the ties, and the three stations of each turn."""
    outer = places(stations, rows)
    onward = np.roll(outer, -1)
    pairs, ties = [(outer, onward)], []
    if rows == ROWS:
        inner, inner_onward = outer + 2, onward + 2
        pairs += [(inner, inner_onward), (outer, inner), (outer, inner_onward), (onward, inner)]
        ties = [(outer, inner), (inner, inner_onward)]
    ends = np.concatenate([np.stack(pair, axis=1) for pair in pairs])
    tie_at = np.concatenate([np.zeros((0, 2), dtype=np.int64), *(np.stack(pair, axis=1) for pair in ties)])
    bend_at = np.stack([np.roll(outer, 1), outer, onward], axis=1)[: stations * bends]
    apart = int(np.abs(ends[:, 0] - ends[:, 1]).max())
    if bends:
        apart = max(apart, int(np.ptp(bend_at, axis=1).max()))
    return Joints(ends, tie_at, bend_at, apart + 2)


def _network(chain: Chain, loops: TwoLoops | None) -> Network:
    count, rows = chain.stations, 2 if loops is None else ROWS
    outer, inner = places(count, rows), places(count, rows) + 2
    chains = [(chain, outer)] if loops is None else [(chain, outer), (loops.margin, inner)]
    bends = bool(chain.bending_mn_mm.any())
    known = joints(count, rows, bends)
    strips = known.ends.shape[0]
    axial, laws, firm = np.empty((strips, 3)), np.empty((strips, 2)), np.zeros(strips)
    load, bed, bed_at = np.zeros((3, count * rows))
    for n, (one, place) in enumerate(chains):
        part, hoop = slice(n * count, (n + 1) * count), one.hoop
        covered = hoop.covered if bends and one is chain else 0.0
        firm[part], axial[part, 0] = hoop.stiffness_mn * covered, hoop.stiffness_mn * (1 - covered)
        axial[part, 1], axial[part, 2] = hoop.rest_length_mm, hoop.bilateral_length_mm
        laws[part, 0], laws[part, 1] = hoop.toe_strain, hoop.slack_share
        for row in range(2):
            load[place + row] = one.force_mn[row]
            if one.bed_mn_per_mm:
                bed[place + row] = one.bed_mn_per_mm / count
                bed_at[place + row] = np.broadcast_to(one.bed_at_mm, (2, count))[row]
    pulling = [(one.springs, place, place, 0.0) for one, place in chains]
    tie = np.empty((known.tie_at.shape[0], 3))
    if loops is not None:
        flap = loops.flap
        for kind in range(STRIPS):
            part = slice((2 + kind) * count, (3 + kind) * count)
            rest = flap.rest_length_mm[kind, 0]
            axial[part, 0], axial[part, 1], axial[part, 2] = flap.stiffness_mn[kind, 0], rest, rest
            laws[part, 0], laws[part, 1] = flap.toe_strain, 0.0
        for n, stiffness in enumerate((flap.tie_mn_per_mm, flap.margin_tie_mn_per_mm)):
            part = slice(n * count, (n + 1) * count)
            tie[part, 0], tie[part, 1], tie[part, 2] = stiffness, flap.tied_mm[n][0], flap.tied_mm[n][1]
        pulling.append((loops.on_flap, outer, inner, loops.flap_share))
    fibre, fibre_at = _fibres(pulling)
    bend = np.empty((count * bends, 2))
    if bends:
        bend[:, 0], bend[:, 1] = chain.bending_mn_mm, chain.free_turn_rad
    return Network(
        axial=axial,
        firm=firm,
        ends=known.ends,
        laws=laws,
        tie=tie,
        tie_at=known.tie_at,
        fibre=fibre,
        fibre_at=fibre_at,
        bend=bend,
        bend_at=known.bend_at,
        load=load,
        bed=bed,
        bed_at=bed_at,
        turn=float(chain.torque_mn_mm) / count,
        rest_angle=rest_angles(count, rows),
    )


def _fibres(
    pulling: list[tuple[Springs, NDArray[np.int64], NDArray[np.int64], float]],
) -> tuple[Floats, NDArray[np.int64]]:
    """Every fibre and hold, set by set: springs, first unknowns of the stations at both ends of what they pull at, and
    the share of the way from one to the other."""
    whole = sum(springs.station.size for springs, *_ in pulling)
    fibre, at = np.empty((whole, 6)), np.empty((whole, 2), dtype=np.int64)
    first = 0
    for springs, near, far, share in pulling:
        part = slice(first, first + springs.station.size)
        fibre[part, 0], fibre[part, 1], fibre[part, 2] = springs.anchor_mm[0], springs.anchor_mm[1], springs.height_mm
        fibre[part, 3], fibre[part, 4], fibre[part, 5] = springs.stiffness_mn_per_mm, springs.free_length_mm, share
        at[part, 0], at[part, 1] = near[springs.station], far[springs.station]
        first = part.stop
    return fibre, at

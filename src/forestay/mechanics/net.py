"""Energy, gradient and stiffness of one net of springs in numpy: all its strips, fibres and turns at once.

The laws are those of :mod:`forestay.mechanics.loop_assembly` and :mod:`forestay.mechanics.two_loop`, where they are
written out loop by loop; here every term of one kind is worked out in one array, and one sum sends them to their places.
What the energy needs is kept, so that the derivatives at the same place go on from there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from forestay.mechanics.network import Network, joints, places
from forestay.mechanics.segments import Ints, Pattern, Segments, pattern_of
from forestay.mechanics.zonule import Floats

THIRD = 2 / 3  # twice the integral of a quadratic toe, beside half of strain times tension
ENDS = 2
TINY_LIMIT = 1e-300  # a length below it is none
TURNING = 3  # stations whose places make one turn


@dataclass(frozen=True, eq=False)
class Wiring:
    """What hangs on the number of stations alone. ``natural``: the unknown (rows by stations) of each place of the ring
    folded flat; ``ends``, two times (2, m), the unknowns (x, y) of both ends of every strip; ``tied`` the strips that ties lie
    beside; ``terms`` the places of the terms of strips and turns, stiffness first and forces after; ``along`` the
    stations."""

    pattern: Pattern
    natural: Ints
    ends: tuple[Ints, Ints]
    tied: list[slice]
    terms: tuple[Ints, ...]
    along: Ints


@lru_cache(maxsize=32)
def wiring(stations: int, rows: int, bends: bool) -> Wiring:
    """The wiring of one loop or two."""
    pattern, known = pattern_of(stations, rows, bends), joints(stations, rows, bends)
    natural = np.empty(stations * rows, dtype=np.int64)
    for row in range(rows):
        natural[places(stations, rows) + row] = row * stations + np.arange(stations)
    strips, turns = (natural[at].T for at in (known.ends, known.bend_at))
    terms = (_pairs(pattern, strips, stations), _forces(pattern, strips, stations), _pairs(pattern, turns, stations))
    tied = [np.flatnonzero((known.ends == pair).all(axis=1))[0] for pair in known.tie_at[:: max(stations, 1)]]
    ends = (np.stack([strips[0], strips[0] + stations]), np.stack([strips[1], strips[1] + stations]))
    return Wiring(
        pattern, natural, ends, [slice(first, first + stations) for first in tied], terms, np.arange(stations)
    )


def _pairs(pattern: Pattern, at: Ints, stations: int) -> Ints:
    """Places of the blocks of every two of the stations ``at`` (e, m): (e, e, 4, m)."""
    rows = np.stack([at, at, at + stations, at + stations], axis=1)[:, None]
    columns = np.stack([at, at + stations, at, at + stations], axis=1)[None]
    return pattern.places(*np.broadcast_arrays(rows, columns))


def _forces(pattern: Pattern, at: Ints, stations: int) -> Ints:
    """Places of the forces on the stations ``at`` (e, m): (e, 2, m)."""
    return np.asarray(pattern.size + np.stack([at, at + stations], axis=1), dtype=np.int64)


@lru_cache(maxsize=64)
def _laid_out(wired: Wiring, turned: bool, *fibres: bytes) -> tuple[Ints, tuple[tuple[int, ...], ...]]:
    """Place of every term, and the shape of each kind: strips, turns, fibres, moment. ``fibres``: the unknowns at which
    they pull, and both of those on a strip; bags with the same instruments share the answer."""
    pattern, stations = wired.pattern, wired.along.size
    near, strung, far = (np.frombuffer(at, dtype=np.int64) for at in fibres)
    both = _pairs(pattern, np.stack([strung, far]), stations)
    groups = [*wired.terms, _pairs(pattern, near[None], stations), _forces(pattern, near[None], stations)]
    groups += [both[0, 1], both[1, 0], both[1, 1], _forces(pattern, far[None], stations)]
    if turned:
        own = wired.along[None]
        groups += [_pairs(pattern, own, stations), _forces(pattern, own, stations)]
    return np.concatenate([group.ravel() for group in groups]), tuple(group.shape for group in groups)


@dataclass(frozen=True)
class Seen:
    """One place of the stations and what its energy was made of: reach and length of strips and fibres, laws, turns."""

    at: Floats
    along: Floats
    length: Floats
    inside: Floats
    tension: Floats
    apart: list[Floats]
    reach: Floats
    far: Floats
    stretch: Floats
    change: Floats
    energy: float


class Net:
    """Evaluates one net, as :class:`forestay.mechanics.loop.Energy` asks."""

    def __init__(self, network: Network, *, stations: int, rows: int) -> None:
        self._bends = network.bend.size > 0
        self._wired = wired = wiring(stations, rows, self._bends)
        self._stations, size = stations, stations * rows
        stiffness, rest, firm_rest = network.axial.T
        self._stiffness, self._per_rest, self._firm_rest = stiffness.copy(), 1 / rest, firm_rest[:stations].copy()
        self._stored = 0.5 * stiffness * rest
        self._toe, self._slack = np.ascontiguousarray(network.laws.T)
        self._half_per_toe = 0.5 / self._toe
        self._slope_toe, self._slope_slack = stiffness / (rest * self._toe), self._slack * stiffness / rest
        self._firm, self._bend, self._turn = network.firm[:stations], network.bend.T, network.turn
        ties = zip(wired.tied, np.split(network.tie, max(len(wired.tied), 1)), strict=bool(wired.tied))
        self._ties = [(part, float(tie[0, 0]), tie[:, 1:].T.copy()) for part, tie in ties]
        self._load, self._bed, self._bed_at = np.empty((3, size))
        for own, given in ((self._load, network.load), (self._bed, network.bed), (self._bed_at, network.bed_at)):
            own[wired.natural] = given
        self._soft = bool(network.bed.any())
        self._cos, self._sin = network.rest_angle[:, 1], network.rest_angle[:, 2]
        self._take_fibres(network)
        self._lay_out()
        self._seen: Seen | None = None

    def _take_fibres(self, network: Network) -> None:
        """The fibres that pull at all, those on a strip between two stations last."""
        share = network.fibre[:, 5]
        pulling = network.fibre[:, 3] > 0
        order = np.concatenate([np.flatnonzero(pulling & (share == 0)), np.flatnonzero(pulling & (share > 0))])
        x, y, height, self._spring, self._free, share = np.ascontiguousarray(network.fibre[order].T)
        self._anchor, self._height_square = np.stack([x, y]), height * height
        at = self._wired.natural[network.fibre_at[order]].T
        self._near = np.stack([at[0], at[0] + self._stations])
        self._strung = slice(int((share == 0).sum()), None)
        self._far = np.stack([at[1], at[1] + self._stations])[:, self._strung]
        self._share, self._keep = share[self._strung], 1 - share

    def _lay_out(self) -> None:
        """A work array of all terms, with one view a kind, and where each goes."""
        given = (self._near[0], self._near[0, self._strung], self._far[0])
        self._places, shapes = _laid_out(self._wired, bool(self._turn), *(at.tobytes() for at in given))
        self._terms = np.empty(self._places.size)
        self._views, first = [], 0
        for shape in shapes:
            size = int(np.prod(shape))
            self._views.append(self._terms[first : first + size].reshape(shape))
            first += size

    def energy(self, at: Floats) -> float:
        """Energy [mN mm] of the stations at ``at`` (rows, N) [mm]."""
        self._seen = self._look(at)
        return self._seen.energy

    def derivatives(self, at: Floats) -> tuple[Floats, Segments]:
        """Gradient (rows, N) [mN] and stiffness [mN/mm] at ``at``."""
        seen = self._seen if self._seen is not None and self._seen.at is at else self._look(at)
        self._put_strips(seen)
        self._put_fibres(seen)
        if self._turn:
            self._put_torque(at)
        pattern = self._wired.pattern
        counted = np.bincount(self._places, weights=self._terms, minlength=pattern.size + at.size)
        summed = np.asarray(counted, dtype=np.float64)
        values = summed[: pattern.size]
        gradient = summed[pattern.size :] - self._load
        if self._soft:
            gradient += self._bed * (at.ravel() - self._bed_at)
            values[pattern.diagonal] += self._bed
        return gradient.reshape(at.shape), Segments(pattern, values)

    def _look(self, at: Floats) -> Seen:
        flat, stations = at.ravel(), self._stations
        first, last = self._wired.ends
        along = flat.take(last) - flat.take(first)
        square = along * along
        length = np.sqrt(square[0] + square[1])
        strain = length * self._per_rest - 1
        taut = np.maximum(strain, 0.0)
        inside = np.minimum(taut, self._toe)
        beyond = taut - inside
        toe_part = self._half_per_toe * inside * inside
        slack_part = self._slack * strain
        stored = THIRD * inside * toe_part + beyond * (self._toe + beyond) + slack_part * strain
        total = float(self._stored @ stored)
        tension = self._stiffness * (toe_part + beyond + slack_part)
        change = np.zeros(0)
        if self._bends:
            firm = length[:stations] / self._firm_rest - 1
            total += 0.5 * float((self._firm * self._firm_rest) @ (firm * firm))
            tension[:stations] += self._firm * firm
            ahead = along[:, :stations]
            back = np.concatenate([ahead[:, -1:], ahead[:, :-1]], axis=1)
            change = np.arctan2(back[0] * ahead[1] - back[1] * ahead[0], (back * ahead).sum(axis=0)) - self._bend[1]
            total += 0.5 * float(self._bend[0] @ (change * change))
        apart = [along[:, part] - tied_at for part, _, tied_at in self._ties]
        for tied, (_, tie, _) in zip(apart, self._ties, strict=True):
            total += 0.5 * tie * float(tied.ravel() @ tied.ravel())
        reach = self._keep * flat[self._near] - self._anchor
        reach[:, self._strung] += self._share * flat[self._far]
        far = np.sqrt(reach[0] * reach[0] + reach[1] * reach[1] + self._height_square)
        stretch = np.maximum(far - self._free, 0.0)
        total += 0.5 * float((self._spring * stretch) @ stretch) - float(self._load @ flat)
        if self._soft:
            moved = flat - self._bed_at
            total += 0.5 * float((self._bed * moved) @ moved)
        if self._turn:
            x, y = at[0], at[1]
            total -= self._turn * float(np.arctan2(y * self._cos - x * self._sin, x * self._cos + y * self._sin).sum())
        return Seen(at, along, length, inside, tension, apart, reach, far, stretch, change, total)

    def _put_strips(self, seen: Seen) -> None:
        """Strips and ties, and what bends: the direction of each segment bends too, between its own two ends."""
        block, force, turns = self._views[:3]
        stations = self._stations
        length = np.maximum(seen.length, TINY_LIMIT)
        inverse = 1 / length
        unit, sideways = seen.along * inverse, seen.tension * inverse
        slope = self._slope_toe * seen.inside + self._slope_slack
        pull = seen.tension * unit
        if self._bends:
            slope[:stations] += self._firm / self._firm_rest
        terms = _block(unit, slope - sideways, sideways, block[0, 0])
        if self._bends:
            x, y = seen.along[:, :stations]
            square = length[:stations] * length[:stations]
            swing = np.stack([-y, x]) / square
            moment = self._bend[0] * seen.change
            net = moment - np.concatenate([moment[1:], moment[:1]])
            pull[:, :stations] += net * swing
            curve = net / (square * square)
            mixed, twice = curve * (y * y - x * x), 2 * curve * x * y
            terms[:, :stations] += np.stack([twice, mixed, mixed, -twice])
            before = np.concatenate([swing[:, -1:], swing[:, :-1]], axis=1)
            sides = np.stack([before, -(swing + before), swing])
            out = turns.reshape(TURNING, TURNING, ENDS, ENDS, stations)
            np.multiply((self._bend[0] * sides)[:, None, :, None], sides[None, :, None], out=out)
        for tied, (part, tie, _) in zip(seen.apart, self._ties, strict=True):
            terms[0, part] += tie
            terms[3, part] += tie
            pull[:, part] += tie * tied
        block[1, 1] = terms
        np.negative(terms, out=block[0, 1])
        block[1, 0] = block[0, 1]
        force[1] = pull
        np.negative(pull, out=force[0])

    def _put_fibres(self, seen: Seen) -> None:
        near, near_force, over, back, beyond, beyond_force = self._views[3:9]
        inverse = 1 / np.maximum(seen.far, TINY_LIMIT)
        unit, tension = seen.reach * inverse, self._spring * seen.stretch
        sideways = tension * inverse
        terms = _block(unit, np.where(seen.stretch > 0, self._spring, 0.0) - sideways, sideways, near[0, 0])
        pull = np.multiply(tension, unit, out=near_force[0])
        if self._share.size:
            share, keep = self._share, self._keep[self._strung]
            strung, strung_pull = terms[:, self._strung].copy(), pull[:, self._strung].copy()
            terms[:, self._strung] *= keep * keep
            pull[:, self._strung] *= keep
            np.multiply(share * share, strung, out=beyond)
            np.multiply(share * keep, strung, out=over)
            back[...] = over
            np.multiply(share, strung_pull, out=beyond_force[0])

    def _put_torque(self, at: Floats) -> None:
        block, force = self._views[9:]
        x, y = at[0], at[1]
        square = x * x + y * y
        force[0, 0], force[0, 1] = self._turn * y / square, -self._turn * x / square
        bent = self._turn / (square * square)
        mixed, twice = bent * (y * y - x * x), 2 * bent * x * y
        block[0, 0] = np.stack([-twice, -mixed, -mixed, twice])


def _block(unit: Floats, excess: Floats, sideways: Floats, terms: Floats) -> Floats:
    """Terms (4, m) of ``excess`` along and ``sideways`` across the directions ``unit`` (2, m), written into ``terms``."""
    along = excess * unit
    np.multiply(along[0], unit[0], out=terms[0])
    np.multiply(along[0], unit[1], out=terms[1])
    np.multiply(along[1], unit[1], out=terms[3])
    terms[0] += sideways
    terms[3] += sideways
    terms[2] = terms[1]
    return terms

"""Where capsule hooks serve a weak zonule, and where of that their stabs can be had.

Places are wished for by the gap; what lies there already (the tunnel, hooks of the iris, a bleb) moves a hook by a quarter
of an hour or two, or leaves it without a place.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise, product

from forestay.frame import HOURS, hour_distance, wrap_hour
from forestay.mechanics.ports_pattern import hook_places
from forestay.mechanics.support_search_model import Barred
from forestay.mechanics.zonule import HOUR_COUNT

QUARTERS_GRID = 4
"""Places of a support within one hour."""
EDGE_TOLERANCE = 1e-9
"""Hours within which a place at the edge of a barred arc is free."""
Clocks = tuple[float, ...]


@dataclass(frozen=True)
class Gap:
    """The widest run of weak hours: its middle and width [hours]; width 12 where the weakness has no middle."""

    centre: float
    hours: float


@dataclass(frozen=True)
class Layouts:
    """Layouts of one number of hooks: those ``placed``, and what is ``in_the_way`` of the others' hooks."""

    placed: tuple[Clocks, ...]
    in_the_way: tuple[str, ...]


def quarter(clock: float) -> float:
    """The nearest quarter of an hour."""
    return wrap_hour(round(clock * QUARTERS_GRID) / QUARTERS_GRID)


def gap_of(*, zonule: tuple[float, ...], weak_share: float) -> Gap | None:
    """The widest run of hours with less than ``weak_share`` of healthy support; None where there is no weak hour.

    Where all hours are weak, or two runs are equally wide, the weakness has no middle: width 12.

    >>> gap_of(zonule=(1, 1, 1, 1, 1, 0, 0, 0, 1, 1, 1, 1), weak_share=0.5)
    Gap(centre=6.0, hours=3)
    """
    weak = [share < weak_share for share in zonule]
    if not any(weak):
        return None
    runs = []
    for start in range(HOUR_COUNT):
        if weak[start] and not weak[start - 1]:
            length = next(i for i in range(1, HOUR_COUNT + 1) if not weak[(start + i) % HOUR_COUNT])
            runs.append((length, start))
    widest = max((length for length, _ in runs), default=HOUR_COUNT)
    starts = [start for length, start in runs if length == widest]
    if len(starts) != 1:
        return Gap(float(HOURS[0]), HOUR_COUNT)
    return Gap(wrap_hour(starts[0] + (widest - 1) / 2), widest)


def hook_layouts(
    *,
    gap: Gap | None,
    count: int,
    tunnel_clock: float,
    spacing_hours: float,
    barred: Sequence[Barred] = (),
    shift_hours: float = 0.0,
) -> Layouts:
    """Places for ``count`` capsule hooks: across the gap in narrow and wide spread; evenly all round without one.

    Spreads reach to the middle of the gap's outermost hours, or to its edges; places are quarters of an hour; closer
    than ``spacing_hours`` [hours] two hooks do not stand, and none in a ``barred`` arc: each is moved by at most
    ``shift_hours`` [hours], so that the sum of squared shifts is least. Clock hours in order, no layout twice.

    >>> hook_layouts(gap=Gap(6.0, 3), count=2, tunnel_clock=12, spacing_hours=0.75).placed
    ((5.0, 7.0), (4.5, 7.5))
    >>> there = (Barred(7.0, 0.5, "iris hook"),)
    >>> hook_layouts(
    ...     gap=Gap(6.0, 3), count=2, tunnel_clock=12, spacing_hours=0.75, barred=there, shift_hours=0.5
    ... ).placed
    ((5.0, 6.5), (4.5, 7.5))
    """
    placed: dict[Clocks, None] = {}
    met: dict[str, None] = {}
    for wished in _wished(gap, count, tunnel_clock, spacing_hours):
        found = _placed(wished, barred, shift_hours, spacing_hours)
        if found is not None:
            placed[found] = None
        else:
            met.update(dict.fromkeys(what for clock in wished for what in in_the_way(clock, barred)))
    return Layouts(tuple(placed), tuple(met))


def in_the_way(clock: float, barred: Iterable[Barred]) -> tuple[str, ...]:
    """What bars a stab at this clock hour."""
    there = (one.reason for one in barred if hour_distance(clock, one.clock) < one.half_hours - EDGE_TOLERANCE)
    return tuple(dict.fromkeys(there))


def _wished(gap: Gap | None, count: int, tunnel_clock: float, spacing_hours: float) -> list[Clocks]:
    """Where they would serve, were nothing in the way."""
    if gap is None or gap.hours >= HOUR_COUNT:
        places = hook_places(pattern="square", count=count, incision_clock=tunnel_clock)
        return [tuple(sorted(quarter(place.clock) for place in places))]
    if count == 1:
        return [(quarter(gap.centre),)]
    found = []
    for beyond in (-1, 0):
        half = (gap.hours + beyond) / 2
        offsets = [half * (2 * i / (count - 1) - 1) for i in range(count)]
        layout = tuple(sorted(quarter(gap.centre + offset) for offset in offsets))
        if _apart(layout, spacing_hours):
            found.append(layout)
    return found


def _apart(layout: Clocks, spacing_hours: float) -> bool:
    ordered = sorted(layout)
    return all(after - before >= spacing_hours for before, after in pairwise((*ordered, ordered[0] + HOUR_COUNT)))


def _placed(wished: Clocks, barred: Sequence[Barred], shift_hours: float, spacing_hours: float) -> Clocks | None:
    """The free layout nearest to the one wished for; None where there is none."""
    if not any(in_the_way(clock, barred) for clock in wished):
        return wished
    most = int(shift_hours * QUARTERS_GRID)
    steps = sorted(range(-most, most + 1), key=abs)
    options = [
        [
            (k * k, at)
            for k, at in ((k, wrap_hour(clock + k / QUARTERS_GRID)) for k in steps)
            if not in_the_way(at, barred)
        ]
        for clock in wished
    ]
    best: tuple[int, Clocks] | None = None
    for tried in product(*options):
        cost, layout = sum(k for k, _ in tried), tuple(sorted(at for _, at in tried))
        if (best is None or cost < best[0]) and (len(layout) == 1 or _apart(layout, spacing_hours)):
            best = cost, layout
    return best[1] if best else None

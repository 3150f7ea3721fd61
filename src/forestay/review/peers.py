"""One's own ruptures among those of peers, whose figures come as a table: one unit or surgeon a line, no names of persons.

The centre is the rate of all together. Where peers differ by more than chance explains, the limits are widened by that
spread (additive), so that a unit is not called out for what all of them show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from forestay.delimited import lines_of_table
from forestay.errors import InvalidInput, UnknownKey
from forestay.evidence import Reader
from forestay.review.complications import COMPLICATIONS, FUNNEL_FROM, FUNNEL_POINTS, Limits, Point
from forestay.review.outcome import Outcome
from forestay.statistics import funnel, proportion
from forestay.statistics.proportion import Interval
from forestay.text import tr

COLUMNS = ("name", "operations", "events", "expected")
NEEDED = COLUMNS[:3]
MOST_LINES, LONGEST_NAME = 5_000, 60
RUPTURE = "rupture"


@dataclass(frozen=True, slots=True)
class Peer:
    """Figures of one unit or surgeon elsewhere."""

    name: str
    operations: int
    events: int
    expected: float | None = None
    """Events that a model expected of these operations; None where it was not told."""


@dataclass(frozen=True)
class PeerFunnel:
    """Own figures among those of peers."""

    points: tuple[Point, ...]
    """Peers, and the own practice last."""
    lines: tuple[Limits, ...]
    pooled: float
    phi: float
    """Mean squared distance from the centre; about 1 where chance explains all."""
    tau: float
    """Spread between peers beyond chance [share]; 0 where there is none, and the limits are the plain ones."""
    withheld: int
    """Peers with too few operations to be shown."""
    adjusted: bool
    """Whether sizes are those of the expected events: only where every line and the own cases have them."""


def peers_from_table(data: bytes, name: str = "") -> tuple[Peer, ...]:
    """Peers from a table with the columns name, operations, events and perhaps expected; comma or semicolon.

    >>> peers_from_table(b"name,operations,events\\nunit A,420,8\\n")
    (Peer(name='unit A', operations=420, events=8, expected=None),)
    """
    called = name or tr("the table")
    columns, lines = lines_of_table(data, called)
    if set(columns) - set(COLUMNS) or set(NEEDED) - set(columns):
        raise UnknownKey(
            tr(
                "{name} has the columns {columns}; allowed: {known}.",
                name=called,
                columns=", ".join(columns)[:200] or tr("none"),
                known=", ".join(COLUMNS),
            ),
            field="peers",
            allowed=", ".join(COLUMNS),
        )
    if len(lines) > MOST_LINES:
        raise InvalidInput(
            tr("{name} has more lines than are read.", name=called), field="peers", allowed=str(MOST_LINES)
        )
    return tuple(_peer(row, line) for line, row in lines)


def _peer(row: dict[str, str], line: int) -> Peer:
    name = row["name"]
    if not name or len(name) > LONGEST_NAME:
        raise _wrong(line, "name", name, tr("1 to {n} characters", n=LONGEST_NAME))
    operations, events = (_whole(row, column, line) for column in ("operations", "events"))
    if operations < 1 or events > operations:
        raise _wrong(line, "events", events, tr("0 to the number of operations, which is at least 1"))
    text = row.get("expected", "").replace(",", ".")
    try:
        expected = float(text) if text else None
    except ValueError:
        raise _wrong(line, "expected", text, tr("a number above 0")) from None
    if expected is not None and not 0 < expected <= operations:
        raise _wrong(line, "expected", text, tr("above 0, no more than the operations"))
    return Peer(name, operations, events, expected)


def _whole(row: dict[str, str], column: str, line: int) -> int:
    text = row[column]
    if not (text.isascii() and text.isdigit()) or len(text) > len("100000000"):
        raise _wrong(line, column, text, tr("a whole number from 0"))
    return int(text)


def _wrong(line: int, column: str, value: Any, allowed: str) -> InvalidInput:
    return InvalidInput(
        tr("Line {line}: {column} is {value}; allowed: {allowed}.", line=line, column=column, value=str(value)[:40] or "–", allowed=allowed),
        field=f"peers.{line}.{column}",
        value=str(value)[:40],
        allowed=allowed,
    )  # fmt: skip


def peer_funnel(peers: Sequence[Peer], outcomes: Sequence[Outcome], use: Reader) -> PeerFunnel | None:
    """Own ruptures among those of peers; None without peers or without enough own cases."""
    fewest = use.number("audit.smallest_group")
    if not peers or len(outcomes) < fewest:
        return None
    told = [o.risks.get("capsule-rupture") for o in outcomes]
    own = sum(p for p in told if p is not None) if all(p is not None for p in told) else None
    here = Peer(tr("this practice"), len(outcomes), sum(map(COMPLICATIONS[RUPTURE], outcomes)), own)
    everybody = [*(peer for peer in peers if peer.operations >= fewest), here]
    events = np.array([p.events for p in everybody], float)
    sizes = np.array([p.operations for p in everybody], float)
    pooled = float(events.sum() / sizes.sum())
    adjusted = pooled > 0 and all(p.expected is not None for p in everybody)
    if adjusted:
        expected = np.array([p.expected or 0.0 for p in everybody])
        # Sizes at which the common rate gives each its expected events, told by one scale for all.
        sizes = expected * sizes.sum() / expected.sum()
    spread = _spread(events, sizes, use) if 0 < pooled < 1 else None
    tau2 = spread.tau2 if spread else 0.0
    levels = use.numbers("audit.funnel_levels")
    inner, outer = (funnel.widened(n=sizes, target=pooled, level=level, tau2=tau2) for level in levels)
    interval = proportion.wilson(
        events=events, n=[p.operations for p in everybody], level=use.number("audit.usual_level")
    )
    rates = events / sizes
    points = tuple(
        Point(
            surgeon=peer.name,
            n=round(float(sizes[i])),
            events=peer.events,
            rate=float(rates[i]),
            inner=_pair(inner, i),
            outer=_pair(outer, i),
            small=bool(sizes[i] * pooled < use.number("audit.fewest_expected")),
            interval=_pair(interval, i),
            outside=not float(outer.low[i]) <= rates[i] <= float(outer.high[i]),
        )
        for i, peer in enumerate(everybody)
    )
    return PeerFunnel(
        points=points,
        lines=_lines(sizes, pooled, tau2, use),
        pooled=pooled,
        phi=spread.phi if spread else 0.0,
        tau=tau2**0.5,
        withheld=len(peers) + 1 - len(everybody),
        adjusted=adjusted,
    )


def _pair(ends: Interval, i: int) -> tuple[float, float]:
    return float(ends.low[i]), float(ends.high[i])


def _spread(events: np.ndarray, sizes: np.ndarray, use: Reader) -> funnel.Dispersion:
    """Over-dispersion, only where it is more than chance: else tau is set to 0."""
    found = funnel.dispersion(events=events, n=sizes, winsorised=use.number("audit.winsorised"))
    if found.phi * events.size <= funnel.chance_squares(count=events.size, level=use.number("audit.usual_level")):
        return found._replace(tau2=0.0)
    return found


def _lines(sizes: np.ndarray, pooled: float, tau2: float, use: Reader) -> tuple[Limits, ...]:
    grid = np.unique(np.geomspace(max(FUNNEL_FROM, sizes.min() / 2), sizes.max() * 1.5, FUNNEL_POINTS).astype(int))
    levels = use.numbers("audit.funnel_levels")
    inner, outer = (funnel.widened(n=grid, target=pooled, level=level, tau2=tau2) for level in levels)
    return tuple(Limits(int(n), _pair(inner, i), _pair(outer, i)) for i, n in enumerate(grid))

"""How firmly open rings stand in the ranking of supports: ``python -m benchmarks.supports [EYES]``.

Invented weak eyes: is every number there, do the rings come to rest, and does the order stay with half again as many
stations, with friction at both ends of its range, and with the opening on the other side.
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace

import numpy as np

from forestay.calc import support as row
from forestay.calc.support import SupportInput, SupportOutput
from forestay.evidence import default_evidence
from forestay.frame import wrap_hour
from forestay.mechanics import fast
from forestay.mechanics.support_search_bag import bag_solver

EYES = 60


def eye(draw: np.random.Generator) -> SupportInput:
    """Weak all round, a gap of one to five hours, or any zonule at all, a third each."""
    kind = draw.integers(3)
    zonule = draw.uniform(0, 1, 12) if kind == 2 else np.full(12, draw.uniform(0.25, 0.85) + 0.15 * kind)
    if kind == 1:
        zonule[(draw.integers(12) + np.arange(draw.integers(1, 6))) % 12] = draw.choice([0.0, 0.2])
    return SupportInput(
        bag_diameter_mm=float(draw.uniform(9.6, 11)),
        zonule=tuple(float(share) for share in zonule),
        age_years=float(draw.uniform(45, 90)),
        tunnel_clock=float(draw.choice([12, 10.5, 9, 3])),
        whole_nucleus_by_hand=bool(draw.integers(2)),
    )


def ranked(given: SupportInput, *, friction: float | None = None, stations: int = 48) -> SupportOutput:
    """The search, with another friction or number of stations."""

    def solver(**keys: object) -> object:
        kit = keys["kit"]
        if friction is not None:
            kit = replace(kit, opened=replace(kit.opened, friction=friction))  # type: ignore[attr-defined, type-var]
        return bag_solver(**(keys | {"kit": kit, "ring_stations": stations}))  # type: ignore[arg-type]

    usual, row.bag_solver = row.bag_solver, solver  # type: ignore[assignment]
    try:
        return row.support_search_calculation.function(given, default_evidence().reader())[0]
    finally:
        row.bag_solver = usual


def places(found: SupportOutput) -> list[tuple[object, ...]]:
    """Supports in their order, whatever the place of their opening."""
    return [(r.kind, r.hooks, r.segments, r.fixed_at) for r in found.rows]


def main(eyes: int) -> None:
    """Print the counts."""
    fast.start()
    draw, use = np.random.default_rng(11), default_evidence().reader()
    states: Counter[str] = Counter()
    same: dict[str, Counter[str]] = {}
    for _ in range(eyes):
        given = eye(draw)
        found = ranked(given)
        states.update(str(step.ring) for r in found.rows for step in r.by_step if step.ring)
        numbers = [v for r in found.rows for v in (r.displacement_mm, r.reserve, r.peak_load) if v is not None]
        if not np.isfinite(numbers).all():
            raise ArithmeticError(f"not a number in {given}")
        ends = next((r.ring_gap_clock for r in found.rows if r.kind == "ring"), None) or 12.0
        others = {
            "72 stations": ranked(given, stations=72),
            "least friction": ranked(given, friction=use.number("open_ring.friction_low")),
            "most friction": ranked(given, friction=use.number("open_ring.friction_high")),
            "opening on the other side": ranked(given.model_copy(update={"ring_gap_clock": wrap_hour(ends + 6)})),
        }
        for name, other in others.items():
            kept = same.setdefault(name, Counter())
            kept["first"] += places(other)[0] == places(found)[0]
            kept["order"] += places(other) == places(found)
    print(f"{eyes} invented weak eyes; rings by step: {dict(states)}")
    for name, kept in same.items():
        print(f"  {name:<26} same first in {kept['first']}, same order in {kept['order']}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else EYES)

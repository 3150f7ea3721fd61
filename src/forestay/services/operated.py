"""Whether and when an eye was operated on, from its facts alone."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from forestay.case.bodies import Done
from forestay.case.fact import Fact
from forestay.case.fold import entries

CHECK = "check: "
LENS_CHECK = "lens compared with the plan"
"""What is ticked or compared before and between the steps is none of them."""


def operated_at(facts: Iterable[Fact]) -> datetime | None:
    """When the first step of the operation was kept as done."""
    moments = [
        e.fact.header.happened_at
        for e in entries(facts)
        if e.stands and isinstance(e.body, Done) and not e.body.step.startswith((CHECK, LENS_CHECK))
    ]
    return min(moments, default=None)

"""The steps of an operation as the search for support asks them: each is a manoeuvre of the table, pulled as it says there.

Which way a manoeuvre pulls, with what in the bag and how hard stands in one place, the rows ``manoeuvre.*``. The plan's
loads, the calculation ``manoeuvre-loads`` and the search all take it from there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from forestay.calc.manoeuvres import table
from forestay.evidence import Reader
from forestay.mechanics import manoeuvre
from forestay.mechanics.bag_model import Load
from forestay.mechanics.manoeuvre import Manoeuvre
from forestay.mechanics.support_search_bag import BagStep
from forestay.mechanics.zonule import ZonuleParameters

MANOEUVRE_OF = {
    "puncture": "puncture",
    "capsulorhexis-pull": "capsulorhexis-pull",
    "hydrodissection": "hydrodissection",
    "rotation": "rotation",
    "pole-lift": "pole-lift",
    "whole-nucleus": "whole-nucleus",
    "cortex": "cortex-tangential",
    "lens-in": "lens-insertion",
}
"""Steps in their order, and the manoeuvre of each. Cortex is stripped along the rim, as a weak zonule is worked."""
BEFORE_OPEN = ("puncture", "capsulorhexis-pull")
"""Steps with the capsule still whole."""
BY_HAND = ("pole-lift", "whole-nucleus")
"""Steps that only a nucleus delivered whole has."""
LEFT = "left"
"""Not a step but what is left after the last: the instruments are out and nothing pulls."""


@dataclass(frozen=True)
class Site:
    """One eye at the table. ``tunnel_clock`` and ``support`` as the search has them; ``by_hand``: a whole nucleus is
    delivered; ``nucleus_share`` its push as a share of the first puncture, None for that of the table."""

    springs: ZonuleParameters
    tunnel_clock: float
    support: Sequence[float]
    by_hand: bool
    nucleus_share: float | None = None


def steps_of(site: Site, use: Reader) -> tuple[BagStep, ...]:
    """The steps with their pulls, in their order, and what is left after them."""
    known = {one.key: one for one in table(use)}
    steps = tuple(
        BagStep(step, found.stage, _acts(_own(found, site), site, use), step not in BEFORE_OPEN)
        for step, found in ((step, known[key]) for step, key in MANOEUVRE_OF.items())
        if site.by_hand or step not in BY_HAND
    )
    return (*steps, BagStep(LEFT, "empty", left=True))


def _own(one: Manoeuvre, site: Site) -> Manoeuvre:
    whole = one.key == MANOEUVRE_OF["whole-nucleus"]
    return replace(one, share=site.nucleus_share) if whole and site.nucleus_share is not None else one


def _acts(one: Manoeuvre, site: Site, use: Reader) -> tuple[Load, ...]:
    """Its pulls: in both senses where the sense is free, at each of several hours that are weakest alike."""
    force = manoeuvre.puncture_force_mn(springs=site.springs, travel_mm=use.number("load.puncture_travel_mm"))
    hours = manoeuvre.weakest_hours(support=site.support, tunnel_clock=site.tunnel_clock)
    pulls = (one.loads(force_mn=force, tunnel_clock=site.tunnel_clock, work_clock=hour) for hour in hours)
    return tuple(dict.fromkeys(load for acts in pulls for load in acts))

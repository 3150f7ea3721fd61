"""Zonular margins: what each manoeuvre asks of the weakest fibres, against what a healthy eye comes through. They rank."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from forestay.mechanics.flap import FlapConstants
from forestay.mechanics.flap_table import prolapse_estimate
from forestay.mechanics.geometry import ellipse_perimeter_mm
from forestay.mechanics.zonule import ZonuleConstants, total_stiffness_mn_per_mm
from forestay.plan.margins_front import WIDER_STEPS_MM
from forestay.plan.measures import can_tip, hooks_all_round, ring_gap_clock, tenth_up
from forestay.plan.model import Margin
from forestay.plan.offers import Change, Offer, best_change, known, margin_of, origin
from forestay.plan.spread import Spread
from forestay.plan.zonule_loads import TECHNIQUES, Floats, Loads, lent_by_hooks, loads, springs
from forestay.text import mark, tr

NAMES = {
    "puncture": mark("first puncture"),
    "capsulorhexis-pull": mark("capsulorhexis"),
    "hydrodissection": mark("hydrodissection"),
    "rotation": mark("rotation"),
    "pole-lift": mark("pole lift"),
    "whole-nucleus": mark("whole nucleus"),
    "cortex-radial": mark("cortex, pulled to the centre"),
    "cortex-tangential": mark("cortex, pulled along the rim"),
    "ring-insertion": mark("ring in"),
    "lens-insertion": mark("lens in"),
}
"""What each manoeuvre is called beside its rope."""
RINGS = ("before-nucleus", "after-nucleus")
"""Timings with a ring in the bag."""
LOAD_DRAWS = 250
"""Draws of a load: every fourth of a full plan, from weak to strong. A load ranks within the eye and its interval is not
drawn; an end of it moves by less than a tenth of its width (a test holds it)."""


def loads_of(offer: Offer, *, drawn: bool = True) -> Loads:
    """The loads of every manoeuvre of this option; without draws where only the centre is asked."""
    setting, m = offer.setting, offer.measures
    use, estimates = setting.use, setting.estimates
    return loads(
        technique=offer.technique,
        support=_fewer(estimates.support) if drawn else estimates.support[:, :0],
        support_mean=estimates.support_mean,
        lent=lent_by_hooks(m.capsule_hook_clocks, use.number("load.hook_share")),
        parameters=springs(
            bag_diameter_mm=estimates.bag_diameter.centre, age_years=setting.case.person.age_years, use=use
        ),
        tunnel_at=m.tunnel_clock,
        ring_gap=m.ring_gap_clock if m.ring in RINGS else None,
        nucleus_share=nucleus_share(offer),
        use=use,
    )


def _fewer(support: Floats) -> Floats:
    """Draws (12, n) of the zonule, thinned evenly along their strength, so that weak and strong stay represented."""
    apart = max(support.shape[1] // LOAD_DRAWS, 1)
    by_strength = np.argsort(support.sum(axis=0), kind="stable")
    return support[:, by_strength[apart // 2 :: apart]]


def nucleus_share(offer: Offer) -> float | None:
    """The push that brings this nucleus through its opening, as a share of the first puncture's force; None without one.

    From the solved table of the flap; a nucleus that can be tipped counts with the round girth of its edge.
    """
    m, setting = offer.measures, offer.setting
    if m.capsulorhexis_mm is None or offer.technique not in TECHNIQUES["whole-nucleus"]:
        return None
    use, e = setting.use, setting.estimates
    diameter, thickness = e.nucleus_diameter.centre, e.nucleus_thickness.centre
    tipped = offer.technique == "manual-small-incision" and can_tip(setting)
    girth = ellipse_perimeter_mm(diameter_mm=diameter, thickness_mm=thickness)
    stiffness = use.constants(ZonuleConstants)
    age = setting.case.person.age_years
    push = prolapse_estimate(
        nucleus_diameter_mm=float(girth) / np.pi if tipped else diameter,
        nucleus_thickness_mm=thickness,
        capsulorhexis_mm=m.capsulorhexis_mm,
        zonule_mn_per_mm=max(
            total_stiffness_mn_per_mm(age_years=age, constants=stiffness) * e.support_hours.centre / 12, LEAST_LIMIT
        ),
        constants=use.constants(FlapConstants),
    )
    return float(push.force_mn) / use.number("manoeuvre_quote.capsulorhexis_force_mn")


LEAST_LIMIT = 0.1
"""Stiffness of a zonule of which nothing is left [mN/mm]: the table is read at its edge."""


def zonule_margins(offer: Offer, found: Loads) -> list[Margin]:
    """One margin for every manoeuvre; unit: multiples of a healthy eye's resting load."""
    use = offer.setting.use.evidence.reader()
    use.row("load.puncture_travel_mm"), use.row("zonule.prestretch_mm"), use.row("zonule.load_mn")
    offer.setting.use.merge(use)
    changed = _changes(offer)
    helped = {c.words: loads_of(c.offer, drawn=False) for c in changed}
    rows = []
    for key in found.centre:
        if key == "ring-insertion" and offer.measures.ring == "none":
            continue
        own = offer.setting.use.evidence.reader()
        own.merge(use)
        own.row(f"manoeuvre.{key.replace('-', '_')}")
        centre, draws = found.centre[key], found.draws[key]
        needs = Spread(centre, draws if draws.size else np.array([centre]))
        rows.append(
            margin_of(
                f"zonule-{key}",
                tr(NAMES[key]),
                needs=needs,
                has=Spread(found.borne, np.full_like(needs.draws, found.borne)),
                unit=tr("x healthy resting load"),
                says=tr(
                    "asks {needs:.1f} times the resting load of a healthy fibre · a healthy eye bears {has:.1f}",
                    needs=needs.centre,
                    has=found.borne,
                ),
                rests_on=("signs", "person.age_years", "measure.ring", "measure.capsule_hooks", "measure.tunnel_clock"),
                widen=best_change(found.borne - needs.centre, changed, _with(helped, changed, key)),
                origin=origin(
                    own,
                    formula=tr("hardest routine step of a healthy eye - most stretched fibre at this step"),
                    inputs=known(
                        zonule=tr(
                            "{hours:.1f} of 12 healthy clock hours", hours=offer.setting.estimates.support_hours.centre
                        ),
                        ring=offer.measures.ring,
                        hooks=len(offer.measures.capsule_hook_clocks),
                    ),
                    valid=tr("ranks options within this eye; says nothing about percentages"),
                    calculation="bag",
                ),
                scale="comparative",
                group="zonule",
            )
        )
    return rows


def _with(helped: Mapping[str, Loads], changes: Sequence[Change], key: str) -> Callable[[Offer], float]:
    """What the margin of one manoeuvre would be with a change made."""

    def gives(other: Offer) -> float:
        found = helped[next(c.words for c in changes if c.offer is other)]
        return found.borne - found.centre[key]

    return gives


def _changes(offer: Offer) -> list[Change]:
    """Supports that are not planned yet and could be."""
    m, setting, changes = offer.measures, offer.setting, []
    small = offer.technique in ("manual-small-incision", "phacoemulsification")
    if m.ring == "none" and small and not setting.lacks_kit("tension-ring"):
        opened = offer.with_measures(ring="after-nucleus", ring_gap_clock=ring_gap_clock(setting, "after-nucleus"))
        changes.append(Change(tr("a ring after the nucleus"), opened, "ring", "after-nucleus"))
    if m.capsulorhexis_mm is not None and offer.technique in TECHNIQUES["whole-nucleus"]:
        wider = tenth_up(m.capsulorhexis_mm + WIDER_STEPS_MM)
        words = tr("{mm:.1f} mm opening", mm=wider)
        changes.append(Change(words, offer.with_measures(capsulorhexis_mm=wider), "capsulorhexis_mm", wider))
    if not m.capsule_hook_clocks and not setting.lacks_kit("capsule-hooks") and m.capsulorhexis_mm is not None:
        clocks = hooks_all_round(offer.technique, m.tunnel_clock, m.hook_clocks)
        changes.append(
            Change(tr("{count:d} capsule hooks", count=len(clocks)), offer.with_measures(capsule_hook_clocks=clocks))
        )
    return changes

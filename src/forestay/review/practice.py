"""The practice's own figures for the next plan, from the outcomes of its cases.

Empty where there is nothing to learn from; then it changes nothing. A record of ruptures is compared with what the published
model alone had told, so that no own figure is counted twice.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from statistics import fmean, stdev

from forestay.calc.lens_input import ConstantInput
from forestay.evidence import Reader, default_evidence
from forestay.optics.incision import site_of
from forestay.optics.lens_constants import ConversionConstants, as_a
from forestay.plan.context import OwnIncision, OwnLens, Practice
from forestay.review.groups import Selection, grouped, selected
from forestay.review.incision import turned
from forestay.review.outcome import Outcome
from forestay.review.refraction import own_constants
from forestay.risk.own_record import OwnRecord
from forestay.text import tr

TOLD = "capsule-rupture"


def practice_of(outcomes: Iterable[Outcome], use: Reader | None = None) -> Practice:
    """Own figures from real operations: rupture by technique, lens constants, incisions. Invented cases do not count."""
    real = [o for o in selected(outcomes, Selection()) if not o.invented]
    told = [o for o in real if TOLD in o.model_risks]
    records = tuple(_record(technique, cases) for technique, cases in grouped(told, lambda o: o.technique).items())
    reader = use or default_evidence().reader()
    lenses, incisions = own_lenses(real, reader), own_cuts(real, reader)
    if not (records or lenses or incisions):
        return Practice()
    kept = [[asdict(one) for one in figures] for figures in (records, lenses, incisions)]
    text = json.dumps(kept, sort_keys=True)
    name = tr("{n} operations of this practice", n=len(real))
    return Practice(
        name=name,
        digest=hashlib.sha256(text.encode()).hexdigest(),
        records=records,
        lenses=lenses,
        incisions=incisions,
    )


def own_lenses(outcomes: Sequence[Outcome], use: Reader) -> tuple[OwnLens, ...]:
    """Own lens constants as A constants; the spread is that of single eyes around their own constant."""
    conversion = use.constants(ConversionConstants)
    found = []
    for own in own_constants(outcomes, use):
        constant = as_a(ConstantInput(**own.constant).as_engine(), conversion=conversion)
        if own.sd_d:
            found.append(OwnLens(own.lens, own.length_method, own.formula, own.n, float(constant.a), own.sd_d))
    return tuple(found)


def own_cuts(outcomes: Sequence[Outcome], use: Reader) -> tuple[OwnIncision, ...]:
    """Own incisions by technique, site and shape, where there are enough eyes; left eyes are mirrored before pooling."""
    eyes = [o for o in outcomes if turned(o) is not None]
    fewest = use.number("audit.fewest_for_centroid")
    found = []
    for key, group in grouped(eyes, _cut).items():
        along = [part[0] for o in group if (part := turned(o)) is not None]
        if len(along) >= fewest:
            technique, site, shape = key.split("\t")
            found.append(OwnIncision(technique, site, shape, len(along), fmean(along), stdev(along)))
    return tuple(found)


def _cut(outcome: Outcome) -> str | None:
    if outcome.incision_clock is None or outcome.technique is None or outcome.incision_kind is None:
        return None
    site = site_of(clock=outcome.incision_clock, side=outcome.side)
    return f"{outcome.technique}\t{site}\t{outcome.incision_kind}"


def _record(technique: str, cases: list[Outcome]) -> OwnRecord:
    predicted = tuple(o.model_risks[TOLD] for o in cases)
    observed = tuple(o.rupture for o in cases)
    return OwnRecord(
        technique=technique,
        operations=len(cases),
        events=sum(observed),
        expected=sum(predicted),
        predicted=predicted,
        observed=observed,
    )

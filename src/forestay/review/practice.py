"""The practice's own figures for the next plan, from the outcomes of its cases.

Empty where no risk was told before an operation; then it changes nothing. A record is compared with what the published
model alone had told, so that no own figure is counted twice.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from dataclasses import asdict

from forestay.plan.context import Practice
from forestay.review.groups import Selection, grouped, selected
from forestay.review.outcome import Outcome
from forestay.risk.own_record import OwnRecord
from forestay.text import tr

TOLD = "capsule-rupture"


def practice_of(outcomes: Iterable[Outcome]) -> Practice:
    """Records of rupture by technique, case by case in the order of the operations. Invented cases do not count."""
    told = [o for o in selected(outcomes, Selection()) if TOLD in o.model_risks and not o.invented]
    records = tuple(_record(technique, cases) for technique, cases in grouped(told, lambda o: o.technique).items())
    if not records:
        return Practice()
    text = json.dumps([asdict(record) for record in records], sort_keys=True)
    name = tr("{n} operations of this practice", n=len(told))
    return Practice(name=name, digest=hashlib.sha256(text.encode()).hexdigest(), records=records)


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

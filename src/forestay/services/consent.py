"""The patient's sheet of a case: plan it, and say it in plain words."""

from __future__ import annotations

from forestay.eye.situation import Situation
from forestay.plan.consent_figures import ConsentSheet, consent_sheet
from forestay.plan.context import Context
from forestay.plan.make import make
from forestay.plan.model import Plan


def sheet_of(situation: Situation, plan: Plan | None = None) -> ConsentSheet:
    """The sheet; ``plan`` where it was made already."""
    context = Context.default()
    made = plan if plan is not None else make(situation, context)
    return consent_sheet(situation.as_tried().case, made, context.evidence.reader())

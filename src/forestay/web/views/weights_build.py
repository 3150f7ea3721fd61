"""From weights and their order to the words of the page."""

from __future__ import annotations

from collections.abc import Mapping

from forestay.services.cases import KeptCase
from forestay.services.planning import caution
from forestay.services.weighing import Weighed
from forestay.text import tr
from forestay.web.views.case_build import band, case_label
from forestay.web.views.shell import shell
from forestay.web.views.weights import ScoreRow, WeighedView, WeightRow


def weighed_view(opened: KeptCase, found: Weighed, given: Mapping[str, float]) -> WeighedView:
    """The order under the reader's weights in words."""
    labels = found.labels
    if not found.order:
        lead = tr("No weights set: nothing is scored.")
        if any(given.values()):
            lead = tr("These weights touch nothing in which the ways differ: nothing is scored.")
    elif found.lead is not None and not found.lead.clear:
        lead = tr(
            "No clear winner under these weights: {label} leads by {lead:.2f} ± {sd:.2f} (one standard deviation), and is"
            " ahead with a chance of {chance:.0%}.",
            label=labels[found.lead.first],
            lead=found.lead.lead,
            sd=found.lead.sd,
            chance=found.lead.chance,
        )
    elif found.first is None or found.lead is None:
        lead = tr("No clear winner under these weights.")
    else:
        lead = tr(
            "Under these weights {label} comes first, by {lead:.2f} ± {sd:.2f} (one standard deviation).",
            label=labels[found.first],
            lead=found.lead.lead,
            sd=found.lead.sd,
        )
    turns = tuple(
        tr(
            "{measure}: at {weight:.2g} instead of {now:g}, {then} draws level",
            measure=labels[f.measure],
            weight=f.weight,
            now=f.now,
            then=labels[f.then],
        )
        for f in found.turns
    )
    left = tr("Left out, as it is not known for all or the same for all: {what}.", what=", ".join(found.left_out))
    return WeighedView(
        shell(tr("Own weights · {case}", case=case_label(opened.case_id))),
        case_id=opened.case_id,
        band=band(opened),
        weights=tuple(
            WeightRow(key, label, f"{given[key]:g}" if key in given else "", f"{given.get(key, 0.0):g}")
            for key, label in found.measures
        ),
        lead=lead,
        order=tuple(ScoreRow(labels[name], f"{score:.2f}") for name, score in found.order),
        turns=turns,
        doubts=(left,) if found.left_out else (),
        caution=caution(),
    )

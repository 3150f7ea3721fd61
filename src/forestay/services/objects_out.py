"""A kept case goes out as DICOM objects, with the sheet of its plan as `forestay plan` makes it: from the case alone."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, datetime

from forestay import __version__
from forestay.case.bodies import Measured
from forestay.case.chain import facts_of
from forestay.case.fact import content
from forestay.case.fold import fold
from forestay.errors import ForestayError
from forestay.exchange.dicom_out import Going, write_dicom
from forestay.eye.situation import Situation
from forestay.store.interface import FactStore

INVENTED = "invented"


def export_dicom(store: FactStore, case_id: str, *, deidentified: bool = False) -> bytes:
    """The case as a ZIP file of DICOM objects, dated by what was kept last, so that a repeat gives the same objects."""
    links = store.links(case_id)
    facts = facts_of(links)
    situation = fold(facts)
    measured = [fact.header.happened_at for fact in facts if isinstance(content(fact), Measured)]
    kept_at = links[-1].header.received_at or datetime.now(UTC)
    return write_dicom(
        Going(
            case_id=case_id,
            case=situation.case,
            head=len(links),
            measured_at=measured[-1] if measured else kept_at,
            made_at=kept_at,
            version=__version__,
            deidentified=deidentified,
            sheet=_sheet(situation, case_id, kept_at, any(fact.header.author == INVENTED for fact in facts)),
        )
    )


def _sheet(situation: Situation, case_id: str, made_at: datetime, invented: bool) -> bytes | None:
    """The sheet as PDF; None where the case cannot be planned yet."""
    from forestay.plan.context import Context
    from forestay.plan.make import make
    from forestay.report.sheet import render_pdf

    with suppress(ForestayError):
        return render_pdf(make(situation, Context.default()), label=case_id, invented=invented, made_at=made_at)
    return None

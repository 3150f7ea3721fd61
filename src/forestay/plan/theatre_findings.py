"""What each finding that may come at surgery would make of the estimate of the zonule, worked out beforehand."""

from __future__ import annotations

from forestay.calc.zonule import FindingOut, zonular_findings
from forestay.calc.zonule_input import OwnRatio
from forestay.evidence import Reader
from forestay.eye.records import CaseFile
from forestay.plan.estimates import zonule_input
from forestay.plan.model import FindingChange
from forestay.plan.offers import known, origin
from forestay.text import tr


def finding_changes(case: CaseFile, use: Reader, own_ratios: tuple[OwnRatio, ...] = ()) -> tuple[FindingChange, ...]:
    """Every finding in turn, each alone on what is known now; left out are those already known, and those that are
    expected of this eye anyway and would move nothing."""
    own = use.evidence.reader()
    given = zonule_input(case, own_ratios)
    found, _ = zonular_findings.function(given, own)
    use.merge(own)
    source = origin(
        own,
        formula=tr("odds of weakness x likelihood ratio; a seen fact sets the mildest grade"),
        inputs=known(weak_now=f"{found.findings[0].weak_before:.0%}"),
        valid=tr("ratios of findings at surgery are an expert's; the travel of the lens was measured in pig eyes"),
        calculation="zonular-findings",
    )
    return tuple(
        FindingChange(
            key=row.finding,
            label=row.label,
            facts={
                f"{'signs' if key == 'iris_lens_gap' else 'surgery'}.{key}": value for key, value in row.keys.items()
            },
            weak_before=row.weak_before,
            weak_after=row.weak_after,
            marked_before=row.marked_before,
            marked_after=row.marked_after,
            hours_before=row.support_before,
            hours_after=row.support_after,
            origin=source,
        )
        for row in found.findings
        if not any(getattr(given, key) == value for key, value in row.keys.items()) and _moves(row)
    )


SHOWN_TOLERANCE_HOURS, SHOWN_TOLERANCE_CHANCE = 0.1 / 2, 0.01 / 2  # half of the last digit that is shown


def _moves(row: FindingOut) -> bool:
    """Whether the finding moves anything by as much as is shown of it."""
    moved = abs(row.support_after - row.support_before) >= SHOWN_TOLERANCE_HOURS
    return moved or abs(row.marked_after - row.marked_before) >= SHOWN_TOLERANCE_CHANCE

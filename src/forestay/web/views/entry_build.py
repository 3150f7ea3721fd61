"""From a case to the view of its forms: each field with what is kept, what is said of it, and who disagrees."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from uuid import uuid4

from forestay.case.fields import SECTIONS
from forestay.case.fold import Claim
from forestay.draw.names import side_words
from forestay.eye.plausibility import Finding
from forestay.services.cases import KeptCase, value_words
from forestay.services.entry import FieldState
from forestay.services.planning import caution
from forestay.text import tr
from forestay.web.fields import FieldSpec, section_specs, text_of
from forestay.web.units import typed_range, unit_of
from forestay.web.views.case_build import band, case_label
from forestay.web.views.entry import ClaimRow, EntryRow, EntrySection, EntryView, Note
from forestay.web.views.entry_words import label_of, level_words, option_words, section_titles
from forestay.web.views.shell import shell

UNKNOWN = FieldState(None, None, ())


def entry_view(
    opened: KeptCase,
    fields: Mapping[str, FieldState],
    findings: tuple[Finding, ...],
    *,
    section: str | None,
    typed: Mapping[str, str] | None = None,
    failure: str = "",
    wrong: str | None = None,
) -> EntryView:
    """The forms of ``section``, of all sections where None. ``typed``: what stands in the fields after a failure, which is
    about the field ``wrong``."""
    titles = {name: section_titles().get(name, name) for name in SECTIONS}
    side = opened.situation.case.eye.side
    return EntryView(
        shell=shell(tr("Facts · {case} · {side}", case=case_label(opened.case_id), side=side_words(side))),
        case_id=opened.case_id,
        band=band(opened),
        sections=tuple(
            EntrySection(
                name,
                title,
                tuple(
                    entry_row(
                        spec,
                        fields.get(spec.path, UNKNOWN),
                        opened,
                        findings,
                        typed=(typed or {}).get(spec.path),
                        failure=failure if wrong == spec.path else "",
                    )
                    for spec in section_specs(name)
                    if spec.path != "eye.side"
                ),
                str(uuid4()),
            )
            for name, title in titles.items()
            if section in (None, name)
        ),
        all_sections=tuple((f"/cases/{opened.case_id}/facts/{name}", title) for name, title in titles.items()),
        whole=section is None,
        side_key=str(uuid4()),
        side_now=tr(side),
        head=opened.head,
        failure=failure,
        caution=caution(),
    )


def entry_row(
    spec: FieldSpec,
    state: FieldState,
    opened: KeptCase,
    findings: tuple[Finding, ...],
    *,
    typed: str | None = None,
    failure: str = "",
    just: bool = False,
) -> EntryRow:
    """One field. ``just``: it was kept a moment ago, and can be undone."""
    was = text_of(spec, state.value)
    text, said = "", ""
    if failure:
        text, said = "not-saved", tr("not saved: {why}", why=failure)
    elif just:
        text, said = "saved", tr("saved {time}", time=_clock(opened.last_kept))
    fact = state.fact
    other = unit_of(spec.path) if spec.kind == "number" else None
    range_words = spec.allowed if other is None else f"{typed_range(spec.path, other)} ({spec.allowed})"
    help_words = ". ".join(w[:1].upper() + w[1:] for w in (tr(spec.meaning), range_words) if w)
    return EntryRow(
        path=spec.path,
        mark="row-" + spec.path.replace(".", "-").replace("_", "-"),
        kind=spec.kind,
        label=label_of(spec.path, spec.meaning),
        help=help_words,
        unit=spec.unit if other is None else other.name,
        typed_unit="" if other is None else other.name,
        value=was if typed is None else typed,
        was=was,
        options=tuple((option, option_words(spec.path, option)) for option in spec.options),
        state=text,
        said=said,
        notes=tuple(Note(level_words(f.level), f.why) for f in findings if f.field == spec.path),
        claims=tuple(_claim(c) for c in state.dispute),
        undo=str(fact.header.id) if just and fact is not None else None,
        key=str(uuid4()),
        head=opened.head,
    )


def _claim(claim: Claim) -> ClaimRow:
    header = claim.entry.fact.header
    return ClaimRow(
        fact_id=str(header.id),
        words=value_words(claim),
        who=tr("{author}, from {device}", author=header.author, device=header.device),
        when=header.happened_at.astimezone().strftime("%Y-%m-%d %H:%M"),
    )


def _clock(moment: datetime | None) -> str:
    return moment.astimezone().strftime("%H:%M:%S") if moment else ""

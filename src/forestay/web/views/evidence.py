"""The page of all rows of evidence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from forestay.evidence import Row, default_evidence
from forestay.evidence.loader import STANDINGS
from forestay.text import tr
from forestay.web.views.shell import View, shell, told


@dataclass(frozen=True)
class EvidenceRow:
    """One published number."""

    key: str = field(metadata=told("name of the row"))
    meaning: str = field(metadata=told("what it is"))
    value: str = field(metadata=told("value with its unit"))
    spread: str = field(metadata=told("standard deviation or interval"))
    whom: str = field(metadata=told("population, number and year"))
    citation: str = field(metadata=told("where it was published"))
    doi: str | None = field(metadata=told("digital object identifier"))
    standing: str = field(metadata=told("read, derived, common practice, memory or assumed"))
    doubt: str | None = field(metadata=told("why it may be wrong"))


@dataclass(frozen=True)
class EvidenceView(View):
    """All rows, or those that a filter leaves."""

    rows: tuple[EvidenceRow, ...] = field(metadata=told("the rows in the order of their keys"))
    total: int = field(metadata=told("how many rows there are"))
    digest: str = field(metadata=told("names this very set of evidence"))
    q: str = field(metadata=told("the words looked for"))
    standing: str = field(metadata=told("the standing looked for; empty for all"))
    standings: tuple[str, ...] = field(metadata=told("all standings"))


def evidence_view(q: str, standing: str) -> EvidenceView:
    """The rows that hold every word of ``q`` and have ``standing``."""
    evidence = default_evidence()
    wanted = q.lower().split()
    rows = [
        _row(row)
        for row in evidence.values()
        if (not standing or row.standing == standing) and all(word in _text(row) for word in wanted)
    ]
    return EvidenceView(
        shell=shell(tr("Evidence"), "/evidence"),
        rows=tuple(rows),
        total=len(evidence),
        digest=evidence.digest[:12],
        q=q,
        standing=standing,
        standings=STANDINGS,
    )


def _text(row: Row) -> str:
    source = row.source
    doi = f"doi:{source.doi}" if source.doi else ""
    parts = (row.key, row.meaning, source.key, source.citation, doi, row.population or "", row.doubt or "")
    return " ".join(parts).lower()


def _row(row: Row) -> EvidenceRow:
    spread = []
    if row.sd is not None:
        spread.append(tr("SD {sd:g}", sd=row.sd))
    if row.low is not None and row.high is not None:
        named = f" ({row.interval})" if row.interval else ""
        spread.append(tr("{low:g} to {high:g}", low=row.low, high=row.high) + named)
    whom = [row.population or "", f"n {row.n}" if row.n else "", str(row.year) if row.year else ""]
    return EvidenceRow(
        key=row.key,
        meaning=row.meaning,
        value=f"{_value(row.value)} {row.unit}".strip(),
        spread=", ".join(spread),
        whom=", ".join(part for part in whom if part),
        citation=row.source.citation,
        doi=row.source.doi,
        standing=row.standing,
        doubt=row.doubt,
    )


def _value(value: object) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{name} {_value(inner)}" for name, inner in value.items())
    if isinstance(value, tuple):
        return ", ".join(_value(inner) for inner in value)
    return str(value)

"""A day of many eyes as text."""

from __future__ import annotations

from forestay.calc.sorting import GROUPS, SortOutput, SortRow
from forestay.text import tr


def group_words(group: str) -> str:
    """A group in words."""
    return {
        "routine": tr("routine"),
        "difficult": tr("difficult"),
        "look-again": tr("look again"),
        "refer": tr("refer"),
        "not-today": tr("not today"),
        "no-surgery": tr("no surgery"),
    }[group]


def lens_words(row: SortRow) -> str:
    """The lens with how far off it may be."""
    lens = row.lens
    if lens is None:
        return ""
    if lens.spread_d is None:
        return tr("{power:+.1f} D, {says}", power=lens.power_d, says=lens.says)
    return tr(
        "{power:+.1f} D, {says}; two in three within {spread:.1f} D",
        power=lens.power_d,
        says=lens.says,
        spread=lens.spread_d,
    )


def readable_sort(made: SortOutput, doubts: list[str]) -> str:
    """The sorted eyes, group by group, then the trace."""
    lines = [", ".join(f"{group_words(g)} {made.counts[g]}" for g in GROUPS), ""]
    for group in GROUPS:
        rows = [r for r in made.rows if r.group == group]
        if not rows:
            continue
        lines.append(f"{group_words(group)}:")
        for r in rows:
            said = tr("; ").join(s for s in (", ".join(r.why), ", ".join(r.tray_adds), lens_words(r)) if s)
            asked = tr("; not looked at: {signs}", signs=", ".join(r.not_looked_at)) if r.not_looked_at else ""
            tray = f" [{r.tray}]" if r.tray else ""
            lines.append(f"  {r.eye} {tr(r.side)}{tray}: {said}{asked}")
        lines.append("")
    if made.order:
        lines.append(tr("Order: {eyes}", eyes=", ".join(made.order)))
    lines += [f"{t.thing} {t.lot}: {', '.join(t.eyes)}" for t in made.trace]
    return "\n".join([*lines, *doubts])

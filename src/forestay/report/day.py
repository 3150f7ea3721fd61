"""The theatre list on paper and in the terminal."""

from __future__ import annotations

import json
from datetime import datetime
from importlib.resources import files
from typing import Any

from forestay.errors import InvalidInput
from forestay.plan.day import DayList, thing_words
from forestay.plan.make import caution
from forestay.report.sheet import SheetError, _fonts, font_folder
from forestay.report.words import moment_words
from forestay.text import language, tr


def day_data(made: DayList, *, invented: bool, made_at: datetime) -> dict[str, Any]:
    """Everything on the pages, as plain JSON: every word is ready here."""
    day = made.day
    rows = []
    for row in day.rows if day else ():
        line = made.lines[row.name]
        rows.append(
            {
                "position": row.position,
                "name": row.name,
                "side": line.side,
                "start": row.start,
                "block": "" if row.block_by is None else tr("block by {clock}", clock=row.block_by),
                "late": tr("by {late} at the latest, nine days in ten", late=row.start_late),
                "minutes": tr(
                    "{m:.0f} min ({low:.0f} to {high:.0f})",
                    m=row.median_minutes,
                    low=row.low_minutes,
                    high=row.high_minutes,
                ),
                "do": f"{line.technique}; {line.anaesthetic}",
                "lens": line.lens,
                "ready": ", ".join(line.ready),
                "trouble": line.trouble,
                "why": row.why,
            }
        )
    kit = [
        {
            "thing": thing_words(k.thing, k.size_mm),
            "needed": str(k.needed) + (" " + tr("(ready, closed)") if k.standby else ""),
            "there": tr("not known") if k.there is None else str(k.there),
            "short": bool(k.without),
            "cases": ", ".join(k.cases) if day and len(k.cases) < len(day.rows) else tr("all"),
        }
        for k in (day.kit if day else ())
    ]
    return {
        "language": language(),
        "title": tr("Theatre list"),
        "on": made.on.isoformat() if made.on else tr("day not given"),
        "hours": tr("theatre {start} to {end}", start=made.start, end=made.end or tr("open end")),
        "invented": tr("invented scenario") if invented else "",
        "made": tr("made {moment}", moment=moment_words(made_at)),
        "caution": caution(),
        "finish": finish_words(made),
        "rows": rows,
        "kit": kit,
        "clashes": [c.says for c in day.clashes] if day else [],
        "left_out": [{"name": x.name, "why": x.why} for x in made.left_out],
        "doubts": [d.message for d in made.doubts],
        "labels": {
            "order": tr("Order"),
            "start": tr("Start"),
            "case": tr("Case"),
            "do": tr("What is done"),
            "minutes": tr("Minutes: middle (one in ten quicker, one in ten slower)"),
            "kit": tr("Kit of the whole day"),
            "thing": tr("Thing"),
            "needed": tr("Needed"),
            "there": tr("On the shelf"),
            "for": tr("For"),
            "clashes": tr("Clashes: settle before the list is confirmed"),
            "none": tr("No clash found in what is known."),
            "left": tr("Not on this list"),
            "doubts": tr("What this rests on"),
            "checked": tr("two people have checked lenses and special kit"),
            "page": tr("page {x} of {y}"),
            "nothing": tr("No eye of these can be operated on as things stand."),
        },
    }


def finish_words(made: DayList) -> str:
    """When the list ends."""
    if made.day is None:
        return ""
    said = tr(
        "Ends about {middle} (one day in ten before {low}, one in ten after {high}).",
        middle=made.day.finish,
        low=made.day.finish_low,
        high=made.day.finish_high,
    )
    if made.day.overrun_probability is not None:
        said += " " + tr("Probability of running past {end}: {p:.0%}.", end=made.end, p=made.day.overrun_probability)
    return said


def readable_day(made: DayList) -> str:
    """The list as text."""
    data = day_data(made, invented=False, made_at=datetime.now().astimezone())
    lines = [f"{data['title']}, {data['on']}, {data['hours']}", data["finish"], ""]
    for r in data["rows"]:
        lines.append(f"{r['position']:>2}. {r['start']}  {r['name']}, {r['side']}: {r['do']}; {r['minutes']}")
        lines.append(f"      {r['why']}; {r['block']}; {r['trouble']}; {r['lens']}")
        if r["ready"]:
            lines.append(f"      {r['ready']}")
    if not data["rows"]:
        lines.append(data["labels"]["nothing"])
    lines += ["", data["labels"]["clashes"] + ":"]
    lines += [f"  ! {c}" for c in data["clashes"]] or [f"  {data['labels']['none']}"]
    lines += ["", data["labels"]["kit"] + ":"]
    lines += [
        f"  {k['thing']}: {k['needed']}; {data['labels']['there'].lower()}: {k['there']}; {k['cases']}"
        for k in data["kit"]
    ]
    if data["left_out"]:
        lines += ["", data["labels"]["left"] + ":"] + [f"  {x['name']}: {x['why']}" for x in data["left_out"]]
    lines += ["", *(f"  {d}" for d in data["doubts"]), "", data["caution"]]
    return "\n".join(lines)


def set_pages(template: str, data: dict[str, Any], made_at: datetime) -> bytes:
    """A template of this folder filled with ``data``, as PDF; the same data and time give the same bytes."""
    import typst

    if made_at.tzinfo is None:
        raise InvalidInput(
            tr("made_at has no time zone; give one, so that the printed time is certain."),
            field="made_at",
            value=made_at.isoformat(),
            allowed=tr("a time with its zone"),
        )
    try:
        made = typst.compile(
            files("forestay.report").joinpath(template).read_bytes(),
            font_paths=_fonts(font_folder()),
            ignore_system_fonts=True,
            format="pdf",
            sys_inputs={"data": json.dumps(data, ensure_ascii=False)},
            timestamp=int(made_at.timestamp()),
        )
    except typst.TypstError as failed:
        raise SheetError(tr("The sheet could not be set: {why}", why=str(failed)), field="sheet") from failed
    return bytes(made)


def day_pdf(made: DayList, *, invented: bool, made_at: datetime) -> bytes:
    """The theatre list as PDF, A4, black on white."""
    return set_pages("day.typ", day_data(made, invented=invented, made_at=made_at), made_at)

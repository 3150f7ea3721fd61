"""The operation note on paper, black on white, A4. The same note gives the same bytes on every machine."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.resources import files

from forestay.report.sheet import SheetError, fonts
from forestay.text import language, tr


@dataclass(frozen=True)
class NotePaper:
    """What stands on the paper."""

    side: str
    case: str
    about: str
    text: str
    signed: str
    additions: Sequence[tuple[str, str]]
    """Heading and text of each addition."""
    caution: str
    beside: Sequence[str] = ()
    """What else is kept about the note."""


def render_note(note: NotePaper, *, made_at: datetime) -> bytes:
    """The note as PDF. An unsigned note says so."""
    import typst

    data = {
        "title": tr("Operation note, {case}", case=note.case),
        "language": language(),
        "side": note.side,
        "case": note.case,
        "about": note.about,
        "heading": tr("Operation note"),
        "lines": [line for line in note.text.split("\n") if line.strip()],
        "signed": note.signed,
        "beside": list(note.beside),
        "additions": [
            {"head": head, "lines": [line for line in text.split("\n") if line.strip()]}
            for head, text in note.additions
        ],
        "foot": f"{note.caution} {made_at.astimezone().strftime('%Y-%m-%d %H:%M')}",
    }
    try:
        made = typst.compile(
            files("forestay.report").joinpath("note.typ").read_bytes(),
            font_paths=fonts(),
            ignore_system_fonts=True,
            format="pdf",
            sys_inputs={"note": json.dumps(data, ensure_ascii=False)},
            timestamp=int(made_at.timestamp()),
        )
    except typst.TypstError as failed:
        raise SheetError(tr("The note could not be set: {why}", why=str(failed)), field="note") from failed
    return bytes(made)

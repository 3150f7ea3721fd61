"""The two-page sheet for theatre: plan on the front, fallbacks on the back, black on white, A4.

Data reaches the template as JSON and is set as text, never as markup. The same plan, label and time give the same
bytes on every machine: fonts come from the package, system fonts are ignored.
"""

from __future__ import annotations

import json
from datetime import datetime
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

from forestay.errors import ForestayError, InvalidInput
from forestay.plan.model import Plan
from forestay.report.sheet_data import sheet
from forestay.text import tr

if TYPE_CHECKING:
    import typst

FONT_FILES = tuple(f"AtkinsonHyperlegibleNext-{style}.ttf" for style in ("Regular", "Bold", "Italic"))

LONGEST_LABEL = 80
"""A case's label stands in the band of both pages; a longer one is not a label."""


class SheetError(ForestayError):
    """The sheet could not be set: fonts are missing from this installation, or the template failed."""

    code = "sheet-not-made"
    http_status = 500


def font_folder() -> Path:
    """Where the package keeps the sheet's fonts once it is built."""
    return Path(str(files("forestay"))) / "web" / "static" / "built" / "fonts"


@cache
def _fonts(folder: Path) -> typst.Fonts:
    """One shared collection of fonts: looking for them anew on each sheet would cost more than the sheet."""
    import typst

    missing = [name for name in FONT_FILES if not (folder / name).is_file()]
    if missing:
        raise SheetError(
            tr(
                "The sheet's font {name} is missing here; install the package again, which builds it.",
                name=missing[0],
            ),
            field="font",
            value=missing[0],
            allowed=", ".join(FONT_FILES),
        )
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[folder])


def fonts() -> typst.Fonts:
    """The fonts of every paper."""
    return _fonts(font_folder())


def render_pdf(plan: Plan, *, label: str, invented: bool, made_at: datetime) -> bytes:
    """The sheet as PDF, always two pages.

    ``label`` names the case (never the patient); ``invented`` marks a made-up scenario; ``made_at`` is printed and
    becomes the file's date, so it needs a time zone. What does not fit is set smaller; what still does not fit is
    counted on the sheet, never dropped in silence.
    """
    import typst

    if made_at.tzinfo is None:
        raise InvalidInput(
            tr("made_at has no time zone; give one, so that the printed time is certain."),
            field="made_at",
            value=made_at.isoformat(),
            allowed=tr("a time with its zone"),
        )
    if not label.strip() or len(label) > LONGEST_LABEL:
        raise InvalidInput(
            tr("label has {n} characters; allowed: 1 to {most}.", n=len(label), most=LONGEST_LABEL),
            field="label",
            value=label[:LONGEST_LABEL],
            allowed=tr("1 to {most} characters", most=LONGEST_LABEL),
        )
    data = json.dumps(sheet(plan, label=label, invented=invented, made_at=made_at), ensure_ascii=False)
    template = files("forestay.report").joinpath("sheet.typ").read_bytes()
    try:
        made = typst.compile(
            template,
            font_paths=_fonts(font_folder()),
            ignore_system_fonts=True,
            format="pdf",
            sys_inputs={"sheet": data},
            timestamp=int(made_at.timestamp()),
        )
    except typst.TypstError as failed:
        raise SheetError(tr("The sheet could not be set: {why}", why=str(failed)), field="sheet") from failed
    return bytes(made)

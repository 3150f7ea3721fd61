"""``forestay consent``: the patient's own sheet."""

from __future__ import annotations

import json
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from forestay.cli.day import write
from forestay.cli.exchange import Db


def register(app: typer.Typer) -> None:
    """Add the command to ``app``."""
    app.command("consent")(consent)


def consent(
    case: Annotated[str, typer.Argument(metavar="CASE", help="A case file, or the id of a kept case.")],
    *,
    pdf: Annotated[
        Path | None, typer.Option("--pdf", metavar="FILE", help="Also write the sheet, in large print.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Answer in JSON.")] = False,
    language: Annotated[
        str | None,
        typer.Option("--language", metavar="TAG", help="The patient's language, where it differs: en or fr."),
    ] = None,
    db: Db = None,
) -> None:
    """What the patient reads before saying yes: plain words, so many of 1,000 people, where each number comes from."""
    from forestay.services.consent import sheet_of
    from forestay.services.daylist import situations
    from forestay.text import known_language, speaking
    from forestay.text import language as spoken

    name, situation, invented = situations([case], db)[0]
    with speaking(known_language(language or spoken())):
        sheet = sheet_of(situation)
        if pdf is not None:
            from forestay.report.consent import consent_pdf

            write(pdf, consent_pdf(sheet, label=name, invented=invented, made_at=datetime.now().astimezone()))
        if as_json:
            typer.echo(json.dumps(asdict(sheet), indent=2, ensure_ascii=False))
            return
        from forestay.report.consent import readable_consent

        typer.echo(readable_consent(sheet))

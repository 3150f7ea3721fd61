"""``forestay note``: what stands after the operation."""

from __future__ import annotations

import json
from contextlib import closing
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from forestay.cli.day import write
from forestay.cli.exchange import Db

CaseId = Annotated[str, typer.Argument(metavar="CASE-ID", help="A kept case.")]
Json = Annotated[bool, typer.Option("--json", help="Answer in JSON.")]


def register(app: typer.Typer) -> None:
    """Add the commands to ``app``."""
    app.command("note")(note)


def note(
    case: CaseId,
    *,
    pdf: Annotated[Path | None, typer.Option("--pdf", metavar="FILE", help="Also write the note for paper.")] = None,
    as_json: Json = False,
    db: Db = None,
) -> None:
    """The operation note of a kept case: the signed text with its additions, else the kept one, else a draft."""
    from forestay.services.planning import open_desk
    from forestay.web.views.after_build import note_paper

    desk = open_desk(db, demo=False)
    with closing(desk.store):
        opened = desk.open(case)
        paper = note_paper(opened, desk.plan(opened.situation, {}))
    if pdf is not None:
        from forestay.report.note import render_note

        write(pdf, render_note(paper, made_at=datetime.now(UTC)))
    if as_json:
        typer.echo(json.dumps(asdict(paper), indent=2, ensure_ascii=False))
        return
    lines = [paper.side, paper.case, paper.about, "", paper.text, "", paper.signed, *paper.beside]
    for head, text in paper.additions:
        lines += ["", head, text]
    typer.echo("\n".join([*lines, "", paper.caution]))

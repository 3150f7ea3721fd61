"""``forestay note`` and ``forestay follow``: what stands after the operation."""

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
    app.command("follow")(follow)


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


def follow(case: CaseId, *, as_json: Json = False, db: Db = None) -> None:
    """Follow-up of a kept case: visits due, what is expected, what was found and what to do on it."""
    from forestay.case.words import say
    from forestay.services import followup
    from forestay.services.planning import open_desk

    now = datetime.now(UTC)
    desk = open_desk(db, demo=False)
    with closing(desk.store):
        opened = desk.open(case)
        plan = desk.plan(opened.situation, {})
    due = followup.due(opened, plan, now.astimezone().date())
    seen = (*followup.visits(opened, plan), *followup.found_signs(opened))
    expected, found = followup.expected(opened, plan), followup.outcome(opened, plan)
    if as_json:
        told = {
            "case": case,
            "day": followup.day_of(opened, now),
            "due": [asdict(row) for row in due],
            "expected": [asdict(row) for row in expected],
            "seen": [{"says": say(v.body), "advice": [asdict(a) for a in v.advice]} for v in seen],
            "refraction": None if found is None else asdict(found),
            "warnings": list(plan.after.warnings),
            "doubts": list(followup.doubts(opened, plan)),
            "caution": plan.caution,
        }
        typer.echo(json.dumps(told, indent=2, ensure_ascii=False, default=str))
        return
    lines = [f"{d.state:8} {d.when}{f' ({d.first} .. {d.last})' if d.first else ''}: {d.check}" for d in due]
    lines += ["", *(f"{e.says} [{e.source}]" for e in expected), ""]
    for visit in seen:
        lines.append(say(visit.body))
        lines += [f"  ! {a.says + ': ' if a.says else ''}{a.do} [{'; '.join(a.sources)}]" for a in visit.advice]
    lines += [
        followup.outcome_words(found),
        "",
        *(f"? {doubt}" for doubt in followup.doubts(opened, plan)),
        "",
        plan.caution,
    ]
    typer.echo("\n".join(lines))

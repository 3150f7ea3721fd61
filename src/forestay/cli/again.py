"""``forestay again``: an operated case gone through again, question by question."""

from __future__ import annotations

import sys
from contextlib import closing
from dataclasses import asdict, replace
from typing import Annotated

import typer

from forestay.cli.exchange import Db
from forestay.cli.reading import print_json
from forestay.errors import InvalidInput
from forestay.text import tr


def register(app: typer.Typer) -> None:
    """Add the command to ``app``."""
    app.command("again")(again)


def again(
    case: Annotated[str | None, typer.Argument(metavar="CASE-ID", help="A kept case with an operation.")] = None,
    *,
    question: Annotated[int, typer.Option(min=1, help="Go as far as this question; its answer stays hidden.")] = 1,
    answers: Annotated[bool, typer.Option("--answers", help="All questions with their answers, and the end.")] = False,
    invented: Annotated[bool, typer.Option("--invented", help="Go through an invented operation.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Answer in JSON; hidden answers are left out.")] = False,
    db: Db = None,
) -> None:
    """Go through an operated case again: what was known, a question, then what was told, done and came.

    At a terminal it goes on with each press of Enter.
    """
    from forestay.services import again as service
    from forestay.services.planning import open_desk

    if case is None and not invented:
        raise InvalidInput(tr("Name a case, or say --invented."), field="CASE-ID", allowed=tr("a kept case"))
    if case is None:
        found = service.invented()
    else:
        desk = open_desk(db, demo=False)
        with closing(desk.store):
            found = service.again(desk, case)
    upto = len(found.questions) if answers else min(question, len(found.questions))
    if as_json:
        shown = [q if answers or q.number < upto else replace(q, told=(), done=()) for q in found.questions[:upto]]
        told = replace(found, questions=tuple(shown), ending=found.ending if answers else ())
        print_json(asdict(told) | {"of": len(found.questions)})
        return
    if sys.stdin.isatty() and sys.stdout.isatty() and not answers:
        for number in range(upto, len(found.questions) + 1):
            typer.echo("\n".join(service.lines(found, upto=number, answered=False)))
            typer.prompt(tr("Enter shows the answer"), default="", show_default=False)
        typer.echo("\n".join(service.lines(found, upto=len(found.questions), answered=True)))
        return
    typer.echo("\n".join(service.lines(found, upto=upto, answered=answers)))
    if not answers:
        more = tr("Question {n} of {all}. --question {next} goes on, --answers shows everything.",
                  n=upto, all=len(found.questions), next=upto + 1)  # fmt: skip
        typer.echo("\n" + more)

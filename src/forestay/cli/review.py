"""``forestay review``: what the stored cases teach."""

from __future__ import annotations

from contextlib import closing
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from forestay.cli.batch import runner
from forestay.cli.exchange import Db
from forestay.cli.reading import bytes_of, print_json
from forestay.cli.stopping import may_be_stopped, show_progress
from forestay.errors import InvalidInput
from forestay.text import tr

if TYPE_CHECKING:
    from forestay.batch.units import Runner
    from forestay.review.outcome import Outcome


def register(app: typer.Typer) -> None:
    """Add the command to ``app``."""
    app.command("review")(review)


def review(
    *,
    as_json: Annotated[bool, typer.Option("--json", help="Answer in JSON.")] = False,
    since: Annotated[str | None, typer.Option(metavar="DATE", help="First day, as 2026-01-31.")] = None,
    until: Annotated[str | None, typer.Option(metavar="DATE", help="Last day.")] = None,
    surgeon: Annotated[str | None, typer.Option(help="Only this surgeon (role or pseudonym).")] = None,
    technique: Annotated[str | None, typer.Option(help="Only this technique.")] = None,
    lens: Annotated[str | None, typer.Option(help="Only this lens.")] = None,
    invented: Annotated[
        bool, typer.Option("--invented", help="Look at an invented practice; nothing is kept.")
    ] = False,
    peers: Annotated[
        Path | None,
        typer.Option("--peers", metavar="FILE", help="Figures of peers (CSV: name, operations, events, expected)."),
    ] = None,
    work: Annotated[
        Path | None,
        typer.Option(
            "--work", metavar="FOLDER", help="Keep parts here while at work, so that a stopped review goes on."
        ),
    ] = None,
    workers: Annotated[int, typer.Option(min=0, max=1024, help="Processes, with --work; 0: one for each core.")] = 0,
    scheduler: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Dask scheduler, with --work, as tls://host:8786.")
    ] = None,
    db: Db = None,
) -> None:
    """Review what the stored cases teach: outcome against plan, complications, own constants, signals.

    Ends with status 1 where a signal asks to stop a list.
    """
    from forestay.report.review_text import readable
    from forestay.review.groups import Selection
    from forestay.review.make import as_dict
    from forestay.review.peers import peers_from_table
    from forestay.services.cases import open_store
    from forestay.services.reviewing import look_back

    selection = Selection(_day(since, "--since"), _day(until, "--until"), surgeon, technique, lens)
    others = peers_from_table(*bytes_of(peers, "--peers")) if peers is not None else ()
    if invented:
        found, _ = look_back(None, selection, peers=others)
    else:
        with closing(open_store(db)) as store, may_be_stopped(_stopped(work)):
            known = _in_parts(db, store, work, runner(workers, scheduler)) if work is not None else None
            found, _ = look_back(store, selection, peers=others, known=known, progress=show_progress)
    if as_json:
        print_json(as_dict(found))
    else:
        typer.echo(readable(found))
    if found.signals:
        raise typer.Exit(1)


def _in_parts(db: str | None, store: Any, folder: Path, run: Runner) -> list[Outcome]:
    from forestay.services.review_parts import operated_in_parts

    return operated_in_parts(db, store, folder, run=run, progress=show_progress)


def _stopped(work: Path | None) -> str:
    if work is None:
        return tr("Stopped. With --work FOLDER a review that was stopped goes on where it was.")
    return tr("Stopped. What is done stays in {folder}; the same command again goes on.", folder=str(work))


def _day(text: str | None, field: str) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        allowed = tr("a day as in 2026-01-31")
        raise InvalidInput(
            tr("{field} is {value}; allowed: {allowed}.", field=field, value=text[:40], allowed=allowed),
            field=field,
            value=text[:40],
            allowed=allowed,
        ) from None

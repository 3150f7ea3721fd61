"""``forestay batch``: many eyes at once. The same command again goes on where it stopped."""

from __future__ import annotations

import os
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forestay.cli.practice import PracticeOption, SettingsOption, context_from
from forestay.cli.reading import bytes_of, print_json
from forestay.cli.stopping import may_be_stopped, show_progress
from forestay.text import tr

if TYPE_CHECKING:
    from forestay.batch.units import Runner
    from forestay.batch.whole import Told

batch = typer.Typer(help="Many eyes at once: resumable, the same bits for any number of workers.", no_args_is_help=True)

SHOWN = 20
"""Surgeons that are printed; of a larger register, those outside the limits."""
Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the Parquet files are, or will be.")]
Count = Annotated[int, typer.Argument(metavar="N", min=1, max=1_000_000_000, help="Number of eyes.")]
Seed = Annotated[int, typer.Option(min=0, help="Fixes every invented number.")]
Workers = Annotated[int, typer.Option(min=0, max=1024, help="Processes; 0: one for each core.")]
Scheduler = Annotated[str | None, typer.Option(metavar="ADDRESS", help="Dask scheduler, as tls://host:8786.")]


def register(app: typer.Typer) -> None:
    """Add the commands to ``app``."""
    app.add_typer(batch, name="batch")


def runner(workers: int, scheduler: str | None) -> Runner:
    from forestay.batch.units import Cluster, LocalPool

    if scheduler:
        paths = (os.environ.get(f"FORESTAY_TLS_{name}") for name in ("CA", "CERT", "KEY"))
        return Cluster(scheduler, *paths)
    return LocalPool(workers or os.cpu_count() or 1)


def _goes_on(folder: Path) -> str:
    return tr("Stopped. What is done stays in {folder}; the same command again goes on.", folder=str(folder))


@batch.command("invent")
def invent(n: Count, folder: Folder, *, seed: Seed = 1, workers: Workers = 0, scheduler: Scheduler = None) -> None:
    """Invent a practice of N operated eyes, marked as invented, for a look or a benchmark."""
    from forestay.batch.study import invent as run

    with may_be_stopped(_goes_on(folder)):
        done = run(n, folder, seed=seed, run=runner(workers, scheduler), progress=show_progress)
    typer.echo(tr("{n} files in {folder}.", n=len(done), folder=str(folder)))


@batch.command("plan")
def plan(n: Count, folder: Folder, *, seed: Seed = 1, workers: Workers = 0, scheduler: Scheduler = None) -> None:
    """Plan N invented eyes in brief: power, refraction, risk of rupture."""
    from forestay.batch.study import plan_in_brief

    with may_be_stopped(_goes_on(folder)):
        done = plan_in_brief(n, folder, seed=seed, run=runner(workers, scheduler), progress=show_progress)
    typer.echo(tr("{n} files in {folder}.", n=len(done), folder=str(folder)))


@batch.command("cases")
def cases(
    folder: Folder,
    files: Annotated[
        list[Path],
        typer.Argument(metavar="FILE...", help="Case files, exported facts, or exports of a practice."),
    ],
    *,
    workers: Workers = 0,
    scheduler: Scheduler = None,
    settings: SettingsOption = None,
    practice: PracticeOption = None,
    as_json: Annotated[bool, typer.Option("--json", help="Answer in JSON, one row an eye.")] = False,
) -> None:
    """Plan given eyes in full; the plans stand in FOLDER as Parquet. Ends with status 1 where an eye could not be planned."""
    from forestay.batch.whole import plan_whole, told
    from forestay.services.many import eyes_in

    eyes = eyes_in(bytes_of(path, "FILE") for path in files)
    context = context_from(settings, practice)
    with may_be_stopped(_goes_on(folder)):
        done = plan_whole(eyes, folder, run=runner(workers, scheduler), progress=show_progress, context=context)
    rows = told(done)
    if as_json:
        print_json([asdict(row) for row in rows])
    else:
        for row in rows:
            typer.echo(_one_line(row))
        typer.echo(tr("{n} eyes; their plans stand in {folder}.", n=len(rows), folder=str(folder)))
    if any(row.error for row in rows):
        raise typer.Exit(1)


def _one_line(row: Told) -> str:
    if row.error is not None:
        return tr("{name}: cannot be planned. {why}", name=row.name, why=row.error)
    lens = (
        tr("lens {power:+.2f} D, {place}", power=row.power_d, place=row.place) if row.power_d else tr("no lens power")
    )
    return tr("{name}: {says} {lens}; {n} to recheck.", name=row.name, says=row.says, lens=lens, n=row.rechecks)


@batch.command("audit")
def audit(folder: Folder, *, as_json: Annotated[bool, typer.Option("--json", help="Answer in JSON.")] = False) -> None:
    """Audit the tables of a folder: observed against expected by surgeon and year."""
    from forestay.batch.audit import audit as run
    from forestay.evidence import default_evidence

    found = run(sorted(folder.glob("invented-*.parquet")), default_evidence().reader())
    if as_json:
        print_json(asdict(found))
        return
    typer.echo(
        tr(
            "{n} operations, {events} ruptures, {expected:.0f} expected.",
            n=found.n,
            events=found.events,
            expected=found.expected,
        )
    )
    shown = found.groups[:SHOWN] if len(found.groups) <= SHOWN else [g for g in found.groups if g.outside][:SHOWN]
    if len(shown) < len(found.groups):
        outside = sum(group.outside for group in found.groups)
        typer.echo(
            tr(
                "{outside} of {all} surgeons lie outside the outer limits, of whom up to {most} are shown; all with --json.",
                outside=outside,
                all=len(found.groups),
                most=SHOWN,
            )
        )
    if found.withheld:
        typer.echo(tr("{n} surgeons have too few cases to be shown.", n=found.withheld))
    for group in shown:
        typer.echo(
            tr(
                "surgeon {name}: {events} of {n}, observed over expected {ratio:.2f}{mark}; {followed} seen again, mean "
                "refraction error {mean:+.2f} D",
                name=group.surgeon,
                events=group.events,
                n=group.n,
                ratio=group.ratio,
                mark=tr(", outside the outer limits") if group.outside else "",
                followed=group.followed,
                mean=group.mean_error_d or 0.0,
            )
        )

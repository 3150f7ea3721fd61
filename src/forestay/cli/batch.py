"""``forestay batch``: many eyes at once. The same command again goes on where it stopped."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from forestay.cli.reading import print_json
from forestay.text import tr

if TYPE_CHECKING:
    from forestay.batch.units import Runner

batch = typer.Typer(help="Many eyes at once: resumable, the same bits for any number of workers.", no_args_is_help=True)

STOPPED_STATUS = 2
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


def _runner(workers: int, scheduler: str | None) -> Runner:
    from forestay.batch.units import Cluster, LocalPool

    if scheduler:
        paths = (os.environ.get(f"FORESTAY_TLS_{name}") for name in ("CA", "CERT", "KEY"))
        return Cluster(scheduler, *paths)
    return LocalPool(workers or os.cpu_count() or 1)


def _progress(done: int, of: int) -> None:
    if sys.stderr.isatty():
        typer.echo(f"\r{done} / {of}", nl=done == of, err=True)


@contextmanager
def may_be_stopped(folder: Path) -> Iterator[None]:
    """Ctrl-C, or the signal that ends a program, stops after the units at work; what is done stays."""

    def stop(_number: int, _frame: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    except KeyboardInterrupt:
        says = tr("Stopped. What is done stays in {folder}; the same command again goes on.", folder=str(folder))
        typer.echo("\n" + says, err=True)
        raise typer.Exit(STOPPED_STATUS) from None
    finally:
        signal.signal(signal.SIGTERM, before)


@batch.command("invent")
def invent(n: Count, folder: Folder, *, seed: Seed = 1, workers: Workers = 0, scheduler: Scheduler = None) -> None:
    """Invent a practice of N operated eyes, marked as invented, for a look or a benchmark."""
    from forestay.batch.study import invent as run

    with may_be_stopped(folder):
        done = run(n, folder, seed=seed, run=_runner(workers, scheduler), progress=_progress)
    typer.echo(tr("{n} files in {folder}.", n=len(done), folder=str(folder)))


@batch.command("plan")
def plan(n: Count, folder: Folder, *, seed: Seed = 1, workers: Workers = 0, scheduler: Scheduler = None) -> None:
    """Plan N invented eyes in brief: power, refraction, risk of rupture."""
    from forestay.batch.study import plan_in_brief

    with may_be_stopped(folder):
        done = plan_in_brief(n, folder, seed=seed, run=_runner(workers, scheduler), progress=_progress)
    typer.echo(tr("{n} files in {folder}.", n=len(done), folder=str(folder)))


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

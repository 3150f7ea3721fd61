"""``forestay settings``: what the practice says of itself once; shown, changed, taken in, as it was at any change."""

from __future__ import annotations

import json
from contextlib import closing
from pathlib import Path
from typing import Annotated, Any

import typer

from forestay.cli.exchange import Db
from forestay.text import tr

Json = Annotated[bool, typer.Option("--json", help="Answer in JSON.")]
family = typer.Typer(
    help="The settings of the practice: surgeons, theatre, shelves, units, language.", no_args_is_help=True
)


def register(app: typer.Typer) -> None:
    """Add the commands to ``app``."""
    app.add_typer(family, name="settings")


def _store(db: str | None) -> Any:
    from forestay.services.cases import open_store

    return closing(open_store(db))


def _who() -> Any:
    from forestay.services.cases import Who

    return Who(author="desk", device="command")


@family.command("show")
def show(
    at: Annotated[
        int | None, typer.Option("--at", metavar="N", min=1, help="As they were after change N, which a plan names.")
    ] = None,
    as_json: Json = False,
    db: Db = None,
) -> None:
    """The settings as a TOML file that `forestay settings import` takes."""
    from forestay.services.settings import PARTS, as_toml, settings

    with _store(db) as store:
        kept = settings(store, at=at)
    if as_json:
        parts = {name: kept.part(name) for name in PARTS}
        told = {name: None if part is None else part.model_dump(mode="json") for name, part in parts.items()}
        typer.echo(json.dumps({"number": kept.number, **told}, indent=2, ensure_ascii=False))
    else:
        typer.echo(as_toml(kept), nl=False)


@family.command("history")
def history(as_json: Json = False, db: Db = None) -> None:
    """Every change: number, when, by whom, from where, which part."""
    from forestay.services.settings import history as changes

    with _store(db) as store:
        rows = changes(store)
    if as_json:
        told = [{n: getattr(r, n) for n in ("number", "at", "author", "device", "part")} for r in rows]
        typer.echo(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        for row in rows:
            typer.echo(f"{row.number:>5} {row.at[:19]} {row.author:<12} {row.device:<12} {row.part}")


@family.command("import")
def import_(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Settings, a shelf of lenses or a shelf of devices (TOML).")
    ],
    db: Db = None,
) -> None:
    """Take in a TOML file; the parts that it names are replaced as a whole, the others stay."""
    from forestay.cli.reading import bytes_of
    from forestay.services.settings import take_in

    data, name = bytes_of(file, "FILE")
    with _store(db) as store:
        changed = take_in(store, data, name, who=_who())
    if changed:
        typer.echo(tr("Kept: {parts}.", parts=", ".join(changed)))
    else:
        typer.echo(tr("Everything in it is kept already."))


@family.command("set")
def set_(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What is set: theatre.techniques, shown.pressure …")],
    value: Annotated[
        list[str] | None,
        typer.Argument(metavar="[VALUE]...", help="Its value; several for a list; none for not known."),
    ] = None,
    db: Db = None,
) -> None:
    """Set one thing of the theatre or of the units: theatre.NAME or shown.NAME."""
    from forestay.services.settings import set_one

    with _store(db) as store:
        changed = set_one(store, name, tuple(value or ()), who=_who())
    typer.echo(tr("Kept: {parts}.", parts=name) if changed else tr("It is kept so already."))

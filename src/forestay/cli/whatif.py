"""``forestay flips``: where the plan of an eye would turn into another one."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from forestay.cli.practice import PracticeOption, SettingsOption, context_from
from forestay.cli.reading import bytes_of, print_json
from forestay.text import tr


def register(app: typer.Typer) -> None:
    """Add the command to ``app``."""
    app.command("flips")(flips)


def flips(
    case: Annotated[
        Path, typer.Argument(metavar="CASE", help="Case file (TOML) or exported facts; - for standard input.")
    ],
    as_json: Annotated[bool, typer.Option("--json", help="Answer in JSON.")] = False,
    settings: SettingsOption = None,
    practice: PracticeOption = None,
) -> None:
    """Where the plan turns: the value of each input at which decision or technique change, the rest as it is."""
    from dataclasses import asdict

    from forestay.case.case_file import read_case
    from forestay.plan.flip import flips as find

    data, name = bytes_of(case, "CASE")
    found = find(read_case(data, name), context_from(settings, practice))
    if as_json:
        print_json(asdict(found))
        return
    for row in found.rows:
        typer.echo(row.says)
    if not found.rows:
        typer.echo(tr("Nothing that was tried turns this plan."))
    typer.echo(tr("Turns nothing within the usual range: {what}.", what=", ".join(found.steady)))
    typer.echo(tr("Each tried alone, the rest of the eye as it is; {count} plans.", count=found.tried))

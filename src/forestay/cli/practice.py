"""What the practice says of itself, for the commands that plan: a settings file or a database; nothing without them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from forestay.cli.reading import bytes_of
from forestay.errors import InvalidInput
from forestay.text import tr

SettingsOption = Annotated[
    Path | None,
    typer.Option(
        "--settings",
        metavar="FILE",
        help="The practice's shelves and own ratios of signs (TOML), as `forestay settings show` writes them.",
    ),
]
PracticeOption = Annotated[
    str | None,
    typer.Option(
        "--practice",
        metavar="DB",
        help="Plan as the pages over this database do: its settings, shelves, and own figures of its cases.",
    ),
]


def context_from(settings: Path | None, practice: str | None) -> Any:
    """The context that these options ask for; without either, what ships."""
    if settings is None and practice is None:
        from forestay.plan.context import Context

        return Context.default()
    from forestay.services import commands

    return commands.context_of(_given(settings, practice))


def _given(settings: Path | None, practice: str | None) -> Any:
    from forestay.services import commands

    if settings is not None and practice is not None:
        raise InvalidInput(
            tr("Give --settings or --practice, not both."),
            field="--practice",
            value=practice,
            allowed=tr("one of both"),
        )
    if settings is not None:
        return commands.given_by_file(*bytes_of(settings, "--settings"))
    if "://" not in str(practice) and not Path(str(practice)).is_file():
        raise InvalidInput(
            tr("There is no database {name}.", name=str(practice)),
            field="--practice",
            value=str(practice),
            allowed=tr("a database that exists"),
        )
    return commands.given_by_store(str(practice))

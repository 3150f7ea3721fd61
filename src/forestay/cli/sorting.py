"""``forestay sort``: the few signs of many eyes in, routine, difficult, refer out."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer


def register(app: typer.Typer) -> None:
    """Add the command to ``app``."""
    app.command("sort")(sort)


def sort(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Eyes: a table (CSV), or the JSON of `calc sort-eyes`.")],
    vitrector: Annotated[
        bool | None, typer.Option("--vitrector/--no-vitrector", help="Whether there is a vitrector here.")
    ] = None,
    trays: Annotated[str, typer.Option("--trays", metavar="A,B,...", help="Numbers of the trays, in turn.")] = "",
    as_json: Annotated[bool, typer.Option("--json", help="Answer in JSON.")] = False,
) -> None:
    """A quick sort of many eyes from the few signs there are, a lens for each, trays in turn."""
    from forestay.calc.many import parse_json
    from forestay.calc.sort_table import eyes_from_table
    from forestay.calc.sorting import sort_eyes
    from forestay.case.case_file import load

    data, name = load(file)
    table = data.lstrip()[:1] != b"{"
    given: dict[str, Any] = {"eyes": eyes_from_table(data, name)} if table else dict(parse_json(data))
    if vitrector is not None:
        given["vitrector"] = vitrector
    if trays:
        given["trays"] = [t.strip() for t in trays.split(",") if t.strip()]
    answer = sort_eyes.run(given)
    if as_json:
        typer.echo(json.dumps(answer.as_dict(), indent=2, ensure_ascii=False))
        return
    from forestay.plan.make import caution
    from forestay.services.sorting_words import readable_sort

    typer.echo(readable_sort(answer.result, [*(d.message for d in answer.doubts), caution()]))

"""``forestay export`` and ``forestay import``: cases out of the store and into it."""

from __future__ import annotations

import json
import sys
from contextlib import closing
from pathlib import Path
from typing import Annotated

import typer

Db = Annotated[
    str | None,
    typer.Option("--db", envvar="FORESTAY_DB", help="Database: an SQLite file, as path or address; else your own one."),
]


def register(app: typer.Typer) -> None:
    """Add both commands to ``app``."""
    app.command("export")(export)
    app.command("import")(import_)


def export(
    case_id: Annotated[str, typer.Argument(metavar="CASE-ID", help="The case, as `forestay import` named it.")],
    form: Annotated[str, typer.Option("--as", help="Form of the export: facts, fhir, dicom.")] = "facts",
    db: Db = None,
) -> None:
    """Write a kept case to standard output: its facts as lines of JSON, a FHIR bundle, or DICOM objects in a ZIP file."""
    from forestay.services.cases import export_case, open_store

    with closing(open_store(db)) as store:
        data = export_case(store, case_id, form)
    sys.stdout.buffer.write(data)
    sys.stdout.buffer.flush()


def import_(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE", help="A case file (TOML), exported facts, a FHIR bundle, or DICOM measurements."
        ),
    ],
    case_id: Annotated[
        str | None, typer.Option("--case", help="What to call the case of a case file; else the file's name.")
    ] = None,
    side: Annotated[
        str | None, typer.Option("--side", help="Eye that a new case from measurements is about: left, right.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Answer as JSON.")] = False,
    db: Db = None,
) -> None:
    """Keep a case file, exported facts, FHIR or DICOM, whichever the file is. Importing twice changes nothing."""
    from forestay.case.case_file import load
    from forestay.services.cases import import_case, open_store
    from forestay.text import tr

    data, name = load(file)
    with closing(open_store(db)) as store:
        done = import_case(store, data, name=name, case_id=case_id, side=side)
    if as_json:
        typer.echo(json.dumps({"case": done.case, "new": done.new, "facts": done.facts, "notes": list(done.notes)}))
    else:
        typer.echo(tr("Case {case}: {new} new facts, {facts} in all.", case=done.case, new=done.new, facts=done.facts))
        for note in done.notes:
            typer.echo(note)

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

RECHECK_STATUS = 1


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
            metavar="FILE", help="A case file (TOML), exported facts, a FHIR bundle, DICOM measurements, or a table."
        ),
    ],
    *,
    case_id: Annotated[
        str | None, typer.Option("--case", help="What to call the case of a case file; else the file's name.")
    ] = None,
    side: Annotated[
        str | None, typer.Option("--side", help="Eye that a new case from measurements is about: left, right.")
    ] = None,
    mapping: Annotated[
        Path | None,
        typer.Option("--mapping", metavar="FILE", help="Columns to fields (TOML), for a table: CSV, Excel, Parquet."),
    ] = None,
    preview: Annotated[
        bool, typer.Option("--preview", help="Show what a table would do, row by row; keep nothing.")
    ] = (False),
    as_json: Annotated[bool, typer.Option("--json", help="Answer as JSON.")] = False,
    db: Db = None,
) -> None:
    """Keep a case file, exported facts, FHIR, DICOM or a table, whichever the file is. Importing twice changes nothing."""
    from forestay.case.case_file import load
    from forestay.services.cases import import_case, open_store
    from forestay.text import tr

    data, name = load(file)
    if mapping is not None:
        _table(data, name, mapping, preview=preview, as_json=as_json, db=db)
        return
    with closing(open_store(db)) as store:
        done = import_case(store, data, name=name, case_id=case_id, side=side)
    if as_json:
        typer.echo(json.dumps({"case": done.case, "new": done.new, "facts": done.facts, "notes": list(done.notes)}))
    else:
        typer.echo(tr("Case {case}: {new} new facts, {facts} in all.", case=done.case, new=done.new, facts=done.facts))
        for note in done.notes:
            typer.echo(note)


def _table(data: bytes, name: str, mapping: Path, *, preview: bool, as_json: bool, db: str | None) -> None:
    """A table, looked at or kept; one with a row that cannot be keeps nothing."""
    from forestay.cli.reading import bytes_of, print_json
    from forestay.exchange.table_mapping import read_mapping
    from forestay.services.cases import open_store
    from forestay.services.tables import STATES, import_table, look_at_table
    from forestay.text import tr

    read = read_mapping(*bytes_of(mapping, "--mapping"))
    with closing(open_store(db)) as store:
        look = (look_at_table if preview else import_table)(store, data, name, read)
    counts = {state: look.count(state) for state in STATES}
    if as_json:
        rows = [{"line": r.line, "case": r.case, "state": r.state, "says": list(r.says)} for r in look.rows]
        print_json({"kept": look.kept, "counts": counts, "rows": rows, "columns_left": list(look.left)})
    else:
        for row in look.rows if preview else ():
            typer.echo(f"{row.line} {row.case} {row.state}: {', '.join(row.says)}")
        typer.echo(", ".join(f"{state} {count}" for state, count in counts.items()))
        if look.left:
            typer.echo(tr("Columns not read: {columns}.", columns=", ".join(look.left)))
        typer.echo(tr("All rows are kept.") if look.kept else tr("A preview; nothing was kept."))
    if counts["refused"]:
        raise typer.Exit(RECHECK_STATUS)

"""``forestay export`` and ``forestay import``: cases out of the store and into it."""

from __future__ import annotations

import json
import sys
from contextlib import closing
from pathlib import Path
from typing import Annotated, Any

import typer

Db = Annotated[
    str | None,
    typer.Option(
        "--db", envvar="FORESTAY_DB", help="Database: an SQLite file or a PostgreSQL address; else your own one."
    ),
]

RECHECK_STATUS = 1


def register(app: typer.Typer) -> None:
    """Add both commands to ``app``."""
    app.command("export")(export)
    app.command("import")(import_)


def export(
    case_id: Annotated[
        str | None, typer.Argument(metavar="CASE-ID", help="The case, as `forestay import` named it.")
    ] = None,
    *,
    form: Annotated[str, typer.Option("--as", help="Form of the export: facts, fhir, dicom, table.")] = "facts",
    everything: Annotated[bool, typer.Option("--all", help="All cases with attachments, in one ZIP file.")] = False,
    deidentified: Annotated[
        bool, typer.Option("--deidentified", help="Without what points to a person, for registries and teaching.")
    ] = False,
    db: Db = None,
) -> None:
    """Write a kept case, or all, to standard output: facts as lines of JSON, FHIR, DICOM, a table, a ZIP file."""
    from forestay.services.cases import open_store

    with closing(open_store(db)) as store:
        data = _exported(store, case_id, form, everything=everything, deidentified=deidentified)
    sys.stdout.buffer.write(data)
    sys.stdout.buffer.flush()


def _exported(store: Any, case_id: str | None, form: str, *, everything: bool, deidentified: bool) -> bytes:
    from forestay.errors import InvalidInput
    from forestay.services.cases import export_case
    from forestay.services.practice_out import export_case_deidentified, export_deidentified, export_practice
    from forestay.text import tr

    if everything == (case_id is not None) or (everything and form != "facts"):
        raise InvalidInput(
            tr("Name one case, or say --all for all of them as facts."), field="CASE-ID", allowed=tr("a case, or --all")
        )
    if case_id is None:
        return export_deidentified(store) if deidentified else export_practice(store)
    return export_case_deidentified(store, case_id, form) if deidentified else export_case(store, case_id, form)


def import_(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="A case file (TOML), exported facts, a FHIR bundle, DICOM measurements, a table, or a whole practice.",
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
    from forestay.exchange.practice_file import looks_like_practice
    from forestay.services.cases import import_case, open_store
    from forestay.services.tables import is_own_table
    from forestay.text import tr

    data, name = load(file)
    if mapping is not None or is_own_table(data, name):
        _table(data, name, mapping, preview=preview, as_json=as_json, db=db)
        return
    if looks_like_practice(data):
        _practice(data, name, as_json=as_json, db=db)
        return
    with closing(open_store(db)) as store:
        done = import_case(store, data, name=name, case_id=case_id, side=side)
    if as_json:
        typer.echo(json.dumps({"case": done.case, "new": done.new, "facts": done.facts, "notes": list(done.notes)}))
    else:
        typer.echo(tr("Case {case}: {new} new facts, {facts} in all.", case=done.case, new=done.new, facts=done.facts))
        for note in done.notes:
            typer.echo(note)


def _practice(data: bytes, name: str, *, as_json: bool, db: str | None) -> None:
    """All cases of an export of a practice, with their attachments."""
    from forestay.services.cases import open_store
    from forestay.services.practice_out import import_practice
    from forestay.text import tr

    with closing(open_store(db)) as store:
        done = import_practice(store, data, name)
    told = {"cases": len(done), "new": sum(one.new for one in done), "facts": sum(one.facts for one in done)}
    attachments = sum(one.enclosed for one in done)
    if as_json:
        typer.echo(json.dumps(told | {"attachments": attachments}))
        return
    typer.echo(tr("{cases} cases: {new} new facts, {facts} in all.", **told))
    if attachments:
        typer.echo(tr("Photos and documents with them: {attachments}.", attachments=attachments))


def _table(data: bytes, name: str, mapping: Path | None, *, preview: bool, as_json: bool, db: str | None) -> None:
    """A table, looked at or kept; one with a row that cannot be keeps nothing."""
    from forestay.cli.reading import bytes_of, print_json
    from forestay.exchange.table_mapping import read_mapping
    from forestay.services.cases import open_store
    from forestay.services.tables import STATES, import_table, look_at_table, own_mapping
    from forestay.text import tr

    read = own_mapping(data, name) if mapping is None else read_mapping(*bytes_of(mapping, "--mapping"))
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

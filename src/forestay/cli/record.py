"""``forestay verify``, ``backup``, ``restore``, ``erase``, ``rebuild``, ``find`` and ``encrypt``: the record as a whole."""

from __future__ import annotations

import json
import os
import sys
from contextlib import closing
from pathlib import Path
from typing import Annotated, Any

import typer

from forestay.cli.exchange import Db
from forestay.text import tr

Json = Annotated[bool, typer.Option("--json", help="Answer in JSON.")]
RECHECK_STATUS = 1
PASSPHRASE = "FORESTAY_PASSPHRASE"  # noqa: S105 - the name of a variable


def register(app: typer.Typer) -> None:
    """Add the commands to ``app``."""
    for command in (verify, backup, restore, erase, rebuild, find, encrypt):
        app.command(command.__name__)(command)


def _open(db: str | None) -> Any:
    """The store; the passphrase of an encrypted one is asked for where somebody sits at a terminal."""
    from forestay.services.cases import open_store
    from forestay.services.unlocking import needs_passphrase

    if needs_passphrase(db) and sys.stdin.isatty():
        os.environ[PASSPHRASE] = typer.prompt(tr("Passphrase of the database"), hide_input=True, err=True)
    return closing(open_store(db))


def _say(value: Any, sentence: str, *, as_json: bool) -> None:
    typer.echo(json.dumps(value, indent=2, ensure_ascii=False) if as_json else sentence)


def _bytes(path: Path, argument: str) -> bytes:
    from forestay.errors import UnreadableFile

    try:
        return path.read_bytes()
    except OSError as wrong:
        raise UnreadableFile(
            tr("{name} cannot be read: {why}.", name=str(path), why=wrong.strerror or str(wrong)),
            field=argument,
            value=str(path),
        ) from None


def verify(
    against: Annotated[
        Path | None, typer.Option("--against", metavar="FILE", help="Heads that were kept elsewhere, to compare with.")
    ] = None,
    heads: Annotated[
        Path | None, typer.Option("--heads", metavar="FILE", help="Also write today's heads, to be kept elsewhere.")
    ] = None,
    as_json: Json = False,
    db: Db = None,
) -> None:
    """Check the whole record: every changed, dropped or reordered fact is named."""
    from forestay.errors import UnreadableFile
    from forestay.services import keeping

    with _open(db) as store:
        found = keeping.verify(store, _bytes(against, "--against") if against is not None else None)
        if heads is not None:
            try:
                heads.write_bytes(keeping.heads_kept(store))
            except OSError as wrong:
                raise UnreadableFile(
                    tr("{name} cannot be written: {why}.", name=str(heads), why=wrong.strerror or str(wrong)),
                    field="--heads",
                    value=str(heads),
                ) from None
        cases, mark = len(store.cases()), keeping.mark(store)
    if as_json:
        told = {"cases": cases, "mark": mark, "faults": keeping.as_plain(found)}
        typer.echo(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        for one in found:
            typer.echo(one.says)
        if not found:
            typer.echo(tr("{cases} cases: every fact is as it was accepted.", cases=cases))
            typer.echo(tr("Mark of the whole record: {mark}", mark=mark))
    if found:
        raise typer.Exit(RECHECK_STATUS)


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write the backup; a file there is replaced.")],
    as_json: Json = False,
    db: Db = None,
) -> None:
    """Write a checked copy of the whole record to one file; the server may be running."""
    from forestay.services import keeping

    with _open(db) as store:
        done = keeping.backup(store, file)
    told = {"file": str(file), "cases": done.cases, "facts": done.facts}
    words = tr(
        "{file}: {cases} cases, {facts} facts, checked. The signing key is not in it; keep a copy of the key apart.",
        **told,
    )
    _say(told, words, as_json=as_json)


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A file that forestay backup wrote.")],
    as_json: Json = False,
    db: Db = None,
) -> None:
    """Bring a backup back, checked fact by fact. What is here now is set aside in a file of its own first."""
    from forestay.services import keeping

    with _open(db) as store:
        done = keeping.restore(store, file)
    aside = None if done.set_aside is None else str(done.set_aside)
    told = {"cases": done.cases, "facts": done.facts, "set_aside": aside, "erased_again": done.erased_again}
    words = tr("{cases} cases, {facts} facts, each as in the backup.", cases=done.cases, facts=done.facts)
    if aside is not None:
        words += " " + tr("What was here before is in {aside}.", aside=aside)
    if done.erased_again:
        words += " " + tr("{count} cases were erased again.", count=done.erased_again)
    _say(told, words, as_json=as_json)


def erase(
    case_id: Annotated[str, typer.Argument(metavar="CASE-ID", help="The case.")],
    *,
    why: Annotated[str, typer.Option("--why", help="Why, as it will stand in the record; no names.")],
    by: Annotated[str, typer.Option("--by", help="Who erases: a pseudonym.")] = "desk",
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    as_json: Json = False,
    db: Db = None,
) -> None:
    """Delete for good what a case says, with identity and attachments. That it was there stays, signed."""
    from forestay.errors import InvalidInput
    from forestay.services import keeping

    with _open(db) as store:
        facts = len(store.facts(case_id))
        if not yes:
            if not sys.stdin.isatty():
                raise InvalidInput(tr("Erasing cannot be undone; say --yes to confirm."), field="--yes")
            typer.confirm(tr("Erase {facts} facts of case {case} for good?", facts=facts, case=case_id), abort=True)
        gone = keeping.erase(store, case_id, by=by, why=why)
    told = {"case": case_id, "erased": gone}
    words = tr(
        "Case {case}: {erased} facts erased. Backups made before still hold them until they are renewed.", **told
    )
    _say(told, words, as_json=as_json)


def rebuild(as_json: Json = False, db: Db = None) -> None:
    """Make lists and search index again from the facts."""
    from forestay.services import keeping

    with _open(db) as store:
        count = keeping.rebuild(store)
    _say({"cases": count}, tr("{cases} cases read; lists and index made again.", cases=count), as_json=as_json)


def find(
    words: Annotated[
        list[str], typer.Argument(metavar="WORDS", help="Words, and fields such as 'axial_length_mm>26'.")
    ],
    as_json: Json = False,
    db: Db = None,
) -> None:
    """Find cases by words and fields of their facts."""
    from forestay.services.search import find as look

    with _open(db) as store:
        found = look(store, " ".join(words))
    if as_json:
        typer.echo(json.dumps([{"case": one.case, "facts": list(one.facts)} for one in found], ensure_ascii=False))
        return
    for one in found:
        typer.echo(f"{one.case}: {' | '.join(one.facts)}")
    if not found:
        typer.echo(tr("No case answers."))


def encrypt(
    change: Annotated[bool, typer.Option("--change", help="Change the passphrase of an encrypted database.")] = False,
    db: Db = None,
) -> None:
    """Encrypt the database file at rest, or change its passphrase. Stop the server first."""
    from forestay.errors import InvalidInput
    from forestay.services import keeping

    variable = "FORESTAY_NEW_PASSPHRASE"
    new = os.environ.get(variable)
    if new is None:
        if not sys.stdin.isatty():
            raise InvalidInput(tr("Give the new passphrase in {variable}.", variable=variable), field="passphrase")
        new = typer.prompt(tr("New passphrase"), hide_input=True, confirmation_prompt=True, err=True)
    if change:
        old = os.environ.get(PASSPHRASE) or typer.prompt(tr("Passphrase of the database"), hide_input=True, err=True)
        keeping.change_passphrase(db, old, new)
        typer.echo(tr("The passphrase is changed."))
        return
    file = keeping.encrypt(db, new)
    typer.echo(
        tr(
            "{file} is encrypted. Without the passphrase and the file {lock} nothing in it can be read again.",
            file=file,
            lock=f"{file.name}.lock",
        )
    )

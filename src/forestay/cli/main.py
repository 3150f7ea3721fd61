"""The command ``forestay``: thin. Every command calls one service or calculation; heavy imports stay inside them.

Exit status: 0 done; 1 done, but something must be rechecked; 2 bad input or a refusal. With ``--json`` and for
``calc``, standard error then holds exactly one JSON object; otherwise one sentence. Never a traceback.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.exceptions import TyperException

from forestay import __version__
from forestay.cli.practice import PracticeOption, SettingsOption, context_from
from forestay.cli.reading import bytes_of, print_json
from forestay.errors import ForestayError, InvalidInput, UnreadableFile
from forestay.text import SOURCE, known_language, speaking, tr

RECHECK_STATUS = 1
REFUSED_STATUS = 2

app = typer.Typer(
    name="forestay",
    help="Decision support for the difficult cataract. Not a medical device; check every value.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

CaseArgument = Annotated[
    Path, typer.Argument(metavar="CASE", help="Case file (TOML) or exported facts; - for standard input.")
]
LensesOption = Annotated[
    Path | None, typer.Option("--lenses", metavar="FILE", help="The practice's shelf of lenses (TOML).")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Answer in JSON.")]


@app.command()
def plan(
    case: CaseArgument,
    *,
    as_json: JsonOption = False,
    pdf: Annotated[Path | None, typer.Option("--pdf", metavar="FILE", help="Also write the two-page sheet.")] = None,
    devices: Annotated[
        Path | None,
        typer.Option("--devices", metavar="FILE", help="Shelf of devices, drugs and consumables (TOML), as of today."),
    ] = None,
    lenses: LensesOption = None,
    settings: SettingsOption = None,
    practice: PracticeOption = None,
) -> None:
    """Plan one eye from a case file."""
    from dataclasses import replace

    from forestay.case.case_file import read_case
    from forestay.plan.make import make
    from forestay.plan.model import as_dict

    data, name = bytes_of(case, "CASE")
    situation = read_case(data, name)
    context = context_from(settings, practice)
    if lenses is not None:
        context = replace(context, lenses=_lenses(lenses))
    if devices is not None:
        from datetime import datetime

        from forestay.plan.device_shelf import read_shelf

        shelf = read_shelf(*bytes_of(devices, "--devices"))
        context = replace(context, devices=shelf, today=datetime.now().astimezone().date())
    made = make(situation, context)
    label = Path(name).stem
    invented = b"Invented." in data[:200]
    if pdf is not None:
        _write_pdf(pdf, made, label, invented)
    if as_json:
        print_json(as_dict(made))
    else:
        from forestay.report.readable import readable

        typer.echo(readable(made, label=label, width=_width()))
    if any(c.level == "recheck" for c in made.checks):
        raise typer.Exit(RECHECK_STATUS)


def _lenses(path: Path | None) -> Any:
    """The practice's shelf of lenses in a file; none where no file is named."""
    if path is None:
        return None
    from forestay.eye.lens_shelf import read_lens_shelf

    return read_lens_shelf(*bytes_of(path, "--lenses"))


def _write_pdf(path: Path, made: Any, label: str, invented: bool) -> None:
    from datetime import UTC, datetime

    from forestay.report.sheet import render_pdf

    data = render_pdf(made, label=label, invented=invented, made_at=datetime.now(UTC))
    try:
        path.write_bytes(data)
    except OSError as wrong:
        raise UnreadableFile(
            tr("{name} cannot be written: {why}.", name=str(path), why=wrong.strerror or str(wrong)),
            field="--pdf",
            value=str(path),
            allowed=tr("a file that can be written"),
        ) from None


def _width() -> int:
    import shutil

    return min(shutil.get_terminal_size((100, 40)).columns, 120)


@app.command()
def check(case: CaseArgument, as_json: JsonOption = False) -> None:
    """Plausibility of a case file only: findings with field, value, level and why."""
    from forestay.case.case_file import read_case
    from forestay.eye.plausibility import refuse_if_needed
    from forestay.plan.consistency import check as find

    data, name = bytes_of(case, "CASE")
    findings = find(read_case(data, name).case)
    if as_json:
        print_json([f.as_dict() for f in findings])
    elif findings:
        for f in findings:
            typer.echo(f"{tr(f.level):<8} {f.field}: {f.why}")
    else:
        typer.echo(tr("Nothing implausible found."))
    refuse_if_needed(findings)
    if any(f.level == "recheck" for f in findings):
        raise typer.Exit(RECHECK_STATUS)


@app.command()
def calc(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="Name of the calculation.")] = None,
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="Input in JSON; standard input if left out.")
    ] = None,
    list_all: Annotated[bool, typer.Option("--list", help="List the calculations.")] = False,
    schema: Annotated[
        bool, typer.Option("--schema", help="Print the JSON Schema of the input and the output.")
    ] = False,
) -> None:
    """One calculation: JSON in, JSON out; a list of inputs gives a list of answers."""
    from forestay.calc.table import CALCULATIONS, find

    if list_all:
        for row in CALCULATIONS.values():
            typer.echo(f"{row.name:<22} {row.summary}")
        return
    if name is None:
        raise InvalidInput(tr("Name a calculation, or use --list."), field="NAME", allowed=", ".join(CALCULATIONS))
    row = find(name)
    if schema:
        print_json({"input": row.input.model_json_schema(), "output": row.output.model_json_schema()})
        return
    from forestay.calc.many import answer_json

    print_json(answer_json(row, _json_text(file)))


def _json_text(file: Path | None) -> bytes:
    data, _ = bytes_of(file if file is not None else Path("-"), "FILE")
    return data


@app.command()
def serve(
    port: Annotated[
        int, typer.Option("--port", min=0, max=65535, help="Port to listen on; 0 takes a free one.")
    ] = 8341,
    db: Annotated[
        str | None, typer.Option("--db", metavar="URL", help="Database; default is a file in the user's data folder.")
    ] = None,
    demo: Annotated[bool, typer.Option("--demo", help="Load the invented demo cases.")] = False,
    lenses: LensesOption = None,
    *,
    accounts: Annotated[bool, typer.Option("--accounts", help="People sign in, also on this machine.")] = False,
    host: Annotated[
        str | None,
        typer.Option(
            "--host",
            metavar="ADDRESS",
            help="Address to listen on; default is this machine only, with --tls all of its addresses. Another one needs TLS.",
        ),
    ] = None,
    certificate: Annotated[
        Path | None, typer.Option("--certificate", metavar="FILE", help="Certificate for TLS (PEM).")
    ] = None,
    private_key: Annotated[
        Path | None, typer.Option("--private-key", metavar="FILE", help="Its private key (PEM).")
    ] = None,
    tls: Annotated[
        bool,
        typer.Option(
            "--tls",
            help="Over HTTPS for tablets in the local network, with a certificate that this machine makes; people sign in.",
        ),
    ] = False,
    planners: Annotated[
        int | None,
        typer.Option(
            "--planners",
            metavar="N",
            min=0,
            max=64,
            help="Processes that make plans beside the one that answers; default is none for one person, and with accounts one for each spare core.",
        ),
    ] = None,
) -> None:
    """The web application: on this machine for one person, or for many who sign in."""
    from forestay.web.serve import HOST, Reach, own_tls
    from forestay.web.serve import serve as start

    if tls and (certificate is not None or private_key is not None):
        raise InvalidInput(
            tr("A certificate is given, or made by --tls, not both."), field="tls", allowed=tr("one of the two")
        )
    reach = own_tls(host, accounts=accounts) if tls else Reach(host or HOST, certificate, private_key, accounts)

    start(
        port=port,
        db=db,
        demo=demo,
        lenses=_lenses(lenses),
        reach=reach,
        planners=planners,
    )


def _register() -> None:
    from forestay.cli import after, again, arrive, batch, consent, day, decide, exchange, record, review, rules, sorting
    from forestay.cli import settings as practice

    every = (after, again, arrive, batch, consent, day, decide, exchange, practice, record, review, rules, sorting)
    for family in every:
        family.register(app)


_register()


def _version(value: bool) -> None:
    if value:
        typer.echo(f"forestay {__version__}")
        raise typer.Exit


@app.callback()
def main(
    ctx: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version.")
    ] = False,
    tag: Annotated[
        str,
        typer.Option(
            "--language", metavar="TAG", envvar="FORESTAY_LANGUAGE", help="Language of the answers: en or fr."
        ),
    ] = SOURCE,
) -> None:
    """Decision support for the difficult cataract. Not a medical device; check every value."""
    del version
    ctx.with_resource(speaking(known_language(tag)))


def wants_json(arguments: list[str]) -> bool:
    """Whether errors of these arguments are to be one JSON object."""
    words = (a for a, before in zip(arguments, ["", *arguments], strict=False) if before != "--language")
    return "--json" in arguments or next((a for a in words if not a.startswith("-")), "") == "calc"


def report(error: ForestayError, *, as_json: bool) -> int:
    """Print an expected failure to standard error and give its exit status."""
    if as_json:
        sys.stderr.write(json.dumps(error.as_dict(), ensure_ascii=False, default=str) + "\n")
    else:
        sys.stderr.write(f"{error.message}\n")
    return error.exit_status


def run(arguments: list[str] | None = None) -> None:
    """Entry point of the command."""
    given = (sys.argv[1:] if arguments is None else arguments) or ["--help"]
    as_json = wants_json(given)
    try:
        status = app(given, prog_name="forestay", standalone_mode=False)
    except ForestayError as error:
        status = report(error, as_json=as_json)
    except typer.Exit as leave:
        status = leave.exit_code
    except (typer.Abort, KeyboardInterrupt):
        status = REFUSED_STATUS
    except TyperException as wrong:
        hint = tr("{wrong}. See forestay --help.", wrong=wrong.format_message().rstrip("."))
        status = report(InvalidInput(hint, field="command line"), as_json=as_json)
    except BrokenPipeError:
        sys.stderr.close()
        status = 0
    sys.exit(status if isinstance(status, int) else 0)


if __name__ == "__main__":
    run()

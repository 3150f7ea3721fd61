"""``forestay day``: many eyes in, the list of a theatre day out."""

from __future__ import annotations

import json
from datetime import date, datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from forestay.cli.exchange import Db
from forestay.errors import InvalidInput, UnreadableFile
from forestay.text import tr

CLASH_STATUS = 1


def register(app: typer.Typer) -> None:
    """Add the command to ``app``."""
    app.command("day")(day)


def day(
    cases: Annotated[list[str], typer.Argument(metavar="CASE...", help="Case files, or ids of kept cases.")],
    *,
    devices: Annotated[
        Path | None, typer.Option("--devices", metavar="FILE", help="Shelf of devices, drugs and consumables (TOML).")
    ] = None,
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="Day, YYYY-MM-DD; today if left out.")] = None,
    start: Annotated[str, typer.Option("--start", metavar="HH:MM", help="First operation.")] = "08:30",
    end: Annotated[str | None, typer.Option("--end", metavar="HH:MM", help="Theatre closes.")] = None,
    anaesthetist: Annotated[
        str | None, typer.Option("--anaesthetist", metavar="HH:MM-HH:MM", help="When the anaesthetist is there.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Answer in JSON.")] = False,
    pdf: Annotated[Path | None, typer.Option("--pdf", metavar="FILE", help="Also write the list.")] = None,
    db: Db = None,
) -> None:
    """Order, times, kit and clashes of a theatre day. Status 1 where something clashes or an eye is left out."""
    from forestay.plan.device_shelf import read_shelf
    from forestay.services.daylist import day_of, shelf_here, situations

    shelf = read_shelf(_bytes(devices), devices.name) if devices is not None else shelf_here(cases, db)
    eyes = situations(cases, db)
    made = day_of(
        [(name, situation) for name, situation, _ in eyes],
        hours=_hours(start, end, anaesthetist),
        shelf=shelf,
        on=_day(on),
    )
    if pdf is not None:
        from forestay.report.day import day_pdf

        invented = all(i for _, _, i in eyes)
        write(pdf, day_pdf(made, invented=invented, made_at=datetime.now().astimezone()))
    if as_json:
        typer.echo(json.dumps(as_dict(made), indent=2, ensure_ascii=False, default=str))
    else:
        from forestay.report.day import readable_day

        typer.echo(readable_day(made))
    if made.left_out or (made.day is not None and made.day.clashes):
        raise typer.Exit(CLASH_STATUS)


def as_dict(made: Any) -> dict[str, Any]:
    """The list in plain JSON types."""
    from dataclasses import asdict

    return {
        "on": None if made.on is None else made.on.isoformat(),
        "day": None if made.day is None else made.day.model_dump(mode="json"),
        "lines": {name: asdict(line) for name, line in made.lines.items()},
        "left_out": [asdict(x) for x in made.left_out],
        "doubts": [{"code": d.code, "message": d.message} for d in made.doubts],
        "sources": list(made.sources),
    }


def _hours(start: str, end: str | None, anaesthetist: str | None) -> Any:
    from forestay.calc.day_records import Present, minutes_of
    from forestay.plan.day import DayHours

    present = None
    if anaesthetist is not None:
        since, _, until = anaesthetist.partition("-")
        if not until:
            raise InvalidInput(
                tr("{value} is not a time from and to; write HH:MM-HH:MM.", value=anaesthetist),
                field="--anaesthetist",
                value=anaesthetist,
                allowed="HH:MM-HH:MM",
            )
        minutes_of(since), minutes_of(until)
        present = Present(since=since, until=until)
    minutes_of(start)
    if end is not None:
        minutes_of(end)
    return DayHours(start, end, present)


def _day(on: str | None) -> date:
    if on is None:
        return datetime.now().astimezone().date()
    try:
        return date.fromisoformat(on)
    except ValueError:
        raise InvalidInput(
            tr("{value} is not a day; write YYYY-MM-DD.", value=on), field="--on", value=on, allowed="YYYY-MM-DD"
        ) from None


def _bytes(path: Path) -> bytes:
    from forestay.case.case_file import load

    return load(path)[0]


def write(path: Path, data: bytes) -> None:
    """Write a file; what prevents it is one sentence."""
    try:
        path.write_bytes(data)
    except OSError as wrong:
        raise UnreadableFile(
            tr("{name} cannot be written: {why}.", name=str(path), why=wrong.strerror or str(wrong)),
            field="--pdf",
            value=str(path),
            allowed=tr("a file that can be written"),
        ) from None

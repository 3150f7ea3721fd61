"""``forestay listen`` and ``forestay watch``: measurements that come by themselves."""

from __future__ import annotations

import time
from contextlib import closing, suppress
from pathlib import Path
from typing import Annotated

import typer

from forestay.cli.exchange import Db

PORT = 11112
"""Registered for DICOM; 104 needs more rights."""


def register(app: typer.Typer) -> None:
    """Add both commands to ``app``."""
    app.command("listen")(listen)
    app.command("watch")(watch)


def listen(
    *,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port to listen at; 0: any free one.")] = PORT,
    host: Annotated[
        str, typer.Option("--host", help="Address to listen at; 0.0.0.0 for a whole network that is trusted.")
    ] = "127.0.0.1",
    title: Annotated[str, typer.Option("--title", help="Title that instruments call.")] = "FORESTAY",
    callers: Annotated[
        list[str] | None,
        typer.Option(
            "--from", metavar="TITLE", help="Title of an instrument that may send; several allowed; else any."
        ),
    ] = None,
    db: Db = None,
) -> None:
    """Receive DICOM measurements (C-STORE) until stopped. What fits no case is refused, and the sender is told."""
    from forestay.exchange.dicom_receive import Receiver
    from forestay.services.arrivals import told_take
    from forestay.services.cases import open_store
    from forestay.text import tr

    with closing(open_store(db)) as store:
        receiver = Receiver(lambda data, name: told_take(store, data, name), _say, title=title, callers=callers or ())
        used = receiver.start(host, port)
        _say(tr("Listening at {host}:{port} as {title}; stop with Ctrl-C.", host=host, port=used, title=title))
        with suppress(KeyboardInterrupt):
            while True:
                time.sleep(1)
        receiver.stop()


def watch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder into which instruments write.")],
    *,
    every: Annotated[float, typer.Option("--every", min=0.1, max=3600, help="Seconds between looks.")] = 5.0,
    once: Annotated[bool, typer.Option("--once", help="Take what is there now, and end.")] = False,
    db: Db = None,
) -> None:
    """Take DICOM files out of a folder into the cases that they belong to; done and refused ones are moved aside."""
    from forestay.services.cases import open_store
    from forestay.services.watching import Watch

    with closing(open_store(db)) as store:
        watched = Watch(store, folder, _say)
        if once:
            watched.look(at_once=True)
            return
        with suppress(KeyboardInterrupt):
            while True:
                watched.look()
                time.sleep(every)


def _say(line: str) -> None:
    typer.echo(line)

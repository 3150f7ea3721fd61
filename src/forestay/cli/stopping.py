"""Work that takes long, in a terminal: how far it is, and how it is stopped."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import typer

STOPPED_STATUS = 2


def show_progress(done: int, of: int) -> None:
    """How far it is, in place, where a person looks on."""
    if sys.stderr.isatty():
        typer.echo(f"\r{done} / {of}", nl=done == of, err=True)


@contextmanager
def may_be_stopped(says: str) -> Iterator[None]:
    """Ctrl-C, or the signal that ends a program, stops the work and says ``says``."""

    def stop(_number: int, _frame: object) -> None:
        raise KeyboardInterrupt

    before = signal.signal(signal.SIGTERM, stop)
    try:
        yield
    except KeyboardInterrupt:
        typer.echo("\n" + says, err=True)
        raise typer.Exit(STOPPED_STATUS) from None
    finally:
        signal.signal(signal.SIGTERM, before)

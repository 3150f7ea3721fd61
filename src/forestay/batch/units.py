"""Work units: one chunk of a study each, written once by name, so that a run may stop and go on.

The result of a unit depends on the study, the chunk and the parameters only, never on who works it out or how many do.
A file is written beside its place and moved there whole; what is there is done.
"""

from __future__ import annotations

import hashlib
import json
import os
import signal
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from importlib import import_module
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Protocol

from forestay.errors import ForestayError
from forestay.text import tr

RESTARTS = 3
"""How often a pool whose worker died is started again without any unit done in between."""


class Stopped(ForestayError):
    """The workers died again and again on the same units."""

    code = "batch-stopped"


@dataclass(frozen=True, slots=True)
class Unit:
    """One chunk of a study."""

    study: str
    chunk: int
    parameters: str
    """Everything else that the result depends on, as canonical JSON."""
    folder: str
    form: str = "parquet"

    @property
    def file(self) -> Path:
        """Where the result stands once it is whole."""
        digest = hashlib.sha256(f"{self.study}\n{self.parameters}".encode()).hexdigest()[:12]
        return Path(self.folder) / f"{self.study}-{digest}-{self.chunk:06d}.{self.form}"

    @property
    def done(self) -> bool:
        """Whether the result is there."""
        return self.file.is_file()


Work = Callable[[Unit], None]
Progress = Callable[[int, int], None]


def units(
    study: str, *, chunks: int, folder: Path, parameters: Mapping[str, Any], form: str = "parquet"
) -> tuple[Unit, ...]:
    """The units of a study, in order."""
    text = json.dumps(parameters, sort_keys=True, separators=(",", ":"))
    return tuple(Unit(study, chunk, text, str(folder), form) for chunk in range(chunks))


def keep(unit: Unit, write: Callable[[Path], None]) -> None:
    """Write a result beside its place and move it there whole."""
    unit.file.parent.mkdir(parents=True, exist_ok=True)
    draft = unit.file.with_suffix(f".{os.getpid()}.draft")
    try:
        write(draft)
        draft.replace(unit.file)
    finally:
        draft.unlink(missing_ok=True)


class Runner(Protocol):
    """Works units out, wherever."""

    def __call__(self, work: Work, wanted: Sequence[Unit], *, progress: Progress) -> None:
        """Work out all units that are not done."""


def _leave_interrupts_alone() -> None:
    """A worker ends its unit when the terminal asks to stop: whoever runs the pool decides what stops."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@dataclass(frozen=True)
class LocalPool:
    """Processes on this machine; a worker that dies costs its unit's time, not the run."""

    workers: int

    def __call__(self, work: Work, wanted: Sequence[Unit], *, progress: Progress) -> None:
        """Work out all units that are not done."""
        failures = 0
        while left := [unit for unit in wanted if not unit.done]:
            before = len(left)
            try:
                for _ in self._run(work, left):
                    progress(sum(unit.done for unit in wanted), len(wanted))
            except BrokenProcessPool:
                failures = failures + 1 if sum(not unit.done for unit in wanted) == before else 0
                if failures >= RESTARTS:
                    raise Stopped(
                        tr(
                            "Workers died {n} times without finishing a unit; {left} of {all} are left. Give fewer workers "
                            "or more memory, then run the same again.",
                            n=failures,
                            left=before,
                            all=len(wanted),
                        ),
                        field="workers",
                        value=self.workers,
                    ) from None
        progress(len(wanted), len(wanted))

    def _run(self, work: Work, left: Sequence[Unit]) -> Iterator[None]:
        with ProcessPoolExecutor(self.workers, get_context("spawn"), initializer=_leave_interrupts_alone) as pool:
            pending = {pool.submit(work, unit) for unit in left}
            try:
                while pending:
                    done, pending = wait(pending, return_when=FIRST_COMPLETED)
                    for future in done:
                        future.result()
                        yield
            except BaseException:
                # waited for here: a second call without cancelling would take the cancelling back
                pool.shutdown(wait=True, cancel_futures=True)
                raise


@dataclass(frozen=True)
class Cluster:
    """Workers of a scheduler elsewhere, which see the same folder. Traffic off this machine must be TLS."""

    address: str
    ca_file: str | None = None
    cert_file: str | None = None
    key_file: str | None = None

    def __call__(self, work: Work, wanted: Sequence[Unit], *, progress: Progress) -> None:
        """Work out all units that are not done."""
        distributed: Any = import_module("distributed")
        if not self.address.startswith("tls://") and not self._here():
            raise Stopped(
                tr("The scheduler {address} is not on this machine and not reached by TLS.", address=self.address),
                field="scheduler",
                value=self.address,
                allowed="tls://…",
            )
        security = None
        if self.address.startswith("tls://"):
            security = distributed.Security(
                require_encryption=True,
                tls_ca_file=self.ca_file,
                tls_client_cert=self.cert_file,
                tls_client_key=self.key_file,
            )
        with distributed.Client(self.address, security=security, set_as_default=False) as client:
            left = [unit for unit in wanted if not unit.done]
            sent = client.map(work, left, pure=False, retries=RESTARTS)
            for future in distributed.as_completed(sent, loop=client.loop):
                future.result()
                progress(sum(unit.done for unit in wanted), len(wanted))
        progress(len(wanted), len(wanted))

    def _here(self) -> bool:
        host = self.address.rpartition("://")[2].rpartition(":")[0].strip("[]")
        return host in ("127.0.0.1", "localhost", "::1")

"""Cost against size: ``python -m benchmarks.batch FOLDER [--sizes 10000 …] [--audit 1000000 …] [--kill N]``.

Plans invented eyes in brief, invents operated eyes and audits them, each in a process of its own, and prints what it took
as rows for ``docs/measured/batch.toml``. ``--kill N`` plans N eyes twice: with two workers, one of which is killed on the
way, and with one worker left alone; the files must be the same to the byte.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import signal
import sys
import threading
import time
from pathlib import Path
from subprocess import DEVNULL, Popen

from forestay.batch.study import plan_in_brief
from forestay.batch.units import LocalPool

SEED = 1


def row(what: str, n: int, workers: int, command: list[str]) -> None:
    """Run the command in a process of its own and print what it took."""
    start = time.perf_counter()
    child = Popen([sys.executable, "-m", "forestay", "batch", *command], stdout=DEVNULL, stderr=DEVNULL)
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{command} ended with {child.returncode}")
    wall, cpu = time.perf_counter() - start, used.ru_utime + used.ru_stime
    print(f'[[run]]\nwhat = "{what}"\nn = {n}\nworkers = {workers}\nwall_s = {wall:.2f}\ncpu_s = {cpu:.2f}')
    print(f"peak_mb = {used.ru_maxrss / 1024:.0f}  # of the largest process\n", flush=True)


def digests(folder: Path) -> dict[str, str]:
    """Digest of each file by name."""
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.glob("*.parquet"))}


def children() -> list[int]:
    """Processes of the pool: those of this process that wait for work, by their command line."""
    found = []
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        try:
            parent = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
            line = (entry / "cmdline").read_text()
        except OSError:
            continue
        if parent == os.getpid() and "spawn_main" in line:
            found.append(int(entry.name))
    return found


def killed(n: int, folder: Path) -> None:
    """Plan twice, once with a worker killed half-way, and compare to the byte."""
    halfway, over = threading.Event(), threading.Event()
    shot: list[int] = []

    def hunter() -> None:
        halfway.wait()
        while not shot and not over.is_set():
            for child in children()[:1]:
                os.kill(child, signal.SIGKILL)
                shot.append(child)

    def progress(done: int, of: int) -> None:
        if 2 * done >= of:
            halfway.set()

    thread = threading.Thread(target=hunter, daemon=True)
    thread.start()
    start = time.perf_counter()
    plan_in_brief(n, folder / "killed", seed=SEED, run=LocalPool(2), progress=progress)
    over.set()
    wall = time.perf_counter() - start
    plan_in_brief(n, folder / "alone", seed=SEED, run=LocalPool(1))
    one, two = digests(folder / "killed"), digests(folder / "alone")
    print(f"[killed]\nn = {n}\nworkers_killed = {len(shot)}\nfiles = {len(one)}\nwall_s = {wall:.2f}")
    print(f"identical = {str(one == two and len(one) > 0).lower()}\n", flush=True)


def main() -> None:
    """Run what was asked for."""
    given = argparse.ArgumentParser(description=__doc__)
    given.add_argument("folder", type=Path)
    given.add_argument("--sizes", type=int, nargs="*", default=[10_000, 100_000, 1_000_000])
    given.add_argument("--audit", type=int, nargs="*", default=[1_000_000])
    given.add_argument("--kill", type=int, default=0)
    given.add_argument("--workers", type=int, default=2)
    asked = given.parse_args()
    for n in asked.sizes:
        there = asked.folder / f"plan-{n}"
        row("plan", n, asked.workers, ["plan", str(n), str(there), "--workers", str(asked.workers)])
    for n in asked.audit:
        there = asked.folder / f"invent-{n}"
        if not list(there.glob("*.parquet")):
            row("invent", n, asked.workers, ["invent", str(n), str(there), "--workers", str(asked.workers)])
        row("audit", n, 2, ["audit", str(there), "--json"])
    if asked.kill:
        killed(asked.kill, asked.folder)


if __name__ == "__main__":
    main()

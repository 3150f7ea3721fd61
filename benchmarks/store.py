"""How the record grows: ``python -m benchmarks.store [--facts N] [--db URL]``. Ten to a million facts.

Facts are appended in batches to many cases, as a clinic would fill them over years. At each size: one more fact, opening
a case, searches by word, by field and by both, and the size of the file; at the end verification and a backup.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter
from typing import Any

from forestay.case.bodies import Body, Found, Measured
from forestay.case.fact import Fact, new_fact
from forestay.store.backup import backup
from forestay.store.checking import check
from forestay.store.question import question
from forestay.store.sql import SqlFactStore

IN_A_CASE = 100
APPEARANCES = ("clear", "nuclear", "brown", "black", "white", "intumescent")
QUESTIONS = ("intumescent", "axial_length_mm>29.98", "appearance=black axial_length_mm>29.9")


def facts_of(case: int, count: int) -> list[Fact]:
    """Invented facts of one case; lengths spread evenly over all cases."""
    made = []
    for n in range(1, count + 1):
        body: Body = Measured(values={"biometry.axial_length_mm": 20 + (case * 37 + n * 101) % 1000 / 100})
        if n % 10 == 0:
            body = Found(values={"lens.appearance": APPEARANCES[(case + n // 10) % len(APPEARANCES)]})
        made.append(new_fact(body, case=f"C-{case}", author="a1", device="d1", device_sequence=n))
    return made


def timed(work: Callable[[], Any]) -> float:
    """Milliseconds of the quickest of three runs."""
    best = float("inf")
    for _ in range(3):
        start = perf_counter()
        work()
        best = min(best, perf_counter() - start)
    return 1000 * best


def report(store: SqlFactStore, facts: int, cases: int, file: Path | None) -> None:
    """One line."""
    number = iter(range(10**6, 10**7))

    def one_more() -> None:
        body = Measured(values={"biometry.axial_length_mm": 23.5})
        n = next(number) + facts
        store.append("C-1", [new_fact(body, case="C-1", author="a1", device="d2", device_sequence=n)])

    told = [
        f"append {timed(one_more):.1f} ms",
        f"open a case {timed(lambda: store.links(f'C-{cases // 2 + 1}')):.1f} ms",
    ]
    told += [f"{text!r} {timed(lambda t=text: store.search(question(t), limit=100)):.0f} ms" for text in QUESTIONS]  # type: ignore[misc]
    size = f", {file.stat().st_size / 1e6:.0f} MB" if file is not None else ""
    print(f"{facts:>9,} facts in {cases:,} cases: {', '.join(told)}{size}", flush=True)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--facts", type=int, default=100_000)
    parser.add_argument("--db", default=None)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        file = None if given.db else Path(folder) / "cases.sqlite"
        store = SqlFactStore(given.db or f"sqlite:///{file}")
        start, facts, cases, next_report = perf_counter(), 0, 0, 1000
        while facts < given.facts:
            cases += 1
            store.append(f"C-{cases}", facts_of(cases, IN_A_CASE))
            facts += IN_A_CASE
            if facts >= next_report or facts >= given.facts:
                report(store, facts, cases, file)
                next_report *= 10
        spent = perf_counter() - start
        print(f"filled in {spent:.0f} s, {facts / spent:.0f} facts a second in batches of {IN_A_CASE}")
        start = perf_counter()
        faults = len(check(store.database))
        print(f"verified in {perf_counter() - start:.0f} s, {faults} faults")
        start = perf_counter()
        backup(store.database, Path(folder) / "backup.sqlite")
        print(f"backup, checked, in {perf_counter() - start:.0f} s")
        store.close()


if __name__ == "__main__":
    main()

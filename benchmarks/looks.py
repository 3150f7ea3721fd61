"""How long a look takes: from a moved control to the answer, in process and on the screen of a browser.

Run: ``python -m benchmarks.looks [PATH OF CHROMIUM]``. Median of 20 after warm-up, each to a value that was not asked
before; the reference in the same run is the plan alone. On the screen twice: as a hand moves that goes on from where it
rests, so that its next step was made ready meanwhile; and as one that leaps from control to control, where nothing was.
The load of the machine stands beside it, and how long it takes to add 400,000 numbers, since they decide.
"""

from __future__ import annotations

import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from itertools import cycle, islice
from pathlib import Path
from statistics import median
from typing import Any

import uvicorn
from playwright.sync_api import Page, sync_playwright

from benchmarks.plan import situation
from forestay.demo import NAMES
from forestay.eye.situation import Situation
from forestay.plan.compare import compare
from forestay.plan.context import Context
from forestay.plan.make import make
from forestay.services.planner import looked_at
from forestay.web.serve import HOST, application, listen

REPEATS, WARM_UP = 20, 4
STEPS = 12
WITHIN_MS = 100.0
USUAL = "/usr/bin/chromium"
Look = dict[str, Any]


def looks() -> dict[str, list[Look]]:
    """For each control as many values as there are repeats, none twice."""
    count = REPEATS + WARM_UP
    hours = [(i / 2) % 12 or 12.0 for i in range(1, count + 1)]
    arcs = [tuple((start + i) % 12 or 12 for i in range(width)) for width in (2, 3, 4) for start in range(12)]
    return {
        "capsulorhexis_mm": [{"capsulorhexis_mm": round(4 + 0.11 * i, 2)} for i in range(count)],
        "pupil_hooks": [
            {"pupil_hooks": n, "hook_reach_mm": round(3 + 0.03 * i, 2)} for i, n in _turn((4, 5, 6), count)
        ],
        "hook_reach_mm": [{"pupil_hooks": 4, "hook_reach_mm": round(2.6 + 0.07 * i, 2)} for i in range(count)],
        "ring": [
            {"ring": ring, "capsulorhexis_mm": round(4.05 + 0.1 * i, 2)}
            for i, ring in _turn(("none", "before-nucleus", "after-nucleus"), count)
        ],
        "ring_gap_clock": [{"ring": "after-nucleus", "ring_gap_clock": hour} for hour in hours],
        "weak_hours": [{"weak_hours": tuple(float(h) for h in arc)} for arc in arcs[:count]],
        "tunnel_clock": [{"tunnel_clock": hour} for hour in hours],
        "tunnel_chord_mm": [{"tunnel_chord_mm": round(4 + 0.13 * i, 2)} for i in range(count)],
    }


def _turn(values: Sequence[Any], count: int) -> Iterator[tuple[int, Any]]:
    return enumerate(islice(cycle(values), count))


def timed(call: Callable[[Look], object], values: Sequence[Look]) -> float:
    """Median time of a call after warm-up [ms]."""
    times = []
    for value in values:
        start = time.perf_counter()
        call(value)
        times.append(1000 * (time.perf_counter() - start))
    return median(times[WARM_UP:])


def in_process() -> None:
    """The plan alone, whole and as a look needs it, and the look with what changed."""
    whole = Context.default()
    quick = replace(whole, searching=False, looking=True)
    print(f"{'case':<30}{'control':<18}{'whole ms':>10}{'look ms':>10}")
    for name in NAMES:
        here = situation(name)
        before = make(here, whole)

        def look(moved: Look, here: Situation = here, before: Any = before) -> object:
            return compare(before, make(looked_at(here, moved), quick))

        for control, values in looks().items():
            answer = timed(look, values)
            full = timed(lambda moved, here=here: make(looked_at(here, moved), whole), values[: WARM_UP + 5])
            print(f"{name:<30}{control:<18}{full:>10.0f}{answer:>10.0f}")


@contextmanager
def served() -> Iterator[str]:
    """A server with the invented cases, as a reader would start it."""
    with tempfile.TemporaryDirectory() as folder, listen(0) as opened:
        app = application(str(Path(folder) / "cases.sqlite"), demo=True)
        server = uvicorn.Server(uvicorn.Config(app, log_level="warning", access_log=False))
        running = threading.Thread(target=server.run, kwargs={"sockets": [opened]})
        running.start()
        try:
            yield f"http://{HOST}:{opened.getsockname()[1]}"
        finally:
            server.should_exit = True
            running.join()


MOVE = """([name, more]) => new Promise((done, fail) => {
    const start = performance.now();
    setTimeout(() => fail(new Error(`${name} gave no answer`)), 8000);
    document.addEventListener('htmx:after:swap', () => {
        requestAnimationFrame(() => setTimeout(() => done(performance.now() - start)));
    }, {once: true});
    document.querySelector(`.handle[data-control="${name}"]:not(.twin)`)
        .dispatchEvent(new KeyboardEvent('keydown', {key: more ? 'ArrowRight' : 'ArrowLeft', bubbles: true}));
})"""
"""A key on a handle, and the time until the frame after the answer has been drawn [ms]."""
PAUSE_MS = 300
"""Between two moves: the hand rests, and what lies below is fetched."""


def on_screen(page: Page, address: str, control: str) -> float | None:
    """Median time from a key to the new drawing on the screen [ms]; None where this eye has no such handle.

    Before each key another control is moved a step, so that no plan is one that the server already has.
    """
    page.goto(address)
    other = "capsulorhexis_mm" if control == "tunnel_chord_mm" else "tunnel_chord_mm"
    times = []
    upward = page.locator(f'.handle[data-control="{other}"]:not(.twin)').evaluate(
        "e => { const at = name => Number(e.getAttribute(`aria-value${name}`)); "
        "return at('max') - at('now') > at('now') - at('min'); }"
    )
    for i in range(REPEATS + WARM_UP):
        if page.locator(f'.handle[data-control="{control}"]:not(.twin)').count() == 0:
            return None
        page.evaluate(MOVE, [other, upward])
        page.wait_for_timeout(PAUSE_MS)
        times.append(page.evaluate(MOVE, [control, (i % 2 == 0) != (control == "ring")]))
        page.wait_for_timeout(PAUSE_MS)
    return median(times[WARM_UP:])


def step_by_step(page: Page, address: str, control: str) -> float | None:
    """Median time of a key on one handle after the other, the hand resting between, to the new drawing [ms].

    It goes one way as far as it can, so that most values are new; each but the first was made ready while the hand
    rested, or the answer before it was drawn.
    """
    page.goto(address)
    at = page.locator(f'.handle[data-control="{control}"]:not(.twin)')
    if at.count() == 0:
        return None
    at.focus()
    page.wait_for_timeout(2 * PAUSE_MS)
    times, upward = [], True
    for _ in range(STEPS):
        low, now, high = (float(at.get_attribute(f"aria-value{end}") or 0) for end in ("min", "now", "max"))
        upward = now < high if upward else now <= low
        times.append(page.evaluate(MOVE, [control, upward]))
        page.wait_for_timeout(PAUSE_MS)
        if at.count() == 0:
            break
    return median(times)


CONTROLS = (
    "capsulorhexis_mm", "pupil_hooks", "hook_reach_mm", "ring", "ring_gap_clock", "weak_from", "weak_to",
    "tunnel_clock", "tunnel_chord_mm",
)  # fmt: skip
EYES = ("brown-pseudoexfoliation", "trauma-gap")


def in_browser(chromium: str) -> None:
    """Each control of two eyes: one weak all round with hooks, one with a gap."""
    print(f"\n{'case':<30}{'control':<18}{'step by step ms':>18}{'leaping ms':>18}")
    with served() as address, sync_playwright() as play:
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-dev-shm-usage"])
        page = browser.new_page(viewport={"width": 1480, "height": 1140})
        for name in EYES:
            for control in CONTROLS:
                both = (f(page, f"{address}/cases/{name}", control) for f in (step_by_step, on_screen))
                said = ("no handle" if t is None else f"{t:.0f}" + ("" if t <= WITHIN_MS else " over") for t in both)
                print(f"{name:<30}{control:<18}" + "".join(f"{one:>18}" for one in said), flush=True)
        browser.close()


def adding_ms() -> float:
    """How fast the machine is just now."""
    start = time.perf_counter()
    total = 0
    for i in range(400_000):
        total += i
    return 1000 * (time.perf_counter() - start)


def main() -> None:
    """Print both tables and the load of the machine."""
    print(
        f"load of the machine before: {os.getloadavg()[0]:.2f} on {os.cpu_count()} cores; adds in {adding_ms():.0f} ms"
    )
    in_process()
    in_browser(sys.argv[1] if len(sys.argv) > 1 else os.environ.get("CHROMIUM", USUAL))
    print(f"load of the machine after: {os.getloadavg()[0]:.2f}; adds in {adding_ms():.0f} ms")


if __name__ == "__main__":
    main()

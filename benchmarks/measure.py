"""How the benchmarks measure: time of our work, and the same energy given to a general minimiser."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from time import perf_counter
from typing import Any, Protocol

import numpy as np
from scipy.optimize import minimize


def seconds(work: Callable[[], Any], times: int, *, clock: Callable[[], float] = perf_counter) -> float:
    """Best of several runs; ``clock``: time on the wall, or ``process_time`` where the machine has other work."""
    best = np.inf
    for _ in range(times):
        start = clock()
        work()
        best = min(best, clock() - start)
    return float(best)


class Energy(Protocol):
    """An energy of points in the plane, with its derivatives."""

    def energy(self, at_mm: np.ndarray) -> float:
        """Energy [mN mm]."""
        ...

    def derivatives(self, at_mm: np.ndarray) -> tuple[np.ndarray, Any]:
        """Gradient [mN] and Hessian."""
        ...


@dataclass(frozen=True)
class General:
    """What scipy's L-BFGS-B found, knowing energy and gradient only."""

    at_mm: np.ndarray
    residual_mn: float
    evaluations: int
    seconds: float
    """Without the Hessian, which comes with our gradient and which it has no use for."""
    least_seconds: float
    """Counted in its favour: its own work is free, and a gradient costs no more than an energy."""

    def words(self, found_mm: np.ndarray) -> str:
        """Its effort, and how far its answer is from another."""
        return (
            f"{self.evaluations} evaluations, residual {self.residual_mn:.1e} mN, "
            f"apart by {np.abs(self.at_mm - found_mm).max():.1e} mm"
        )


def general(model: Energy, start_mm: np.ndarray) -> General:
    """One run of L-BFGS-B from the same start, to the error that it reaches."""
    calls = 0

    def energy(flat: np.ndarray) -> tuple[float, np.ndarray]:
        nonlocal calls
        calls += 1
        at = flat.reshape(start_mm.shape)
        return model.energy(at), model.derivatives(at)[0].ravel()

    options = {"maxiter": 12_000, "maxfun": 12_000, "ftol": 1e-16, "gtol": 1e-7}
    begin = perf_counter()
    found = minimize(energy, start_mm.ravel(), jac=True, method="L-BFGS-B", options=options)
    took = perf_counter() - begin
    alone = seconds(lambda: model.energy(start_mm), 20)
    unused = calls * (seconds(lambda: model.derivatives(start_mm), 20) - alone)
    return General(
        at_mm=found.x.reshape(start_mm.shape),
        residual_mn=float(np.abs(found.jac).max()),
        evaluations=calls,
        seconds=max(took - unused, calls * alone),
        least_seconds=calls * alone,
    )

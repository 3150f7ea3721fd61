"""The compiled solvers, for a process that answers many questions.

They are an extra (``fast``, which brings the compiler numba) and never needed: each is the same algorithm as the numpy
one, to 1e-9, only quicker. (Where the energy of an open ring leads to no rest, which about one odd eye in thirty does, the
numpy solver is asked, which goes on by the forces. Where a search runs almost to its limit of steps, its path hangs on
rounding.) Nothing is compiled, or even imported, until :func:`start` is called once in the process,
as a server does; a single command stays light. Where the compiler is missing, :func:`start` says so and numpy goes on.
"""

from __future__ import annotations

from importlib import import_module
from types import ModuleType

import numpy as np

from forestay.mechanics import loop
from forestay.mechanics.fast_compile import available, claimed
from forestay.mechanics.loop import LoopState
from forestay.mechanics.net import Net
from forestay.mechanics.network import network_of
from forestay.mechanics.zonule import Floats

__all__ = ["available", "in_use", "minimise", "part", "start", "stop"]

KERNELS = ("fast_ring", "fast_loop", "fast_disc", "fast_draws")
"""The compiled modules, the longest first."""
_started: dict[str, ModuleType] = {}


def start() -> bool:
    """Compile the solvers (seconds, the first time on a machine; a part of a second later) and use them from now on.

    Processes that start together share the work: each compiles what no other is at, then takes up what those have kept.
    Result: whether they are in use. Safe to call from any thread and more than once. The answers stay the same, so no
    caller needs to know.
    """
    if not available():
        return False
    modules = {name: import_module(f"forestay.mechanics.{name}") for name in KERNELS}
    left = list(KERNELS)
    for wait in (False, True):
        for name in tuple(left):
            with claimed(name, wait=wait) as mine:
                if mine:
                    modules[name].warm()
                    left.remove(name)
    _started.update(modules)
    return True


def stop() -> None:
    """Go back to numpy."""
    _started.clear()


def in_use() -> bool:
    """Whether the compiled solvers are in use."""
    return bool(_started)


def part(name: str) -> ModuleType | None:
    """The compiled module of that name, when it is in use."""
    return _started.get(name)


def minimise(model: loop.Energy, *, start_mm: Floats, force_scale_mn: float) -> LoopState:
    """As :func:`forestay.mechanics.loop.minimise`, compiled where that is in use and the model is one it knows."""
    network = network_of(model)
    if network is None:
        return loop.minimise(model, start_mm=start_mm, force_scale_mn=force_scale_mn)
    compiled = part("fast_loop")
    if compiled is None:
        net = Net(network, stations=start_mm.shape[1], rows=start_mm.shape[0])
        return loop.minimise(net, start_mm=start_mm, force_scale_mn=force_scale_mn)
    at, iterations, converged, residual = compiled.minimise(network, start_mm, force_scale_mn)
    return LoopState(np.asarray(at), int(iterations), bool(converged), float(residual))

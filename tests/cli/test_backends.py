"""A plan says the same over the compiled solvers, as a server makes it, and over numpy, as a single command does."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from forestay.demo import demo_bytes
from forestay.mechanics import fast
from tests.cli.test_commands import forestay, process

ALIKE = 1e-6
"""Of a number that a plan tells; the solvers themselves agree to 1e-9, see `tests/mechanics/test_fast.py`."""


def apart(one: Any, other: Any, path: str = "") -> list[str]:
    """Where two answers differ."""
    if isinstance(one, dict) and isinstance(other, dict):
        assert one.keys() == other.keys(), path
        return [found for key in one for found in apart(one[key], other[key], f"{path}.{key}")]
    if isinstance(one, list) and isinstance(other, list):
        if len(one) != len(other):
            return [f"{path}: {len(one)} and {len(other)} long"]
        return [found for i, pair in enumerate(zip(one, other, strict=True)) for found in apart(*pair, f"{path}[{i}]")]
    if isinstance(one, float) and isinstance(other, float):
        return [] if one == pytest.approx(other, rel=ALIKE, abs=ALIKE) else [f"{path}: {one} and {other}"]
    return [] if one == other else [f"{path}: {one!r} and {other!r}"]


@pytest.mark.parametrize("name", ["brown-pseudoexfoliation", "trauma-gap"])
def test_both_solvers_lead_to_one_plan(name: str, tmp_path: Path) -> None:
    assert fast.in_use()
    file = tmp_path / f"{name}.toml"
    file.write_bytes(demo_bytes(name))
    quick, plain = (json.loads(ask("plan", str(file), "--json").stdout) for ask in (forestay, process))
    assert apart(quick, plain) == []
    assert apart({"a": [1.0]}, {"a": [1.1]}) == [".a[0]: 1.0 and 1.1"]

"""The command that plans one eye starts light: it imports no library that the plan does not need."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.project.source import PACKAGE

HEAVY = ("scipy", "numba", "sqlalchemy", "fastapi", "starlette", "uvicorn", "typst", "matplotlib", "pandas", "jinja2")
DEMO = sorted((PACKAGE / "demo").glob("*.toml"))
RUN = "import sys; from forestay.cli.main import run; run()"


def imported(*arguments: str) -> tuple[set[str], subprocess.CompletedProcess[str]]:
    """Top-level names of everything that the command imported, and how it ended."""
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-c", RUN, *arguments],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    names = re.findall(r"^import time:\s+\d+ \|\s+\d+ \|\s+([\w.]+)$", done.stderr, re.MULTILINE)
    return {name.split(".")[0] for name in names}, done


def test_there_are_five_demo_cases() -> None:
    assert len(DEMO) == 5


@pytest.mark.parametrize("case", DEMO, ids=lambda path: path.stem)
def test_planning_a_case_imports_nothing_heavy(case: Path) -> None:
    names, done = imported("plan", str(case), *(["--json"] if case == DEMO[0] else []))
    assert done.returncode in (0, 1), done.stderr[-2000:]
    assert "numpy" in names, "the listing of imports was not read"
    assert not names & set(HEAVY)


@pytest.mark.parametrize("arguments", [["check", str(DEMO[0]) if DEMO else ""], ["calc", "--list"], ["--help"]])
def test_the_other_quick_commands_import_nothing_heavy(arguments: list[str]) -> None:
    names, done = imported(*arguments)
    assert done.returncode in (0, 1), done.stderr[-2000:]
    assert "typer" in names
    assert not names & set(HEAVY)

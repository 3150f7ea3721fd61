"""Setting up: what is missing is said in one sentence, and the check of every change is `make test` itself."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from tests.project.source import ROOT

ENVIRONMENT = ROOT / "packaging" / "environment.sh"
CHROMIUM = ROOT / "packaging" / "chromium.sh"


def run(script: Path, *arguments: str, path: Path | None = None, **more: str) -> subprocess.CompletedProcess[str]:
    """A set-up script with its own search path and settings."""
    kept = {name: value for name, value in os.environ.items() if name not in ("CHROMIUM", "PYTHON")}
    return subprocess.run(
        ["/bin/sh", str(script), *arguments],
        env={**kept, "PATH": str(path) if path else os.environ["PATH"], **more},
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
        timeout=60,
    )


def pretend(folder: Path, name: str, script: str) -> Path:
    """A command of that name that answers as told."""
    command = folder / name
    command.write_text(f"#!/bin/sh\n{script}\n")
    command.chmod(0o755)
    return command


def one_sentence(done: subprocess.CompletedProcess[str]) -> str:
    """What was said on failure: one line, nothing on standard output."""
    assert done.returncode == 1
    assert done.stdout == ""
    assert len(done.stderr.strip().splitlines()) == 1
    return done.stderr.strip()


def test_without_a_new_enough_python_one_sentence_says_what_to_install(tmp_path: Path) -> None:
    pretend(tmp_path, "python3", "exit 1")
    told = one_sentence(run(ENVIRONMENT, str(tmp_path / "venv"), path=tmp_path))
    assert "Python 3.11 or newer" in told
    assert not (tmp_path / "venv").exists()


def test_without_venv_one_sentence_says_what_to_install(tmp_path: Path) -> None:
    answer = 'case "$2" in *ensurepip*) exit 1;; *version_info\\[*) echo "Python 3.11";; esac'
    pretend(tmp_path, "python3", answer)
    told = one_sentence(run(ENVIRONMENT, str(tmp_path / "venv"), path=tmp_path))
    assert "python3-venv" in told
    assert not (tmp_path / "venv").exists()


def test_an_environment_that_works_is_kept_and_needs_nothing(tmp_path: Path) -> None:
    (tmp_path / "venv" / "bin").mkdir(parents=True)
    pretend(tmp_path / "venv" / "bin", "python", "exit 0")
    done = run(ENVIRONMENT, str(tmp_path / "venv"), path=tmp_path)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_a_chromium_named_by_hand_is_taken_before_all_others(tmp_path: Path) -> None:
    mine = pretend(tmp_path, "my-chromium", "echo Chromium")
    done = run(CHROMIUM, CHROMIUM=str(mine))
    assert (done.returncode, done.stdout.strip()) == (0, str(mine))


def test_a_chromium_that_does_not_answer_is_an_error_and_not_passed_over(tmp_path: Path) -> None:
    told = one_sentence(run(CHROMIUM, CHROMIUM=str(tmp_path / "nothing")))
    assert "CHROMIUM" in told


@pytest.mark.parametrize("script", [ENVIRONMENT, CHROMIUM, ROOT / ".ci" / "run"], ids=lambda path: path.name)
def test_a_script_is_well_formed_and_may_be_run(script: Path) -> None:
    assert os.access(script, os.X_OK)
    shell = "bash" if script.read_text().startswith("#!/usr/bin/env bash") else "/bin/sh"
    assert subprocess.run([shell, "-n", str(script)], check=False, capture_output=True).returncode == 0


def test_the_check_of_a_change_is_make_test() -> None:
    lines = (ROOT / ".ci" / "run").read_text().splitlines()
    assert lines[-1].startswith("exec make test")


def test_make_test_runs_every_part() -> None:
    plan = subprocess.run(
        ["make", "--dry-run", "--no-print-directory", "test"], cwd=ROOT, check=True, capture_output=True, text=True
    ).stdout
    for part in ("ruff check", "ruff format --check", "mypy", "pytest", "-b html", "-b doctest"):
        assert part in plan, part
    assert plan.index("chromium.sh") < plan.index("bin/pytest")

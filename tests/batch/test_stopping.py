"""A run that is stopped goes on to the same bits, and a scheduler elsewhere is the same call."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path

import distributed
import pytest
import typer

from forestay.batch import study
from forestay.batch.units import Cluster, Unit, units
from forestay.cli.stopping import may_be_stopped
from forestay.draw.cost import draw_cost
from forestay.draw.palette import LIGHT
from forestay.review.invented import CHUNK
from tests.batch.test_batch import SEED, digests, here
from tests.batch.workers import mark

UNITS = 100
"""So many that work is left when the first file is seen, however late a busy machine looks."""
EYES = UNITS * CHUNK


def test_a_stopped_command_says_that_it_goes_on_and_leaves_whole_files(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "forestay", "batch", "plan", str(EYES), str(tmp_path), "--workers", "1"]
    running = subprocess.Popen(command, stderr=subprocess.PIPE, text=True)
    until = time.monotonic() + 60
    while not list(tmp_path.glob("*.parquet")) and time.monotonic() < until:
        time.sleep(0.02)
    running.terminate()  # which stops it as Ctrl+C does; started in the background a program does not hear Ctrl+C
    _, said = running.communicate(timeout=60)
    assert running.returncode == 2
    assert "the same command again goes on" in said
    assert "Traceback" not in said
    assert list(tmp_path.glob("*.draft")) == []
    stopped = digests(tmp_path)
    assert 1 <= len(stopped) < UNITS
    made: list[Unit] = []
    study.plan_in_brief(EYES, tmp_path, seed=1, run=lambda _work, wanted, progress: made.extend(wanted))  # noqa: ARG005
    (first,) = units("planned", chunks=1, folder=tmp_path / "anew", parameters=json.loads(made[0].parameters))
    study.plan_chunk(first)
    assert digests(tmp_path / "anew").items() <= stopped.items()


def test_the_signal_that_ends_a_program_stops_a_run_as_ctrl_c_does(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(typer.Exit) as left, may_be_stopped("said"):
        signal.raise_signal(signal.SIGTERM)
    assert (left.value.exit_code, capsys.readouterr().err) == (2, "\nsaid\n")
    assert signal.getsignal(signal.SIGTERM) is signal.SIG_DFL


def test_a_scheduler_on_this_machine_works_out_the_same_units(tmp_path: Path) -> None:
    wanted = units("mark", chunks=5, folder=tmp_path, parameters={})
    seen: list[int] = []
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp", host="127.0.0.1", dashboard_address=None
    ) as cluster:
        Cluster(cluster.scheduler_address)(mark, wanted[:2], progress=lambda _done, _of: None)
        Cluster(cluster.scheduler_address)(mark, wanted, progress=lambda done, _of: seen.append(done))
    assert [unit.file.read_text() for unit in wanted] == [str(i) for i in range(5)]
    assert seen[-1] == 5
    assert len(seen) == 4  # three that were left, and the end


def test_cost_is_drawn_on_both_logarithmic_scales() -> None:
    drawn = draw_cost({"plan": [(10, 1.0), (1000, 10.0)], "audit": [(10, 1.0)]}, palette=LIGHT, sentence="what it says")
    assert "1,000" in drawn
    assert "what it says" in drawn
    # A factor of ten is as high anywhere: the two ends of the line lie two decades across and one up.
    assert drawn.count("<circle") == 3


def test_a_large_register_is_spread_over_surgeons_and_years(tmp_path: Path) -> None:
    (first, *_) = study.invent(3000, tmp_path, seed=SEED, run=here)
    assert '"surgeons":4' in first.parameters
    large = study.register(10_000_000)
    assert (large.surgeons, large.cases_per_day) == (500, 10_000_000 // 3650)

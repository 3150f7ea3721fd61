"""Many eyes at once: same bits for any workers, a killed worker costs nothing, a run goes on, an audit counts right."""

from __future__ import annotations

import hashlib
import os
import signal
import threading
import time
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from scipy.stats import beta

from forestay.batch import lite, study
from forestay.batch.audit import audit
from forestay.batch.units import Cluster, LocalPool, Stopped, Unit, keep, units
from forestay.calc.lens import lens_power_calculation
from forestay.calc.risk import complication_risk
from forestay.errors import InvalidInput
from forestay.evidence import default_evidence
from forestay.review import invented
from forestay.review.invented import Truth, columns
from tests.batch.workers import die, slow_then_mark

SEED = 11


@pytest.fixture(autouse=True)
def small_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Chunks of 500 eyes in this process; other processes are told by the number of eyes alone."""
    monkeypatch.setattr(invented, "CHUNK", 500)
    monkeypatch.setattr(study, "CHUNK", 500)


def here(work: object, wanted: tuple[Unit, ...], *, progress: object) -> None:
    """Works units out one after the other in this process."""
    for unit in wanted:
        if not unit.done:
            work(unit)  # type: ignore[operator]


def digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


def test_chunks_make_the_same_table_whoever_makes_them_and_in_what_order(tmp_path: Path) -> None:
    study.plan_in_brief(1700, tmp_path / "one", seed=SEED, run=here)

    def backwards(work: object, wanted: tuple[Unit, ...], *, progress: object) -> None:
        here(work, wanted[::-1], progress=progress)

    study.plan_in_brief(1700, tmp_path / "two", seed=SEED, run=backwards)
    assert digests(tmp_path / "one") == digests(tmp_path / "two")
    assert len(digests(tmp_path / "one")) == 4
    study.plan_in_brief(1700, tmp_path / "three", seed=SEED + 1, run=here)
    assert set(digests(tmp_path / "one").values()).isdisjoint(digests(tmp_path / "three").values())


def test_a_run_goes_on_where_it_stopped_and_leaves_no_half_file(tmp_path: Path) -> None:
    made: list[int] = []

    def breaks(work: object, wanted: tuple[Unit, ...], *, progress: object) -> None:
        for unit in wanted:
            if len(made) == 2:
                raise KeyboardInterrupt
            work(unit)  # type: ignore[operator]
            made.append(unit.chunk)

    with pytest.raises(KeyboardInterrupt):
        study.invent(1700, tmp_path, seed=SEED, run=breaks)
    first = digests(tmp_path)
    assert len(first) == 2
    study.invent(1700, tmp_path, seed=SEED, run=here)
    assert {name: first[name] for name in first} == {name: digests(tmp_path)[name] for name in first}
    assert len(digests(tmp_path)) == 4
    (unit, *_) = units("x", chunks=1, folder=tmp_path / "broken", parameters={})

    def fails(path: Path) -> None:
        path.write_bytes(b"half")
        raise OSError

    with pytest.raises(OSError):  # noqa: PT011
        keep(unit, fails)
    assert list((tmp_path / "broken").iterdir()) == []


def test_a_killed_worker_costs_its_unit_some_time_and_nothing_else(tmp_path: Path) -> None:
    wanted = units("kill", chunks=14, folder=tmp_path, parameters={})
    killed: list[int] = []
    over = threading.Event()

    def kill_one() -> None:
        while not over.is_set():
            notes = list(tmp_path.glob("worker-*"))
            if notes and sum(unit.done for unit in wanted) >= 2:
                killed.append(int(notes[0].name.removeprefix("worker-")))
                os.kill(killed[0], signal.SIGKILL)
                return
            time.sleep(0.02)

    hunter = threading.Thread(target=kill_one)
    hunter.start()
    seen: list[int] = []
    LocalPool(2)(slow_then_mark, wanted, progress=lambda done, _all: seen.append(done))
    over.set()
    hunter.join()
    assert killed
    assert [unit.file.read_text() for unit in wanted] == [str(i) for i in range(14)]
    assert seen == sorted(seen)
    assert seen[-1] == 14
    assert list(tmp_path.glob("*.draft")) == [] or killed  # what the killed worker had begun was never moved into place


def test_workers_that_die_on_every_unit_stop_the_run_with_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(Stopped, match="run the same again"):
        LocalPool(1)(die, units("die", chunks=2, folder=tmp_path, parameters={}), progress=lambda _a, _b: None)


def test_two_processes_make_the_bits_of_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.undo()  # worker processes have the usual chunks
    study.plan_in_brief(2000, tmp_path / "pool", seed=SEED, run=LocalPool(2))
    study.plan_in_brief(2000, tmp_path / "here", seed=SEED, run=here)
    assert digests(tmp_path / "pool") == digests(tmp_path / "here")


def test_a_scheduler_elsewhere_is_refused_without_tls(tmp_path: Path) -> None:
    with pytest.raises(Stopped) as refused:
        Cluster("tcp://10.0.0.7:8786")(die, (), progress=lambda _a, _b: None)
    assert refused.value.field == "scheduler"


def test_the_plan_in_brief_is_that_of_the_calculations() -> None:
    made = columns(60, seed=SEED, truth=Truth())
    found = lite.plan(made, a_constant=118.4, target_d=-0.5, step_d=0.5)
    for i in range(0, 60, 7):
        answer = lens_power_calculation(
            formula="SRK/T",
            axial_length_mm=float(made["axial_length_mm"][i]),
            k1_d=float(made["k1_d"][i]),
            k2_d=float(made["k2_d"][i]),
            constant={"a": 118.4},
            target_d=-0.5,
        ).result
        assert float(found["power_d"][i]) == pytest.approx(answer.power_d, abs=1e-9)
        told = {choice.power_d: choice.refraction_d for choice in answer.choices}
        assert float(found["refraction_d"][i]) == pytest.approx(told[float(found["label_power_d"][i])], abs=1e-9)


def test_the_risk_of_a_table_is_that_of_the_calculation_where_all_is_known() -> None:
    flags = {name: np.array([False, True]) for name in lite.FLAGS}
    more = {name: np.array([False, False]) for name in ("diabetic_retinopathy", "long_eye", "cannot_lie_flat")}
    pupils = {"pupil": np.array([False, False])}
    ages = np.array([55.0, 83.0])
    found = lite.risk({"age_years": ages, **flags, **more, **pupils})
    for i, sex in enumerate(("female", "male")):
        signs = {name: bool(flags[name][i]) for name in lite.FLAGS if name != "male"}
        answer = complication_risk(model="uk-2009", age_years=float(ages[i]), sex=sex, **signs)
        assert float(found[i]) == pytest.approx(answer.result.probability, rel=1e-9)


def test_an_impossible_value_is_missing_and_not_guessed() -> None:
    made = columns(5, seed=SEED, truth=Truth())
    made["axial_length_mm"][2] = 230.0
    found = lite.plan(made, a_constant=118.4, target_d=-0.5, step_d=0.5)
    assert np.isnan(found["power_d"]).tolist() == [False, False, True, False, False]


def test_an_audit_counts_what_is_in_the_tables(tmp_path: Path) -> None:
    done = study.invent(3000, tmp_path, seed=SEED, run=here, truth=Truth(last_odds_ratio=5.0))
    table = {name: np.concatenate([pq.read_table(u.file)[name].to_numpy() for u in done]) for name in
             ("surgeon", "rupture", "told_rupture", "followed", "refraction_d", "predicted_refraction_d")}  # fmt: skip
    found = audit([unit.file for unit in done], default_evidence().reader())
    assert (found.n, found.events) == (3000, int(table["rupture"].sum()))
    assert found.expected == pytest.approx(table["told_rupture"].sum())
    assert sum(year.n for year in found.years) == 3000
    error = table["refraction_d"] - table["predicted_refraction_d"]
    for group in found.groups:
        mine = table["surgeon"] == int(group.surgeon)
        assert (group.n, group.events) == (int(mine.sum()), int(table["rupture"][mine].sum()))
        seen = mine & table["followed"]
        assert group.mean_error_d == pytest.approx(error[seen].mean())
        assert group.within_half == pytest.approx(np.mean(np.abs(error[seen]) <= 0.5))
        assert group.exact[1] == pytest.approx(beta(group.events + 1, group.n - group.events).ppf(0.975))
    assert [group.surgeon for group in found.groups if group.outside and group.ratio > 1] == ["3"]


def test_every_file_says_that_it_is_invented(tmp_path: Path) -> None:
    (unit, *_) = study.invent(600, tmp_path, seed=SEED, run=here)
    assert pq.read_schema(unit.file).metadata[b"invented"] == b"yes"


def test_no_table_is_an_error_that_says_what_is_wanted(tmp_path: Path) -> None:
    with pytest.raises(InvalidInput) as refused:
        audit([], default_evidence().reader())
    assert refused.value.field == "folder"

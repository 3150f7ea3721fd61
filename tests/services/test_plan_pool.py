"""Plans made in processes beside: the same as made here, also after such a process has ended, and errors come through."""

from __future__ import annotations

import json
import os
import signal
import threading
from collections.abc import Iterator
from datetime import UTC, datetime
from multiprocessing import active_children
from uuid import uuid4

import pytest

from forestay.case.bodies import Found
from forestay.demo import NAMES
from forestay.errors import RefusedFinding
from forestay.eye.situation import Situation
from forestay.plan.model import Plan, as_dict
from forestay.services.cases import Who
from forestay.services.plan_pool import PlanPool
from forestay.services.planner import Given, Make, Planner, usual_make
from forestay.services.planning import Desk, keep_demo
from forestay.store.memory import MemoryFactStore
from forestay.text import speaking
from tests.factories import example_plan

EYE = NAMES[1]


@pytest.fixture(scope="module")
def desk() -> Desk:
    kept = MemoryFactStore()
    keep_demo(kept)
    return Desk(kept, Planner(), Who("desk", "test"))


@pytest.fixture(scope="module")
def pool() -> Iterator[PlanPool]:
    made = PlanPool(1, quicken=False)
    yield made
    made.close()


def quick_of(pool: PlanPool) -> Make:
    """Quick plans with nothing given."""
    return pool.ways(Given())[1]


def said(plan: Plan) -> str:
    """The plan to nine digits: one process may have compiled what the other works out in numpy."""

    def rounded(value: object) -> object:
        if isinstance(value, float):
            return float(f"{value:.9g}")
        if isinstance(value, dict):
            return {key: rounded(one) for key, one in value.items()}
        return [rounded(one) for one in value] if isinstance(value, list | tuple) else value

    return json.dumps(rounded(as_dict(plan)), sort_keys=True)


def test_a_plan_from_beside_is_the_plan_made_here(desk: Desk, pool: PlanPool) -> None:
    situation = desk.open(EYE).situation
    assert said(quick_of(pool)(situation)) == said(usual_make(quick=True)(situation))
    with speaking("fr"):
        assert said(quick_of(pool)(situation)) == said(usual_make(quick=True)(situation))


def test_a_refusal_from_beside_is_the_refusal(desk: Desk, pool: PlanPool) -> None:
    situation = desk.open(EYE).situation
    case = situation.case
    wrong = case.model_copy(update={"biometry": case.biometry.model_copy(update={"k1_d": 36.0, "k2_d": 58.0})})
    told = []
    for make in (usual_make(quick=True), quick_of(pool)):
        with pytest.raises(RefusedFinding) as refused:
            make(situation.model_copy(update={"case": wrong}))
        told.append((refused.value.message, refused.value.field, refused.value.value))
    assert told[0] == told[1]


def test_a_process_that_ends_is_replaced_and_the_plan_still_comes(desk: Desk, pool: PlanPool) -> None:
    situation = desk.open(EYE).situation
    quick_of(pool)(situation)
    before = {child.pid for child in active_children()}
    for pid in before:
        os.kill(pid or 0, signal.SIGKILL)
    assert said(quick_of(pool)(situation)) == said(usual_make(quick=True)(situation))
    assert not before & {child.pid for child in active_children()}


class Slow:
    """A plan that waits until it is let go, and counts."""

    def __init__(self) -> None:
        self.go, self.begun, self.seen = threading.Event(), threading.Event(), list[float | None]()

    def __call__(self, situation: Situation) -> Plan:
        self.seen.append(situation.case.signs.pupil_dilated_mm)
        self.begun.set()
        assert self.go.wait(20)
        return example_plan(side=situation.case.eye.side)


def test_all_who_wait_while_facts_come_in_get_the_plan_of_the_last_made_once() -> None:
    store, slow = MemoryFactStore(), Slow()
    keep_demo(store)
    desk = Desk(store, Planner(slow), Who("desk", "test"))
    got: list[float | None] = []

    def ask() -> None:
        got.append(desk.planned(EYE)[0].situation.case.signs.pupil_dilated_mm)

    askers = [threading.Thread(target=ask)]
    askers[0].start()
    assert slow.begun.wait(20)
    for size in (3.1, 3.2, 3.3):
        desk.keep(EYE, {uuid4(): Found(values={"signs.pupil_dilated_mm": size})}, happened_at=datetime.now(UTC))
        askers.append(threading.Thread(target=ask))
        askers[-1].start()
    slow.go.set()
    for one in askers:
        one.join(20)
    assert sorted(got[1:]) == [3.3, 3.3, 3.3]
    assert slow.seen[1:] == [3.3]


def test_one_plan_is_made_for_all_who_ask_for_the_same_and_a_failure_reaches_all() -> None:
    store, slow = MemoryFactStore(), Slow()
    keep_demo(store)
    planner = Planner(slow)
    situation = Desk(store, planner, Who("desk", "test")).open(EYE).situation
    got: list[Plan] = []
    askers = [threading.Thread(target=lambda: got.append(planner.plan(situation))) for _ in range(4)]
    for one in askers:
        one.start()
    assert slow.begun.wait(20)
    slow.go.set()
    for one in askers:
        one.join(20)
    assert (len(slow.seen), len({id(plan) for plan in got}), len(got)) == (1, 1, 4)

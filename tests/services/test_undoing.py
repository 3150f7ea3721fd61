"""A nurse takes back what she entered herself a short while ago, and nothing else; whoever decides, anything."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest

from forestay.services.access import table
from forestay.services.actor import Actor, Forbidden, acting
from forestay.services.cases import Who
from forestay.services.planner import Planner
from forestay.services.planning import Desk
from forestay.services.undoing import check_take_back
from forestay.store.interface import now
from forestay.store.memory import MemoryFactStore
from tests.factories import example_plan


def somebody(account: str, role: str) -> Actor:
    return Actor(account, account, f"d-{account}", (role,), by_pin=False, csrf="")


NURSE, OTHER, SURGEON = somebody("u-n", "nurse"), somebody("u-o", "nurse"), somebody("u-s", "surgeon")


@pytest.fixture
def desk() -> Desk:
    made = Desk(MemoryFactStore(), Planner(lambda _: example_plan()), Who("desk", "web"))
    made.open_case("M-1", side="left", age_years=70, key=uuid4())
    return made


def test_own_recent_and_of_a_kind_that_one_enters(desk: Desk) -> None:
    found, other, choice = uuid4(), uuid4(), uuid4()
    with acting(NURSE):
        desk.record_seen("M-1", {"signs.pupil_dilated_mm": 4.0}, key=found)
    with acting(OTHER):
        desk.record_seen("M-1", {"signs.trauma": True}, key=other)
    with acting(SURGEON):
        desk.decide("M-1", {"ring": "none"}, reason="x", key=choice)
        made = desk.open("M-1").facts[-1].header.id
    with acting(NURSE):
        for fact in (other, made):
            with pytest.raises(Forbidden, match="last 60 minutes"):
                desk.take_back("M-1", fact, why="slip", key=uuid4())
        late = now() + timedelta(minutes=table().limits["undo_minutes"] + 1)
        with pytest.raises(Forbidden):
            check_take_back(desk.store, "M-1", found, moment=late)
        desk.take_back("M-1", found, why="slip", key=uuid4())
    signs = desk.open("M-1").situation.case.signs
    assert (signs.pupil_dilated_mm, signs.trauma) == (None, True)
    with acting(SURGEON):
        desk.take_back("M-1", other, why="the other eye", key=uuid4())
    assert desk.open("M-1").situation.case.signs.trauma is None


def test_a_field_that_a_decision_settled_is_not_cleared_by_who_may_not_decide(desk: Desk) -> None:
    with acting(SURGEON):
        desk.decide("M-1", {"signs.pupil_dilated_mm": 5.0}, reason="measured again", key=uuid4())
    with acting(NURSE), pytest.raises(Forbidden, match="settled by a decision"):
        desk.enter("M-1", {"signs.pupil_dilated_mm": None}, key=uuid4())
    assert desk.open("M-1").situation.case.signs.pupil_dilated_mm == 5.0
    with acting(SURGEON):
        desk.enter("M-1", {"signs.pupil_dilated_mm": None}, key=uuid4())
    assert desk.open("M-1").situation.case.signs.pupil_dilated_mm is None

"""Cases and their plans for the faces: the one place that joins what is kept, what is looked at, and what is planned.

A *look* is a decision that is tried and not kept: the plan is made with it, and nothing is stored.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import replace
from datetime import datetime, timedelta
from threading import Lock
from typing import Any
from uuid import UUID
from weakref import WeakValueDictionary

from forestay.case.bodies import Body, Kind
from forestay.case.chain import facts_of
from forestay.case.fact import content
from forestay.errors import ForestayError
from forestay.eye.lens_shelf import LensShelf, read_lens_shelf
from forestay.eye.situation import Situation
from forestay.plan.context import Practice
from forestay.plan.flip import Flips
from forestay.plan.model import Plan
from forestay.review.groups import Selection
from forestay.review.make import Review
from forestay.review.peers import Peer
from forestay.services import actor, cases, entry
from forestay.services.cases import KeptCase, Who
from forestay.services.entry import FieldState
from forestay.services.identity import identity
from forestay.services.in_force import InForce, Now, Start
from forestay.services.plan_pool import PlanPool
from forestay.services.planner import Given, Planner
from forestay.services.undoing import check_take_back
from forestay.store.interface import FactStore


def caution() -> str:
    """The standing caution, for a page that shows no plan."""
    from forestay.plan.make import caution as standing

    return standing()


DEMO_APART = timedelta(minutes=2)
"""Between two facts of an invented case, so that its thread reads like a morning's clinic."""


class Turns:
    """A turn for each case: who holds it is alone. Safe to use from several threads."""

    def __init__(self) -> None:
        self._held: WeakValueDictionary[str, _Turn] = WeakValueDictionary()
        self._lock = Lock()

    @contextmanager
    def of(self, case_id: str) -> Iterator[None]:
        """Wait for the turn of this case, and hold it inside the block."""
        with self._lock:
            turn = self._held.setdefault(case_id, _Turn())
        with turn.lock:
            yield


class _Turn:
    """A lock that may be forgotten when nobody waits for it."""

    __slots__ = ("__weakref__", "lock")

    def __init__(self) -> None:
        self.lock = Lock()


class Desk:
    """What a face may ask of the cases: open, plan, look, decide, take back."""

    def __init__(self, store: FactStore, planner: Planner, who: Who, *, start: Start | None = None) -> None:
        self._store = store
        self._planner = planner
        self._own = who
        self._turns = Turns()
        self._in_force = InForce(store, start or Start(planner.given))

    @property
    def in_force(self) -> Now:
        """The settings of the practice, and what plans are made with."""
        return self._in_force.now

    def settings_then(self, at: int) -> Now:
        """The settings of the practice as they were after the change ``at``."""
        return self._in_force.then(at)

    @property
    def store(self) -> FactStore:
        """Where the facts are, for services that need no plan."""
        return self._store

    @property
    def _who(self) -> Who:
        """Who is signed in for this request; without accounts, the desk itself."""
        return actor.who() or self._own

    @property
    def author(self) -> str:
        """The pseudonym under which this request keeps things."""
        return self._who.author

    @property
    def device(self) -> str:
        """The device from which this request keeps things."""
        return self._who.device

    def check(self, kind: Kind, author: str, device: str) -> None:
        """Refuse a fact that whoever asks may not send; without accounts everything may come."""
        actor.check_fact(kind, author, device)

    def close(self) -> None:
        """End what works beside this process."""
        self._planner.close()

    def case_ids(self) -> list[str]:
        """The cases kept, in order of arrival."""
        return cases.case_ids(self._store)

    def sequences(self) -> dict[str, int]:
        """The cases kept, in order of arrival, each with the number of its last fact."""
        return self._store.sequences()

    def open(self, case_id: str) -> KeptCase:
        """One case; an unknown one is an error."""
        return replace(cases.kept_case(self._store, case_id), identity=identity(self._store, case_id))

    def before(self, case_id: str, head: int) -> Situation | None:
        """What was known when only the first ``head`` facts were kept; None where that was no case yet."""
        return cases.situation_at(self._store, case_id, head)

    def planned(self, case_id: str) -> tuple[KeptCase, Plan]:
        """One case with the plan of its latest facts.

        One such plan of a case is made at a time. Whoever waits reads the facts when the turn comes, so that all who
        asked while facts came in get the plan of the last of them, made once.
        """
        with self._turns.of(case_id):
            opened = self.open(case_id)
            return opened, self.plan(opened.situation, {})

    def plan(self, situation: Situation, look: Mapping[str, Any], *, quick: bool = False) -> Plan:
        """The plan, with some decisions tried and not kept; ``quick`` while a control moves."""
        self._planner.use(self.in_force.given)
        return self._planner.look(situation, look, quick=quick)

    def ahead(self, case_id: str, look: Mapping[str, Any]) -> bool:
        """Have a look ready that the hand on a control is likely to ask next; False where the desk has other work, or
        where that look would be refused."""
        self._planner.use(self.in_force.given)
        try:
            return self._planner.ahead(cases.kept_case(self._store, case_id).situation, look)
        except ForestayError:  # whoever asks for it is told why
            return False

    def turns(self, situation: Situation) -> Flips:
        """Where the plan turns; takes some seconds the first time."""
        self._planner.use(self.in_force.given)
        return self._planner.turns(situation)

    def record_seen(self, case_id: str, values: Mapping[str, Any], *, key: UUID, based_on: int | None = None) -> None:
        """Keep what was seen, by field of the case file, as one finding. The same key again changes nothing."""
        cases.record_seen(self._store, case_id, values, key=key, who=self._who, based_on=based_on)

    def decide(
        self, case_id: str, choices: Mapping[str, Any], *, reason: str, key: UUID, based_on: int | None = None
    ) -> None:
        """Keep choices as decisions, with their reason. The same key again changes nothing."""
        cases.decide(self._store, case_id, choices, reason=reason, key=key, who=self._who, based_on=based_on)

    def take_back(self, case_id: str, fact_id: UUID, *, why: str, key: UUID, based_on: int | None = None) -> None:
        """Take a fact back, with why. The same key again changes nothing."""
        check_take_back(self._store, case_id, fact_id)
        cases.take_back(self._store, case_id, fact_id, why=why, key=key, who=self._who, based_on=based_on)

    def by(self, who: Who) -> Desk:
        """The same desk, with somebody at it: what is kept from here on is kept in that name."""
        desk = copy(self)
        desk._own = who
        return desk

    def fields(self, opened: KeptCase) -> dict[str, FieldState]:
        """What is known of each field, and where facts disagree."""
        return entry.field_states(opened.facts)

    def enter(self, case_id: str, values: Mapping[str, Any], *, key: UUID, based_on: int | None = None) -> None:
        """Keep fields that were typed; None clears one. The same key again changes nothing."""
        entry.enter(self._store, case_id, values, key=key, who=self._who, based_on=based_on)

    def settle(
        self, case_id: str, path: str, fact_id: UUID, *, reason: str, key: UUID, based_on: int | None = None
    ) -> None:
        """Settle a field in dispute by a decision for the value of one fact."""
        entry.settle(self._store, case_id, path, fact_id, reason=reason, key=key, who=self._who, based_on=based_on)

    def kept(self, case_id: str, ids: Iterable[UUID]) -> tuple[UUID, ...]:
        """Those of these identities that are kept in this case."""
        asked = tuple(ids)
        known = {link.header.id for link in self._store.standing(case_id, asked, "").known}
        return tuple(one for one in asked if one in known)

    def kept_bodies(self, case_id: str, ids: Iterable[UUID]) -> dict[UUID, Body]:
        """What is kept in this case under these identities."""
        known = facts_of(self._store.standing(case_id, tuple(ids), "").known)
        return {fact.header.id: content(fact) for fact in known}

    def chain_head(self, case_id: str, at: int | None = None) -> str:
        """The head of the chain of a case, as a signature names it; ``at``: as it was after so many facts."""
        links = self._store.links(case_id)
        return links[-1 if at is None or not 0 < at <= len(links) else at - 1].chain.hex()

    def keep(
        self,
        case_id: str,
        bodies: Mapping[UUID, Body],
        *,
        based_on: int | None = None,
        happened_at: datetime | None = None,
    ) -> None:
        """Keep facts by their identities, with when it happened if not now. The same identities again change nothing."""
        cases.record(self._store, case_id, bodies, who=self._who, based_on=based_on, happened_at=happened_at)

    def open_case(self, case_id: str, *, side: str, age_years: float, key: UUID, surgeon: str = "") -> None:
        """Open a new case with what the settings say of the theatre and of this surgeon, else of the first."""
        theatre = self.in_force.kept.for_new_case(surgeon)
        entry.open_case(self._store, case_id, side=side, age_years=age_years, theatre=theatre, key=key, who=self._who)

    def review(
        self, selection: Selection, *, invented: bool = False, peers: Sequence[Peer] = ()
    ) -> tuple[Review, dict[str, tuple[str, ...]]]:
        """What the cases of a selection teach, and what there is to choose from; or those of an invented practice."""
        from forestay.services.reviewing import look_back

        return look_back(None if invented else self._store, selection, peers=peers)


def open_desk(
    db: str | None, *, demo: bool, planner: Planner | None = None, lenses: LensShelf | None = None, planners: int = 0
) -> Desk:
    """The desk over the store ``db``, the user's own one where None; with ``demo``, the invented cases are kept once.

    The practice's own figures are read once, here. ``lenses``: a shelf of lenses from a file, which goes before the one of
    the settings; with ``demo`` and no other, the invented shelves, which say that they are. ``planners``: processes that make the plans; 0 makes them here.
    """
    store = cases.open_store(db)
    if demo:
        keep_demo(store)
    from forestay.services.reviewing import own_practice

    start = started_with(lenses, demo=demo, practice=own_practice(store))
    if planner is None and planners:
        pool = PlanPool(planners)
        pool.warm()
        planner = Planner(ways=pool.ways, close=pool.close, given=start.given)
    return Desk(store, planner or Planner(given=start.given), Who(author="desk", device="web"), start=start)


def started_with(lenses: LensShelf | None, *, demo: bool, practice: Practice | None = None) -> Start:
    """What the program is started with. ``lenses``: the shelf of a file that was named; in the demo, invented shelves."""
    from forestay.services import daylist

    devices = daylist.demo_shelf() if demo else daylist.own_shelf()
    return Start(
        Given(lenses=demo_shelf() if demo and lenses is None else lenses, devices=devices, practice=practice),
        lenses="option" if lenses is not None else "demo" if demo else "nowhere",
        devices="demo" if demo else "nowhere" if devices is None else "file",
    )


def demo_shelf() -> LensShelf:
    """The invented shelf of the demo practice."""
    from forestay.demo import demo_lens_shelf_bytes

    return read_lens_shelf(demo_lens_shelf_bytes(), "lenses.toml")


def keep_demo(store: FactStore) -> None:
    """Keep each invented case that is not there yet, as facts; one that is there is left as it is."""
    from forestay.demo import NAMES, demo_bytes

    known = set(cases.case_ids(store))
    for name in NAMES:
        if name not in known:
            cases.import_case(
                store,
                demo_bytes(name),
                name=f"{name}.toml",
                author=cases.INVENTED,
                happened_at=datetime.now().astimezone(),
                apart=DEMO_APART,
            )

"""Cases and their plans for the faces: the one place that joins what is kept, what is looked at, and what is planned.

A *look* is a decision that is tried and not kept: the plan is made with it, and nothing is stored.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from threading import Lock
from typing import Any
from uuid import UUID

from forestay.case.bodies import Body, Kind
from forestay.eye.lens_shelf import LensShelf, read_lens_shelf
from forestay.eye.situation import Decisions, Situation
from forestay.eye.validation import validate
from forestay.plan.context import Context, Practice
from forestay.plan.flip import Flips, flips
from forestay.plan.model import Plan
from forestay.review.groups import Selection
from forestay.review.make import Review
from forestay.services import actor, cases, entry
from forestay.services.cases import KeptCase, Who
from forestay.services.entry import FieldState
from forestay.services.identity import identity
from forestay.store.interface import FactStore
from forestay.text import language

PLANS_KEPT = 128
"""How many plans are kept for a quick return: a few cases with every position that a control was moved to."""

Make = Callable[[Situation], Plan]


def digest(situation: Situation) -> str:
    """SHA-256 over the situation: two agree exactly when all that a plan is made from agrees."""
    return hashlib.sha256(situation.model_dump_json().encode()).hexdigest()


def looked_at(situation: Situation, look: Mapping[str, Any]) -> Situation:
    """The situation with the tried decisions on top of the kept ones; an impossible one is refused by name."""
    if not look:
        return situation
    decisions = validate(Decisions, {**situation.decisions.model_dump(), **look})
    return situation.model_copy(update={"decisions": decisions})


class Planner:
    """Makes plans and keeps the last ones by the situation's digest. Safe to use from several threads."""

    def __init__(
        self,
        make: Make | None = None,
        *,
        kept: int = PLANS_KEPT,
        lenses: LensShelf | None = None,
        practice: Practice | None = None,
    ) -> None:
        self._make = make or usual_make(lenses=lenses, practice=practice)
        self._quick = make or usual_make(quick=True, lenses=lenses, practice=practice)
        self._lenses, self._practice = lenses, practice
        self._flips: OrderedDict[str, Flips] = OrderedDict()
        self._turning = Lock()
        self._kept = kept
        self._plans: OrderedDict[str, Plan] = OrderedDict()
        self._lock = Lock()

    def plan(self, situation: Situation, *, quick: bool = False) -> Plan:
        """The plan for this situation, made once. ``quick``: only what moves with a control (see ``usual_make``)."""
        whole = f"{language()} {digest(situation)}"
        key = f"{whole} quick"
        with self._lock:
            for name in (whole, key) if quick else (whole,):
                known = self._plans.get(name)
                if known is not None:
                    self._plans.move_to_end(name)
                    return known
        made = (self._quick if quick else self._make)(situation)
        with self._lock:
            self._plans[key if quick else whole] = made
            while len(self._plans) > self._kept:
                self._plans.popitem(last=False)
        return made

    def turns(self, situation: Situation) -> Flips:
        """Where the plan of this situation turns, worked out once: about a hundred plans, one eye at a time."""
        name = f"{language()} {digest(situation)}"
        with self._turning:
            known = self._flips.get(name)
            if known is None:
                known = flips(situation, usual_context(lenses=self._lenses, practice=self._practice))
                self._flips[name] = known
                while len(self._flips) > self._kept:
                    self._flips.popitem(last=False)
            return known

    def look(self, situation: Situation, look: Mapping[str, Any], *, quick: bool = False) -> Plan:
        """The plan with some decisions tried."""
        return self.plan(looked_at(situation, look), quick=quick)


def caution() -> str:
    """The standing caution, for a page that shows no plan."""
    from forestay.plan.make import caution as standing

    return standing()


def usual_make(*, quick: bool = False, lenses: LensShelf | None = None, practice: Practice | None = None) -> Make:
    """``plan.make`` with the context that ships, read once, the shelf of ``lenses``, and the own figures of ``practice``.

    ``quick`` leaves out what no control under the hand shows: margins of techniques that do not come first, the search
    for supports, the interval of loads that only rank, and what a sign at surgery would change. Every number that it
    gives is that of the whole plan.
    """
    from forestay.plan.make import make

    context = replace(usual_context(lenses=lenses, practice=practice), searching=not quick)
    return lambda situation: make(situation, context)


def usual_context(*, lenses: LensShelf | None = None, practice: Practice | None = None) -> Context:
    """The context that ships, with the shelf of ``lenses`` and the own figures of ``practice``."""
    context = Context.default(lenses=lenses)
    return context if practice is None else replace(context, practice=practice)


DEMO_APART = timedelta(minutes=2)
"""Between two facts of an invented case, so that its thread reads like a morning's clinic."""


class Desk:
    """What a face may ask of the cases: open, plan, look, decide, take back."""

    def __init__(self, store: FactStore, planner: Planner, who: Who) -> None:
        self._store = store
        self._planner = planner
        self._own = who

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

    def plan(self, situation: Situation, look: Mapping[str, Any], *, quick: bool = False) -> Plan:
        """The plan, with some decisions tried and not kept; ``quick`` while a control moves."""
        return self._planner.look(situation, look, quick=quick)

    def turns(self, situation: Situation) -> Flips:
        """Where the plan turns; takes some seconds the first time."""
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
        cases.take_back(self._store, case_id, fact_id, why=why, key=key, who=self._who, based_on=based_on)

    def by(self, who: Who) -> Desk:
        """The same desk, with somebody at it: what is kept from here on is kept in that name."""
        return Desk(self._store, self._planner, who)

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

    def open_case(self, case_id: str, *, side: str, age_years: float, key: UUID) -> None:
        """Open a new case."""
        entry.open_case(self._store, case_id, side=side, age_years=age_years, key=key, who=self._who)

    def review(self, selection: Selection, *, invented: bool = False) -> tuple[Review, dict[str, tuple[str, ...]]]:
        """What the cases of a selection teach, and what there is to choose from; or those of an invented practice."""
        from forestay.services.reviewing import look_back

        return look_back(None if invented else self._store, selection)


def open_desk(db: str | None, *, demo: bool, planner: Planner | None = None, lenses: LensShelf | None = None) -> Desk:
    """The desk over the store ``db``, the user's own one where None; with ``demo``, the invented cases are kept once.

    The practice's own figures are read once, here. ``lenses``: the practice's shelf of lenses; with ``demo`` and none given, the invented shelf, which says that it is.
    """
    store = cases.open_store(db)
    if demo:
        keep_demo(store)
    shelf = demo_shelf() if demo and lenses is None else lenses
    from forestay.services.reviewing import own_practice

    return Desk(store, planner or Planner(lenses=shelf, practice=own_practice(store)), Who(author="desk", device="web"))


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

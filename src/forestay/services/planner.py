"""Plans made once: kept for a quick return, and made once for all who ask for the same at the same time."""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property
from threading import Lock
from typing import Any

from forestay.calc.zonule_input import OwnRatio
from forestay.eye.lens_shelf import LensShelf
from forestay.eye.situation import Decisions, Situation
from forestay.eye.validation import validate
from forestay.plan.context import Context, Practice
from forestay.plan.device_shelf import DeviceShelf
from forestay.plan.flip import Flips, flips
from forestay.plan.model import Plan
from forestay.text import language

PLANS_KEPT = 128
"""How many plans are kept for a quick return: a few cases with every position that a control was moved to."""

Make = Callable[[Situation], Plan]


@dataclass(frozen=True)
class Given:
    """What plans are made with beside facts and evidence: the practice's shelves and its own figures."""

    lenses: LensShelf | None = None
    practice: Practice | None = None
    devices: DeviceShelf | None = None
    settings: str = ""
    """The change of the settings that shelves and ratios come from."""
    ratios: tuple[OwnRatio, ...] = ()
    """What signs of a weak zonule weigh in this practice, in the place of what ships."""

    @cached_property
    def digest(self) -> str:
        """Two agree exactly when all that a plan is made with agrees."""
        parts = (
            self.lenses.model_dump_json() if self.lenses else "",
            self.practice.digest if self.practice else "",
            self.devices.digest if self.devices else "",
            self.settings,
            *(one.model_dump_json() for one in self.ratios),
        )
        return hashlib.sha256("\0".join(parts).encode()).hexdigest()


Ways = Callable[[Given], tuple[Make, Make]]
"""What makes whole plans and quick ones with what is given."""


@dataclass(frozen=True)
class _Way:
    """How plans are made just now; replaced as a whole."""

    given: Given
    make: Make
    quick: Make


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
        given: Given | None = None,
        ways: Ways | None = None,
        close: Callable[[], None] = lambda: None,
    ) -> None:
        """``make``: makes all plans, whatever is given; ``ways``: makes them elsewhere, with what is given."""
        self.close = close
        self._ways = ways or ((lambda _: (make, make)) if make is not None else usual_ways)
        self._way = self._made_with(given or Given())
        self._flips: OrderedDict[str, Flips] = OrderedDict()
        self._turning = Lock()
        self._kept = kept
        self._plans: OrderedDict[str, Plan] = OrderedDict()
        self._under_way: dict[str, Future[Plan]] = {}
        self._lock = Lock()

    def _made_with(self, given: Given) -> _Way:
        return _Way(given, *self._ways(given))

    @property
    def given(self) -> Given:
        """What plans are made with just now."""
        return self._way.given

    def use(self, given: Given) -> None:
        """Make plans with this from now on; what is under way is finished with what it was begun with."""
        if given is not self._way.given:
            self._way = self._made_with(given)

    def plan(self, situation: Situation, *, quick: bool = False) -> Plan:
        """The plan for this situation, made once. ``quick``: only what moves with a control (see ``usual_make``)."""
        way = self._way
        whole = f"{language()} {_day(way.given)} {way.given.digest} {digest(situation)}"
        key = f"{whole} quick"
        with self._lock:
            for name in (whole, key) if quick else (whole,):
                known = self._plans.get(name)
                if known is not None:
                    self._plans.move_to_end(name)
                    return known
            name = key if quick else whole
            waited_for = self._under_way.get(name)
            if waited_for is None:
                own = self._under_way[name] = Future[Plan]()
        make = way.quick if quick else way.make
        return waited_for.result() if waited_for is not None else self._made(name, own, situation, make)

    def _made(self, name: str, own: Future[Plan], situation: Situation, make: Make) -> Plan:
        """Make the plan that others may be waiting for meanwhile; a failure is theirs too."""
        try:
            made = make(situation)
        except BaseException as wrong:
            with self._lock:
                del self._under_way[name]
            own.set_exception(wrong)
            raise
        with self._lock:
            del self._under_way[name]
            self._plans[name] = made
            while len(self._plans) > self._kept:
                self._plans.popitem(last=False)
        own.set_result(made)
        return made

    def turns(self, situation: Situation) -> Flips:
        """Where the plan of this situation turns, worked out once: about a hundred plans, one eye at a time."""
        given = self._way.given
        name = f"{language()} {given.digest} {digest(situation)}"
        with self._turning:
            known = self._flips.get(name)
            if known is None:
                known = flips(situation, usual_context(given))
                self._flips[name] = known
                while len(self._flips) > self._kept:
                    self._flips.popitem(last=False)
            return known

    def look(self, situation: Situation, look: Mapping[str, Any], *, quick: bool = False) -> Plan:
        """The plan with some decisions tried."""
        return self.plan(looked_at(situation, look), quick=quick)

    def ahead(self, situation: Situation, look: Mapping[str, Any]) -> bool:
        """Have a look ready that is likely to be asked next; False where a plan is under way, which must not be held up."""
        with self._lock:
            if self._under_way:
                return False
        self.look(situation, look, quick=True)
        return True


def _day(given: Given) -> str:
    """The day that a plan is for, where a shelf has things that expire; plans of another day are made anew."""
    return "" if given.devices is None else today().isoformat()


def today() -> date:
    """The day by this machine's clock and zone."""
    return datetime.now().astimezone().date()


def usual_ways(given: Given) -> tuple[Make, Make]:
    """What makes whole plans and quick ones in this process."""
    return usual_make(given), usual_make(given, quick=True)


def usual_make(given: Given | None = None, *, quick: bool = False) -> Make:
    """``plan.make`` with the context that ships, read once, and with what is ``given``.

    With a shelf of devices each plan is held against it as of the day on which it is made.

    ``quick`` leaves out what no control under the hand shows: margins of techniques that do not come first, the search
    for supports, the interval of loads that only rank, what a sign at surgery would change, and all that stands below
    the picture. Every number that it gives is that of the whole plan.
    """
    from forestay.plan.make import make

    given = given or Given()
    context = replace(usual_context(given), searching=not quick, looking=quick)
    return lambda situation: make(situation, as_of_today(context, given))


def as_of_today(context: Context, given: Given) -> Context:
    """The same context with the shelf of devices, where there is one, as of the day on which it is asked."""
    return context if given.devices is None else replace(context, devices=given.devices, today=today())


def usual_context(given: Given) -> Context:
    """The context that ships, with the practice's lenses and own figures."""
    context = replace(Context.default(lenses=given.lenses), settings=given.settings)
    return replace(context, practice=_practice(given))


def _practice(given: Given) -> Practice:
    """The practice's own figures, with what it says of signs; a plan names both by one digest."""
    learnt = given.practice or Practice()
    if not given.ratios:
        return learnt
    told = "\0".join((learnt.digest, *(one.model_dump_json() for one in given.ratios)))
    return replace(learnt, digest=hashlib.sha256(told.encode()).hexdigest(), zonule_ratios=given.ratios)

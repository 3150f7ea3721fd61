"""How the operation stands: what happened, what is done, and the states of the rules that follow from it.

The record says what happened and which steps are done; ``rules/events.toml`` says what follows. What is done stays as it
was done: a ring or a lens that is in is not planned anew.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from forestay.evidence import Reader
from forestay.eye.situation import Progress
from forestay.plan.ruleset import Rule, ruleset
from forestay.text import tr

GONE = ("capsule-open", "vitreous-in-front")
"""States in which what the risk of a rupture speaks of has come."""


@dataclass(frozen=True)
class Now:
    """How the operation stands: the states that hold and the steps that are done."""

    states: tuple[Rule, ...] = ()
    done: tuple[str, ...] = ()
    happened: tuple[str, ...] = ()

    @property
    def keys(self) -> tuple[str, ...]:
        """The states by key."""
        return tuple(str(s.data["key"]) for s in self.states)

    @property
    def view(self) -> dict[str, Any]:
        """What rules may ask of the course of the operation."""
        said = tr("; ").join(tr(str(s.data["say"])) for s in self.states)
        view: dict[str, Any] = {
            "progress.happened": self.happened,
            "progress.done": self.done,
            "progress.states": self.keys,
        }
        return view | ({"words.now": said} if said else {})

    def bars_ring(self, gap_hours: float) -> bool:
        """Whether no ring goes in any more; one that is in stays."""
        told = {s.data.get("ring") for s in self.states}
        return "ring" not in self.done and ("none" in told or ("none-unless-gap" in told and gap_hours == 0))

    @property
    def bars_rim_hooks(self) -> bool:
        """Whether no capsule hook goes onto the rim any more; those that are on it stay."""
        return "capsule-hooks" not in self.done and any(s.data.get("no_hooks_on_rim") for s in self.states)

    def bag_lost(self, gap_hours: float) -> bool:
        """Whether the lens, not in yet, is planned before the bag. Where vitreous came round a known gap, the gap says it."""
        told = {s.data.get("lens") for s in self.states}
        return "lens" not in self.done and ("in-front" in told or ("in-front-unless-gap" in told and gap_hours == 0))

    @property
    def no_lens(self) -> bool:
        """Whether none goes in today."""
        return "lens" not in self.done and any(s.data.get("lens") == "none" for s in self.states)

    @property
    def ruptured(self) -> bool:
        """Whether the capsule opened or vitreous came."""
        return any(key in GONE for key in self.keys)


def now_of(progress: Progress, use: Reader) -> Now:
    """The states that hold by what is recorded."""
    if not progress.happened:
        return Now(done=progress.done)
    view = {"progress.happened": progress.happened, "progress.done": progress.done}
    states = tuple(rule for rule in ruleset("events")["state"] if rule.holds(view, use))
    return Now(states, progress.done, progress.happened)

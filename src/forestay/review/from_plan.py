"""What an outcome reads from a kept plan, in the plan's plain JSON types."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from forestay.text import tr


@dataclass(frozen=True, slots=True)
class Foretold:
    """A probability of the plan, by the word for the complication."""

    about: str
    probability: float
    of_this_eye: bool
    """False for a rate of a published series."""
    name: str = ""
    """Name of the probability or rate in the plan."""


def predicted_refraction(
    plan: Mapping[str, Any], position: str | None, power_d: float | None
) -> tuple[float | None, float | None]:
    """Refraction that the plan told for this lens in this place, with its spread; between two listed powers by line."""
    for entry in (plan.get("lens") or {}).get("positions", ()):
        if entry["position"] != position or power_d is None:
            continue
        known = sorted((c["power_d"], c["refraction_d"]) for c in entry["choices"])
        for (low, at_low), (high, at_high) in pairwise(known):
            if low <= power_d <= high:
                share = (power_d - low) / (high - low)
                return at_low + share * (at_high - at_low), entry["sd_d"]
    return None, None


def risks(plan: Mapping[str, Any], technique: str | None, key: str) -> dict[str, float]:
    """Risks of the technique that was used, as told before surgery; where ``key`` is not given, the probability."""
    for option in plan.get("options", ()):
        if option["technique"] == technique:
            told = option["risks"]
            return {r["name"]: r["probability"] if r.get(key) is None else r[key] for r in told}
    return {}


def supports_planned(measures: Mapping[str, Any]) -> tuple[str, ...]:
    """Supports of the measures, by the words of a review."""
    planned = []
    if measures.get("ring") not in (None, "none"):
        planned.append("ring")
    if measures.get("capsule_hook_clocks"):
        planned.append("capsule-hooks")
    if measures.get("pupil_hooks"):
        planned.append("pupil-hooks")
    return tuple(planned)


def foretold(plan: Mapping[str, Any], technique: str | None) -> tuple[Foretold, ...]:
    """Every probability of a technique."""
    option: Mapping[str, Any] = next((o for o in plan.get("options", ()) if o["technique"] == technique), {})
    return tuple(
        Foretold(r.get("complication") or r["name"], r["probability"], r.get("of_this_eye", True), r["name"])
        for r in option.get("risks", ())
    )


def half_d(plan: Mapping[str, Any], position: str | None) -> float | None:
    """Half of the interval told for the refraction with the lens in a place [D]."""
    places = (plan.get("lens") or {}).get("positions", ())
    place: Mapping[str, Any] = next((p for p in places if p["position"] == position), {})
    low, high = place.get("low_d"), place.get("high_d")
    return None if low is None or high is None else (high - low) / 2


def supervised(plan: Mapping[str, Any]) -> tuple[str, ...]:
    """Steps that the plan gives to the supervisor, in the words of the language it was kept in or of this one."""
    words = ("supervisor takes over", tr("supervisor takes over"))
    return tuple(step["key"] for step in plan.get("steps", ()) if step.get("who") in words)


def cells(plan: Mapping[str, Any]) -> tuple[float, float, float] | None:
    """Endothelial cells left, as told: mean, low, high [cells/mm2]."""
    margin = next((m for m in plan.get("margins", ()) if m.get("key") == "cornea"), None)
    if margin is None or margin["scale"] != "absolute":
        return None
    return margin["has"], margin["needs"] + margin["low"], margin["needs"] + margin["high"]

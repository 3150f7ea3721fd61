"""Kit of a whole theatre day: what is needed, what is there, who goes without."""

from __future__ import annotations

from forestay.calc.day_records import Clash, KitLine, Need, TheatreDayInput, There, thing_words
from forestay.text import tr


def kit_of(given: TheatreDayInput, order: list[str]) -> list[KitLine]:
    """Every thing over the day; what lies ready counts once, as many as the hungriest operation asks."""
    wanted: dict[tuple[str, float | None], dict[str, Need]] = {}
    for case in sorted(given.cases, key=lambda c: order.index(c.name)):
        for need in case.needs:
            by_case = wanted.setdefault((need.thing, need.size_mm), {})
            old = by_case.get(case.name)
            by_case[case.name] = (
                need
                if old is None
                else Need(
                    thing=need.thing,
                    count=old.count + need.count,
                    size_mm=need.size_mm,
                    standby=old.standby and need.standby,
                )
            )
    lines = []
    for (thing, size), by_case in wanted.items():
        lines.append(
            KitLine(
                thing=thing,
                size_mm=size,
                needed=_needed(given, thing, size, by_case),
                there=_there(given, thing, size),
                cases=tuple(by_case),
                standby=all(n.standby for n in by_case.values()),
                without=_without(given, thing, size, by_case),
            )
        )
    return lines


def _needed(given: TheatreDayInput, thing: str, size: float | None, by_case: dict[str, Need]) -> int:
    """Reusable things come back: the day needs as many as one operation does; others are used up, and what lies ready must be left."""
    if any(i.reusable for i in given.shelf or () if _fits(i, thing, size)):
        return max(n.count for n in by_case.values())
    used = most = 0
    for need in by_case.values():
        most = max(most, used + need.count)
        used += 0 if need.standby else need.count
    return most


def _without(given: TheatreDayInput, thing: str, size: float | None, by_case: dict[str, Need]) -> tuple[str, ...]:
    """Operations that find too few left: those before have used theirs up, what only lies ready is still there."""
    there = _there(given, thing, size)
    if there is None:
        return ()
    reusable = any(i.reusable for i in given.shelf or () if _fits(i, thing, size))
    left, lacking = there, []
    for name, need in by_case.items():
        if need.count > left:
            lacking.append(name)
        elif not (reusable or need.standby):
            left -= need.count
    return tuple(lacking)


def _fits(item: There, thing: str, size: float | None) -> bool:
    return item.thing == thing and (size is None or item.size_mm is None or item.size_mm == size)


def _there(given: TheatreDayInput, thing: str, size: float | None) -> int | None:
    if given.shelf is None:
        return None
    return sum(i.count for i in given.shelf if _fits(i, thing, size))


def kit_clashes(kit: list[KitLine]) -> list[Clash]:
    found = []
    for line in kit:
        if not line.without:
            continue
        name, cases = thing_words(line.thing, line.size_mm), ", ".join(line.without)
        if line.there == 0:
            says = tr("No {thing} that may be used on the day, for {cases}.", thing=name, cases=cases)
        else:
            says = tr(
                "{thing}: {n:d} there, {needed:d} needed; too few for {cases}. Get more, or move them.",
                thing=name,
                n=line.there,
                needed=line.needed,
                cases=cases,
            )
        found.append(Clash(code="kit", cases=line.without, says=says))
    return found

"""Signals that stop a list: a cluster of infection or toxic reaction, a run of one complication, a lot or tray in common.

Each rule states how often it cries wolf at the expected rate.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from forestay.evidence import Reader
from forestay.review.complications import COMPLICATIONS, TOLD
from forestay.review.groups import grouped
from forestay.review.outcome import Outcome
from forestay.statistics import tails
from forestay.text import tr

TRACED: dict[str, Callable[[Outcome], tuple[str, ...]]] = {"lot": lambda o: o.lots, "tray": lambda o: o.trays}
"""What infected eyes may have in common."""

INFECTIONS = ("endophthalmitis", "toxic-reaction")
"""Events that stop a list when they come in a cluster."""


@dataclass(frozen=True)
class Signal:
    """Something that asks to stop and look before the next case."""

    rule: str
    says: str
    do: str
    cases: tuple[str, ...]
    false_alarm: str
    """How often this rule speaks although nothing is wrong."""


def signals(outcomes: Sequence[Outcome], use: Reader) -> tuple[Signal, ...]:
    """All signals of these cases, the gravest first. Cases in the order of their operations."""
    return (*clusters(outcomes, use), *in_common(outcomes, use), *runs(outcomes, use))


def _infected(outcome: Outcome) -> bool:
    return outcome.happened(*INFECTIONS)


def clusters(outcomes: Sequence[Outcome], use: Reader) -> tuple[Signal, ...]:
    """Infections or toxic reactions within the window of days."""
    window, fewest = use.number("audit.cluster_window_days"), int(use.number("audit.cluster_events"))
    hit = [o for o in outcomes if _infected(o)]
    found, used = [], -1
    for i in range(len(hit) - fewest + 1):
        last = i + fewest - 1
        if i <= used or hit[last].operated_on - hit[i].operated_on > timedelta(days=window):
            continue
        while last + 1 < len(hit) and hit[last + 1].operated_on - hit[i].operated_on <= timedelta(days=window):
            last += 1
        used = last
        cases = hit[i : last + 1]
        start = cases[0].operated_on
        within = sum(start <= o.operated_on <= start + timedelta(days=window) for o in outcomes)
        chance = tails.at_least(fewest, n=within, rate=use.number("audit.benchmark.infection"))
        found.append(
            Signal(
                rule="cluster",
                says=tr(
                    "{count} infections or toxic reactions among {n} operations within {days:g} days.",
                    count=len(cases),
                    n=within,
                    days=window,
                ),
                do=tr("Stop the list. Keep what was used, trace lots and trays, call infection control."),
                cases=tuple(o.case_id for o in cases),
                false_alarm=tr(
                    "at the published rate of {rate:.2%} such a cluster comes by chance in {chance:.3%} of windows of "
                    "this size",
                    rate=use.number("audit.benchmark.infection"),
                    chance=chance,
                ),
            )
        )
    return tuple(found)


def in_common(outcomes: Sequence[Outcome], use: Reader) -> tuple[Signal, ...]:
    """A lot or tray that the infected eyes share more often than chance explains."""
    fewest = int(use.number("audit.cluster_events"))
    hit = [o for o in outcomes if _infected(o)]
    found = []
    for kind, of in TRACED.items():
        for name in sorted({name for o in hit for name in of(o)}):
            with_it = [o for o in outcomes if name in of(o)]
            sick = [o for o in with_it if _infected(o)]
            if len(sick) < fewest:
                continue
            chance = tails.shared(len(sick), with_it=len(with_it), hit=len(hit), total=len(outcomes))
            thing = tr("Lot {name}", name=name) if kind == "lot" else tr("Tray {name}", name=name)
            found.append(
                Signal(
                    rule=f"{kind}-in-common",
                    says=tr(
                        "{thing}: used in {count} of {all} infected eyes and in {n} of {total} operations.",
                        thing=thing,
                        count=len(sick),
                        all=len(hit),
                        n=len(with_it),
                        total=len(outcomes),
                    ),
                    do=tr("Take it out of use and keep it for examination."),
                    cases=tuple(o.case_id for o in sick),
                    false_alarm=tr("shared so often by chance: {chance:.2%}", chance=chance),
                )
            )
    return tuple(found)


def runs(outcomes: Sequence[Outcome], use: Reader) -> tuple[Signal, ...]:
    """More of one complication in a window of consecutive cases of one surgeon than the expected rate explains."""
    size, alarm = int(use.number("audit.run_window_cases")), use.number("audit.run_false_alarm")
    found = []
    for surgeon, cases in grouped(outcomes, lambda o: o.surgeon).items():
        for name, happened in COMPLICATIONS.items():
            risk = TOLD.get(name)
            if risk is None:
                continue
            y = [happened(o) for o in cases]
            p = [o.risks.get(risk, use.number("audit.benchmark.rupture")) for o in cases]
            worst = _worst_window(y, p, size)
            if worst is None or worst[1] > alarm:
                continue
            start, chance = worst
            hit = [o for o in cases[start : start + size] if happened(o)]
            found.append(
                Signal(
                    rule="run",
                    says=tr(
                        "{surgeon}: {count} times {name} in {size} consecutive cases, {expected:.1f} expected.",
                        surgeon=surgeon,
                        count=len(hit),
                        name=name,
                        size=min(size, len(cases)),
                        expected=sum(p[start : start + size]),
                    ),
                    do=tr("Stop before the next such case; look at the cases together, with somebody else."),
                    cases=tuple(o.case_id for o in hit),
                    false_alarm=tr(
                        "at the told risks so many come by chance in {chance:.3%} of such windows; the rule speaks "
                        "below {alarm:.1%}",
                        chance=chance,
                        alarm=alarm,
                    ),
                )
            )
    return tuple(found)


def _worst_window(y: Sequence[bool], p: Sequence[float], size: int) -> tuple[int, float] | None:
    """Start and chance of the least likely window with at least two events."""
    worst: tuple[int, float] | None = None
    for start in range(max(1, len(y) - size + 1)):
        events = sum(y[start : start + size])
        if events < 2 or not y[start]:
            continue
        chance = tails.unequal(events, p[start : start + size])
        if worst is None or chance < worst[1]:
            worst = (start, chance)
    return worst

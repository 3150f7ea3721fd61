"""Which cases a review is about, and which groups are too small to show."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from forestay.review.outcome import Outcome


@dataclass(frozen=True, slots=True)
class Selection:
    """A period, a surgeon, a technique, a lens; None takes all."""

    since: date | None = None
    until: date | None = None
    surgeon: str | None = None
    technique: str | None = None
    lens: str | None = None

    def holds(self, outcome: Outcome) -> bool:
        """Whether the case belongs to it; both days of the period count."""
        return (
            (self.since is None or outcome.operated_on >= self.since)
            and (self.until is None or outcome.operated_on <= self.until)
            and (self.surgeon is None or outcome.surgeon == self.surgeon)
            and (self.technique is None or outcome.technique == self.technique)
            and (self.lens is None or outcome.lens_model == self.lens)
        )


def selected(outcomes: Iterable[Outcome], selection: Selection) -> list[Outcome]:
    """The cases of a selection in the order of their operations."""
    found = [o for o in outcomes if selection.holds(o)]
    return sorted(found, key=lambda o: (o.operated_on, o.case_id))


def grouped(outcomes: Iterable[Outcome], key: Callable[[Outcome], str | None]) -> dict[str, list[Outcome]]:
    """Cases by group, largest group first; cases without one are left out."""
    groups: dict[str, list[Outcome]] = {}
    for outcome in outcomes:
        name = key(outcome)
        if name is not None:
            groups.setdefault(name, []).append(outcome)
    return dict(sorted(groups.items(), key=lambda item: (-len(item[1]), item[0])))


def kept_apart(sizes: Sequence[int], *, fewest: float, smallest: float) -> list[bool]:
    """Which groups may be shown beside their sum: those of ``fewest`` cases or more.

    Where the others together are fewer than ``smallest``, the sum less what is shown would give them away; then the
    smallest group of those that might be shown is left out too.

    >>> kept_apart([90, 60, 3], fewest=50, smallest=5), kept_apart([90, 60, 3, 2], fewest=50, smallest=5)
    ([True, False, False], [True, True, False, False])
    """
    shown = [size >= fewest for size in sizes]
    hidden = sum(size for size, show in zip(sizes, shown, strict=True) if not show)
    if 0 < hidden < smallest and any(shown):
        least = min((size, i) for i, (size, show) in enumerate(zip(sizes, shown, strict=True)) if show)[1]
        shown[least] = False
    return shown

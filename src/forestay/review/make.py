"""``review(outcomes, use=…) -> Review``: what many cases teach, as one value that a page, a table or a program may show."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from forestay.evidence import Reader
from forestay.learning.predictions import ChanceScore
from forestay.review import complications as counted
from forestay.review import incision, quality, told, trainees
from forestay.review import peers as others
from forestay.review import refraction as eyes
from forestay.review import signals as stops
from forestay.review.groups import Selection, grouped, selected
from forestay.review.outcome import Outcome
from forestay.text import tr


@dataclass(frozen=True)
class Review:
    """Everything about a selection of operated eyes. Empty groups are empty; groups too small are named, not shown."""

    n: int
    invented: int
    first: date | None
    last: date | None
    follow_up: quality.FollowUp
    mix: dict[str, tuple[int | None, int]]
    refraction: tuple[eyes.Stratum, ...]
    constants: tuple[eyes.OwnConstant, ...]
    incisions: tuple[incision.OwnIncision, ...]
    complications: tuple[counted.Count, ...]
    sums: counted.Sums | None
    spacing: counted.Spacing | None
    scored: ChanceScore | None
    funnel: tuple[counted.Point, ...]
    funnel_lines: tuple[counted.Limits, ...]
    peers: others.PeerFunnel | None
    told: told.ToldScores
    learners: tuple[trainees.Learner, ...]
    acuity: tuple[quality.Acuity, ...]
    sizes: tuple[quality.Difference, ...]
    supports: tuple[quality.Agreement, ...]
    steps: tuple[quality.Agreement, ...]
    cells: tuple[quality.Cells, ...]
    pressures: tuple[quality.Pressures, ...]
    techniques: dict[str, int]
    surgeons: dict[str, int]
    lenses: dict[str, int]
    signals: tuple[stops.Signal, ...]
    says: tuple[str, ...]
    withheld: str | None
    """Why figures are not shown, where the selection is too small to protect a person."""
    sources: tuple[dict[str, Any], ...]
    doubts: tuple[dict[str, str], ...]


def review(
    outcomes: Iterable[Outcome], use: Reader, selection: Selection | None = None, peers: Sequence[others.Peer] = ()
) -> Review:
    """The review of the cases of a selection.

    A selection smaller than the smallest group shows nothing but its number. Signals are looked for in it all the same,
    since a danger to the next patient counts for more.
    """
    chosen = selected(outcomes, selection or Selection())
    fewest = int(use.number("audit.smallest_group"))
    shown = chosen if len(chosen) >= fewest else []
    withheld = None
    if chosen and not shown:
        withheld = tr(
            "{n} cases: figures are shown from {fewest} on, so that no person can be recognised.",
            n=len(chosen),
            fewest=fewest,
        )
    return _review(chosen, shown, withheld, use, peers)


def _review(
    chosen: Sequence[Outcome],
    shown: Sequence[Outcome],
    withheld: str | None,
    use: Reader,
    peers: Sequence[others.Peer],
) -> Review:
    follow = quality.follow_up(chosen, use)
    surgeons = counted.points("rupture", shown, use)
    found = {
        "refraction": eyes.strata(shown, use),
        "constants": eyes.own_constants(shown, use),
        "incisions": incision.own_incisions(shown, use),
        "complications": counted.counts(shown, use),
        "sums": counted.sums("rupture", shown, use),
        "spacing": counted.spacing("rupture", shown, use),
        "scored": counted.scored("rupture", shown, use),
        "funnel": surgeons,
        "funnel_lines": counted.funnel_lines("rupture", shown, surgeons, use),
        "peers": others.peer_funnel(peers, shown, use),
        "told": told.scores(shown, use),
        "learners": trainees.learners(shown, use),
        "acuity": quality.acuity(shown, use),
        "sizes": quality.differences(shown, use),
        "supports": quality.agreements(shown),
        "steps": quality.steps(shown),
        "cells": quality.cells(shown, use),
        "pressures": quality.pressures(shown, use),
        "signals": stops.signals(chosen, use),
    }
    return Review(
        n=len(chosen),
        invented=sum(o.invented for o in chosen),
        first=chosen[0].operated_on if chosen else None,
        last=chosen[-1].operated_on if chosen else None,
        follow_up=follow,
        mix=quality.mix(shown, use),
        techniques=_large_enough(shown, lambda o: o.technique, use),
        surgeons=_large_enough(shown, lambda o: o.surgeon, use),
        lenses=_large_enough(shown, lambda o: o.lens_model, use),
        says=_says(chosen, follow),
        withheld=withheld,
        sources=tuple(use.sources()),
        doubts=tuple({"code": d.code, "message": d.message} for d in use.doubts()),
        **found,  # type: ignore[arg-type]
    )


def _large_enough(outcomes: Sequence[Outcome], key: Any, use: Reader) -> dict[str, int]:
    fewest = use.number("audit.smallest_group")
    return {name: len(cases) for name, cases in grouped(outcomes, key).items() if len(cases) >= fewest}


def _says(chosen: Sequence[Outcome], follow: quality.FollowUp) -> tuple[str, ...]:
    if not chosen:
        return (
            tr("No operation is recorded yet. Steps marked as done in theatre, and visits afterwards, fill this page."),
        )
    said = [
        tr(
            "{n} operations, {late} of them ({share:.0%}) seen from day {day} on. Those who did not come back may be the "
            "worst.",
            n=follow.operated,
            late=follow.seen_late,
            share=follow.share_late,
            day=follow.late_from_day,
        )
    ]
    invented = sum(o.invented for o in chosen)
    if invented:
        said.append(tr("{n} of these cases are invented and count for the demonstration only.", n=invented))
    return tuple(said)


def as_dict(found: Review) -> dict[str, Any]:
    """The review in plain JSON types."""
    plain: dict[str, Any] = _plain(asdict(found))
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value.isoformat() if isinstance(value, date) else value

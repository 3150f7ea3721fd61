"""What the stored cases teach: outcomes of all cases, and the review of a selection of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from forestay.evidence import EvidenceSet, default_evidence
from forestay.plan.context import Practice
from forestay.review.groups import Selection, grouped
from forestay.review.invented import Truth, outcomes
from forestay.review.make import Review, review
from forestay.review.outcome import Outcome, outcome_of
from forestay.review.peers import Peer
from forestay.review.practice import practice_of
from forestay.store.interface import FactStore

INVENTED_CASES = 900
INVENTED_SEED = 20_240_101


Progress = Callable[[int, int], None]


def operated(store: FactStore, progress: Progress = lambda _done, _of: None) -> Iterator[Outcome]:
    """The outcome of every kept case in which a step of an operation is recorded."""
    cases = list(store.sequences(holding="done"))
    for done, case_id in enumerate(cases, start=1):
        found = outcome_of(case_id, store.facts(case_id))
        if found is not None:
            yield found
        progress(done, len(cases))


def invented_practice() -> list[Outcome]:
    """Operated eyes of an invented practice, to see what a review shows once there are cases. Nothing of it is kept."""
    return outcomes(INVENTED_CASES, seed=INVENTED_SEED, truth=Truth(last_odds_ratio=2.5))


def look_back(
    store: FactStore | None,
    selection: Selection | None = None,
    evidence: EvidenceSet | None = None,
    *,
    peers: Sequence[Peer] = (),
    known: Sequence[Outcome] | None = None,
    progress: Progress = lambda _done, _of: None,
) -> tuple[Review, dict[str, tuple[str, ...]]]:
    """The review of a selection of the cases kept in ``store``, and what there is to choose from.

    Without a store: of an invented practice. ``known``: the outcomes, where they were worked out already.
    """
    if known is not None:
        every = list(known)
    else:
        every = list(operated(store, progress)) if store is not None else invented_practice()
    offered = {
        "surgeon": tuple(grouped(every, lambda o: o.surgeon)),
        "technique": tuple(grouped(every, lambda o: o.technique)),
        "lens": tuple(grouped(every, lambda o: o.lens_model)),
    }
    return review(every, (evidence or default_evidence()).reader(), selection, peers), offered


def own_practice(store: FactStore) -> Practice:
    """The practice's own figures for the next plan."""
    return practice_of(operated(store))

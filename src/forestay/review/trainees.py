"""Trainees: a sequential test of rupture, and block by block who did the steps and where somebody took over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from forestay.evidence import Reader
from forestay.eye.records import TRAINEES
from forestay.learning.trainees import Stretch, Turn, stretches
from forestay.review.groups import grouped
from forestay.review.outcome import Outcome
from forestay.statistics import learning_curve

RISK = "capsule-rupture"


@dataclass(frozen=True)
class Learner:
    """A trainee's operations in their order."""

    surgeon: str
    grade: str
    n: int
    events: int
    path: tuple[float, ...]
    accept_at: float
    reject_at: float
    accepted_after: int | None
    rejected_after: int | None
    acceptable: float
    unacceptable: float
    error: float
    """The rates that are told apart, and the chance of error either way."""
    stretches: tuple[Stretch, ...]
    """Blocks of consecutive operations; empty where nobody wrote down who did the steps."""
    taken_at: tuple[tuple[str, int], ...]
    """Steps at which somebody else took over, most often first, with how often."""


def began_by(outcome: Outcome) -> str:
    """Who did the first step; else who did most of them."""
    return outcome.hands[0][1] if outcome.hands else outcome.surgeon


def turn(outcome: Outcome) -> Turn:
    """One operation as its beginner's turn."""
    who = began_by(outcome)
    own = tuple(dict.fromkeys(step for step, by in outcome.hands if by == who))
    others = tuple(dict.fromkeys(step for step, by in outcome.hands if by != who))
    return Turn(own, others, outcome.steps_supervised, outcome.rupture, outcome.risks.get(RISK))


def learners(outcomes: Sequence[Outcome], use: Reader) -> tuple[Learner, ...]:
    """Each trainee with enough operations to be shown; an operation counts for whoever began it."""
    good, bad = use.number("audit.acceptable_rupture"), use.number("audit.unacceptable_rupture")
    error, fewest = use.number("audit.sequential_error"), int(use.number("audit.smallest_group"))
    test = learning_curve.sequential(acceptable=good, unacceptable=bad, false_alarm=error, false_pass=error)
    found = []
    for surgeon, cases in grouped([o for o in outcomes if o.grade in TRAINEES], began_by).items():
        if len(cases) < fewest:
            continue
        failed = [o.rupture for o in cases]
        path = learning_curve.sequential_path(failed, test=test)
        down, up = np.flatnonzero(path <= -test.accept), np.flatnonzero(path >= test.reject)
        turns = [turn(o) for o in cases if o.hands]
        at = [step.taken_at for step in turns if step.taken_at is not None]
        found.append(
            Learner(
                surgeon=surgeon,
                grade=str(cases[-1].grade),
                n=len(cases),
                events=sum(failed),
                path=tuple(path.tolist()),
                accept_at=-test.accept,
                reject_at=test.reject,
                accepted_after=int(down[0]) + 1 if down.size else None,
                rejected_after=int(up[0]) + 1 if up.size else None,
                acceptable=good,
                unacceptable=bad,
                error=error,
                stretches=stretches(
                    turns,
                    size=int(use.number("audit.trainee_stretch")),
                    fewest=fewest,
                    level=use.number("audit.usual_level"),
                ),
                taken_at=tuple(sorted(((s, at.count(s)) for s in set(at)), key=lambda pair: (-pair[1], pair[0]))),
            )
        )
    return tuple(found)

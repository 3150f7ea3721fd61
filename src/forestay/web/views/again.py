"""The page of a case gone through again."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.review.again import Again
from forestay.services.again import ending_says
from forestay.text import tr
from forestay.web.views.shell import View, shell, told


@dataclass(frozen=True)
class Turn:
    """One question with what was known; told and done are empty while they are hidden."""

    number: int = field(metadata=told("number of the question"))
    when: str = field(metadata=told("at which turn of the case"))
    known: tuple[str, ...] = field(metadata=told("what became known since the turn before"))
    asks: str = field(metadata=told("the question"))
    shown: bool = field(metadata=told("whether its answer is shown"))
    reckoned: bool = field(metadata=told("True where no plan was kept then"))
    plan_said: tuple[str, ...] = field(metadata=told("what the plan had said"))
    done: tuple[str, ...] = field(metadata=told("what was done and came"))


@dataclass(frozen=True)
class AgainView(View):
    """A case with the questions asked so far."""

    side: str = field(metadata=told("side of the eye, written out"))
    case: str = field(metadata=told("name of the case"))
    invented: bool = field(metadata=told("True where nobody has this eye"))
    turns: tuple[Turn, ...] = field(metadata=told("questions so far, the last perhaps without its answer"))
    of: int = field(metadata=told("number of all questions"))
    further: str = field(metadata=told("address of the answer or the next question; empty at the end"))
    further_words: str = field(metadata=told("what the way on is called"))
    ending: tuple[str, ...] = field(metadata=told("each prediction beside what came; empty before the end"))
    ending_says: str = field(metadata=told("what one eye can show"))
    start: str = field(metadata=told("address of the first question"))
    caution: str = field(metadata=told("the standing caution"))


def again_view(found: Again, *, question: int, answered: bool, address: str, caution: str) -> AgainView:
    """The questions up to ``question``; the answer of that one only where ``answered``."""
    count = len(found.questions)
    upto = max(1, min(question, count))
    turns = []
    for one in found.questions[:upto]:
        shown = one.number < upto or answered
        answer = (one.told, one.done) if shown else ((), ())
        turns.append(Turn(one.number, one.when, one.known, one.asks, shown, one.reckoned and shown, *answer))
    over = answered and upto == count
    further = f"{address}?question={upto}&answer=1" if not answered else f"{address}?question={upto + 1}"
    return AgainView(
        shell=shell(tr("Again, with questions · {case}", case=found.case_id)),
        side=tr("left eye") if found.side == "left" else tr("right eye"),
        case=found.case_id,
        invented=found.invented,
        turns=tuple(turns),
        of=count,
        further="" if over else f"{further}#turn-{upto if not answered else upto + 1}",
        further_words=tr("Next question") if answered else tr("Show the answer"),
        ending=found.ending if over else (),
        ending_says=ending_says(found) if over else "",
        start=address,
        caution=caution,
    )

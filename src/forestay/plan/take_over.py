"""Who does which step where a trainee operates, and the take-over point agreed beforehand.

Without a decision the level of each step and the grade of the trainee say it. A decided take-over point goes before
that: from its step on the supervisor operates, to the end or to the step at which the trainee goes on. What a decision
leaves to the trainee beyond the usual limit of the grade is said as a doubt.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from forestay.answer import Doubt
from forestay.eye.situation import Situation
from forestay.plan.model_steps import Step
from forestay.plan.ruleset import ruleset
from forestay.text import tr

TO_THE_END = "end"
REFERRAL = "refer"
"""The one step of a plan that does not operate here."""
LEVEL_OF_GRADE = {"junior-trainee": 1, "senior-trainee": 2, "independent": 3, "consultant": 3}
"""The hardest step that each grade takes alone: 1 beginner, 2 middle, 3 experienced."""


SUBJECTS = ("take_over", "hand_back")
"""The decisions about who operates."""


@dataclass(frozen=True)
class Turn:
    """A step with its level and what ends a trainee's turn at it, before it is known who does it."""

    step: Step
    level: int
    ends: str | None = None


def shared_out(turns: Sequence[Turn], situation: Situation) -> tuple[tuple[Step, ...], list[Doubt]]:
    """The steps with who does each; the first one says aloud what was agreed."""
    grade = situation.case.theatre.surgeon_grade
    point = situation.decisions.take_over
    if grade is None or "trainee" not in grade or not turns:
        alone = [] if point is None else [Doubt("take-over-without-trainee", _no_trainee(grade))]
        return tuple(replace(t.step, who=tr("surgeon")) for t in turns), alone
    usual = [LEVEL_OF_GRADE[grade] >= t.level for t in turns]
    own, doubts = _agreed(turns, situation, usual) if point is not None else (usual, [])
    return _told(turns, own, situation, agreed=point is not None and own is not usual), doubts


def _no_trainee(grade: str | None) -> str:
    if grade is None:
        return tr("A take-over point is decided, but the surgeon's grade is not stated; nobody takes over.")
    return tr("A take-over point is decided, but no trainee operates; nobody takes over.")


def _agreed(turns: Sequence[Turn], situation: Situation, usual: list[bool]) -> tuple[list[bool], list[Doubt]]:
    """Whether the trainee does each step, as decided; the usual share where the decision does not fit these steps."""
    keys = [t.step.key for t in turns]
    point, back = situation.decisions.take_over, situation.decisions.hand_back
    if keys == [REFERRAL]:
        return usual, []
    if point not in keys:
        says = tr(
            "The take-over point {key} is no step of this technique; the usual limits of the grade hold.", key=point
        )
        return usual, [Doubt("take-over-not-a-step", says)]
    first, last, doubts = keys.index(point), len(keys), []
    if back is not None and back in keys[first + 1 :]:
        last = keys.index(back)
    elif back is not None and back != TO_THE_END:
        says = tr("The step {key}, from which the trainee was to go on, does not follow the take-over.", key=back)
        doubts.append(Doubt("hand-back-not-later", says))
    own = [not first <= i < last for i in range(len(keys))]
    beyond = [t.step.name.lower() for t, mine, may in zip(turns, own, usual, strict=True) if mine and not may]
    if beyond:
        says = tr(
            "By decision the trainee does what this grade usually leaves to the supervisor: {steps}.",
            steps=", ".join(beyond),
        )
        doubts.append(Doubt("beyond-usual-limit", says))
    return own, doubts


def _told(turns: Sequence[Turn], own: Sequence[bool], situation: Situation, *, agreed: bool) -> tuple[Step, ...]:
    rows = [
        replace(
            t.step,
            who=tr("trainee") if mine else tr("supervisor takes over"),
            take_over=t.ends if mine else None,
        )
        for t, mine in zip(turns, own, strict=True)
    ]
    if agreed:
        for i in range(1, len(rows)):
            if own[i] != own[i - 1]:
                change = (
                    tr("Change places, as agreed: now the trainee.")
                    if own[i]
                    else tr("Change places, as agreed: now the supervisor.")
                )
                rows[i] = replace(rows[i], do=f"{change} {rows[i].do}")
    said = _decided_words(rows, own, situation) if agreed else _usual_words(rows, own)
    if said:
        rows[0] = replace(rows[0], do=f"{rows[0].do} {said}")
    return tuple(rows)


def _usual_words(rows: Sequence[Step], own: Sequence[bool]) -> str:
    taken = [row.name.lower() for row, mine in zip(rows, own, strict=True) if not mine]
    if not taken:
        return ""
    if len(taken) == 1:
        return tr("Agreed beforehand: the supervisor takes over at {step}.", step=taken[0])
    return tr("Agreed beforehand: the supervisor does {steps}.", steps=", ".join(taken))


def _decided_words(rows: Sequence[Step], own: Sequence[bool], situation: Situation) -> str:
    """The decided point with its reason, read aloud before the first cut."""
    first = list(own).index(False)
    back = next((row.name for row, mine in list(zip(rows, own, strict=True))[first:] if mine), None)
    names = {"step": rows[first].name, "why": _reason(situation)}
    if back is None:
        return tr("Agreed beforehand: the supervisor takes over at “{step}” and ends the operation ({why}).", **names)
    return tr(
        "Agreed beforehand: the supervisor takes over at “{step}”, the trainee goes on from “{back}” ({why}).",
        **names,
        back=back,
    )


def _reason(situation: Situation) -> str:
    told = [s.reason.strip().rstrip(".") for s in situation.settled if s.subject == "take_over"]
    return told[-1] if told else tr("no reason recorded")


def step_name(key: str) -> str:
    """The name of a step by its key; the key itself for a step of an older plan."""
    named = (str(r.data["name"]) for r in ruleset("steps")["step"] if r.data["key"] == key)
    return tr(next(named, key))


def decision_words(subject: str, choice: str) -> str:
    """A decision about the take-over in words, as the thread of facts shows it."""
    if choice == TO_THE_END:
        return tr("the supervisor ends the operation")
    name = step_name(choice)
    if subject == "take_over":
        return tr("the supervisor takes over at “{step}”", step=name)
    return tr("the trainee goes on from “{step}”", step=name)

"""The page of one eye: everything that its template may see."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from forestay.answer import Doubt
from forestay.plan.model import (
    After,
    Astigmatism,
    Check,
    Chosen,
    DoubtGroup,
    Estimate,
    Fallback,
    FindingChange,
    LensPlan,
    Origin,
    Risk,
    Step,
    Stop,
    SupportRank,
    Unassessed,
)
from forestay.plan.model_trolley import Dose, KitItem
from forestay.web.views.shell import View, told
from forestay.web.views.ways import Ways


@dataclass(frozen=True)
class Band:
    """Whose eye this is: fixed at the top of every page about it."""

    side: str = field(metadata=told("side of the eye in words"))
    label: str = field(metadata=told("name of the case, without any name of a person"))
    about: str = field(metadata=told("invented or not, person, seat"))
    kept: str = field(metadata=told("when the last fact was kept, and how many there are"))
    person: str = field(
        default="", metadata=told("name, date of birth, number; empty where not known or not to be seen")
    )
    identify: bool = field(default=False, metadata=told("True where whoever looks may say whom the case is about"))


@dataclass(frozen=True)
class FactRow:
    """One entry of the thread of facts."""

    time: str = field(metadata=told("hour and minute at which it happened"))
    words: str = field(metadata=told("what is known, in the trade's words"))
    decided: bool = field(metadata=told("True for a decision"))
    fact_id: str = field(metadata=told("identity of the fact"))
    undone: str | None = field(metadata=told("why it no longer counts; None while it stands"))
    back_key: str | None = field(
        metadata=told("key of the form that takes it back; None where that cannot be done here")
    )


@dataclass(frozen=True)
class TriedItem:
    """One control that was moved and not decided."""

    label: str = field(metadata=told("what was moved"))
    name: str = field(metadata=told("name of the control"))
    value: str = field(metadata=told("value as sent back with the form"))
    now: str = field(metadata=told("value in words"))
    before: str = field(metadata=told("value of the plan as decided so far, in words"))


@dataclass(frozen=True)
class Trying:
    """A look: the page shows a plan that is not decided."""

    items: tuple[TriedItem, ...] = field(metadata=told("the controls that were moved"))
    gap: TriedItem | None = field(metadata=told("the gap that is tried; it can be kept as seen, not decided"))
    gap_key: str = field(metadata=told("identity of the finding that the form would keep; a repeat is harmless"))
    key: str = field(metadata=told("identity of the decision that the form would keep; a repeat is harmless"))


@dataclass(frozen=True)
class ControlRow:
    """A control below the drawing."""

    name: str = field(metadata=told("name, as in the address"))
    label: str = field(metadata=told("what it moves"))
    value: str = field(metadata=told("value, as it stands in the field"))
    shown: str = field(metadata=told("value in words"))
    unit: str = field(metadata=told("unit beside the field"))
    low: float = field(metadata=told("least value of the field"))
    high: float = field(metadata=told("greatest value of the field"))
    step: float = field(metadata=told("one press of − or +"))
    choices: tuple[tuple[str, str], ...] = field(metadata=told("value and words of each choice; empty for a number"))
    held: bool = field(metadata=told("True where it was moved and not decided"))
    turns: bool = field(metadata=told("True where the value goes round, as on a clock"))
    note: str = field(metadata=told("what must be known beside the name; empty where nothing"))


@dataclass(frozen=True)
class GapRow:
    """The control of the gap in the zonule, below the drawing."""

    value: str = field(metadata=told("the gap as it stands in the address"))
    shown: str = field(metadata=told("the gap in words"))
    first: str | None = field(metadata=told("hour at which the longest gap begins; None where there is none"))
    last: str | None = field(metadata=told("hour at which the longest gap ends"))
    start: str = field(metadata=told("the gap that is tried first where there is none: across from the tunnel"))
    held: bool = field(metadata=told("True where it was moved and not recorded"))


@dataclass(frozen=True)
class KeyRow:
    """One line of the key below the drawing."""

    sample: Markup = field(metadata=told("the line as it is drawn"))
    words: str = field(metadata=told("what it is, with its size"))


@dataclass(frozen=True)
class ChangeRow:
    """One thing that changed."""

    words: str = field(metadata=told("what changed"))
    why: str = field(metadata=told("the control or finding that moved it"))


@dataclass(frozen=True)
class ChangesView:
    """What changed and why."""

    line: str = field(metadata=told("one sentence; says what can be moved where nothing was"))
    rows: tuple[ChangeRow, ...] = field(metadata=told("everything that changed, what matters most first"))


@dataclass(frozen=True)
class WidenLink:
    """The one change that would widen a margin most."""

    words: str = field(metadata=told("what to change, and what it gains"))
    address: str | None = field(metadata=told("where the change can be looked at; None where no control makes it"))


@dataclass(frozen=True)
class MarginRow:
    """One rope."""

    key: str = field(metadata=told("stable name of the margin"))
    step: str = field(metadata=told("the step of the operation"))
    says: str = field(metadata=told("what is needed, what is there"))
    rope: Markup = field(metadata=told("the rope as SVG"))
    chance: str | None = field(
        metadata=told("the chance that it is enough, in words; None where the scale only compares")
    )
    margin: str = field(metadata=told("the margin with its unit"))
    spread: str | None = field(metadata=told("its interval; None where the scale only compares"))
    before: str | None = field(metadata=told("the margin as decided so far, where a look changed it"))
    widen: WidenLink | None = field(metadata=told("the change that widens it most"))
    rests_on: tuple[str, ...] = field(metadata=told("what the margin rests on"))
    origin: Origin = field(metadata=told("formula, inputs, range, sources"))
    short: bool = field(metadata=told("True where the best estimate is below zero"))


@dataclass(frozen=True)
class OptionRow:
    """One way to go about this eye."""

    technique: str = field(metadata=told("stable name"))
    label: str = field(metadata=told("name in words"))
    rank: int = field(metadata=told("1 is best"))
    chosen: bool = field(metadata=told("True for the one that the plan chose"))
    available: bool = field(metadata=told("False where this theatre cannot do it"))
    why: tuple[str, ...] = field(metadata=told("what speaks for and against"))
    short: tuple[str, ...] = field(metadata=told("margins below zero"))
    risks: tuple[Risk, ...] = field(metadata=told("published risks with interval"))
    unassessed: tuple[str, ...] = field(metadata=told("steps that lack input"))


@dataclass(frozen=True)
class DecisionLine:
    """The first line of the plan."""

    lead: str = field(metadata=told("the verdict"))
    rest: str = field(metadata=told("the rest of the sentence"))
    why: str = field(metadata=told("the reason"))
    first: tuple[tuple[str, str], ...] = field(metadata=told("what to do before, and why"))
    would_change: tuple[str, ...] = field(metadata=told("what would change the verdict, and to what"))


@dataclass(frozen=True)
class TakeOver:
    """The form for the take-over point, where a trainee operates."""

    steps: tuple[tuple[str, str], ...] = field(metadata=told("key and name of each step, in order"))
    point: str = field(metadata=told("the step decided, else the first that the grade leaves to the supervisor"))
    back: str = field(metadata=told("the step from which the trainee goes on; end: none"))
    decided: bool = field(metadata=told("True where the point stands as a decision"))
    key: str = field(metadata=told("identity of the decision that the form would keep"))


@dataclass(frozen=True)
class CaseView(View):
    """One page for one eye."""

    case_id: str = field(metadata=told("identity of the case"))
    band: Band = field(metadata=told("whose eye this is"))
    decision: DecisionLine = field(metadata=told("the first line of the plan"))
    changes: ChangesView = field(metadata=told("what changed and why, by a look or by the last fact"))
    trying: Trying | None = field(metadata=told("what is tried and not decided"))
    held: str = field(metadata=told("names of the tried controls, as the form sends them"))
    based_on: int = field(metadata=told("how many facts this page knows: what a decision made here rests on"))
    said: str = field(metadata=told("what a screen reader says after a look: which margins are short"))
    sections: tuple[tuple[str, str], ...] = field(metadata=told("address and title of each section of facts"))
    facts: tuple[FactRow, ...] = field(metadata=told("what is known, in order"))
    disputes: tuple[str, ...] = field(metadata=told("fields on which two facts disagree"))
    checks: tuple[Check, ...] = field(metadata=told("what does not fit"))
    estimates: tuple[Estimate, ...] = field(metadata=told("what was worked out rather than measured"))
    above: Markup | None = field(metadata=told("the eye from above"))
    key: tuple[KeyRow, ...] = field(metadata=told("what each line of the drawing is"))
    section: Markup | None = field(metadata=told("the eye in section"))
    controls: tuple[ControlRow, ...] = field(metadata=told("what can be moved"))
    gap: GapRow | None = field(metadata=told("the gap in the zonule, which can be tried; None where nothing is drawn"))
    margins: tuple[MarginRow, ...] = field(metadata=told("the absolute margins"))
    zonule: tuple[MarginRow, ...] = field(metadata=told("the comparative margins"))
    unassessed: tuple[Unassessed, ...] = field(metadata=told("margins that lack input"))
    options: tuple[OptionRow, ...] = field(metadata=told("the ways compared, best first"))
    chosen: Chosen = field(metadata=told("the choice with its reasons"))
    ways: Ways | None = field(metadata=told("the ways by each measure; None where none was worked out"))
    supports: tuple[SupportRank, ...] = field(
        metadata=told("supports of a weak zonule, best first; empty where it is sound")
    )
    finding_changes: tuple[FindingChange, ...] = field(
        metadata=told("what each finding that may come at surgery would make of the zonule")
    )
    lens: LensPlan = field(metadata=told("powers by position"))
    astigmatism: Astigmatism = field(metadata=told("what the incision does to the cornea"))
    seat_says: str = field(
        metadata=told("where the surgeon does not sit at the incision; empty: at it, or no seat noted")
    )
    steps: tuple[Step, ...] = field(metadata=told("the operation in order"))
    turn: TakeOver | None = field(metadata=told("the take-over point; None where no trainee operates"))
    kit: tuple[KitItem, ...] = field(metadata=told("what to have on the trolley"))
    kit_shelf: str = field(metadata=told("the shelf that the kit was held against, and the day; empty: none is known"))
    doses: tuple[Dose, ...] = field(metadata=told("drugs with preparation and amount"))
    fallbacks: tuple[Fallback, ...] = field(metadata=told("if this, then that"))
    stops: tuple[Stop, ...] = field(metadata=told("what must not be done in this eye"))
    consent: tuple[str, ...] = field(metadata=told("what to say before consent"))
    after: After = field(metadata=told("visits and warnings"))
    doubts: tuple[Doubt, ...] = field(metadata=told("defaults and assumptions taken for this eye"))
    doubt_groups: tuple[DoubtGroup, ...] = field(metadata=told("doubts about the evidence, what decides first"))
    sources: tuple[dict[str, object], ...] = field(metadata=told("what the plan rests on"))
    version: tuple[tuple[str, str], ...] = field(metadata=told("versions of program, evidence and practice"))
    caution: str = field(metadata=told("the standing caution"))
    folded: bool = field(default=False, metadata=told("whether closed foldouts beside the drawing are left empty"))
    unfolded: frozenset[str] = field(
        default=frozenset(), metadata=told("identities of the foldouts that are written out all the same")
    )

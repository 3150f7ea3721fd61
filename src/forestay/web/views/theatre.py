"""Theatre: one step at a time, the checks, the lens in hand."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from forestay.web.views.case import Band, ChangesView
from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class CueButton:
    """What may be seen at this step; a tap keeps it."""

    number: int = field(metadata=told("key that presses it; 0 where none does"))
    name: str = field(metadata=told("what the form sends"))
    see: str = field(metadata=told("what may be seen"))
    means: str = field(metadata=told("what it would mean"))
    then: str = field(metadata=told("what to do then"))
    ask: str = field(metadata=told("what is asked for before it is kept; empty where nothing"))
    unit: str = field(metadata=told("unit of what is asked for"))


@dataclass(frozen=True)
class StepLink:
    """A step in the list."""

    name: str = field(metadata=told("name of the step"))
    address: str = field(metadata=told("where it is shown"))
    done: bool = field(metadata=told("True where it is kept as done"))
    here: bool = field(metadata=told("True for the one shown"))


@dataclass(frozen=True)
class FoundPanel:
    """What was just kept, and what to do now."""

    see: str = field(metadata=told("what was seen"))
    means: str = field(metadata=told("what it means"))
    do: tuple[str, ...] = field(metadata=told("what to do now, in order"))
    stays: str = field(metadata=told("why the plan stays as it is, where it does, and what to go by"))
    lens: str = field(metadata=told("the plan's powers where a lens may lie then; empty where it does not matter"))


@dataclass(frozen=True)
class TheatreView(View):
    """One step of the operation."""

    case_id: str = field(metadata=told("identity of the case"))
    band: Band = field(metadata=told("whose eye this is"))
    wall: bool = field(metadata=told("True for the view that is read from two metres"))
    step_key: str = field(metadata=told("the step shown; empty where there is none"))
    step: str = field(metadata=told("name of the step"))
    place: str = field(metadata=told("which of how many"))
    do: str = field(metadata=told("what to do"))
    who: str = field(metadata=told("who does it, and with what"))
    cues: tuple[CueButton, ...] = field(metadata=told("what may be seen at this step"))
    always: tuple[CueButton, ...] = field(metadata=told("what may be seen at any step"))
    next_step: str = field(metadata=told("the step after; empty where there is none"))
    back: str = field(metadata=told("address of the step before; empty where there is none"))
    steps: tuple[StepLink, ...] = field(metadata=told("all steps"))
    last: str | None = field(metadata=told("the fact that can be taken back"))
    done: bool = field(metadata=told("True where the step shown is kept as done"))
    found: FoundPanel | None = field(metadata=told("what was just kept"))
    changes: ChangesView | None = field(metadata=told("what the last fact changed in the plan"))
    above: Markup | None = field(metadata=told("the eye from above"))
    started: str = field(metadata=told("when the case began, as a moment; empty before"))
    started_words: str = field(metadata=told("the same and the first step, as hours and minutes"))
    stops: tuple[str, ...] = field(metadata=told("what must not be done in this eye"))
    head: int = field(metadata=told("the facts that this page has seen"))
    key: str = field(metadata=told("identity of what a press would keep; a repeat is harmless"))
    caution: str = field(metadata=told("the standing caution"))


@dataclass(frozen=True)
class CheckRow:
    """One check."""

    name: str = field(metadata=told("what the form sends"))
    text: str = field(metadata=told("what is said aloud"))
    time: str = field(metadata=told("when it was ticked; empty before"))


@dataclass(frozen=True)
class CheckGroupRow:
    """The checks of one moment."""

    title: str = field(metadata=told("which moment"))
    rows: tuple[CheckRow, ...] = field(metadata=told("the checks"))
    sources: tuple[str, ...] = field(metadata=told("keys of the sources of the structure"))


@dataclass(frozen=True)
class ChecksView(View):
    """The checks around the operation."""

    case_id: str = field(metadata=told("identity of the case"))
    band: Band = field(metadata=told("whose eye this is"))
    groups: tuple[CheckGroupRow, ...] = field(metadata=told("the checks by moment"))
    aloud: str = field(metadata=told("what is read aloud for this eye: side, technique, lens, alerts"))
    stops: tuple[str, ...] = field(metadata=told("what must not be done in this eye"))
    head: int = field(metadata=told("the facts that this page has seen"))
    key: str = field(metadata=told("identity of what a press would keep"))
    caution: str = field(metadata=told("the standing caution"))


@dataclass(frozen=True)
class LensCheckView(View):
    """The lens in hand against the plan."""

    case_id: str = field(metadata=told("identity of the case"))
    band: Band = field(metadata=told("whose eye this is"))
    positions: tuple[tuple[str, str], ...] = field(
        metadata=told("positions of the lens with the power planned for each")
    )
    position: str = field(metadata=told("the position meant"))
    models: tuple[tuple[str, str], ...] = field(
        metadata=told(
            "what the box may be named: the models of the shelf that are planned, or another; empty without a shelf"
        )
    )
    model: str = field(metadata=told("the model as read from the box"))
    power: str = field(metadata=told("power as typed from the box"))
    side: str = field(metadata=told("side as said aloud"))
    code: str = field(metadata=told("the code as scanned"))
    lines: tuple[tuple[bool, str], ...] = field(metadata=told("each comparison: whether it fits, in words"))
    verdict: str = field(metadata=told("match or not, plainly; empty before"))
    fits: bool = field(metadata=told("True where all fits"))
    failure: str = field(metadata=told("what is wrong with the form; empty where nothing"))
    head: int = field(metadata=told("the facts that this page has seen"))
    key: str = field(metadata=told("identity of what a press would keep"))
    caution: str = field(metadata=told("the standing caution"))

"""The forms in which facts are entered: one row a field."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.web.views.case import Band
from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class ClaimRow:
    """One of the values in dispute about a field."""

    fact_id: str = field(metadata=told("the fact that says so"))
    words: str = field(metadata=told("the value in words, with its unit"))
    who: str = field(metadata=told("who said it, and from which device"))
    when: str = field(metadata=told("when"))


@dataclass(frozen=True)
class Note:
    """What the checks say of a value."""

    level: str = field(metadata=told("note, recheck or refuse, in words"))
    why: str = field(metadata=told("what is unlikely, and what to do"))


@dataclass(frozen=True)
class EntryRow:
    """One field."""

    path: str = field(metadata=told("section and key of the case file"))
    mark: str = field(metadata=told("identity of the row in the page"))
    kind: str = field(metadata=told("kind of control"))
    label: str = field(metadata=told("what the field is called"))
    help: str = field(metadata=told("what it is and what it may be"))
    unit: str = field(metadata=told("unit beside the field"))
    typed_unit: str = field(
        metadata=told("the unit, where it is another than the one that is kept; sent with the field")
    )
    value: str = field(metadata=told("value as it stands in the field; empty where not known"))
    was: str = field(metadata=told("value that is kept"))
    options: tuple[tuple[str, str], ...] = field(metadata=told("value and words of each choice"))
    state: str = field(metadata=told("saved, not-saved or empty: what the page says of it"))
    said: str = field(metadata=told("the state in words, with the time or the reason"))
    notes: tuple[Note, ...] = field(metadata=told("what the checks say of the value"))
    claims: tuple[ClaimRow, ...] = field(metadata=told("the values in dispute; empty where nobody disagrees"))
    undo: str | None = field(metadata=told("the fact that was kept last and can be undone; None where there is none"))
    key: str = field(metadata=told("identity of what the next press would keep; a repeat is harmless"))
    head: int = field(metadata=told("the facts that this row has seen"))


@dataclass(frozen=True)
class EntrySection:
    """The fields of one section."""

    name: str = field(metadata=told("name of the section, as in the address"))
    title: str = field(metadata=told("title of the section"))
    rows: tuple[EntryRow, ...] = field(metadata=told("the fields"))
    key: str = field(metadata=told("identity of what a press would keep"))


@dataclass(frozen=True)
class EntryView(View):
    """The forms of a case: one section or all."""

    case_id: str = field(metadata=told("identity of the case"))
    band: Band = field(metadata=told("whose eye this is"))
    sections: tuple[EntrySection, ...] = field(metadata=told("the sections shown"))
    all_sections: tuple[tuple[str, str], ...] = field(metadata=told("address and title of every section"))
    whole: bool = field(metadata=told("True where every section is shown"))
    side_key: str = field(metadata=told("identity of a correction of the side"))
    side_now: str = field(metadata=told("side as it stands"))
    head: int = field(metadata=told("the facts that this page has seen"))
    failure: str = field(metadata=told("why nothing was kept; empty where it was"))
    caution: str = field(metadata=told("the standing caution"))


@dataclass(frozen=True)
class RowView(View):
    """One row alone, as the answer to one field."""

    case_id: str = field(metadata=told("identity of the case"))
    section: str = field(metadata=told("section of the field"))
    row: EntryRow = field(metadata=told("the field"))


@dataclass(frozen=True)
class NewCaseView(View):
    """The form for a new case."""

    key: str = field(metadata=told("identity of the case that the form would open; a repeat is harmless"))
    name: str = field(metadata=told("name as typed"))
    side: str = field(metadata=told("side as picked"))
    age: str = field(metadata=told("age as typed"))
    surgeons: tuple[str, ...] = field(metadata=told("who may operate; empty where the settings name nobody"))
    surgeon: str = field(metadata=told("who was picked"))
    taken_over: bool = field(metadata=told("True where the case takes something over from the settings"))
    failure: str = field(metadata=told("what is wrong; empty where nothing is"))
    caution: str = field(metadata=told("the standing caution"))

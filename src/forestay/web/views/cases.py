"""The list of cases."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class CaseLine:
    """A case in the list."""

    case_id: str = field(metadata=told("identity of the case"))
    label: str = field(metadata=told("name of the case"))
    side: str = field(metadata=told("side of the eye in words"))
    about: str = field(metadata=told("person and main findings"))
    decision: str = field(metadata=told("first line of its plan"))


@dataclass(frozen=True)
class CasesView(View):
    """All cases kept here."""

    cases: tuple[CaseLine, ...] = field(metadata=told("the cases in order of arrival"))
    caution: str = field(metadata=told("the standing caution"))
    q: str = field(metadata=told("the words looked for"))
    found: int = field(metadata=told("how many cases were found"))
    total: int = field(metadata=told("how many cases are kept"))
    planned: int = field(metadata=told("how many of the list are planned at once"))
    page: int = field(metadata=told("which page of the list this is, from 1"))
    pages: int = field(metadata=told("how many pages there are"))

"""What is said when something did not work."""

from __future__ import annotations

from dataclasses import dataclass, field

from forestay.web.views.shell import View, told


@dataclass(frozen=True)
class FailureView(View):
    """One sentence, and what would have been allowed."""

    message: str = field(metadata=told("what is wrong, what was expected, what to do"))
    allowed: str | None = field(metadata=told("what the field may be"))

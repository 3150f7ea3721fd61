"""When something was entered that is kept only now: on a device without network. For the length of one request."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime, timedelta

from forestay.errors import InvalidInput
from forestay.text import tr

AHEAD = timedelta(minutes=10)
"""How far the clock of a device may be ahead; clocks order the display only."""
_entered: ContextVar[datetime | None] = ContextVar("forestay_entered", default=None)


def entered_at() -> datetime | None:
    """When it was entered; None: just now."""
    return _entered.get()


@contextmanager
def entered(moment: datetime | None) -> Iterator[None]:
    """What is kept inside the block happened then."""
    token = _entered.set(moment)
    try:
        yield
    finally:
        _entered.reset(token)


def read_moment(text: str) -> datetime:
    """The moment that a device says; one in the future is told as now, since its clock is wrong."""
    allowed = tr("a date and time with its zone, as in 2026-03-01T09:12:00+01:00")
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        moment = None
    if moment is None or moment.utcoffset() is None:
        raise InvalidInput(
            tr("The time of entry is {value!r}; allowed: {allowed}.", value=text[:40], allowed=allowed),
            field="entered_at",
            value=text[:40],
            allowed=allowed,
        )
    now = datetime.now(UTC)
    return now if moment > now + AHEAD else moment.replace(second=moment.second, microsecond=0)

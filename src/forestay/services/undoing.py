"""Who may take what back: whoever decides, anything; whoever only enters, what the same account entered a short while ago."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from uuid import UUID

from forestay.case.chain import Link
from forestay.services import actor
from forestay.services.access import table
from forestay.services.actor import Forbidden
from forestay.store.interface import FactStore, now
from forestay.text import tr


def check_take_back(store: FactStore, case_id: str, fact_id: UUID, *, moment: datetime | None = None) -> None:
    """Refuse to take back what is not one's own, not recent, or not of a kind that the account may enter.

    Without accounts, and for whoever decides, everything may be taken back. ``moment``: now.
    """
    who = actor.current()
    if who is None or actor.may("decide"):
        return
    link = _named(store.standing(case_id, (fact_id,), "").known, fact_id)
    if link is None:
        return  # nothing is there to be taken back, which the fold says better
    header, minutes = link.header, table().limits["undo_minutes"]
    since = (moment or now()) - timedelta(minutes=minutes)
    own = header.author == who.account
    recent = header.received_at is not None and header.received_at >= since
    if not (own and recent and actor.may("undo") and actor.may(table().kinds[header.kind])):
        allowed = tr("what this account entered in the last {minutes} minutes", minutes=minutes)
        raise Forbidden(
            tr("Refused: this account may take back only {allowed}.", allowed=allowed), field="fact", allowed=allowed
        )


def _named(links: Iterable[Link], fact_id: UUID) -> Link | None:
    return next((link for link in links if link.header.id == fact_id), None)

"""Who is acting, for the length of one request. Without accounts nobody is named, and everything may be done."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from forestay.case.bodies import Kind
from forestay.errors import ForestayError
from forestay.services.access import table
from forestay.services.cases import Who
from forestay.text import tr


class Forbidden(ForestayError):
    """Whoever asks may not do this."""

    code = "forbidden"
    http_status = 403


@dataclass(frozen=True, slots=True)
class Actor:
    """Somebody who is signed in."""

    account: str
    """The pseudonym that facts carry."""
    shown_as: str
    """How the person is called on screen; never in a fact."""
    device: str
    roles: tuple[str, ...]
    by_pin: bool
    csrf: str
    """What a form of this session carries."""
    must_change: bool = False
    """Whether nothing but the change of password is open."""

    @property
    def permissions(self) -> frozenset[str]:
        """All that the roles give, without what a PIN does not open."""
        if self.must_change:
            return frozenset()
        given = frozenset(p for role in self.roles for p in table().roles[role])
        return given - table().not_by_pin if self.by_pin else given


_acting: ContextVar[Actor | None] = ContextVar("forestay_actor", default=None)


def current() -> Actor | None:
    """Who acts in this request; None without accounts."""
    return _acting.get()


@contextmanager
def acting(actor: Actor | None) -> Iterator[None]:
    """Act as somebody inside the block."""
    token = _acting.set(actor)
    try:
        yield
    finally:
        _acting.reset(token)


def who() -> Who | None:
    """Author and device of what is kept in this request; None without accounts."""
    actor = _acting.get()
    return None if actor is None else Who(author=actor.account, device=actor.device)


def may(permission: str) -> bool:
    """Whether this request may do so; without accounts, everything may be done."""
    actor = _acting.get()
    return actor is None or permission in actor.permissions


def check_fact(kind: Kind, author: str, device: str) -> None:
    """Refuse a fact of a kind that the actor may not enter, or in somebody else's name."""
    actor = _acting.get()
    if actor is None:
        return
    if not may(table().kinds[kind]):
        raise Forbidden(
            tr("A fact of the kind {kind} may not be entered by this account.", kind=kind), field="kind", value=kind
        )
    if author != actor.account or device != actor.device:
        raise Forbidden(
            tr("A fact carries the account that is signed in and its device."),
            field="author" if author != actor.account else "device",
            allowed=f"{actor.account}, {actor.device}",
        )

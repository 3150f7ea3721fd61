"""What stands on the trolley and in the syringes, as values of the plan."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class KitItem:
    """One thing on the trolley. ``missing`` True: this theatre says that it has none; None: not known."""

    item: str
    why: str
    missing: bool | None
    ready: str | None = None
    """Short name for the first line of the plan, where the thing is special to this eye."""
    kind: str = "device"
    """``tray``, ``device``, ``lens``, ``consumable`` or ``drug``."""
    thing: str | None = None
    """The word under which a shelf counts it; None where no shelf does."""
    count: int = 1
    size_mm: float | None = None
    shelf: str = ""
    """What the shelf says; empty where there is no shelf."""
    holds: tuple[str, ...] = ()
    """What a tray holds."""
    standby: bool = False
    """True of what lies ready and stays closed unless it is needed: one may serve a whole list."""


@dataclass(frozen=True)
class Dose:
    """A drug with its preparation, amount and band."""

    drug: str
    purpose: str
    preparation: str
    dose: str
    caution: str
    sources: tuple[str, ...]
    standing: str
    check: str = ""
    """What two people say over it, for a drug that is prepared here."""
    shelf: str = ""
    """What the shelf says; empty where there is no shelf."""
    thing: str | None = None
    standby: bool = False
    """True of what lies ready and stays closed unless it is needed."""

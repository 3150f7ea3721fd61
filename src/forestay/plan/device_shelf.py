"""What a practice has on its shelf besides lenses: devices, drugs and consumables, with count, size, expiry and lot.

A shelf is a TOML file of ``[[item]]`` tables. Anything that no rule could ever ask for is refused by name, since a
misspelt thing would be counted as missing in silence.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable
from datetime import date
from functools import cache
from typing import Annotated

from pydantic import Field, field_validator

from forestay.errors import InvalidInput, UnreadableFile
from forestay.eye.quantity import within
from forestay.eye.validation import validate
from forestay.plan.ruleset import ruleset
from forestay.record import Record
from forestay.text import tr


@cache
def things() -> tuple[str, ...]:
    """Everything that the rules of kit and doses may ask a shelf for."""
    rules = [*ruleset("kit")["item"], *ruleset("doses")["dose"]]
    return tuple(sorted({str(r.data["thing"]) for r in rules if "thing" in r.data}))


@cache
def drugs() -> frozenset[str]:
    """Those of them that the rules of doses ask for."""
    return frozenset(str(r.data["thing"]) for r in ruleset("doses")["dose"] if "thing" in r.data)


class ShelfItem(Record):
    """So many of one thing, alike in size, lot and expiry."""

    thing: str = Field(description="what it is, in the words of the rules of kit and doses")
    count: int = Field(ge=0, description="how many there are")
    size_mm: Annotated[float, within("shelf_size_mm")] | None = None
    expires: date | None = Field(default=None, strict=False, description="last day on which it may be used")
    lot: str | None = Field(default=None, max_length=60, description="lot or serial number")
    reusable: bool = Field(default=False, description="comes back after cleaning")
    ready_again_minutes: Annotated[float, within("ready_again_minutes")] | None = None

    @field_validator("thing")
    @classmethod
    def _known(cls, value: str) -> str:
        if value not in things():
            raise ValueError(tr("no rule asks for this; allowed: {things}", things=", ".join(things())))
        return value


class DeviceShelf(Record):
    """All items of a practice."""

    item: tuple[ShelfItem, ...] = Field(default=(), strict=False, description="items")
    invented: bool = Field(default=False, description="True of an example: nobody has this shelf")

    @property
    def digest(self) -> str:
        """SHA-256 over the shelf: two agree exactly when all items do."""
        return hashlib.sha256(self.model_dump_json().encode()).hexdigest()

    def of(self, thing: str) -> tuple[ShelfItem, ...]:
        """Items of one kind, the first to expire first."""
        found = [i for i in self.item if i.thing == thing and i.count]
        return tuple(sorted(found, key=lambda i: (i.expires or date.max, i.lot or "")))


def read_shelf(data: bytes, name: str = "") -> DeviceShelf:
    """A shelf from the bytes of its TOML file; what is wrong is one sentence."""
    called = name or tr("the shelf file")
    try:
        raw = tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, ValueError, RecursionError) as wrong:
        why = str(wrong).splitlines()[0]
        raise UnreadableFile(
            tr("{name} cannot be read as TOML: {why}.", name=called, why=why), field="shelf", allowed="TOML"
        ) from None
    if not isinstance(raw.get("item", []), list):
        raise InvalidInput(tr("item is not a list of tables; write [[item]].", name=called), field="item")
    return validate(DeviceShelf, raw)


class Stock(Record):
    """What the shelf says about one need."""

    usable: int = Field(description="how many fit and may be used on the day")
    says: str = Field(description="state of the shelf in words")
    enough: bool = Field(description="as many as needed")
    lots: tuple[str, ...] = Field(default=(), description="lots to take, the first to expire first")


def stock(shelf: DeviceShelf, *, thing: str, count: int, size_mm: float | None, on: date | None) -> Stock:
    """The shelf against one need: ``count`` of ``thing``, of ``size_mm`` [mm] where it comes in sizes, on day ``on``."""
    there = shelf.of(thing)
    if not there:
        return Stock(usable=0, says=tr("none on the shelf"), enough=False)
    sized = [i for i in there if size_mm is None or i.size_mm is None or i.size_mm == size_mm]
    if not sized:
        sizes = ", ".join(f"{s:g}" for s in sorted({i.size_mm for i in there if i.size_mm is not None}))
        return Stock(
            usable=0, says=tr("not in {mm:g} mm; on the shelf: {sizes} mm", mm=size_mm, sizes=sizes), enough=False
        )
    good = [i for i in sized if on is None or i.expires is None or i.expires >= on]
    if not good:
        last = max(i.expires for i in sized if i.expires is not None)
        return Stock(usable=0, says=tr("only expired ones on the shelf, the last on {day}", day=last), enough=False)
    usable = sum(i.count for i in good)
    return Stock(usable=usable, says=_said(good, usable, count, on), enough=usable >= count, lots=_lots(good, count))


def _said(good: Iterable[ShelfItem], usable: int, count: int, on: date | None) -> str:
    first = min((i.expires for i in good if i.expires is not None), default=None)
    said = (
        tr("{n:d} on the shelf", n=usable)
        if usable >= count
        else tr("{n:d} of {need:d} on the shelf", n=usable, need=count)
    )
    if first is not None:
        said += tr(", first to expire {day}", day=first)
        if on is None:
            said += tr("; expiry not checked, no day was given")
    return said


def _lots(good: Iterable[ShelfItem], count: int) -> tuple[str, ...]:
    """Lots to take, the first to expire first, until there are enough."""
    taken: list[str] = []
    for item in good:
        if count <= 0:
            break
        count -= item.count
        if item.lot:
            taken.append(item.lot)
    return tuple(taken)
